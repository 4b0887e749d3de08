"""Putting stages into shifts and taking them out, so that every rule of the week holds after it.

Where a stage fits best is found from a few look-ups; whether the plan still stands with it there
(windrows not open too long, supporting machines in one place at a time) is settled exactly once it
is in, and it comes out again if not.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numba import njit

from crossfall.dispatch.kernel import (
    BAN,
    BEFORE,
    BEHIND,
    CLASS,
    COMES_BY,
    DAY,
    ENTER,
    GOES_BY,
    GROUP,
    HOME,
    LAST,
    LEAST,
    LEAVE,
    LOAD,
    MOST_LOAD,
    MOST_MIN,
    N_MODES,
    N_OPTIONS,
    OPTION,
    REGULAR,
    ROW,
    SMALL,
    STAGE,
    START,
    TO_HOME,
    WHERE,
    Array,
    Routes,
    Tables,
    apart_at,
    draw,
    refresh,
    too_open,
    whole_at,
)
from crossfall.dispatch.timetable import asks, could_book, is_barred, span, timetable


@njit(cache=True, nogil=True, inline="always")
def cost_of(t: Tables, h: int, minutes: float) -> float:
    """What a shift of so many minutes costs, overtime included [h]."""
    return float(t.price * minutes + t.over_price * max(0.0, minutes - t.shift_real[h, REGULAR]))


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
def supported_at(
    t: Tables, r: Routes, s: int, h: int, least: int, most_min: float
) -> tuple[float, int]:
    """As :func:`~crossfall.dispatch.kernel.whole_at`, only where the machines it needs can come.

    Not in barred hours, and only if the shift then takes no more than ``most_min``.
    """
    p, w = r.lines, t.ways
    c, n, day, b = w.shift[h, CLASS], p.n[h], w.shift[h, DAY], t.option[s, 0, 0]
    best = np.inf
    place: Any = np.int64(-1)
    for i in range(least, n + 1):
        a = p.seq[h, max(0, i - 1)]
        z = p.seq[h, min(n - 1, i)] if n > 0 else a
        for m in range(w.block[b, N_MODES]):
            e, x = w.block[b, ENTER + m], w.block[b, LEAVE + m]
            into, out = np.inf, np.inf
            if i == 0:
                into = w.between[c, w.shift[h, START], e]
            else:
                for q in range(w.block[a, N_MODES]):
                    into = min(into, p.cost[h, i - 1, q] + w.between[c, w.block[a, LEAVE + q], e])
            if i == n:
                out = w.between[c, x, w.shift[h, HOME]]
            else:
                for q in range(w.block[z, N_MODES]):
                    after = p.cost[h, i, TO_HOME + q]
                    out = min(out, after + w.between[c, x, w.block[z, ENTER + q]])
            total = into + w.minutes[c, b, m] + out
            is_better = total < best and total <= most_min
            if is_better and total - p.minutes[h] <= p.spare[h, i]:
                at, late, until = span(t, h, s, into, into + w.minutes[c, b, m])
                if is_barred(t, h, s, into, into + w.minutes[c, b, m]):
                    continue
                comes_by, goes_by = (
                    t.port_place[e, COMES_BY],
                    t.port_place[w.block[b, LAST + m], GOES_BY],
                )
                if not asks(t, s, day) or could_book(
                    t, r, s, day, at, late, until, comes_by, goes_by
                ):
                    best = total
                    place = np.int64(i)
    return best, place


@njit(cache=True, nogil=True)
def best_place(
    t: Tables, r: Routes, s: int, rng: Array, blink: float, spot: Array, barred: int
) -> bool:
    """Where stage ``s`` is worth most, if it is worth its minutes anywhere but in ``barred``.

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
        if not t.ok[s, h] or h == barred:
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
        if least < 0:
            continue
        # By the clock go those who need help, and those who are barred at some hours
        needs_support = t.stage[s, ROW] >= 0 and asks(t, s, t.ways.shift[h, DAY])
        needs_support = needs_support or t.stage[s + 1, BAN] > t.stage[s, BAN]
        total, i = whole_at(t.ways, r.lines, h, t.option[s, 0, 0], least, rng, blink)
        now_h = cost_of(t, h, r.lines.minutes[h])
        gain = t.worth[s, h] - (cost_of(t, h, total) - now_h)
        if needs_support and total <= t.shift_real[h, MOST_MIN] and gain > best:
            # Where it would fit, it must also fit those who help
            most = min(
                t.shift_real[h, MOST_MIN],
                r.lines.minutes[h] + (t.worth[s, h] - best) / max(t.price, SMALL),
            )
            total, i = supported_at(t, r, s, h, least, most)
            gain = t.worth[s, h] - (cost_of(t, h, total) - now_h)
        if total <= t.shift_real[h, MOST_MIN] and gain > best:
            best = gain
            spot[0], spot[1], spot[2], spot[3] = h, 0, i, i
        if t.stage[s, N_OPTIONS] > 1 and r.lines.n[h] > 0 and not needs_support:
            forward, backward = t.option[s, 1, 0], t.option[s, 1, 1]
            added, turned, i, j = apart_at(
                t.ways,
                r.lines,
                h,
                forward,
                backward,
                least,
                t.most_open,
                t.most_open_min,
            )
            c = t.ways.shift[h, CLASS]
            for o in range(1 + turned, t.stage[s, N_OPTIONS], 2):
                inside = t.ways.minutes[c, t.option[s, o, 0], 0]
                inside += t.ways.minutes[c, t.option[s, o, 1], 0]
                total = r.lines.minutes[h] + added + inside
                gain = t.worth[s, h] - (cost_of(t, h, total) - now_h)
                fits = total <= t.shift_real[h, MOST_MIN]
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


