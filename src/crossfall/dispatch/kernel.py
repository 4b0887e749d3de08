"""A shift as a sequence of blocks: what it costs, and where one more stage fits best.

The direction of every block is left open and settled exactly by dynamic
programming over modes each time a shift changes (idea of Vidal, "Node, edge,
arc routing and turn penalties", Operations Research, 2017; recalled). Kept
minutes from the front and from the back make the best place for one more block
a matter of a few look-ups.

Everything here works on numbers only; :mod:`crossfall.dispatch.solve` builds
the tables and :func:`plain_minutes` is the plain reference for
:func:`refresh`.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numba import njit

Array = Any
"""Numpy arrays; inside compiled code the element types below are what matters."""

N_SLOTS = 16
_SMALL = 1e-9


class Tables(NamedTuple):
    """What never changes during a search."""

    between: Array
    """float32 (class, port, port) [min]."""
    b_stage: Array
    b_n_modes: Array
    b_enter: Array
    b_leave: Array
    b_minutes: Array
    """float64 (class, block, mode) [min]."""
    b_opens: Array
    o_first: Array
    o_second: Array
    o_count: Array
    sh_class: Array
    sh_day: Array
    sh_yard: Array
    sh_most: Array
    """float64 (shift,) usable minutes [min]."""
    sh_load: Array
    """float64 (shift,) most load; infinite where loads do not matter."""
    s_load: Array
    s_least: Array
    """float64 (stage,) fewest minutes the stage can take [min]."""
    ok: Array
    """bool (stage, shift)."""
    worth: Array
    """float64 (stage, shift) [h]."""
    before_ptr: Array
    before: Array
    behind_ptr: Array
    behind: Array
    need_ptr: Array
    need_kind: Array
    need_n: Array
    need_h: Array
    water_h: Array
    wet: Array
    """bool (stage, day): only if watered."""
    water_kind: int
    m_kind: Array
    m_row: Array
    """int64 (stage,): its row in ``Routes.m_used``; -1 for stages that never need support."""
    near: Array
    """int64 (stage, neighbour), nearest first, itself first; -1 fills up."""
    price: float
    """Worth of one minute [h/min]."""
    most_open: float


class Routes(NamedTuple):
    """A plan being worked on."""

    seq: Array
    """int64 (shift, place): blocks in order."""
    n: Array
    minutes: Array
    load: Array
    fwd: Array
    bwd: Array
    mode: Array
    where: Array
    """int64 (stage,): shift, or -1."""
    option: Array
    m_left: Array
    """float64 (machine, day): supporting hours left [h]."""
    m_used: Array
    """int64 (row, slot): supporting machine in use, or -1."""
    m_hours: Array


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
def refresh(t: Tables, r: Routes, h: int) -> None:
    """Settle the directions of shift ``h`` and its minutes, exactly."""
    n = r.n[h]
    r.minutes[h] = 0.0
    if n == 0:
        return
    c, yard = t.sh_class[h], t.sh_yard[h]
    for i in range(n):
        b = r.seq[h, i]
        for m in range(t.b_n_modes[b]):
            e = t.b_enter[b, m]
            best = np.inf
            if i == 0:
                best = t.between[c, yard, e]
            else:
                a = r.seq[h, i - 1]
                for q in range(t.b_n_modes[a]):
                    each = r.fwd[h, i - 1, q] + t.between[c, t.b_leave[a, q], e]
                    best = min(best, each)
            r.fwd[h, i, m] = best + t.b_minutes[c, b, m]
    for i in range(n - 1, -1, -1):
        b = r.seq[h, i]
        for m in range(t.b_n_modes[b]):
            x = t.b_leave[b, m]
            best = np.inf
            if i == n - 1:
                best = t.between[c, x, yard]
            else:
                a = r.seq[h, i + 1]
                for q in range(t.b_n_modes[a]):
                    each = r.bwd[h, i + 1, q] + t.between[c, x, t.b_enter[a, q]]
                    best = min(best, each)
            r.bwd[h, i, m] = best + t.b_minutes[c, b, m]
    at = yard
    for i in range(n):
        b = r.seq[h, i]
        best, choice = np.inf, 0
        for m in range(t.b_n_modes[b]):
            each = t.between[c, at, t.b_enter[b, m]] + r.bwd[h, i, m]
            if each < best:
                best, choice = each, m
        if i == 0:
            r.minutes[h] = best
        r.mode[h, i] = choice
        at = t.b_leave[b, choice]


@njit(cache=True, nogil=True)
def support_fits(t: Tables, r: Routes, s: int, day: int) -> bool:
    """Whether enough supporting machines have the hours left that day."""
    for k in range(t.need_ptr[s], t.need_ptr[s + 1]):
        found = 0
        for m in range(t.m_kind.size):
            if t.m_kind[m] == t.need_kind[k] and r.m_left[m, day] >= t.need_h[k] - _SMALL:
                found += 1
        if found < t.need_n[k]:
            return False
    if t.wet[s, day] and t.water_h[s] > 0:
        for m in range(t.m_kind.size):
            if t.m_kind[m] == t.water_kind and r.m_left[m, day] >= t.water_h[s] - _SMALL:
                return True
        return False
    return True


@njit(cache=True, nogil=True)
def take_support(t: Tables, r: Routes, s: int, day: int) -> None:
    if t.m_row[s] < 0:
        return
    slot = 0
    n_needs = t.need_ptr[s + 1] - t.need_ptr[s]
    for each in range(n_needs + 1):
        if each < n_needs:
            k = t.need_ptr[s] + each
            kind, count, hours = t.need_kind[k], t.need_n[k], t.need_h[k]
        elif t.wet[s, day] and t.water_h[s] > 0:
            kind, count, hours = t.water_kind, 1, t.water_h[s]
        else:
            break
        for _ in range(count):
            best = -1
            for m in range(t.m_kind.size):
                is_new = True
                for z in range(slot):
                    if r.m_used[t.m_row[s], z] == m:
                        is_new = False
                if (
                    t.m_kind[m] == kind
                    and is_new
                    and r.m_left[m, day] >= hours - _SMALL
                    and (best < 0 or r.m_left[m, day] < r.m_left[best, day])
                ):
                    best = m
            if best >= 0 and slot < N_SLOTS:
                # The fullest machine that still has room: the emptier ones stay for long stages
                r.m_left[best, day] -= hours
                r.m_used[t.m_row[s], slot] = best
                r.m_hours[t.m_row[s], slot] = hours
                slot += 1


@njit(cache=True, nogil=True)
def _give_support(t: Tables, r: Routes, s: int, day: int) -> None:
    if t.m_row[s] < 0:
        return
    for z in range(N_SLOTS):
        if r.m_used[t.m_row[s], z] < 0:
            break
        r.m_left[r.m_used[t.m_row[s], z], day] += r.m_hours[t.m_row[s], z]
        r.m_used[t.m_row[s], z] = -1


@njit(cache=True, nogil=True)
def earliest(t: Tables, r: Routes, s: int, h: int) -> int:
    """First place in shift ``h`` where ``s`` may stand after what it must follow; -1 nowhere."""
    least = 0
    for k in range(t.before_ptr[s], t.before_ptr[s + 1]):
        p = t.before[k]
        g = r.where[p]
        if g < 0:
            return -1
        if g == h:
            for i in range(r.n[h] - 1, -1, -1):
                if t.b_stage[r.seq[h, i]] == p:
                    least = max(least, i + 1)
                    break
        elif t.sh_day[g] >= t.sh_day[h]:
            return -1
    return least


@njit(cache=True, nogil=True)
def whole_at(t: Tables, r: Routes, h: int, b: int, least: int) -> tuple[float, int]:
    """Fewest minutes of shift ``h`` with block ``b`` put in, all directions free; and where."""
    c, yard, n = t.sh_class[h], t.sh_yard[h], r.n[h]
    best, place = np.inf, -1
    for i in range(least, n + 1):
        for m in range(t.b_n_modes[b]):
            e, x = t.b_enter[b, m], t.b_leave[b, m]
            into, out = np.inf, np.inf
            if i == 0:
                into = t.between[c, yard, e]
            else:
                a = r.seq[h, i - 1]
                for q in range(t.b_n_modes[a]):
                    into = min(into, r.fwd[h, i - 1, q] + t.between[c, t.b_leave[a, q], e])
            if i == n:
                out = t.between[c, x, yard]
            else:
                a = r.seq[h, i]
                for q in range(t.b_n_modes[a]):
                    out = min(out, r.bwd[h, i, q] + t.between[c, x, t.b_enter[a, q]])
            total = into + t.b_minutes[c, b, m] + out
            if total < best:
                best, place = total, i
    return best, place


@njit(cache=True, nogil=True)
def apart_at(t: Tables, r: Routes, h: int, a: int, b: int, least: int) -> tuple[float, int, int]:
    """Minutes with ``a`` put in now and ``b`` later, the others' directions as they are."""
    c, n = t.sh_class[h], r.n[h]
    best, first, second = np.inf, -1, -1
    open_at = np.zeros(n + 1)
    gain_b = np.zeros(n + 1)
    gain_a = np.zeros(n + 1)
    at, is_open = t.sh_yard[h], 0.0
    for i in range(n + 1):
        nxt = t.sh_yard[h] if i == n else t.b_enter[r.seq[h, i], r.mode[h, i]]
        direct = t.between[c, at, nxt]
        gain_a[i] = (
            t.between[c, at, t.b_enter[a, 0]]
            + t.b_minutes[c, a, 0]
            + t.between[c, t.b_leave[a, 0], nxt]
            - direct
        )
        gain_b[i] = (
            t.between[c, at, t.b_enter[b, 0]]
            + t.b_minutes[c, b, 0]
            + t.between[c, t.b_leave[b, 0], nxt]
            - direct
        )
        if i < n:
            is_open += t.b_opens[r.seq[h, i]]
            open_at[i] = is_open
            at = t.b_leave[r.seq[h, i], r.mode[h, i]]
    for i in range(least, n):
        for j in range(i + 1, n + 1):
            if open_at[j - 1] + t.b_opens[a] > t.most_open:
                break
            if gain_a[i] + gain_b[j] < best:
                best, first, second = gain_a[i] + gain_b[j], i, j
    return r.minutes[h] + best, first, second


