"""Whatever the week, the plan passes its checker: crews, trucks, signs, windrows by chance."""

from __future__ import annotations

from datetime import datetime, time, timedelta

import pytest

from crossfall.dispatch import dispatch_week
from crossfall.dispatch.checker import check_plan
from crossfall.dispatch.replan import replan_week
from dispatch.random_weeks import N_DAYS, RandomWeek, random_week
from dispatch.small_weeks import MADE_AT, MONDAY, NearGraph

TIES = (54, 363, 511, 624, 677)
"""Two ways of driving took equally long: the trucks' timetable was made for the other one."""


def planned(week: RandomWeek, seed: int, iterations: int, previous=None):
    return dispatch_week(
        week.jobs, week.network, NearGraph(week.network), week.fleet, week.gates, week.policy,
        first_day=MONDAY, n_days=N_DAYS, made_at=MADE_AT, seconds=1.0, seed=seed,
        iterations=iterations, previous=previous,
    )  # fmt: skip


def checked(week: RandomWeek, plan, since=None):
    return check_plan(
        plan, week.jobs, week.network, week.fleet, week.gates, week.policy, since=since
    )


@pytest.mark.parametrize("seed", [*TIES, *range(1000, 1060)])
def test_any_week_gives_a_plan_that_holds(seed: int) -> None:
    week = random_week(seed)
    plan = planned(week, seed, 150)
    assert checked(week, plan) == ()
    # Without any search too, and again with the plan in force
    assert checked(week, planned(week, seed, 0)) == ()
    assert checked(week, planned(week, seed + 1, 30, previous=plan)) == ()


@pytest.mark.parametrize("seed", range(2000, 2040))
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