@njit(cache=True, nogil=True)
def barred_in(t: Tables, r: Routes, h: int) -> int:
    """A stage of shift ``h`` that would be worked in barred hours, or -1."""
    c = t.ways.shift[h, CLASS]
    for i in range(r.lines.n[h]):
        b, begin = r.lines.seq[h, i], r.lines.begin[h, i]
        s = t.ways.block[b, STAGE]
        if is_barred(t, h, s, begin, begin + t.ways.minutes[c, b, r.lines.mode[h, i]]):
            return int(s)
    return -1


@njit(cache=True, nogil=True)
def broken_by(t: Tables, r: Routes, h: int) -> int:
    """A stage that cannot stay, as shift ``h`` now is; -1 when all can.

    Makes the timetable of the day anew.
    """
    s = too_open(t, r.lines, h)
    if s < 0 and t.ban.shape[0] > 0:
        s = barred_in(t, r, h)
    if s < 0 and r.m_used.shape[0] > 0:
        s = timetable(t, r, t.ways.shift[h, DAY])
    return s


@njit(cache=True, nogil=True)
def place_if_it_stands(t: Tables, r: Routes, s: int, spot: Array) -> bool:
    """Put stage ``s`` in at ``spot`` if nothing breaks by it; else all is as it was."""
    h = spot[0]
    place(t, r, s, spot)
    if r.lines.minutes[h] <= t.shift_real[h, MOST_MIN] and broken_by(t, r, h) < 0:
        return True
    take_out(t, r, s)
    refresh(t.ways, r.lines, h)
    broken_by(t, r, h)
    return False


@njit(cache=True, nogil=True)
def put_right(t: Tables, r: Routes) -> None:
    """Take out whatever cannot stay, and what must follow it, until the whole plan stands."""
    for h in range(r.load.size):
        refresh(t.ways, r.lines, h)
    h = 0
    while h < r.load.size:
        s = broken_by(t, r, h)
        if s < 0:
            h += 1
            continue
        _take_out_with_followers(t, r, s)
        h = 0


@njit(cache=True, nogil=True)
def _take_out_with_followers(t: Tables, r: Routes, s: int) -> None:
    gone = [s]
    while len(gone) > 0:
        z = gone.pop()
        h = r.at[z, WHERE]
        if h < 0:
            continue
        take_out(t, r, z)
        refresh(t.ways, r.lines, h)
        gone.extend(t.behind[t.stage[z, BEHIND] : t.stage[z + 1, BEHIND]])


@njit(cache=True, nogil=True)
def worth_of(t: Tables, r: Routes) -> float:
    """Worth of all that is placed less the price of the minutes [h]."""
    total = 0.0
    for s in range(r.at.shape[0]):
        if r.at[s, WHERE] >= 0:
            total += t.worth[s, r.at[s, WHERE]]
    for h in range(r.load.size):
        total -= cost_of(t, h, r.lines.minutes[h])
    return total


@njit(cache=True, nogil=True)
def fill(t: Tables, r: Routes, order: Array, rng: Array) -> int:
    """Put in every stage of ``order`` that still fits and is worth it; returns how many."""
    spot = np.zeros(4, dtype=np.int64)
    n = 0
    for s in order:
        if r.at[s, WHERE] < 0 and best_place(t, r, s, rng, 0.0, spot, -1):
            n += place_if_it_stands(t, r, s, spot)
    return n
