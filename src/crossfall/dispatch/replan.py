"""When the day does not go as planned: the rest of the week anew, and as little moved as can be.

A breakdown, rain at noon, a sick operator or a request that cannot wait change
the fleet, the gates or the jobs; the caller hands over the changed ones. What
has been done stays done, machines go on from where they stand, a stage that lies
half done is finished today or flagged, and everything that moved is listed.
"""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Literal

from crossfall.dispatch.bound import upper_bound
from crossfall.dispatch.explain import TalkingGates
from crossfall.dispatch.keep import keep_pull, start_from
from crossfall.dispatch.patience import patiently
from crossfall.dispatch.problem import Graph, Problem, build_problem
from crossfall.dispatch.solve import improve
from crossfall.dispatch.standing import Since, Standing, since_of
from crossfall.dispatch.week import plan_of
from crossfall.dispatch.wishes import seat_pinned, tell_wishes, why_not
from crossfall.errors import InputError
from crossfall.model import (
    CrewCalendar,
    Fleet,
    Job,
    Network,
    Plan,
    PlanWish,
    Policy,
    Progress,
    quiet,
)

Kind = Literal["machine", "day", "left_out", "added"]

_BOUND_SHARE = 0.2
_COOL = 0.1
"""A plan in force is only touched up: the search starts this much cooler."""


@dataclass(frozen=True, slots=True)
class Move:
    """A stage that is done by another machine, on another day, or no longer or newly."""

    stage_id: str
    job_id: str
    kind: Kind
    before: tuple[str, date] | None
    """Machine and day it was promised to."""
    after: tuple[str, date] | None
    reason: str


@dataclass(frozen=True, slots=True)
class OpenWindrow:
    """A stage with some passes made that nobody can finish today: to be secured and flagged."""

    stage_id: str
    segment_id: str
    n_done: int
    n_passes: int
    text: str


@dataclass(frozen=True, slots=True)
class Replan:
    """The rest of the week, from now on."""

    plan: Plan
    since: Since
    moves: tuple[Move, ...]
    open_windrows: tuple[OpenWindrow, ...]
    stranded: tuple[Standing, ...]
    """Machines that stand out on the road with nobody to drive them: to be fetched or made safe."""
    n_kept: int
    """Stages of the old plan that stay on their machine and day."""
    n_planned: int
    """Stages of the old plan that were still to come."""

    def summary(self) -> str:
        """One sentence for the person who has to tell the crews."""
        moved = f"{len(self.moves)} moved" if self.moves else "nothing moved"
        flagged = f", {len(self.open_windrows)} open windrows to flag" if self.open_windrows else ""
        flagged += f", {len(self.stranded)} machines to fetch" if self.stranded else ""
        kept = f"{self.n_kept} of {self.n_planned} pieces of work stay as they were"
        return f"{kept}, {moved}{flagged}."


def replan_week(
    previous: Plan,
    jobs: Sequence[Job],
    network: Network,
    graph: Graph,
    fleet: Fleet,
    gates: TalkingGates,
    policy: Policy,
    *,
    now: datetime,
    made_at: datetime,
    seconds: float = 4.0,
    seed: int = 1,
    since: Since | None = None,
    calendar: CrewCalendar | None = None,
    wishes: Sequence[PlanWish] = (),
    iterations: int | None = None,
    progress: Progress = quiet,
) -> Replan:
    """Plan the rest of the week anew from ``now``.

    Parameters
    ----------
    previous
        The plan in force.
    jobs, fleet, gates
        As they are now: with the new request, without the broken machine, after the rain.
    since
        What has really been done and where machines stand; None takes the plan as followed.
    wishes
        What people ask for: work pinned to a machine or day, or kept off one; they stay with the
        plan. A pinned stage that fits nowhere there is left out, with the reason.

    Raises
    ------
    InputError
        If ``now`` is outside the days of the plan, or the changed input cannot be true.
    Cancelled
        If ``progress`` raises it.
    """
    today = now.date()
    n_left = previous.n_days - (today - previous.first_day).days
    if not 1 <= n_left <= previous.n_days:
        raise InputError(
            f"now is {now:%Y-%m-%d}; expected one of the {previous.n_days} days from"
            f" {previous.first_day}"
        )
    began = time.monotonic()
    since = since_of(previous, network, now) if since is None else since
    problem = build_problem(
        jobs,
        network,
        graph,
        fleet,
        gates,
        policy.dispatch,
        first_day=today,
        n_days=n_left,
        since=since,
        wishes=wishes,
        calendar=calendar,
        stays=[stay for stay in previous.stays if (today - stay.night_of).days <= 1],
        check=lambda: progress(0.0, "Travel times between jobs"),
    )
    bound_s = max(0.3, _BOUND_SHARE * seconds)
    (bound,) = patiently(
        [lambda: upper_bound(problem, seconds=bound_s, may_stay_out=bool(problem.stays))],
        lambda: progress(0.1, "What any plan could reach at most"),
    )
    pulled = replace(problem, pull_h=problem.pull_h + keep_pull(problem, previous))
    work_h = float(problem.work_min.mean()) / 60 if problem.stages else 1.0
    solution = improve(
        pulled,
        seat_pinned(pulled, start_from(pulled, previous.itineraries)),
        seconds=max(0.3, seconds - (time.monotonic() - began)),
        seed=seed,
        iterations=iterations,
        scale=_COOL * work_h,
        progress=lambda fraction, message: progress(0.2 + 0.75 * fraction, message),
    )
    plan = plan_of(
        pulled,
        solution,
        fleet,
        gates,
        bound_h=bound.worth_h,
        made_at=made_at,
        seed=seed,
        policy_version=policy.version,
    )
    plan = replace(plan, unserved=tell_wishes(pulled, plan.unserved), wishes=tuple(wishes))
    plan = replace(plan, reserved=calendar.reservations if calendar else ())
    progress(1.0, "The rest of the week is planned")
    return _told(previous, plan, pulled, since)


