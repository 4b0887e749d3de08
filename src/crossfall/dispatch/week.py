"""Plan the week: who goes where on which day, in which order and direction; and why not."""

from __future__ import annotations

import time
from collections.abc import Collection, Sequence
from dataclasses import replace
from datetime import date, datetime, timedelta

import numpy as np

from crossfall.dispatch.baselines import best_per_hour, priority_first
from crossfall.dispatch.bound import upper_bound
from crossfall.dispatch.calendar import Placed, check_calendar, place_other_work
from crossfall.dispatch.explain import TalkingGates, served_jobs, unserved_jobs
from crossfall.dispatch.keep import keep_pull, start_from
from crossfall.dispatch.overnight import Blocks, ride_h, search_with_nights
from crossfall.dispatch.patience import patiently
from crossfall.dispatch.problem import Graph, Problem, build_problem
from crossfall.dispatch.proof import write_out
from crossfall.dispatch.solve import Solution, improve
from crossfall.dispatch.stages import todo_of, windows_of
from crossfall.dispatch.wishes import seat_pinned, tell_wishes
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
    Stay,
    quiet,
)

_BOUND_SHARE = 0.15
_LEAST_SEARCH_S = 0.5
_N_SEARCHES = 2
_STEPS_A_SECOND = 5e6
"""Travel times that fit into a good part of the time on a small machine."""


def dispatch_week(
    jobs: Sequence[Job],
    network: Network,
    graph: Graph,
    fleet: Fleet,
    gates: TalkingGates,
    policy: Policy,
    *,
    first_day: date,
    n_days: int,
    made_at: datetime,
    seconds: float,
    seed: int,
    previous: Plan | None = None,
    calendar: CrewCalendar | None = None,
    overdue: Collection[str] = (),
    wishes: Sequence[PlanWish] = (),
    iterations: int | None = None,
    progress: Progress = quiet,
) -> Plan:
    """Find the week worth most, with a limit on how much better any week could be.

    Parameters
    ----------
    jobs
        Designed work. A job's benefit counts stage by stage, in proportion to blade-down
        minutes, times the probability that the surface is fit on the day.
    gates
        What may be done where on which day; covers at least the days of the plan.
    seconds
        Time for everything: travel times, limit and search [s]. Not used when ``iterations``
        is given.
    iterations
        Rounds of search. The plan is the same for the same seed only when this is given.
    previous
        An earlier plan of overlapping days: kept where a change does not earn its cost.
    calendar
        Reserved hours, work that only takes hours, and hours barred on some roads.
    overdue
        Segments that have waited longer for a blade than ``service_days``.
    wishes
        Work that people pinned to a machine or day, or kept off one; they stay with the plan.

    Raises
    ------
    InputError
        If there is no grader, no operator for one, ``n_days`` is not positive, or a job
        cannot be true.
    Cancelled
        If ``progress`` raises it; it is asked several times a second.
    """
    if n_days < 1:
        raise InputError(f"n_days is {n_days}; expected at least 1")
    if not seconds >= 0:
        raise InputError(f"seconds is {seconds:g}; expected 0 or more")
    if iterations is not None and iterations < 0:
        raise InputError(f"iterations is {iterations}; expected 0 or more")
    began = time.monotonic()
    progress(0.0, "Travel times between jobs")
    placed = given_hours(
        calendar, jobs, fleet, network, gates, policy, first_day=first_day, n_days=n_days
    )

    def build(stays: Sequence[Stay] = ()) -> Problem:
        made = build_problem(
            jobs,
            network,
            graph,
            fleet,
            gates,
            policy.dispatch,
            first_day=first_day,
            n_days=n_days,
            wishes=wishes,
            calendar=placed.calendar,
            overdue=overdue,
            stays=stays,
            most_steps=np.inf if iterations is not None else _STEPS_A_SECOND * max(1.0, seconds),
            check=lambda: progress(0.0, "Travel times between jobs"),
        )
        if previous is None:
            return made
        return replace(made, pull_h=made.pull_h + keep_pull(made, previous))

    stays_out = policy.dispatch.may_stay_out
    problem = build()
    (bound,) = patiently(
        [
            lambda: upper_bound(
                problem, seconds=max(1.0, _BOUND_SHARE * seconds), may_stay_out=stays_out
            )
        ],
        lambda: progress(0.05, "What any plan could reach at most"),
    )
    (start,) = patiently(
        [lambda: first_plan(problem, previous)],
        lambda: progress(0.10, "A first plan, the most urgent first"),
    )
    start = seat_pinned(problem, start) if wishes else start
    left = max(_LEAST_SEARCH_S, seconds - (time.monotonic() - began))

    def search(its: Problem, begin: Blocks, share: float, done: float) -> Solution:
        return improve(
            its,
            begin,
            seconds=share * left,
            seed=seed,
            iterations=None if iterations is None else int(share * iterations),
            n_searches=1 if iterations is not None else _N_SEARCHES,
            progress=lambda fraction, message: progress(
                0.10 + 0.85 * (done + share * fraction), message
            ),
        )

    if stays_out:
        problem, solution = search_with_nights(build, search, problem, start, fleet, graph)
    else:
        solution = search(problem, start, 1.0, 0.0)
    plan = plan_of(
        problem,
        solution,
        fleet,
        gates,
        bound_h=bound.worth_h,
        made_at=made_at,
        seed=seed,
        policy_version=policy.version,
    )
    plan = replace(plan, unserved=tell_wishes(problem, plan.unserved), wishes=tuple(wishes))
    plan = replace(plan, reserved=placed.calendar.reservations, note=placed.note)
    progress(1.0, f"{len(plan.served)} jobs are in the plan")
    return plan


