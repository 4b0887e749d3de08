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

from crossfall.dispatch import insertion, kernel
from crossfall.dispatch.kernel import Routes, Tables
from crossfall.dispatch.problem import Problem
from crossfall.dispatch.solve import Solution, solution_of
from crossfall.dispatch.tables import routes_from, tables_of
from crossfall.dispatch.timetable import asks

Floats = npt.NDArray[np.float64]
Choose = Callable[[Floats, Floats, Floats], Floats]
"""(travel minutes, work minutes, worth) of each stage -> the smaller, the sooner."""


_NO_RNG = np.ones(1, dtype=np.uint64)


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
    routes = routes_from(tables, [()] * len(problem.shifts))
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
    routes = routes_from(tables, [()] * len(problem.shifts))
    blocks, whole = problem.blocks, problem.blocks.first_option[:, 0]
    for h in range(len(problem.shifts)):
        c, home_port = int(problem.shift_class[h]), int(problem.shift_home[h])
        waiting = _due(tables, routes, h)
        at, used = int(problem.shift_start[h]), 0.0
        while waiting.any():
            those = np.flatnonzero(waiting)
            travel = problem.between[c, at, blocks.enter[whole[those]]].astype(float)
            home = problem.between[c, blocks.leave[whole[those]], home_port].astype(float)
            total = travel + blocks.minutes[c, whole[those]]
            mode = np.argmin(total, axis=1)
            pick = np.arange(those.size), mode
            fits = used + total[pick] + home[pick] <= tables.shift_real[h, kernel.MOST_MIN]
            waiting[those[~fits]] = False
            if not fits.any():
                break
            work = tables.stage_real[those, kernel.LEAST]
            key = choose(travel[pick], work, tables.worth[those, h])
            best = int(np.argmin(np.where(fits, key, np.inf)))
            s = int(those[best])
            waiting[s] = False
            n = int(routes.lines.n[h])
            if _put(tables, routes, s, np.array([h, 0, n, n], dtype=np.int64)):
                used += float(total[best, mode[best]])
                at = int(blocks.leave[whole[s], mode[best]])
                # What was waiting for it may come next
                waiting |= _due(tables, routes, h) & _follows(problem, s)
    return solution_of(tables, routes)


def _due(tables: Tables, routes: Routes, h: int) -> npt.NDArray[np.bool_]:
    """Stages the shift could do that are worth more than their own minutes."""
    price = tables.price * tables.stage_real[:, kernel.LEAST]
    is_waiting = routes.at[:, kernel.WHERE] < 0
    return np.asarray(tables.ok[:, h] & is_waiting & (tables.worth[:, h] > price))


def _follows(problem: Problem, s: int) -> npt.NDArray[np.bool_]:
    return np.array([s in before for before in problem.after], dtype=bool)


def _put(tables: Tables, routes: Routes, s: int, spot: npt.NDArray[np.int64]) -> bool:
    """Put the stage in when order, support and hours allow; else leave all as it was."""
    h, last = int(spot[0]), max(int(spot[2]), int(spot[3]))
    if routes.lines.n[h] + 2 > routes.lines.seq.shape[1]:
        return False
    least = insertion.earliest(tables, routes, s, h)
    if least < 0 or int(spot[2]) < least or last > int(routes.lines.n[h]):
        return False
    return bool(insertion.place_if_it_stands(tables, routes, s, spot))


def _measure(problem: Problem, s: int) -> float:
    stage = problem.stages[s]
    return problem.network.segment_by_id[stage.segment_id].from_m + stage.from_m


def _fill_by_road(
    problem: Problem, tables: Tables, routes: Routes, h: int, roads: dict[str, list[int]]
) -> None:
    """Take roads by worth for their work; on each put in stages in order of measure."""
    due = _due(tables, routes, h)
    open_roads: list[tuple[float, str, list[int]]] = []
    for route, members in roads.items():
        own = [s for s in members if due[s]]
        if own:
            worth = sum(float(tables.worth[s, h]) for s in own)
            work = sum(float(tables.stage_real[s, kernel.LEAST]) for s in own)
            open_roads.append((-worth / work, route, own))
    for _, _, own in sorted(open_roads):
        first_place = int(routes.lines.n[h])
        for s in own:
            _out_and_back(tables, routes, s, h, first_place)


def _out_and_back(tables: Tables, routes: Routes, s: int, h: int, first_place: int) -> None:
    """One pass out and the rest back around what is last of this road, else whole at the end."""
    ways, lines = tables.ways, routes.lines
    c, n = int(ways.shift[h, kernel.CLASS]), int(lines.n[h])
    whole = int(tables.option[s, 0, 0])
    total, place = kernel.whole_at(ways, lines, h, whole, first_place, _NO_RNG, 0.0)
    spot = np.array([h, 0, place, place], dtype=np.int64)
    needs_support = asks(tables, s, int(ways.shift[h, kernel.DAY]))
    if tables.stage[s, kernel.N_OPTIONS] > 1 and n > first_place and not needs_support:
        forward, backward = (int(b) for b in tables.option[s, 1])
        added, turned, i, j = kernel.apart_at(
            ways,
            lines,
            h,
            forward,
            backward,
            first_place,
            tables.most_open,
            tables.most_open_min,
        )
        for o in range(1 + int(turned), int(tables.stage[s, kernel.N_OPTIONS]), 2):
            inside = sum(float(ways.minutes[c, b, 0]) for b in tables.option[s, o])
            if lines.minutes[h] + added + inside < total:
                total = lines.minutes[h] + added + inside
                spot = np.array([h, o, i, j], dtype=np.int64)
    _put(tables, routes, s, spot)
