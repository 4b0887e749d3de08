"""The hall: what every plan must keep, whatever its rooms do."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from datetime import UTC, date, datetime

import pytest

from crossfall.demo import osier_valley
from crossfall.dispatch.checker import check_plan
from crossfall.errors import InputError
from crossfall.model import Hazard
from crossfall.workflow import plan_week, plan_years

MONDAY = date(2026, 6, 8)
MADE_AT = datetime(2026, 6, 8, 6, tzinfo=UTC)


def _plan(district):
    return plan_week(district, first_day=MONDAY, n_days=2, made_at=MADE_AT, seconds=0.5, seed=1)


@pytest.fixture(scope="module")
def district():
    return osier_valley(seed=1, today=MONDAY)


@pytest.fixture(scope="module")
def week(district):
    return _plan(district)


def test_nobody_is_sent_over_a_washout(district, week):
    driven = Counter(
        leg.segment_id
        for itinerary in week.plan.itineraries
        for leg in itinerary.legs
        if leg.segment_id is not None
    )
    busiest = {segment for segment, _ in driven.most_common(3)}
    washouts = tuple(
        Hazard(f"w{n}", segment, 10.0, "washout", MADE_AT) for n, segment in enumerate(busiest)
    )
    around = _plan(replace(district, hazards=(*district.hazards, *washouts)))
    assert around.violations == ()
    assert around.plan.itineraries
    for itinerary in around.plan.itineraries:
        assert not busiest & {leg.segment_id for leg in itinerary.legs}


def test_every_need_is_served_or_explained(week):
    told = {left.job_id for left in week.plan.unserved} | set(week.plan.served)
    assert told == {job.id for job in week.jobs}
    assert all(left.reason for left in week.plan.unserved)


def _check(district, week, plan):
    network = district.network.without({"none of them"})
    return check_plan(plan, week.jobs, network, district.fleet, week.gates, district.policy)


def test_a_helping_machine_is_in_one_place_at_a_time(district, week):
    bookings = week.plan.bookings
    assert _check(district, week, week.plan) == ()
    kinds = {machine.id: machine.kind for machine in district.fleet.machines}
    first, second = next(
        (a, b)
        for a in bookings
        for b in bookings
        if a.day == b.day
        and a.stage_id != b.stage_id
        and kinds[a.machine_id] == kinds[b.machine_id]
        and a.start_min < b.end_min
        and b.start_min < a.end_min
    )
    doubled = tuple(
        replace(each, machine_id=first.machine_id) if each == second else each for each in bookings
    )
    assert _check(district, week, replace(week.plan, bookings=doubled))


def test_no_windrow_waits_longer_than_it_may(district, week):
    strict = replace(
        district.policy, dispatch=replace(district.policy.dispatch, windrow_open_max_min=0.0)
    )
    found = check_plan(week.plan, week.jobs, district.network, district.fleet, week.gates, strict)
    assert "windrow" in {violation.rule for violation in found}


def test_nobody_is_sent_out_at_the_weekend(district):
    saturday = date(2026, 6, 13)
    plan = plan_week(
        district, first_day=saturday, n_days=3, made_at=MADE_AT, seconds=0.3, seed=1
    ).plan
    assert {each.day.weekday() for each in plan.itineraries} <= {0, 1, 2, 3, 4}


def test_every_card_is_a_planned_stage(week):
    planned = [stage for each in week.plan.itineraries for stage in each.stage_ids]
    assert sorted(card.stage_id for card in week.cards) == sorted(planned)


@pytest.mark.parametrize("n_days", [0, 15])
def test_a_week_has_days(district, n_days):
    with pytest.raises(InputError, match=f"n_days is {n_days}"):
        plan_week(district, first_day=MONDAY, n_days=n_days, made_at=MADE_AT)


def test_a_larger_budget_never_costs_the_district_more(district):
    small, large = (
        plan_years(district, today=MONDAY, n_years=5, budget_minor=budget)
        for budget in (80_000_000.0, 120_000_000.0)
    )
    # Each is known to within its own proven gap
    assert large.lower <= small.upper
    assert (large.use_minor <= 120_000_000.0 * (1 + 1e-9)).all()