def _told(previous: Plan, plan: Plan, problem: Problem, since: Since) -> Replan:
    before, after = _places(previous), _places(plan)
    index = {stage.id: s for s, stage in enumerate(problem.stages)}
    moves: list[Move] = []
    n_kept = n_planned = 0
    for stage_id, old in before.items():
        if stage_id in since.done or (old[1] < since.day and since.half(stage_id) is None):
            continue
        n_planned += 1
        new = after.get(stage_id)
        if new == old:
            n_kept += 1
            continue
        kind: Kind = "left_out" if new is None else "machine" if new[0] != old[0] else "day"
        job_id = _job_id(problem, index, stage_id)
        moves.append(
            Move(
                stage_id,
                job_id,
                kind,
                old,
                new,
                _reason(problem, index, stage_id, old, is_out=new is None),
            )
        )
    for stage_id, new in after.items():
        if stage_id not in before:
            job_id = _job_id(problem, index, stage_id)
            moves.append(Move(stage_id, job_id, "added", None, new, "There is room for it now."))
    flagged = tuple(
        _flag(problem, index[half.stage_id], half.n_done)
        for half in since.half_done
        if half.stage_id in index and half.stage_id not in after
    )
    running = {shift.machine.id for shift in problem.shifts if shift.standing is not None}
    stranded = tuple(
        each for each in since.standings if each.came is not None and each.machine_id not in running
    )
    return Replan(plan, since, tuple(moves), flagged, stranded, n_kept, n_planned)


def _places(plan: Plan) -> dict[str, tuple[str, date]]:
    """Machine and day of every stage worked in the plan."""
    return {
        leg.stage_id: (itinerary.machine_id, itinerary.day)
        for itinerary in plan.itineraries
        for leg in itinerary.legs
        if leg.kind == "work" and leg.stage_id is not None
    }


def _job_id(problem: Problem, index: dict[str, int], stage_id: str) -> str:
    return problem.stages[index[stage_id]].job_id if stage_id in index else ""


def _reason(
    problem: Problem,
    index: dict[str, int],
    stage_id: str,
    old: tuple[str, date],
    *,
    is_out: bool,
) -> str:
    """Why a stage could not stay, or that it could and something else was better."""
    machine_id, day = old
    if stage_id not in index:
        return "The job is no longer asked for."
    s = index[stage_id]
    shift = next(
        (
            h
            for h, each in enumerate(problem.shifts)
            if (each.machine.id, each.day) == (machine_id, day)
        ),
        None,
    )
    if shift is None:
        return f"{machine_id} does not go out on {day:%a} {day.day} any more."
    if not problem.windows.allowed[s, problem.shifts[shift].day_index]:
        return f"The surface is no longer fit on {day:%a} {day.day}."
    if not problem.wished[s, shift]:
        return why_not(problem, s) if is_out else "Somebody asked for it."
    if not problem.may_do[s, shift]:
        return f"Whoever runs {machine_id} on {day:%a} {day.day} may not do it."
    return "Its place went to work that is worth more, or cannot wait."


def _flag(problem: Problem, s: int, n_done: int) -> OpenWindrow:
    stage = problem.stages[s]
    n_passes = n_done + stage.n_passes
    text = (
        f"{n_done} of {n_passes} passes are made and nobody can finish it today: delineate or"
        " close it before dark, and have the foreman approve what stays."
    )
    return OpenWindrow(stage.id, stage.segment_id, n_done, n_passes, text)
