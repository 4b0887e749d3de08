"""The hall: what every plan must keep, whatever its rooms do."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from datetime import UTC, date, datetime

import pytest

from crossfall.demo import osier_valley
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
