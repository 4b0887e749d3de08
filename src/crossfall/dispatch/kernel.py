"""A shift as a sequence of blocks: what it costs, and where one more stage fits best.

The direction of every block is left open and settled exactly by dynamic
programming over modes each time a shift changes (idea of Vidal, "Node, edge,
arc routing and turn penalties", Operations Research, 2017; recalled). Kept
minutes from the front and from the back make the best place for one more block
a matter of a few look-ups.

Everything here works on numbers only; :mod:`crossfall.dispatch.tables` builds
the tables and :func:`plain_minutes` is the plain reference for
:func:`refresh`. Related columns share one array, named by the constants below,
because every array that is handed on costs time in compiled calls.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numba import njit

Array = Any
"""Numpy arrays; the comments say of what."""

# Columns of Ways.block
STAGE, N_MODES, ENTER, LEAVE = 0, 1, 2, 6
# Columns of Ways.shift
CLASS, DAY, START, HOME, GROUP = 0, 1, 2, 3, 4
# Columns of Tables.stage; the last three are where its list begins, and the next row's its end
N_OPTIONS, ROW, BEFORE, BEHIND, NEED = 0, 1, 2, 3, 4
# Columns of Tables.stage_real
LOAD, LEAST, WATER_H = 0, 1, 2
# Columns of Tables.shift_real
MOST_MIN, MOST_LOAD = 0, 1
# Columns of Tables.need
KIND, COUNT, HOURS = 0, 1, 2
# Columns of Routes.at
WHERE, OPTION = 0, 1
# Columns of Lines.cost: minutes from the start until the block is done, and from its start home
FROM_START, TO_HOME = 0, 4

N_SLOTS = 16
SMALL = 1e-9


class Ways(NamedTuple):
    """What it takes to get from block to block."""

    between: Array
    """float32 (class, port, port) [min]."""
    block: Array
    """int32 (block, column)."""
    minutes: Array
    """float64 (class, block, mode) [min]."""
    opens: Array
    """float64 (block,): windrow left open after it [m]."""
    shift: Array
    """int64 (shift, column); shifts of one GROUP are alike, so one empty one stands for all."""


class Lines(NamedTuple):
    """What each shift does, in order, and what that costs."""

    seq: Array
    """int32 (shift, place): blocks."""
    n: Array
    minutes: Array
    cost: Array
    """float64 (shift, place, column + mode) [min]."""
    mode: Array
    """int32 (shift, place)."""
    scratch: Array
    """float64 (3, place)."""


class Tables(NamedTuple):
    """What never changes during a search."""

    ways: Ways
    option: Array
    """int32 (stage, option, 2): first and second block; -1 for none."""
    stage: Array
    """int64 (stage + 1, column)."""
    stage_real: Array
    shift_real: Array
    ok: Array
    """bool (stage, shift)."""
    worth: Array
    """float64 (stage, shift) [h]."""
    before: Array
    behind: Array
    need: Array
    """float64 (need, column)."""
    wet: Array
    """bool (stage, day): only if watered."""
    m_kind: Array
    near: Array
    """int32 (stage, neighbour), nearest first, itself first; -1 fills up."""
    seeds: Array
    """int64: the stages that could be in a plan at all."""
    keys: Array
    """float64 (rule, stage): orders in which stages are put back, smallest first."""
    rules: Array
    """float64 (rule,): running sum of the chances of each order; the rest is by chance."""
    price: float
    """Worth of one minute [h/min]."""
    most_open: float
    water_kind: int
    is_narrow: bool
    """Whether only shifts that pass near a stage are tried, because there are so many."""


class Routes(NamedTuple):
    """A plan being worked on."""

    lines: Lines
    load: Array
    at: Array
    """int64 (stage, column): shift or -1, and option."""
    m_left: Array
    """float64 (machine, day): supporting hours left [h]."""
    m_used: Array
    """int64 (row, slot): supporting machine in use, or -1."""
    m_hours: Array
    is_touched: Array
    """bool (shift,): changed in this round of the search."""
    stamp: Array
    """int64 (1 + shift + group,): which were seen while one stage was tried."""


@njit(cache=True, nogil=True)
def draw(rng: Array) -> float:
    """A number in [0, 1); xorshift64*, so that a seed gives the same plan on any machine."""
    x = rng[0]
    x ^= x >> np.uint64(12)
    x ^= x << np.uint64(25)
    x ^= x >> np.uint64(27)
    rng[0] = x
    return float((x * np.uint64(2685821657736338717)) >> np.uint64(11)) / 9007199254740992.0


@njit(cache=True, nogil=True)
def refresh(w: Ways, p: Lines, h: int) -> None:
    """Settle the directions of shift ``h`` and its minutes, exactly."""
    n = p.n[h]
    c, start, home = w.shift[h, CLASS], w.shift[h, START], w.shift[h, HOME]
    p.minutes[h] = w.between[c, start, home]
    for i in range(n):
        b = p.seq[h, i]
        a = p.seq[h, max(0, i - 1)]
        for m in range(w.block[b, N_MODES]):
            e = w.block[b, ENTER + m]
            best = np.inf
            if i == 0:
                best = w.between[c, start, e]
            else:
                for q in range(w.block[a, N_MODES]):
                    best = min(best, p.cost[h, i - 1, q] + w.between[c, w.block[a, LEAVE + q], e])
            p.cost[h, i, m] = best + w.minutes[c, b, m]
    for i in range(n - 1, -1, -1):
        b = p.seq[h, i]
        a = p.seq[h, min(n - 1, i + 1)]
        for m in range(w.block[b, N_MODES]):
            x = w.block[b, LEAVE + m]
            best = np.inf
            if i == n - 1:
                best = w.between[c, x, home]
            else:
                for q in range(w.block[a, N_MODES]):
                    after = p.cost[h, i + 1, TO_HOME + q]
                    best = min(best, after + w.between[c, x, w.block[a, ENTER + q]])
            p.cost[h, i, TO_HOME + m] = best + w.minutes[c, b, m]
    at = start
    for i in range(n):
        b = p.seq[h, i]
        best, choice = np.inf, 0
        for m in range(w.block[b, N_MODES]):
            each = w.between[c, at, w.block[b, ENTER + m]] + p.cost[h, i, TO_HOME + m]
            if each < best:
                best, choice = each, m
        if i == 0:
            p.minutes[h] = best
        p.mode[h, i] = choice
        at = np.int64(w.block[b, LEAVE + choice])


@njit(cache=True, nogil=True)
def whole_at(
    w: Ways, p: Lines, h: int, b: int, least: int, rng: Array, blink: float
) -> tuple[float, int]:
    """Fewest minutes of shift ``h`` with block ``b`` put in, all directions free; and where.

    With ``blink`` above 0 each place is overlooked with that chance.
    """
    c, n = w.shift[h, CLASS], p.n[h]
    start, home = w.shift[h, START], w.shift[h, HOME]
    best = np.inf
    place: Any = np.int64(-1)
    for i in range(least, n + 1):
        if blink > 0.0 and draw(rng) < blink:
            continue
        a = p.seq[h, max(0, i - 1)]
        z = p.seq[h, min(n - 1, i)] if n > 0 else a
        for m in range(w.block[b, N_MODES]):
            e, x = w.block[b, ENTER + m], w.block[b, LEAVE + m]
            into, out = np.inf, np.inf
            if i == 0:
                into = w.between[c, start, e]
            else:
                for q in range(w.block[a, N_MODES]):
                    into = min(into, p.cost[h, i - 1, q] + w.between[c, w.block[a, LEAVE + q], e])
            if i == n:
                out = w.between[c, x, home]
            else:
                for q in range(w.block[z, N_MODES]):
                    after = p.cost[h, i, TO_HOME + q]
                    out = min(out, after + w.between[c, x, w.block[z, ENTER + q]])
            total = into + w.minutes[c, b, m] + out
            if total < best:
                best = total
                place = np.int64(i)
    return best, place


@njit(cache=True, nogil=True)
def apart_at(
    w: Ways, p: Lines, h: int, forward: int, backward: int, least: int, most_open: float
) -> tuple[float, int, int, int]:
    """Minutes that driving one pass of a stage now and the rest later adds to shift ``h``.

    Without the minutes of the passes themselves; the others' directions stay as they are. Both
    parts have an odd number of passes, so each carries the machine along the segment, like the
    blocks ``forward`` and ``backward``. Then whether the backward part comes first, and the places.
    """
    c, n = w.shift[h, CLASS], p.n[h]
    e_f, x_f = w.block[forward, ENTER], w.block[forward, LEAVE]
    e_b, x_b = w.block[backward, ENTER], w.block[backward, LEAVE]
    at, is_open = w.shift[h, START], 0.0
    for i in range(n + 1):
        nxt = w.shift[h, HOME]
        if i < n:
            nxt = np.int64(w.block[p.seq[h, i], ENTER + p.mode[h, i]])
        direct = w.between[c, at, nxt]
        p.scratch[0, i] = w.between[c, at, e_f] + w.between[c, x_f, nxt] - direct
        p.scratch[1, i] = w.between[c, at, e_b] + w.between[c, x_b, nxt] - direct
        if i < n:
            is_open += w.opens[p.seq[h, i]]
            p.scratch[2, i] = is_open
            at = np.int64(w.block[p.seq[h, i], LEAVE + p.mode[h, i]])
    best = np.inf
    first: Any = np.int64(-1)
    second: Any = np.int64(-1)
    turned: Any = np.int64(0)
    length = w.opens[forward]
    for way in range(2):
        # Way 0 goes forward first; the later part's best place is looked up from behind
        cheapest, at_j = np.inf, n
        for i in range(n - 1, least - 1, -1):
            if p.scratch[2, i] + length > most_open:
                # Nothing more may stay open across this block
                cheapest = np.inf
                continue
            if p.scratch[1 - way, i + 1] < cheapest:
                cheapest, at_j = p.scratch[1 - way, i + 1], i + 1
            # What this block closes is still open when the new windrow is laid before it
            already = p.scratch[2, i - 1] if i > 0 else 0.0
            if already + length <= most_open and p.scratch[way, i] + cheapest < best:
                best = p.scratch[way, i] + cheapest
                first, second, turned = np.int64(i), np.int64(at_j), np.int64(way)
    return best, turned, first, second


@njit(cache=True, nogil=True)
def support_fits(t: Tables, r: Routes, s: int, day: int) -> bool:
    """Whether enough supporting machines have the hours left that day."""
    for k in range(t.stage[s, NEED], t.stage[s + 1, NEED]):
        found = 0
        for m in range(t.m_kind.size):
            if t.m_kind[m] == t.need[k, KIND] and r.m_left[m, day] >= t.need[k, HOURS] - SMALL:
                found += 1
        if found < t.need[k, COUNT]:
            return False
    hours = t.stage_real[s, WATER_H]
    if t.wet[s, day] and hours > 0:
        for m in range(t.m_kind.size):
            if t.m_kind[m] == t.water_kind and r.m_left[m, day] >= hours - SMALL:
                return True
        return False
    return True


@njit(cache=True, nogil=True)
def _take_support(t: Tables, r: Routes, s: int, day: int) -> None:
    """Promise supporting machines to the stage: the fullest that still have room.

    The emptier ones stay free for stages that need them long.
    """
    row = t.stage[s, ROW]
    if row < 0:
        return
    slot = 0
    n_needs = t.stage[s + 1, NEED] - t.stage[s, NEED]
    for each in range(n_needs + 1):
        kind, count, hours = float(t.water_kind), 1.0, t.stage_real[s, WATER_H]
        if each < n_needs:
            k = t.stage[s, NEED] + each
            kind, count, hours = t.need[k, KIND], t.need[k, COUNT], t.need[k, HOURS]
        elif not t.wet[s, day] or hours <= 0:
            break
        for _ in range(int(count)):
            best = -1
            for m in range(t.m_kind.size):
                if t.m_kind[m] != kind or r.m_left[m, day] < hours - SMALL:
                    continue
                is_new = True
                for z in range(slot):
                    if r.m_used[row, z] == m:
                        is_new = False
                if is_new and (best < 0 or r.m_left[m, day] < r.m_left[best, day]):
                    best = m
            if best >= 0 and slot < N_SLOTS:
                r.m_left[best, day] -= hours
                r.m_used[row, slot] = best
                r.m_hours[row, slot] = hours
                slot += 1


@njit(cache=True, nogil=True)
def earliest(t: Tables, r: Routes, s: int, h: int) -> int:
    """First place in shift ``h`` where ``s`` may stand after what it must follow; -1 nowhere."""
    least: Any = np.int64(0)
    for k in range(t.stage[s, BEFORE], t.stage[s + 1, BEFORE]):
        g = r.at[t.before[k], WHERE]
        if g < 0:
            return -1
        if g == h:
            for i in range(r.lines.n[h] - 1, -1, -1):
                if t.ways.block[r.lines.seq[h, i], STAGE] == t.before[k]:
                    least = max(least, np.int64(i + 1))
                    break
        elif t.ways.shift[g, DAY] >= t.ways.shift[h, DAY]:
            return -1
    return least


@njit(cache=True, nogil=True)
def best_place(t: Tables, r: Routes, s: int, rng: Array, blink: float, spot: Array) -> bool:
    """Where stage ``s`` is worth most, if it is worth its minutes anywhere.

    Writes shift, option and places into ``spot``.
    """
    best = SMALL
    n_shifts, room = r.lines.n.size, r.lines.seq.shape[1]
    r.stamp[0] += 1
    now = r.stamp[0]
    all_shifts = not t.is_narrow or draw(rng) < 0.05
    if not all_shifts:
        for k in range(t.near.shape[1]):
            z = t.near[s, k]
            if z >= 0 and r.at[z, WHERE] >= 0:
                r.stamp[1 + r.at[z, WHERE]] = now
    spot[0] = -1
    for h in range(n_shifts):
        if not t.ok[s, h]:
            continue
        # Passes may take the place of travel, so a stage may add less than its own minutes
        if r.lines.minutes[h] + 0.5 * t.stage_real[s, LEAST] > t.shift_real[h, MOST_MIN]:
            continue
        if r.load[h] + t.stage_real[s, LOAD] > t.shift_real[h, MOST_LOAD] + SMALL:
            continue
        if r.lines.n[h] + 2 > room:
            continue
        if r.lines.n[h] == 0:
            group = 1 + n_shifts + t.ways.shift[h, GROUP]
            if r.stamp[group] == now:
                continue
            r.stamp[group] = now
        elif not all_shifts and not r.is_touched[h] and r.stamp[1 + h] != now:
            continue
        least = earliest(t, r, s, h)
        if least < 0 or not support_fits(t, r, s, t.ways.shift[h, DAY]):
            continue
        total, i = whole_at(t.ways, r.lines, h, t.option[s, 0, 0], least, rng, blink)
        gain = t.worth[s, h] - t.price * (total - r.lines.minutes[h])
        if total <= t.shift_real[h, MOST_MIN] and gain > best:
            best = gain
            spot[0], spot[1], spot[2], spot[3] = h, 0, i, i
        if t.stage[s, N_OPTIONS] > 1 and r.lines.n[h] > 0:
            forward, backward = t.option[s, 1, 0], t.option[s, 1, 1]
            added, turned, i, j = apart_at(
                t.ways, r.lines, h, forward, backward, least, t.most_open
            )
            c = t.ways.shift[h, CLASS]
            for o in range(1 + turned, t.stage[s, N_OPTIONS], 2):
                inside = t.ways.minutes[c, t.option[s, o, 0], 0]
                inside += t.ways.minutes[c, t.option[s, o, 1], 0]
                gain = t.worth[s, h] - t.price * (added + inside)
                fits = r.lines.minutes[h] + added + inside <= t.shift_real[h, MOST_MIN]
                if fits and gain > best:
                    best = gain
                    spot[0], spot[1], spot[2], spot[3] = h, o, i, j
    return spot[0] >= 0


@njit(cache=True, nogil=True)
def place(t: Tables, r: Routes, s: int, spot: Array) -> None:
    """Put stage ``s`` into a shift: ``spot`` holds shift, option, place of its first block and
    the old place its second block (if any) comes before."""
    h, o = spot[0], spot[1]
    for which in range(2):
        b, i = t.option[s, o, 1 - which], spot[3 - which]
        if b >= 0:
            for k in range(r.lines.n[h], i, -1):
                r.lines.seq[h, k] = r.lines.seq[h, k - 1]
            r.lines.seq[h, i] = b
            r.lines.n[h] += 1
    r.at[s, WHERE] = h
    r.at[s, OPTION] = o
    r.load[h] += t.stage_real[s, LOAD]
    _take_support(t, r, s, t.ways.shift[h, DAY])
    refresh(t.ways, r.lines, h)


@njit(cache=True, nogil=True)
def take_out(t: Tables, r: Routes, s: int) -> None:
    """Take stage ``s`` out; the caller refreshes its shift."""
    h = r.at[s, WHERE]
    k = 0
    for i in range(r.lines.n[h]):
        b = r.lines.seq[h, i]
        if t.ways.block[b, STAGE] != s:
            r.lines.seq[h, k] = b
            k += 1
    r.lines.n[h] = k
    r.at[s, WHERE] = -1
    r.load[h] -= t.stage_real[s, LOAD]
    row = t.stage[s, ROW]
    if row >= 0:
        for z in range(N_SLOTS):
            if r.m_used[row, z] < 0:
                break
            r.m_left[r.m_used[row, z], t.ways.shift[h, DAY]] += r.m_hours[row, z]
            r.m_used[row, z] = -1


@njit(cache=True, nogil=True)
def worth_of(t: Tables, r: Routes) -> float:
    """Worth of all that is placed less the price of the minutes [h]."""
    total = 0.0
    for s in range(r.at.shape[0]):
        if r.at[s, WHERE] >= 0:
            total += t.worth[s, r.at[s, WHERE]]
    for h in range(r.load.size):
        total -= t.price * r.lines.minutes[h]
    return total


@njit(cache=True, nogil=True)
def fill(t: Tables, r: Routes, order: Array, rng: Array) -> int:
    """Put in every stage of ``order`` that still fits and is worth it; returns how many."""
    spot = np.zeros(4, dtype=np.int64)
    n = 0
    for s in order:
        if r.at[s, WHERE] < 0 and best_place(t, r, s, rng, 0.0, spot):
            place(t, r, s, spot)
            n += 1
    return n


def plain_minutes(w: Ways, blocks: list[int], shift: int) -> float:
    """Fewest minutes of one shift over all directions, written plainly with numpy.

    The reference that :func:`refresh` must agree with.
    """
    c, home = int(w.shift[shift, CLASS]), int(w.shift[shift, HOME])
    ports, cost = np.array([int(w.shift[shift, START])]), np.zeros(1)
    for b in blocks:
        n = int(w.block[b, N_MODES])
        enter, leave = w.block[b, ENTER : ENTER + n], w.block[b, LEAVE : LEAVE + n]
        arrive = (cost[:, None] + w.between[c][np.ix_(ports, enter)].astype(float)).min(axis=0)
        ports, cost = leave, arrive + w.minutes[c, b, :n]
    return float((cost + w.between[c][ports, home].astype(float)).min())
