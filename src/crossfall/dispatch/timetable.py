"""When supporting machines are needed, and which of them comes: one stage at a time each.

A machine is bound from the first pass of a stage to the last, and for the hours it is promised if
those are longer. Each day's timetable follows from the shifts alone: stages in order of time take
the machine that would otherwise stand idle for the shortest. So it can be made anew after every
change, and the same plan always has the same one.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numba import njit

from crossfall.dispatch.kernel import (
    BACK,
    BREAK,
    BREAK_BY,
    CLASS,
    COUNT,
    FROM,
    HOME_BY,
    HOURS,
    IS_OUT_COUNTED,
    KIND,
    LATE_FROM,
    LEAD_LEAST,
    LEAD_MOST,
    LEAVE_FROM,
    LEAVES_AT,
    M_CLASS,
    M_KIND,
    MARGIN_MIN,
    N_BUSY,
    N_SLOTS,
    NEED,
    OUT,
    PLACE,
    ROW,
    STAGE,
    UNTIL,
    WATER_H,
    Routes,
    Tables,
)


@njit(cache=True, nogil=True)
def asks(t: Tables, s: int, day: int) -> bool:
    """Whether the stage needs any supporting machine that day."""
    if t.stage[s, ROW] < 0:
        return False
    return bool(t.stage[s + 1, NEED] > t.stage[s, NEED] or t.wet[s, day])


@njit(cache=True, nogil=True)
def span(t: Tables, h: int, s: int, begin: float, end: float) -> tuple[float, float, float]:
    """Clock from when the work may need support, its latest beginning, and its end.

    ``begin`` and ``end`` of its block are minutes after leaving without the meal break, which may
    come before or in the middle.
    """
    leaves, rest, by = t.shift_real[h, LEAVES_AT], t.shift_real[h, BREAK], t.shift_real[h, BREAK_BY]
    early = begin + t.stage_real[s, LEAD_LEAST]
    late = begin + t.stage_real[s, LEAD_MOST]
    if early >= by + MARGIN_MIN:
        early += rest
    if end > by - MARGIN_MIN:
        late += rest
        end += rest
    return leaves + early - MARGIN_MIN, leaves + late, leaves + end + MARGIN_MIN


@njit(cache=True, nogil=True)
def need_of(t: Tables, s: int, day: int, each: int) -> tuple[float, int, float]:
    """Kind, number and hours of the stage's need number ``each``; no number when there is none."""
    k = t.stage[s, NEED] + each
    if k < t.stage[s + 1, NEED]:
        return t.need[k, KIND], int(t.need[k, COUNT]), t.need[k, HOURS]
    if k == t.stage[s + 1, NEED] and t.wet[s, day]:
        return float(t.water_kind), 1, t.stage_real[s, WATER_H]
    return -1.0, 0, 0.0


@njit(cache=True, nogil=True)
def could_book(
    t: Tables, r: Routes, s: int, day: int, at: float, late: float, until: float
) -> bool:
    """Whether enough machines are free then, with the drives there and to what follows."""
    place = t.stage[s, PLACE]
    for each in range(N_SLOTS):
        kind, count, hours = need_of(t, s, day, each)
        if count == 0:
            break
        end = max(until, late + 60.0 * hours + MARGIN_MIN)
        found = 0
        for m in range(t.machine.shape[0]):
            if t.machine[m, M_KIND] != kind:
                continue
            if found == count:
                break
            c = t.machine[m, M_CLASS]
            leaves = t.window[m, day, LEAVE_FROM]
            if t.window[m, day, IS_OUT_COUNTED] > 0:
                leaves += t.home[m, place, OUT]
            home_at = end + t.home[m, place, BACK]
            is_free = leaves <= at + MARGIN_MIN
            is_free = is_free and home_at <= t.window[m, day, HOME_BY] + MARGIN_MIN
            n = r.n_busy[m, day]
            is_free = is_free and n < N_BUSY
            for z in range(n):
                other = t.stage[r.busy_with[m, day, z], PLACE]
                before = r.busy[m, day, z, UNTIL] + t.drive[c, other, place] <= at
                after = end + t.drive[c, place, other] <= r.busy[m, day, z, FROM]
                is_free = is_free and (before or after)
            if is_free:
                found += 1
        if found < count:
            return False
    return True


