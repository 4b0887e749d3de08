"""What no plan avoids, whatever the order of work: forced turns, and how little time ways take."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from crossfall.dispatch.problem import Problem

Floats = npt.NDArray[np.float64]


def dead_end_turns(problem: Problem) -> Floats:
    """Minutes of turning that each stage forces on any plan [min].

    At a dead end whoever arrives must turn, and at least half of a stage's passes arrive there;
    except where a machine stands when its shift begins or ends, for there it may leave or stay.
    """
    if not problem.roads:
        return np.zeros(len(problem.stages))
    roads = problem.roads[0]
    degree = np.bincount(roads.tail[roads.usable], minlength=roads.turn_min.size)
    resting = {*roads.yards.tolist(), *roads.head[problem.standing_arcs].tolist()}
    least = np.zeros(len(problem.stages))
    for s, stage in enumerate(problem.stages):
        i = roads.segment_index[stage.segment_id]
        segment = problem.network.segments[i]
        ends = {int(roads.tail[2 * i]), int(roads.head[2 * i])}
        if len(ends) == 2 and not segment.is_oneway:
            n_arrivals = (stage.n_passes + 1) // 2
            least[s] = sum(roads.turn_min[v] * n_arrivals for v in ends - resting if degree[v] == 1)
    return np.where(np.isfinite(least), least, 0.0)


def block_turns(problem: Problem) -> Floats:
    """Minutes of turning that each stage forces on plans that keep to its blocks [min].

    The fewest inside the blocks of any of its options, or what its dead ends force, if more.
    """
    blocks = problem.blocks
    least = np.zeros(len(problem.stages))
    for s, stage in enumerate(problem.stages):
        inside = np.inf
        for first, second in zip(blocks.first_option[s], blocks.second_option[s], strict=True):
            if first >= 0:
                minutes = float(blocks.minutes[:, first].min())
                if second >= 0:
                    minutes += float(blocks.minutes[:, second].min())
                inside = min(inside, minutes)
        if np.isfinite(inside):
            least[s] = max(0.0, inside - stage.work_min - stage.wait_min)
    return np.maximum(least, dead_end_turns(problem))


def slowness(problem: Problem, c: int) -> float:
    """Least ratio of a pass's minutes to the travel minutes over the same length, at most 1."""
    least = 1.0
    for s, stage in enumerate(problem.stages):
        block = problem.blocks.first_option[s, 0]
        if block < 0:
            continue
        index = int(problem.ports[problem.blocks.enter[block, 0] // 2])
        segment = problem.network.segments[index]
        travel = problem.roads[c].segment_minutes(index) / segment.length_m
        least = min(least, min(stage.pass_minutes) / (travel * (stage.to_m - stage.from_m)))
    return least
