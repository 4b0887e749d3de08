"""Whatever the week, the plan passes its checker: crews, trucks, signs, windrows by chance."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, time, timedelta

import numpy as np
import pytest

from crossfall.dispatch import dispatch_week
from crossfall.dispatch.checker import check_plan
from crossfall.dispatch.problem import build_problem
from crossfall.dispatch.proof import write_out
from crossfall.dispatch.replan import replan_week
from crossfall.dispatch.solve import improve
from crossfall.dispatch.week import first_plan, plan_of
from crossfall.model import CrewCalendar
from dispatch.random_weeks import N_DAYS, RandomWeek, busy_week, random_week
from dispatch.small_weeks import MADE_AT, MONDAY, NearGraph

TIES = (54, 363, 511, 624, 677)
"""Two ways of driving took equally long: the trucks' timetable was made for the other one."""


def planned(week: RandomWeek, seed: int, iterations: int, previous=None):
    return dispatch_week(
        week.jobs, week.network, NearGraph(week.network), week.fleet, week.gates, week.policy,
        first_day=MONDAY, n_days=N_DAYS, made_at=MADE_AT, seconds=1.0, seed=seed,
        iterations=iterations, previous=previous, calendar=week.calendar,
    )  # fmt: skip


def checked(week: RandomWeek, plan, since=None):
    return check_plan(
        plan, week.jobs, week.network, week.fleet, week.gates, week.policy, since=since,
        calendar=week.calendar,
    )  # fmt: skip


@pytest.mark.parametrize("seed", [*TIES, *range(1000, 1040)])
def test_any_week_gives_a_plan_that_holds(seed: int) -> None:
    week = random_week(seed)
    plan = planned(week, seed, 150)
    assert checked(week, plan) == ()
    # Without any search too, and again with the plan in force
    assert checked(week, planned(week, seed, 0)) == ()
    assert checked(week, planned(week, seed + 1, 30, previous=plan)) == ()


@pytest.mark.parametrize("seed", range(4000, 4040))
def test_any_week_is_planned_around_what_else_there_is(seed: int) -> None:
    week = busy_week(seed)
    plan = planned(week, seed, 120)
    assert checked(week, plan) == ()
    assert checked(week, planned(week, seed, 0)) == ()
    days = sorted({itinerary.day for itinerary in plan.itineraries})
    if not days:
        return
    now = datetime.combine(days[seed % len(days)], time()) + timedelta(hours=7 + seed % 7)
    held = CrewCalendar(plan.reserved, bans=week.calendar.bans)
    again = replan_week(
        plan, week.jobs, week.network, NearGraph(week.network), week.fleet, week.gates, week.policy,
        now=now, made_at=now, seconds=1.0, seed=seed, iterations=60, calendar=held,
    )  # fmt: skip
    assert checked(replace(week, calendar=held), again.plan, again.since) == ()


@pytest.mark.parametrize("seed", range(2000, 2030))
def test_any_week_can_be_planned_again_in_the_middle_of_a_day(seed: int) -> None:
    week = random_week(seed)
    plan = planned(week, seed, 60)
    days = sorted({itinerary.day for itinerary in plan.itineraries})
    if not days:
        assert plan.served == ()
        return
    now = datetime.combine(days[seed % len(days)], time()) + timedelta(hours=7 + seed % 7)
    again = replan_week(
        plan, week.jobs, week.network, NearGraph(week.network), week.fleet, week.gates, week.policy,
        now=now, made_at=now, seconds=1.0, seed=seed, iterations=60,
    )  # fmt: skip
    assert checked(week, again.plan, again.since) == ()
    # Rain at once: what lies half done is closed, and everybody comes home
    week = replace(week, gates=replace(week.gates, closed={(s, d) for s, d in week.gates.wet}))
    shut = {(s.id, (now.date() - MONDAY).days) for s in week.network.segments}
    week = replace(week, gates=replace(week.gates, closed=week.gates.closed | shut))
    again = replan_week(
        plan, week.jobs, week.network, NearGraph(week.network), week.fleet, week.gates, week.policy,
        now=now, made_at=now, seconds=1.0, seed=seed, iterations=60,
    )  # fmt: skip
    assert checked(week, again.plan, again.since) == ()


@pytest.mark.parametrize("seed", [*TIES, 1004, *range(3000, 3020)])
def test_what_does_not_hold_minute_by_minute_comes_out_with_its_reason(seed: int) -> None:
    """Whoever spoils the plan between the search and the paper: what leaves the room holds."""
    week = random_week(seed)
    problem = build_problem(
        week.jobs, week.network, NearGraph(week.network), week.fleet, week.gates,
        week.policy.dispatch, first_day=MONDAY, n_days=N_DAYS,
    )  # fmt: skip
    found = improve(problem, first_plan(problem), seconds=1, seed=seed, iterations=60)
    n_ways = np.isfinite(problem.blocks.minutes[0]).sum(axis=1)
    spoiled = replace(
        found,
        modes=tuple(
            tuple(
                (mode + 1) % max(1, int(n_ways[b])) for b, mode in zip(blocks, modes, strict=True)
            )
            for blocks, modes in zip(found.blocks, found.modes, strict=True)
        ),
    )
    written = write_out(problem, spoiled)
    plan = plan_of(
        problem, spoiled, week.fleet, week.gates, bound_h=np.inf, made_at=MADE_AT, seed=seed
    )
    assert checked(week, plan) == ()
    assert plan.itineraries == written.itineraries
    reasons = {each.job_id: each.reason for each in plan.unserved}
    for s in written.taken_out:
        assert reasons[problem.stages[s].job_id].strip()
    # An honest plan is left as it is
    assert write_out(problem, found).taken_out == {}