@njit(cache=True, nogil=True)
def _put(r: Routes, h: int, b: int, i: int) -> None:
    for k in range(r.n[h], i, -1):
        r.seq[h, k] = r.seq[h, k - 1]
    r.seq[h, i] = b
    r.n[h] += 1


@njit(cache=True, nogil=True)
def place(t: Tables, r: Routes, s: int, h: int, option: int, i: int, j: int) -> None:
    """Put stage ``s`` into shift ``h``: first block at ``i``, second (if any) before old ``j``."""
    if t.o_second[s, option] >= 0:
        _put(r, h, t.o_second[s, option], j)
    _put(r, h, t.o_first[s, option], i)
    r.where[s] = h
    r.option[s] = option
    r.load[h] += t.s_load[s]
    take_support(t, r, s, t.sh_day[h])
    refresh(t, r, h)


@njit(cache=True, nogil=True)
def take_out(t: Tables, r: Routes, s: int) -> None:
    """Take stage ``s`` out; the caller refreshes its shift."""
    h = r.where[s]
    k = 0
    for i in range(r.n[h]):
        if t.b_stage[r.seq[h, i]] != s:
            r.seq[h, k] = r.seq[h, i]
            k += 1
    r.n[h] = k
    r.where[s] = -1
    r.load[h] -= t.s_load[s]
    _give_support(t, r, s, t.sh_day[h])


