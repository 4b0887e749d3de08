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
    AT_FIRST,
    AT_LAST,
    BAN,
    BAN_DAY,
    BAN_FROM,
    BAN_UNTIL,
    BREAK,
    BREAK_BY,
    CLASS,
    COMES_BY,
    COUNT,
    DAY,
    ENTER,
    FROM,
    GOES_BY,
    HOME_BY,
    HOURS,
    IS_OUT_COUNTED,
    KIND,
    LAST,
    LATE_FROM,
    LEAD_LEAST,
    LEAD_MOST,
    LEAVE_FROM,
    LEAVES_AT,
    M_CLASS,
    M_HOME,
    M_KIND,
    MARGIN_MIN,
    N_BUSY,
    N_SLOTS,
    NEED,
    ROW,
    STAGE,
    UNTIL,
    WATER_H,
    WHO,
    Routes,
    Tables,
)

SLACK_MIN = 0.004
"""Times that agree but for rounding are the same; the checker allows a little more."""


@njit(cache=True, nogil=True, inline="always")
def asks(t: Tables, s: int, day: int) -> bool:
    """Whether the stage needs any supporting machine that day."""
    if t.stage[s, ROW] < 0:
        return False
    return bool(t.stage[s + 1, NEED] > t.stage[s, NEED] or t.wet[s, day])


@njit(cache=True, nogil=True, inline="always")
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
    return leaves + early, leaves + late, leaves + end


@njit(cache=True, nogil=True)
def is_barred(t: Tables, h: int, s: int, begin: float, end: float) -> bool:
    """Whether work from ``begin`` to ``end`` after leaving could fall into barred hours."""
    first, last = t.stage[s, BAN], t.stage[s + 1, BAN]
    if first == last:
        return False
    day = t.ways.shift[h, DAY]
    at, _, until = span(t, h, s, begin, end)
    for k in range(first, last):
        is_over = until <= t.ban[k, BAN_FROM] + SLACK_MIN or at >= t.ban[k, BAN_UNTIL] - SLACK_MIN
        if t.ban[k, BAN_DAY] == day and not is_over:
            return True
    return False


@njit(cache=True, nogil=True, inline="always")
def need_of(t: Tables, s: int, day: int, each: int) -> tuple[float, int, float]:
    """Kind, number and hours of the stage's need number ``each``; no number when there is none."""
    k = t.stage[s, NEED] + each
    if k < t.stage[s + 1, NEED]:
        return t.need[k, KIND], int(t.need[k, COUNT]), t.need[k, HOURS]
    if k == t.stage[s + 1, NEED] and t.wet[s, day]:
        return float(t.water_kind), 1, t.stage_real[s, WATER_H]
    return -1.0, 0, 0.0


@njit(cache=True, nogil=True, inline="always")
def _comes_home(t: Tables, m: int, day: int, s: int, goes_by: int, end: float) -> bool:
    """Whether a machine that is with the stage until ``end`` is home in time."""
    c, home = t.machine[m, M_CLASS], t.machine[m, M_HOME]
    end += t.rest[c, s]
    if home >= 0:
        end += t.drive[c, goes_by, home]
    return bool(end <= t.window[m, day, HOME_BY] + SLACK_MIN)


@njit(cache=True, nogil=True, inline="always")
def _out_from(t: Tables, m: int, day: int, s: int, comes_by: int) -> float:
    """Clock by which a machine that has done nothing yet can be at the stage."""
    c, home = t.machine[m, M_CLASS], t.machine[m, M_HOME]
    at = t.window[m, day, LEAVE_FROM]
    if home >= 0 and t.window[m, day, IS_OUT_COUNTED] > 0:
        at += t.drive[c, home, comes_by] + t.rest[c, s]
    return float(at)


