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
STAGE, N_MODES, ENTER, LEAVE, LAST = 0, 1, 2, 6, 10
# Columns of Ways.shift
CLASS, DAY, START, HOME, GROUP = 0, 1, 2, 3, 4
# Columns of Tables.stage; the last four are where its list begins, and the next row's its end
N_OPTIONS, ROW, BEFORE, BEHIND, NEED, BAN = 0, 1, 2, 3, 4, 5
# Columns of Tables.stage_real; LEAD_LEAST and LEAD_MOST are the minutes before the first pass
LOAD, LEAST, WATER_H, LEAD_LEAST, LEAD_MOST = 0, 1, 2, 3, 4
# Columns of Tables.shift_real: most it holds; clock when it may leave; meal break, and the
# minutes after leaving by which it begins; minutes beyond which it is overtime
MOST_MIN, MOST_LOAD, LEAVES_AT, BREAK, BREAK_BY, REGULAR = 0, 1, 2, 3, 4, 5
# Columns of Tables.machine
M_KIND, M_CLASS, M_HOME = 0, 1, 2
# Columns of Tables.window
LEAVE_FROM, HOME_BY, IS_OUT_COUNTED = 0, 1, 2
# Columns of Tables.port_place
COMES_BY, GOES_BY = 0, 1
# Columns of Routes.busy and of Routes.asked, and of those that say by whom
FROM, UNTIL, LATE_FROM = 0, 1, 2
WHO, AT_FIRST, AT_LAST = 0, 1, 2
# Columns of Tables.ban, the first two a day of the plan and clock [min after midnight]
BAN_DAY, BAN_FROM, BAN_UNTIL = 0, 1, 2
# Columns of Tables.need
KIND, COUNT, HOURS = 0, 1, 2
# Columns of Routes.at
WHERE, OPTION = 0, 1
# Columns of Lines.cost: minutes from the start until the block is done, and from its start home
FROM_START, TO_HOME = 0, 4

N_SLOTS = 16
N_BUSY = 24
"""Most stages that one supporting machine serves in a day."""
SMALL = 1e-9
MARGIN_MIN = 0.04
"""So near to the time of the meal break it counts both as taken and as not taken."""


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
    begin: Array
    """float64 (shift, place): minutes after leaving when the block begins, breaks left out."""
    spare: Array
    """float64 (shift, place + 1): minutes that may come in there before a windrow lies too long."""
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
    ban: Array
    """float64 (ban, column): hours in which a stage is not worked."""
    wet: Array
    """bool (stage, day): only if watered."""
    machine: Array
    """int64 (machine, column)."""
    window: Array
    """float64 (machine, day, column): clock [min after midnight]."""
    drive: Array
    """float32 (machine class, place, place) [min]."""
    rest: Array
    """float64 (machine class, stage): over what of its segment is not the stage's [min]."""
    port_place: Array
    """int64 (port, column)."""
    first_shift: Array
    """int64 (day + 1,): shifts are in order of days."""
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
    over_price: float
    """What a minute of overtime costs on top [h/min]."""
    most_open: float
    most_open_min: float
    water_kind: int
    is_narrow: bool
    """Whether only shifts that pass near a stage are tried, because there are so many."""


class Routes(NamedTuple):
    """A plan being worked on."""

    lines: Lines
    load: Array
    at: Array
    """int64 (stage, column): shift or -1, and option."""
    m_used: Array
    """int64 (row, slot): supporting machine in use, or -1."""
    n_busy: Array
    """int64 (machine, day)."""
    busy: Array
    """float64 (machine, day, turn, column): clock, in order [min after midnight]."""
    busy_with: Array
    """int64 (machine, day, turn, column): stage, and places where its work begins and ends."""
    asked: Array
    """float64 (row, column): when the stages of a day need support, in order."""
    asked_by: Array
    """int64 (row, column), like ``busy_with``."""
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
    at, gone = start, 0.0
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
        gone += w.between[c, at, w.block[b, ENTER + choice]]
        p.begin[h, i] = gone
        gone += w.minutes[c, b, choice]
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
            if total < best and total - p.minutes[h] <= p.spare[h, i]:
                best = total
                place = np.int64(i)
    return best, place


@njit(cache=True, nogil=True)
def apart_at(
    w: Ways,
    p: Lines,
    h: int,
    forward: int,
    backward: int,
    least: int,
    most_open: float,
    most_open_min: float,
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
    for i in range(least, n):
        already = p.scratch[2, i - 1] if i > 0 else 0.0
        if already + length > most_open:
            continue
        starts = w.block[p.seq[h, i], ENTER + p.mode[h, i]]
        for j in range(i + 1, n + 1):
            # Nothing more may stay open, in metres or in minutes, across the block before j
            b = p.seq[h, j - 1]
            ends = w.block[b, LEAVE + p.mode[h, j - 1]]
            lies = p.begin[h, j - 1] + w.minutes[c, b, p.mode[h, j - 1]] - p.begin[h, i]
            if p.scratch[2, j - 1] + length > most_open or lies > most_open_min:
                break
            for way in range(2):
                e, x = (e_b, x_f) if way == 0 else (e_f, x_b)
                between = w.between[c, x, starts] + lies + w.between[c, ends, e]
                if between > most_open_min:
                    continue
                if p.scratch[way, i] > p.spare[h, i] or p.scratch[1 - way, j] > p.spare[h, j]:
                    continue
                if p.scratch[way, i] + p.scratch[1 - way, j] < best:
                    best = p.scratch[way, i] + p.scratch[1 - way, j]
                    first, second, turned = np.int64(i), np.int64(j), np.int64(way)
    return best, turned, first, second


@njit(cache=True, nogil=True)
def too_open(t: Tables, p: Lines, h: int) -> int:
    """A stage of shift ``h`` whose windrow lies too long between its parts, or -1.

    Also settles how many minutes may still come in at each place before one does.
    """
    c, n = t.ways.shift[h, CLASS], p.n[h]
    for i in range(n + 1):
        p.spare[h, i] = np.inf
    for i in range(n):
        b = p.seq[h, i]
        if t.ways.opens[b] <= 0:
            continue
        s = t.ways.block[b, STAGE]
        for j in range(i + 1, n):
            if t.ways.block[p.seq[h, j], STAGE] == s:
                ends = p.begin[h, i] + t.ways.minutes[c, b, p.mode[h, i]]
                closed = p.begin[h, j] + t.ways.minutes[c, p.seq[h, j], p.mode[h, j]]
                spare = t.most_open_min - MARGIN_MIN - (p.begin[h, j] - ends)
                by = t.shift_real[h, BREAK_BY]
                if ends <= by + MARGIN_MIN and closed >= by - MARGIN_MIN:
                    spare -= t.shift_real[h, BREAK]
                if spare < 0:
                    return int(s)
                for k in range(i + 1, j + 1):
                    p.spare[h, k] = min(p.spare[h, k], spare)
                break
    return -1


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