@njit(cache=True, nogil=True)
def insert(t: Tables, r: Routes, s: int, rng: Array, blink: float) -> bool:
    """Put stage ``s`` where it is worth most, if anywhere it is worth its minutes."""
    best, at_h, at_o, at_i, at_j = _SMALL, -1, 0, 0, 0
    room = r.seq.shape[1]
    for h in range(t.sh_day.size):
        if not t.ok[s, h] or r.n[h] + 2 > room:
            continue
        if r.minutes[h] + t.s_least[s] > t.sh_most[h] and r.n[h] > 0:
            continue
        if r.load[h] + t.s_load[s] > t.sh_load[h] + _SMALL:
            continue
        # Nothing beats what a stage brings for its own minutes and no travel
        if t.worth[s, h] - t.price * t.s_least[s] <= best and r.n[h] == 0:
            continue
        if blink > 0 and draw(rng) < blink:
            continue
        least = earliest(t, r, s, h)
        if least < 0 or not support_fits(t, r, s, t.sh_day[h]):
            continue
        total, i = whole_at(t, r, h, t.o_first[s, 0], least)
        gain = t.worth[s, h] - t.price * (total - r.minutes[h])
        if total <= t.sh_most[h] and gain > best:
            best, at_h, at_o, at_i, at_j = gain, h, 0, i, i
        for o in range(1, t.o_count[s]):
            total, i, j = apart_at(t, r, h, t.o_first[s, o], t.o_second[s, o], least)
            gain = t.worth[s, h] - t.price * (total - r.minutes[h])
            if total <= t.sh_most[h] and gain > best:
                best, at_h, at_o, at_i, at_j = gain, h, o, i, j
    if at_h < 0:
        return False
    place(t, r, s, at_h, at_o, at_i, at_j)
    return True