@njit(cache=True, nogil=True)
def timetable(t: Tables, r: Routes, day: int) -> int:
    """Make the day's timetable anew; returns a stage that finds no machine, or -1."""
    n: Any = np.int64(0)
    for h in range(t.first_shift[day], t.first_shift[day + 1]):
        c = t.ways.shift[h, CLASS]
        for i in range(r.lines.n[h]):
            b = r.lines.seq[h, i]
            s: Any = np.int64(t.ways.block[b, STAGE])
            if not asks(t, s, day):
                continue
            if t.ways.opens[b] != 0:
                # Machines that help cannot wait while the grader works elsewhere
                return int(s)
            begin = r.lines.begin[h, i]
            end = begin + t.ways.minutes[c, b, r.lines.mode[h, i]]
            at, late, until = span(t, h, s, begin, end)
            k = n
            while k > 0 and r.asked[k - 1, FROM] > at:
                r.asked_by[k] = r.asked_by[k - 1]
                for z in range(3):
                    r.asked[k, z] = r.asked[k - 1, z]
                k -= 1
            r.asked_by[k] = s
            r.asked[k, FROM], r.asked[k, UNTIL], r.asked[k, LATE_FROM] = at, until, late
            n += 1
    for m in range(t.machine.shape[0]):
        r.n_busy[m, day] = 0
    for k in range(n):
        if not _book(t, r, r.asked_by[k], day, k):
            return int(r.asked_by[k])
    return -1


@njit(cache=True, nogil=True)
def _book(t: Tables, r: Routes, s: int, day: int, k: int) -> bool:
    """Promise the stage all it needs, of the machines that are free by then."""
    row, place, slot = t.stage[s, ROW], t.stage[s, PLACE], 0
    at = r.asked[k, FROM]
    for z in range(N_SLOTS):
        r.m_used[row, z] = -1
    for each in range(N_SLOTS):
        kind, count, hours = need_of(t, s, day, each)
        if count == 0:
            break
        end = max(r.asked[k, UNTIL], r.asked[k, LATE_FROM] + 60.0 * hours + MARGIN_MIN)
        for _ in range(count):
            best, least_idle = -1, np.inf
            for m in range(t.machine.shape[0]):
                if t.machine[m, M_KIND] != kind:
                    continue
                n = r.n_busy[m, day]
                ready = t.window[m, day, LEAVE_FROM]
                if n > 0:
                    other = t.stage[r.busy_with[m, day, n - 1], PLACE]
                    drive = t.drive[t.machine[m, M_CLASS], other, place]
                    ready = r.busy[m, day, n - 1, UNTIL] + drive
                else:
                    ready -= MARGIN_MIN
                    if t.window[m, day, IS_OUT_COUNTED] > 0:
                        ready += t.home[m, place, OUT]
                home_at = end + t.home[m, place, BACK]
                is_in_time = home_at <= t.window[m, day, HOME_BY] + MARGIN_MIN
                is_mine = n > 0 and r.busy_with[m, day, n - 1] == s
                idle = at - ready
                if is_in_time and not is_mine and n < N_BUSY and 0 <= idle < least_idle:
                    best, least_idle = m, idle
            if best < 0 or slot == N_SLOTS:
                return False
            n = r.n_busy[best, day]
            r.busy[best, day, n, FROM], r.busy[best, day, n, UNTIL] = at, end
            r.busy_with[best, day, n] = s
            r.n_busy[best, day] = n + 1
            r.m_used[row, slot] = best
            slot += 1
    return True
