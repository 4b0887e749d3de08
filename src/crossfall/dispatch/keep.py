"""Yesterday's plan is kept unless a change earns its cost.

An earlier plan gives the search its start, and a pull: in the search only, a
stage is worth a little more on the machine and on the day it was promised to.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from crossfall.dispatch import insertion, kernel
from crossfall.dispatch.problem import Problem
from crossfall.dispatch.tables import empty_routes, tables_of
from crossfall.model import Itinerary, Plan


def keep_pull(problem: Problem, previous: Plan) -> npt.NDArray[np.float64]:
    """What keeping each stage where it was is worth to the search, shape (stage, shift) [h]."""
    pull = np.zeros(problem.worth_h.shape)
    index = {stage.id: s for s, stage in enumerate(problem.stages)}
    machines = np.array([shift.machine.id for shift in problem.shifts])
    days = np.array([shift.day.toordinal() for shift in problem.shifts])
    for itinerary in previous.itineraries:
        same_machine = machines == itinerary.machine_id
        same_day = days == itinerary.day.toordinal()
        own = same_machine * problem.policy.keep_machine_h + same_day * problem.policy.keep_day_h
        for stage_id in _worked(itinerary):
            if stage_id in index:
                pull[index[stage_id]] = own
    return pull


def start_from(problem: Problem, previous: Sequence[Itinerary]) -> list[tuple[int, ...]]:
    """Blocks of an earlier plan's days, shift by shift, as far as they still fit the rules."""
    tables = tables_of(problem)
    routes = empty_routes(tables)
    shift_of = {(shift.machine.id, shift.day): h for h, shift in enumerate(problem.shifts)}
    kept: list[tuple[int, ...]] = [() for _ in problem.shifts]
    for itinerary in sorted(previous, key=lambda each: each.day):
        h = shift_of.get((itinerary.machine_id, itinerary.day))
        if h is None:
            continue
        blocks = _blocks(problem, itinerary)
        for s in dict.fromkeys(int(problem.blocks.stage[b]) for b in blocks):
            first = next(b for b in blocks if problem.blocks.stage[b] == s)
            option = int(np.flatnonzero(problem.blocks.first_option[s] == first)[0])
            n = int(routes.lines.n[h])
            if tables.ok[s, h] and insertion.earliest(tables, routes, s, h) >= 0:
                insertion.place(tables, routes, s, np.array([h, option, n, n], dtype=np.int64))
        kept[h] = _shortened(problem, tables, routes, h, blocks)
    return kept


def _shortened(
    problem: Problem,
    tables: kernel.Tables,
    routes: kernel.Routes,
    h: int,
    blocks: Sequence[int],
) -> tuple[int, ...]:
    """The blocks that were placed, in their order; the last stages go until the rest fits."""
    lines = routes.lines
    while True:
        left = [b for b in blocks if routes.at[problem.blocks.stage[b], kernel.WHERE] == h]
        lines.seq[h, : len(left)] = left
        lines.n[h] = len(left)
        kernel.refresh(tables.ways, lines, h)
        if not left or lines.minutes[h] <= tables.shift_real[h, kernel.MOST_MIN]:
            return tuple(int(b) for b in left)
        insertion.take_out(tables, routes, int(problem.blocks.stage[left[-1]]))


def _blocks(problem: Problem, itinerary: Itinerary) -> list[int]:
    """The itinerary's passes as blocks: whole stages, or one pass now and the rest later."""
    index = {stage.id: s for s, stage in enumerate(problem.stages)}
    runs: list[tuple[int, int, bool]] = []
    last = ""
    for leg in itinerary.legs:
        if leg.kind != "work" or leg.stage_id not in index:
            last = "" if leg.kind == "work" else last
            continue
        s = index[str(leg.stage_id)]
        if (leg.pass_number or 0) <= problem.n_done[s]:
            continue
        if leg.stage_id == last:
            runs[-1] = (s, runs[-1][1] + 1, runs[-1][2])
        else:
            runs.append((s, 1, leg.is_forward))
        last = str(leg.stage_id)
    blocks: list[int] = []
    tables = problem.blocks
    chosen: dict[int, int] = {}
    for s, n, forward in runs:
        if s in chosen:
            second = int(tables.second_option[s, chosen[s]])
            blocks += [second] if second >= 0 else []
            continue
        chosen[s] = 0
        for o in range(1, tables.first_option.shape[1]):
            b = int(tables.first_option[s, o])
            is_split = sum(each[0] == s for each in runs) == 2
            if b >= 0 and is_split and tables.n_passes[b] == n:
                chosen[s] = o if tables.starts_forward[b, 0] == forward else chosen[s]
        first = int(tables.first_option[s, chosen[s]])
        blocks += [first] if first >= 0 else []
    return blocks


def _worked(itinerary: Itinerary) -> list[str]:
    return list(
        dict.fromkeys(
            leg.stage_id
            for leg in itinerary.legs
            if leg.kind == "work" and leg.stage_id is not None
        )
    )