@njit(cache=True, nogil=True)
def worth_of(t: Tables, r: Routes) -> float:
    """Worth of all that is placed less the price of the minutes [h]."""
    total = 0.0
    for s in range(r.where.size):
        if r.where[s] >= 0:
            total += t.worth[s, r.where[s]]
    for h in range(r.n.size):
        total -= t.price * r.minutes[h]
    return total


@njit(cache=True, nogil=True)
def copy_routes(source: Routes, target: Routes) -> None:
    """Copy what makes a plan; the rest follows by :func:`refresh`."""
    target.seq[:] = source.seq
    target.n[:] = source.n
    target.load[:] = source.load
    target.minutes[:] = source.minutes
    target.where[:] = source.where
    target.option[:] = source.option
    target.m_left[:] = source.m_left
    target.m_used[:] = source.m_used
    target.m_hours[:] = source.m_hours


@njit(cache=True, nogil=True)
def fill(t: Tables, r: Routes, order: Array, rng: Array) -> int:
    """Put in every stage of ``order`` that still fits and is worth it; returns how many."""
    n = 0
    for s in order:
        if r.where[s] < 0 and insert(t, r, s, rng, 0.0):
            n += 1
    return n


def plain_minutes(t: Tables, blocks: list[int], shift: int) -> float:
    """Fewest minutes of one shift over all directions, written plainly with numpy.

    The reference that :func:`refresh` must agree with.
    """
    c, yard = int(t.sh_class[shift]), int(t.sh_yard[shift])
    if not blocks:
        return 0.0
    ports, cost = np.array([yard]), np.zeros(1)
    for b in blocks:
        modes = slice(0, int(t.b_n_modes[b]))
        enter, leave = t.b_enter[b, modes], t.b_leave[b, modes]
        arrive = (cost[:, None] + t.between[c][np.ix_(ports, enter)].astype(float)).min(axis=0)
        ports, cost = leave, arrive + t.b_minutes[c, b, modes]
    return float((cost + t.between[c][ports, yard].astype(float)).min())