def given_hours(
    calendar: CrewCalendar | None,
    jobs: Sequence[Job],
    fleet: Fleet,
    network: Network,
    gates: TalkingGates,
    policy: Policy,
    *,
    first_day: date,
    n_days: int,
) -> Placed:
    """The calendar of these days, other work put on the days on which the roads ask for least."""
    if calendar is None:
        return Placed(CrewCalendar())
    calendar = calendar.between(first_day, first_day + timedelta(days=n_days - 1))
    check_calendar(calendar, fleet)
    if not calendar.other_work:
        return Placed(calendar)
    todo = todo_of(tuple(jobs), None)
    windows = windows_of(todo, gates, first_day, n_days)
    asked = (todo.share_h[:, None] * windows.worth * windows.allowed).sum(axis=0)
    return place_other_work(
        calendar,
        fleet,
        network,
        policy.dispatch,
        first_day=first_day,
        n_days=n_days,
        busy=[float(each) for each in asked],
    )


def first_plan(problem: Problem, previous: Plan | None = None) -> Sequence[Sequence[int]]:
    """The best of two manual plans, most urgent first or best for the hour, and an earlier plan."""
    plans = [priority_first(problem), best_per_hour(problem)]
    if previous is not None:
        kept = start_from(problem, previous.itineraries)
        plans.append(improve(problem, kept, seconds=0.0, seed=0, iterations=0))
    return max(plans, key=lambda plan: plan.worth_h).blocks


def plan_of(
    problem: Problem,
    solution: Solution,
    fleet: Fleet,
    gates: TalkingGates,
    *,
    bound_h: float,
    made_at: datetime,
    seed: int,
    policy_version: str = "",
) -> Plan:
    """The plan as nouns: itineraries, bookings, and a reason for everything left out."""
    written = write_out(problem, solution)
    solution = written.solution
    gained_h = sum(float(problem.worth_h[s, h]) for s, h in solution.stage_shift(problem).items())
    return Plan(
        id=f"{problem.first_day:%Y-%m-%d}-{problem.n_days}d-{made_at:%Y%m%dT%H%M%S}-s{seed}",
        made_at=made_at,
        first_day=problem.first_day,
        n_days=problem.n_days,
        itineraries=written.itineraries,
        bookings=written.bookings,
        stays=problem.stays,
        served=served_jobs(problem, solution),
        unserved=unserved_jobs(problem, solution, fleet, gates, written.taken_out),
        benefit_h=gained_h
        - problem.policy.hour_price * written.out_h
        - problem.policy.hour_price * ride_h(problem, written.itineraries)
        - problem.policy.overtime_price * written.over_h(problem),
        benefit_bound_h=bound_h,
        seed=seed,
        policy_version=policy_version,
    )