@njit(cache=True, nogil=True)
def could_book(
    t: Tables,
    r: Routes,
    s: int,
    day: int,
    at: float,
    late: float,
    until: float,
    comes_by: int,
    goes_by: int,
) -> bool:
    """Whether enough machines are free then, with the drives there and to what follows."""
    for each in range(N_SLOTS):
        kind, count, hours = need_of(t, s, day, each)
        if count == 0:
            break
        end = max(until, late + 60.0 * hours)
        found = 0
        for m in range(t.machine.shape[0]):
            if t.machine[m, M_KIND] != kind:
                continue
            if found == count:
                break
            c, n = t.machine[m, M_CLASS], r.n_busy[m, day]
            is_free = n < N_BUSY and _out_from(t, m, day, s, comes_by) <= at + SLACK_MIN
            is_free = is_free and _comes_home(t, m, day, s, goes_by, end)
            for z in range(n):
                other = r.busy_with[m, day, z, WHO]
                between = t.rest[c, other] + t.rest[c, s] - SLACK_MIN
                before = t.drive[c, r.busy_with[m, day, z, AT_LAST], comes_by] + between
                after = t.drive[c, goes_by, r.busy_with[m, day, z, AT_FIRST]] + between
                comes = r.busy[m, day, z, UNTIL] + before <= at
                goes = end + after <= r.busy[m, day, z, FROM]
                is_free = is_free and (comes or goes)
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
            b, mode = r.lines.seq[h, i], r.lines.mode[h, i]
            s: Any = np.int64(t.ways.block[b, STAGE])
            if not asks(t, s, day):
                continue
            if t.ways.opens[b] != 0:
                # Machines that help cannot wait while the grader works elsewhere
                return int(s)
            begin = r.lines.begin[h, i]
            at, late, until = span(t, h, s, begin, begin + t.ways.minutes[c, b, mode])
            k = n
            while k > 0 and r.asked[k - 1, FROM] > at:
                for z in range(3):
                    r.asked_by[k, z] = r.asked_by[k - 1, z]
                    r.asked[k, z] = r.asked[k - 1, z]
                k -= 1
            r.asked_by[k, WHO] = s
            r.asked_by[k, AT_FIRST] = t.port_place[t.ways.block[b, ENTER + mode], COMES_BY]
            r.asked_by[k, AT_LAST] = t.port_place[t.ways.block[b, LAST + mode], GOES_BY]
            r.asked[k, FROM], r.asked[k, UNTIL], r.asked[k, LATE_FROM] = at, until, late
            n += 1
    for m in range(t.machine.shape[0]):
        r.n_busy[m, day] = 0
    for k in range(n):
        if not _book(t, r, r.asked_by[k, WHO], day, k):
            return int(r.asked_by[k, WHO])
    return -1


@njit(cache=True, nogil=True)
def _book(t: Tables, r: Routes, s: int, day: int, k: int) -> bool:
    """Promise the stage all it needs, of the machines that are free by then."""
    row, slot = t.stage[s, ROW], 0
    at, comes_by = r.asked[k, FROM], r.asked_by[k, AT_FIRST]
    for z in range(N_SLOTS):
        r.m_used[row, z] = -1
    for each in range(N_SLOTS):
        kind, count, hours = need_of(t, s, day, each)
        if count == 0:
            break
        end = max(r.asked[k, UNTIL], r.asked[k, LATE_FROM] + 60.0 * hours)
        for _ in range(count):
            best, least_idle = -1, np.inf
            for m in range(t.machine.shape[0]):
                n = r.n_busy[m, day]
                if t.machine[m, M_KIND] != kind or n == N_BUSY:
                    continue
                if n == 0:
                    ready = _out_from(t, m, day, s, comes_by)
                else:
                    other = r.busy_with[m, day, n - 1, WHO]
                    if other == s:
                        continue
                    c = t.machine[m, M_CLASS]
                    drive = t.drive[c, r.busy_with[m, day, n - 1, AT_LAST], comes_by]
                    ready = r.busy[m, day, n - 1, UNTIL] + drive + t.rest[c, other] + t.rest[c, s]
                idle = at - ready
                if idle < -SLACK_MIN or idle >= least_idle:
                    continue
                if _comes_home(t, m, day, s, r.asked_by[k, AT_LAST], end):
                    best, least_idle = m, idle
            if best < 0 or slot == N_SLOTS:
                return False
            n = r.n_busy[best, day]
            r.busy[best, day, n, FROM], r.busy[best, day, n, UNTIL] = at, end
            for z in range(3):
                r.busy_with[best, day, n, z] = r.asked_by[k, z]
            r.n_busy[best, day] = n + 1
            r.m_used[row, slot] = best
            slot += 1
    return True
