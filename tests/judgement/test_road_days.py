"""One road's history and outlook agree with the state they come from."""

from __future__ import annotations

import math
from datetime import timedelta

import numpy as np
import pytest

from crossfall.errors import InputError
from crossfall.judgement import road_days, surface_state
from crossfall.judgement.road_days import FAN
from crossfall.model import Observation, Policy
from crossfall.model.policy import MoisturePolicy
from moisture_case import TODAY, district, forecast, roads, weather

POLICY = Policy(moisture=MoisturePolicy(n_members=20))
RAIN = np.linspace(0.0, 19.0, 20)[:, None] * [0.0, 1.0, 0.0]


@pytest.fixture(scope="module")
def state():
    look = Observation("o1", TODAY, *roads().segments[0].line[1], "just_right", None, "s0", "Ann")
    case = district(
        record=weather(rain={2: 12.0}), forecasts=(forecast(RAIN),), policy=POLICY,
        observations=(look,),
    )  # fmt: skip
    return surface_state(case, first_day=TODAY, n_days=3)


def test_days_ahead_are_those_of_the_state(state):
    days = road_days(state, "s0")
    assert [each.day for each in days.ahead] == [TODAY + timedelta(days=n) for n in range(3)]
    for at, each in enumerate(days.ahead):
        assert each.likely is state.most_likely("s0", each.day)
        assert sum(each.p_by_class) == pytest.approx(1.0)
        assert each.p_workable == state.p_workable[0, at]
        assert each.reason == state.reason("s0", each.day)
        assert [part.name for part in each.parts] == ["early", "midday", "late"]
        assert list(each.moisture_pct) == sorted(each.moisture_pct)
    # Rain of the second day is drawn evenly from 0 to 19 mm
    np.testing.assert_allclose(days.ahead[1].rain_mm, np.quantile(RAIN[:, 1], FAN))


def test_past_ends_the_day_before(state):
    days = road_days(state, "s0")
    assert days.past[-1].day == TODAY - timedelta(days=1)
    assert days.past[-2].rain_mm == 12.0
    assert days.past[-1].moisture_pct > days.past[-2].moisture_pct
    assert days.station == "Willow Gauge"


def test_limits_of_the_classes(state):
    # The default gravel: optimum 7 %, workable from 2 below to 1.5 above, dry below half
    days = road_days(state, "s0")
    limits = (days.optimum_pct, days.dry_pct, days.lower_pct, days.upper_pct)
    assert limits == pytest.approx((7.0, 3.5, 5.0, 8.5))
    # 100 (1/2.1 - 1/2.68), the method's own arithmetic
    assert days.saturation_pct == pytest.approx(100 * (1 / 2.1 - 1 / 2.68), abs=1e-9)
    assert [(look.felt, look.observer) for look in days.looks] == [("just_right", "Ann")]


def test_the_sentence_names_the_next_workable_day():
    # Dry for weeks, then 25 mm in every member on the first day
    rain = [[25.0, 0.0, 0.0, 0.0]] * 20
    case = district(record=weather(), forecasts=(forecast(rain),), policy=POLICY)
    days = road_days(surface_state(case, first_day=TODAY, n_days=4), "s0")
    assert days.today.likely.label == "too wet"
    assert days.ahead[1].likely.label == "workable"
    tomorrow = TODAY + timedelta(days=1)
    assert days.summary().startswith(days.today.reason)
    assert f"Likely workable on {tomorrow:%A} (" in days.summary()


def test_the_sentence_says_when_no_day_is_likely():
    calm = forecast([[0.0] * 4] * 20)
    case = district(record=weather(), forecasts=(calm,), policy=POLICY)
    days = road_days(surface_state(case, first_day=TODAY, n_days=4), "s0")
    # Ten days into June it is a Wednesday; three days on a Saturday
    assert days.summary().endswith("No day up to Saturday 13 June is likely to be workable.")


def test_a_workable_day_needs_no_other(state):
    assert road_days(state, "s0").summary() == state.reason("s0", TODAY)


def test_a_road_out_of_reach_of_any_station_is_unknown():
    network = roads(200)
    policy = Policy(moisture=MoisturePolicy(n_members=5, station_max_km=50.0))
    given = district(network=network, policy=policy)
    days = road_days(surface_state(given, first_day=TODAY, n_days=1), "s199")
    assert days.station == ""
    assert math.isnan(days.past[-1].rain_mm)
    assert math.isnan(days.past[-1].moisture_pct)
    assert days.today.likely.label == "unknown"
    with pytest.raises(InputError, match="expected a maintained one"):
        road_days(surface_state(given, first_day=TODAY, n_days=1), "none")
