"""When everything is to be done: the fewest hours that any plan could take.

Blade-down hours are given; driving is bounded by cuts (see
:mod:`crossfall.dispatch.cuts`). For plans that drive a stage's passes only in
the declared blocks, the turns inside a block come on top.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.sparse import csr_array
from scipy.sparse.csgraph import dijkstra

from crossfall.dispatch.blocks import is_whole
from crossfall.dispatch.cuts import Roadwork, least_driving
from crossfall.dispatch.problem import Problem
from crossfall.errors import InputError


@dataclass(frozen=True)
class HoursBound:
    """Fewest hours out of the yard for all stages [h]."""

    any_plan_h: float
    block_plan_h: float
    """For plans that keep to the declared blocks."""
    n_cuts: int


def least_hours(
    problem: Problem, *, seconds: float = 10.0, check: Callable[[], None] = lambda: None
) -> HoursBound:
    """Bound the hours of any plan that does every stage.

    Raises
    ------
    InputError
        If a stage is only part of its segment: its passes do not cross the segment.
    """
    roadwork = roadwork_of(problem)
    found = least_driving(roadwork, seconds=seconds, check=check)
    work = float(problem.work_min.sum())
    inside = sum(_least_inside(problem, s) for s in range(len(problem.stages)))
    any_plan = work + found.driving
    return HoursBound(any_plan / 60, (any_plan + inside) / 60, found.n_cuts)


def roadwork_of(problem: Problem) -> Roadwork:
    """The problem as roads with passes, costs in minutes."""
    network, roads = problem.network, problem.roads[0]
    node = {n.id: i for i, n in enumerate(network.nodes)}
    row = {segment.id: i for i, segment in enumerate(network.segments)}
    start = np.array([node[s.from_node] for s in network.segments], dtype=np.int64)
    end = np.array([node[s.to_node] for s in network.segments], dtype=np.int64)
    n_passes = np.zeros(start.size, dtype=np.int64)
    work = np.zeros(start.size)
    for stage in problem.stages:
        i = row[stage.segment_id]
        if not is_whole(stage, network.segments[i].length_m):
            raise InputError(f"stage {stage.id} is part of its segment; expected whole segments")
        n_passes[i] += stage.n_passes
        work[i] += stage.work_min
    minutes = roads.minutes[::2].copy()
    is_yard = np.zeros(len(network.nodes), dtype=bool)
    is_yard[roads.yards] = True
    graph = csr_array((minutes, (start, end)), shape=(len(node), len(node)))
    # Roads that are worked on the way to others take at least their driving time
    away = dijkstra(graph, directed=False, indices=np.flatnonzero(is_yard)).min(axis=0)
    away[~np.isfinite(away)] = 0.0
    usable = max((shift.usable_min for shift in problem.shifts), default=0.0)
    return Roadwork(start, end, minutes, n_passes, work, is_yard, away, usable)


def _least_inside(problem: Problem, s: int) -> float:
    """Fewest minutes of turns inside the blocks of one stage over all its options [min]."""
    blocks = problem.blocks
    least = np.inf
    for first, second in zip(blocks.first_option[s], blocks.second_option[s], strict=True):
        if first >= 0:
            minutes = float(blocks.minutes[:, first].min())
            if second >= 0:
                minutes += float(blocks.minutes[:, second].min())
            least = min(least, minutes)
    return max(0.0, least - problem.stages[s].work_min) if np.isfinite(least) else 0.0
