"""When everything is to be done: the fewest hours that any plan could take.

Blade-down hours are given; driving is bounded by cuts (see
:mod:`crossfall.dispatch.cuts`). For plans that drive a stage's passes only in
the declared blocks, the turns inside a block come on top.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.sparse import csr_array
from scipy.sparse.csgraph import dijkstra

from crossfall.dispatch.blocks import is_whole
from crossfall.dispatch.cuts import Roadwork, least_driving
from crossfall.dispatch.problem import Problem
from crossfall.dispatch.turns import block_turns, dead_end_turns, slowness
from crossfall.errors import InputError

Floats = npt.NDArray[np.float64]


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
    work = float(problem.stage_min.sum())
    hours: list[float] = []
    n_cuts = 0
    for turns in (dead_end_turns(problem), block_turns(problem)):
        found = least_driving(roadwork_of(problem, turns), seconds=seconds / 2, check=check)
        hours.append((work + float(turns.sum()) + found.driving) / 60)
        n_cuts += found.n_cuts
    return HoursBound(hours[0], max(hours), n_cuts)


def roadwork_of(problem: Problem, turns: Floats) -> Roadwork:
    """The problem as roads with passes, costs in minutes; ``turns`` belong to the stages' work."""
    network, roads = problem.network, problem.roads[0]
    node = {n.id: i for i, n in enumerate(network.nodes)}
    row = {segment.id: i for i, segment in enumerate(network.segments)}
    start = np.array([node[s.from_node] for s in network.segments], dtype=np.int64)
    end = np.array([node[s.to_node] for s in network.segments], dtype=np.int64)
    n_passes = np.zeros(start.size, dtype=np.int64)
    supply = np.zeros(start.size, dtype=np.int64)
    work = np.zeros(start.size)
    for stage, turn in zip(problem.stages, turns, strict=True):
        i = row[stage.segment_id]
        if not is_whole(stage, network.segments[i].length_m):
            raise InputError(f"stage {stage.id} is part of its segment; expected whole segments")
        n_passes[i] += stage.n_passes
        work[i] += stage.work_min + stage.wait_min + turn
        supply[i] += min(2, stage.n_passes)
    minutes = roads.minutes[::2].copy()
    is_yard = np.zeros(len(network.nodes), dtype=bool)
    is_yard[roads.yards] = True
    graph = csr_array((minutes, (start, end)), shape=(len(node), len(node)))
    # Roads that are worked on the way to others take at least their driving time
    away = dijkstra(graph, directed=False, indices=np.flatnonzero(is_yard)).min(axis=0)
    away = np.where(np.isfinite(away), away, 0.0) * slowness(problem, 0)
    usable = max((shift.usable_min for shift in problem.shifts), default=0.0)
    return Roadwork(start, end, minutes, n_passes, supply, work, is_yard, away, usable, minutes)
