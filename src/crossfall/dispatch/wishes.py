"""Wishes of people about the plan: which machine and day are left open, and what pulls there.

A wish narrows where a stage may go before the search begins, so the search, the separate checker
and the limit stay as they are: what no plan could reach without the wish it cannot reach with it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from crossfall.dispatch.shifts import Shift
from crossfall.dispatch.stages import Flags, Floats
from crossfall.errors import InputError
from crossfall.model import Fleet, Job, PlanWish, Stage, Unserved

if TYPE_CHECKING:
    from crossfall.dispatch.problem import Problem


def check_wishes(wishes: Sequence[PlanWish], jobs: Sequence[Job], fleet: Fleet) -> None:
    """Refuse wishes about work or machines that are not there, and pins that name no place.

    Raises
    ------
    InputError
        With the wish that cannot be true.
    """
    stages = {job.id: {stage.id for stage in job.stages} for job in jobs}
    machines = {machine.id for machine in fleet.machines}
    for wish in wishes:
        if wish.job_id not in stages:
            raise InputError(f"a wish names job {wish.job_id!r}, which is not among the jobs")
        if wish.stage_id is not None and wish.stage_id not in stages[wish.job_id]:
            raise InputError(f"a wish names stage {wish.stage_id!r}, not one of {wish.job_id}")
        if wish.machine_id is not None and wish.machine_id not in machines:
            raise InputError(f"a wish names machine {wish.machine_id!r}, which is unknown")
        if wish.kind == "pin" and wish.machine_id is None and wish.day is None:
            raise InputError(f"the pin of {wish.job_id} names neither a machine nor a day")


def places_left(
    wishes: Sequence[PlanWish], stages: Sequence[Stage], shifts: Sequence[Shift]
) -> Flags:
    """Where wishes still let each stage go: shape (stage, shift)."""
    left = np.ones((len(stages), len(shifts)), dtype=bool)
    for wish in wishes:
        covered = _covered(wish, shifts)
        left[_wanted(wish, stages)] &= covered if wish.kind == "pin" else ~covered
    return left


def pin_pull(
    wishes: Sequence[PlanWish], stages: Sequence[Stage], shifts: Sequence[Shift], worth_h: float
) -> Floats:
    """What only the search adds to a pinned stage so that it is served: (stage, shift) [h]."""
    pull = np.zeros((len(stages), len(shifts)))
    for wish in wishes:
        if wish.kind == "pin":
            rows = _wanted(wish, stages)
            pull[rows] = np.where(_covered(wish, shifts), worth_h, pull[rows])
    return pull


def tell_wishes(problem: Problem, unserved: tuple[Unserved, ...]) -> tuple[Unserved, ...]:
    """Of work that a wish keeps out, or that a pin's place has no room for, say so."""
    if problem.wished.all():
        return unserved
    open_ever = problem.may_serve_ever
    told = []
    for each in unserved:
        mine = [s for s, stage in enumerate(problem.stages) if stage.job_id == each.job_id]
        narrowed = [s for s in mine if not problem.wished[s].all() and open_ever[s].any()]
        closed = [s for s in narrowed if not (open_ever[s] & problem.wished[s]).any()]
        if closed:
            each = replace(
                each,
                binding="kept_out",
                reason="Somebody asked for it to be left out, or only where it cannot be done.",
                would_change="The wish is taken back.",
            )
        elif narrowed and each.binding == "higher_priorities":
            each = replace(
                each,
                binding="kept_out",
                reason="There is no room for it where somebody asked for it to be done.",
                would_change="The wish is taken back, or other work gives way there.",
            )
        told.append(each)
    return tuple(told)


def _wanted(wish: PlanWish, stages: Sequence[Stage]) -> Flags:
    return np.array(
        [stage.job_id == wish.job_id and wish.stage_id in {None, stage.id} for stage in stages],
        dtype=bool,
    )


def _covered(wish: PlanWish, shifts: Sequence[Shift]) -> Flags:
    return np.array([wish.covers(shift.machine.id, shift.day) for shift in shifts], dtype=bool)
