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
    from crossfall.dispatch.kernel import Routes, Tables
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
    """Of work that a wish keeps out, or that has no room where it was asked for, say so."""
    told = []
    for each in unserved:
        why = ""
        for s, stage in enumerate(problem.stages):
            if stage.job_id == each.job_id and not problem.wished[s].all():
                why = why or why_not(problem, s)
        if why and each.binding not in _HARDER:
            change = "The wish is taken back, or what stands against it changes."
            each = replace(each, binding="kept_out", reason=why, would_change=change)
        told.append(each)
    return tuple(told)


_HARDER = ("engineer_to_confirm", "no_clearance", "unreachable", "waits_for_other_work")
"""Reasons that would stand without any wish."""


def why_not(problem: Problem, s: int) -> str:
    """Why a stage with a wish is not where it was asked to be; empty without a wish."""
    wished = problem.wished[s]
    if wished.all():
        return ""
    if not wished.any():
        return "Somebody asked for it to be left out of these days."
    at = [shift for shift, is_open in zip(problem.shifts, wished, strict=True) if is_open]
    where = _places_told(at) if len(at) < len(wished) / 2 else "the machines and days left to it"
    days = np.array([shift.day_index for shift in problem.shifts], dtype=np.int64)
    is_fit = problem.windows.allowed[s, days]
    if not (wished & is_fit).any():
        return f"It was asked for on {where}, when its surface is not fit for this work."
    if not (wished & is_fit & problem.may_do[s]).any():
        return f"It was asked for on {where}; who runs that machine may not do it."
    if not (wished & is_fit & problem.may_do[s] & problem.is_reached[s]).any():
        return f"It was asked for on {where}, which cannot get there and home in the shift."
    return f"It was asked for on {where}, and there is no room for it."


def seat_pinned(problem: Problem, start: Sequence[Sequence[int]]) -> tuple[tuple[int, ...], ...]:
    """The start with every pinned stage in its place, where others have to go for it.

    What goes is what brings least for its minutes; the search puts it elsewhere if it can.
    """
    from crossfall.dispatch import kernel
    from crossfall.dispatch.tables import routes_from, tables_of

    pinned = np.flatnonzero((problem.pinned_h > 0).any(axis=1))
    # Every shift is looked at, also those far from what is there
    tables = tables_of(problem)._replace(is_narrow=False)
    routes = routes_from(tables, start)
    for s in sorted(pinned, key=lambda s: len(problem.after[s])):
        if routes.at[s, kernel.WHERE] < 0:
            routes = _seated(problem, tables, routes, int(s))
    lines = routes.lines
    return tuple(tuple(int(b) for b in lines.seq[h, : lines.n[h]]) for h in range(lines.n.size))


def _seated(problem: Problem, tables: Tables, routes: Routes, s: int) -> Routes:
    """The routes with stage ``s`` in them, whatever has to go; unchanged if nothing helps.

    Either its own shift gives way, or, where machines that help it are promised elsewhere that day,
    the work that they are promised to.
    """
    from crossfall.dispatch import insertion, kernel
    from crossfall.dispatch.tables import copy_routes

    own, rng = np.array([s], dtype=np.int64), np.array([s + 1], dtype=np.uint64)
    found: list[tuple[float, Routes]] = []
    worth_a_minute = problem.worth_h.max(axis=1) / problem.stage_min
    days = np.array([shift.day_index for shift in problem.shifts], dtype=np.int64)
    helped = tables.stage[:-1, kernel.ROW] >= 0
    at = routes.at[:, kernel.WHERE]
    is_free = (at >= 0) & ~(problem.pinned_h > 0).any(axis=1)
    for h in np.flatnonzero(tables.ok[s]):
        in_shift = is_free & (at == h)
        same_day = is_free & (at >= 0) & (days[np.maximum(at, 0)] == days[h]) & helped
        for first in ([in_shift], [same_day, in_shift & ~same_day]):
            trial = copy_routes(routes)
            leaving = [
                int(z)
                for members in first
                for z in sorted(np.flatnonzero(members), key=lambda z: worth_a_minute[z])
            ]
            while not insertion.fill(tables, trial, own, rng) and leaving:
                _take_out(tables, trial, leaving.pop(0))
            if trial.at[s, kernel.WHERE] >= 0:
                found.append((float(insertion.worth_of(tables, trial)), trial))
    return max(found, key=lambda each: each[0])[1] if found else routes


def _take_out(tables: Tables, routes: Routes, s: int) -> None:
    from crossfall.dispatch import insertion, kernel

    h = int(routes.at[s, kernel.WHERE])
    if h < 0:
        return
    insertion.take_out(tables, routes, s)
    kernel.refresh(tables.ways, routes.lines, h)
    insertion.put_right(tables, routes)


def _places_told(shifts: Sequence[Shift]) -> str:
    days = dict.fromkeys(f"{shift.day:%a} {shift.day.day}" for shift in shifts)
    machines = dict.fromkeys(shift.machine.name for shift in shifts)
    told = f"{', '.join(machines)} on {', '.join(days)}"
    return told if len(machines) <= _MOST_NAMED else ", ".join(days)


_MOST_NAMED = 2


def _wanted(wish: PlanWish, stages: Sequence[Stage]) -> Flags:
    return np.array(
        [stage.job_id == wish.job_id and wish.stage_id in {None, stage.id} for stage in stages],
        dtype=bool,
    )


def _covered(wish: PlanWish, shifts: Sequence[Shift]) -> Flags:
    return np.array([wish.covers(shift.machine.id, shift.day) for shift in shifts], dtype=bool)
