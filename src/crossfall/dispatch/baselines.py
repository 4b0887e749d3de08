"""Weeks as people plan them by hand, to start from and to be measured against.

``nearest_first``
    From where the machine stands, the nearest road that is due and fit.
``priority_first``
    The road worth most for its blade hours, wherever it is.
``best_per_hour``
    The road worth most for the minutes it takes from here, drive included.
``whole_road``
    The road (by name) worth most; out along one side of as much of it as fits,
    back along the other, as good operators do.

All keep to the same rules as the search and end the shift at home.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import numpy.typing as npt

from crossfall.dispatch import kernel
from crossfall.dispatch.kernel import Routes, Tables
from crossfall.dispatch.problem import Problem
from crossfall.dispatch.solve import Solution, routes_from, solution_of, tables_of

Floats = npt.NDArray[np.float64]
Choose = Callable[[Floats, Floats, Floats], Floats]
"""(travel minutes, work minutes, worth) of each stage -> the smaller, the sooner."""


def nearest_first(problem: Problem) -> Solution:
    """Whatever is due and nearest next."""
    return _walk(problem, lambda travel, work, worth: travel)


def priority_first(problem: Problem) -> Solution:
    """Whatever is worth most for its work next; of equals the nearest."""
    return _walk(problem, lambda travel, work, worth: -worth / work + 1e-6 * travel)


def best_per_hour(problem: Problem) -> Solution:
    """Whatever is worth most for the minutes it takes from here."""
    return _walk(problem, lambda travel, work, worth: -worth / (work + travel))


def whole_road(problem: Problem) -> Solution:
    """The road worth most next: out along one side, back along the other."""
    tables = tables_of(problem)
    routes = routes_from(tables, problem.support.hours, [()] * len(problem.shifts))
    roads: dict[str, list[int]] = {}
    for s, stage in enumerate(problem.stages):
        route = problem.network.segment_by_id[stage.segment_id].route
        roads.setdefault(route, []).append(s)
    for members in roads.values():
        members.sort(key=lambda s: _measure(problem, s))
    for h in range(len(problem.shifts)):
        _fill_by_road(problem, tables, routes, h, roads)
    return solution_of(tables, routes)


BASELINES: dict[str, Callable[[Problem], Solution]] = {
    "nearest_first": nearest_first,
    "priority_first": priority_first,
    "best_per_hour": best_per_hour,
    "whole_road": whole_road,
}


def _walk(problem: Problem, choose: Choose) -> Solution:
    tables = tables_of(problem)
    routes = routes_from(tables, problem.support.hours, [()] * len(problem.shifts))
    block = tables.o_first[:, 0]
    for h in range(len(problem.shifts)):
        c, yard = int(tables.sh_class[h]), int(tables.sh_yard[h])
        waiting = tables.ok[:, h] & (block >= 0) & (routes.where < 0)
        waiting &= tables.worth[:, h] > tables.price * tables.s_least
        at, used = yard, 0.0
        while waiting.any():
            those = np.flatnonzero(waiting)
            travel = tables.between[c, at, tables.b_enter[block[those]]].astype(float)
            inside = tables.b_minutes[c, block[those]]
            home = tables.between[c, tables.b_leave[block[those]], yard].astype(float)
            total = travel + inside
            mode = np.argmin(total, axis=1)
            pick = np.arange(those.size), mode
            fits = used + total[pick] + home[pick] <= tables.sh_most[h]
            waiting[those[~fits]] = False
            if not fits.any():
                break
            key = choose(travel[pick], tables.s_least[those], tables.worth[those, h])
            best = int(np.argmin(np.where(fits, key, np.inf)))
            s = int(those[best])
            waiting[s] = False
            if _append(tables, routes, s, h):
                used += float(total[best, mode[best]])
                at = int(tables.b_leave[block[s], mode[best]])
                for follower in _behind(tables, s):
                    waiting[follower] = (
                        tables.ok[follower, h]
                        and block[follower] >= 0
                        and routes.where[follower] < 0
                    )
    return solution_of(tables, routes)


def _append(tables: Tables, routes: Routes, s: int, h: int) -> bool:
    """Put the stage last in the shift when order, support and hours allow."""
    n = int(routes.n[h])
    if n + 2 > routes.seq.shape[1] or kernel.earliest(tables, routes, s, h) < 0:
        return False
    if not kernel.support_fits(tables, routes, s, int(tables.sh_day[h])):
        return False
    kernel.place(tables, routes, s, h, 0, n, n)
    if routes.minutes[h] > tables.sh_most[h]:
        kernel.take_out(tables, routes, s)
        kernel.refresh(tables, routes, h)
        return False
    return True


def _behind(tables: Tables, s: int) -> list[int]:
    return [int(b) for b in tables.behind[tables.behind_ptr[s] : tables.behind_ptr[s + 1]]]


def _measure(problem: Problem, s: int) -> float:
    stage = problem.stages[s]
    return problem.network.segment_by_id[stage.segment_id].from_m + stage.from_m


def _fill_by_road(
    problem: Problem, tables: Tables, routes: Routes, h: int, roads: dict[str, list[int]]
) -> None:
    """Take roads by worth for their work; on each put in stages in order of measure."""
    open_roads: list[tuple[float, str, list[int]]] = []
    for route, members in roads.items():
        due = [
            s
            for s in members
            if routes.where[s] < 0
            and tables.ok[s, h]
            and tables.worth[s, h] > tables.price * tables.s_least[s]
        ]
        if due:
            worth = sum(float(tables.worth[s, h]) for s in due)
            work = sum(float(tables.s_least[s]) for s in due)
            open_roads.append((-worth / work, route, due))
    for _, _, due in sorted(open_roads):
        first_place = int(routes.n[h])
        for s in due:
            _out_and_back(tables, routes, s, h, first_place)


def _out_and_back(tables: Tables, routes: Routes, s: int, h: int, first_place: int) -> bool:
    """One pass out and the rest back around what is last of this road, else whole at the end."""
    n = int(routes.n[h])
    if n + 2 > routes.seq.shape[1] or tables.o_first[s, 0] < 0:
        return False
    if kernel.earliest(tables, routes, s, h) < 0:
        return False
    if not kernel.support_fits(tables, routes, s, int(tables.sh_day[h])):
        return False
    best, option, first, second = np.inf, 0, n, n
    total, place = kernel.whole_at(tables, routes, h, int(tables.o_first[s, 0]), first_place)
    if kernel.earliest(tables, routes, s, h) <= place:
        best, first, second = float(total), int(place), int(place)
    for o in range(1, int(tables.o_count[s])):
        total, i, j = kernel.apart_at(
            tables,
            routes,
            h,
            int(tables.o_first[s, o]),
            int(tables.o_second[s, o]),
            max(first_place, int(kernel.earliest(tables, routes, s, h))),
        )
        if total < best:
            best, option, first, second = float(total), o, int(i), int(j)
    if best > tables.sh_most[h]:
        return False
    kernel.place(tables, routes, s, h, option, first, second)
    return True
