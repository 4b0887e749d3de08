"""Water or wait."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from crossfall.errors import InputError
from crossfall.formulas.moisture_class import MoistureClass
from crossfall.judgement.state import surface_state
from crossfall.judgement.watering import water_or_wait
from crossfall.model import Policy
from crossfall.model.policy import MoisturePolicy
from moisture_case import FLEET, TODAY, district, forecast, roads, weather

POLICY = Policy(moisture=MoisturePolicy(n_members=20))
NETWORK = roads()
TRUCK = FLEET.machines[1]


def verdict_of(record, rain_ahead, **more):
    case = district(
        network=NETWORK, record=record, forecasts=(forecast(rain_ahead),), policy=POLICY
    )
    state = surface_state(case, first_day=TODAY, n_days=5)
    options = {"water_km": 6.0, "worked_depth_mm": 100.0} | more
    return water_or_wait(state, NETWORK.segments[0], TODAY, TRUCK, POLICY, **options)


def test_a_drought_without_rain_in_sight_needs_water():
    found = verdict_of(weather(rain={60: 5.0}), np.zeros((20, 5)))
    assert found.verdict == "water"
    # From about 1.5 % to 7 % over 100 mm: 11.6 mm, some evaporation, a tenth lost
    assert 80_000 < found.demand.litres_per_km < 110_000
    assert found.n_loads == int(np.ceil(found.demand.litres_per_km / 15_000))
    assert found.truck_h > 0
    assert found.cost.low.minor < found.cost.likely.minor < found.cost.high.minor
    assert "a rain's work" in found.warning
    assert "mm of rain" in found.reason


def test_rain_on_the_way_means_wait():
    rain = np.zeros((20, 5))
    rain[:14, 1] = 45.0
    found = verdict_of(weather(rain={60: 5.0}), rain)
    assert found.verdict == "wait"
    assert found.p_workable_without >= 0.5
    assert "Wait for rain" in found.reason


def test_a_moist_road_needs_none_and_a_wet_one_waits():
    moist = verdict_of(weather(rain={1: 25.0}, tmin=10, tmax=18), np.zeros((20, 5)))
    assert moist.verdict == "not_needed"
    wet = verdict_of(weather(rain={1: 60.0}), np.full((20, 5), 30.0))
    assert wet.verdict == "wait"


def test_the_least_that_shapes_takes_less_water():
    full = verdict_of(weather(rain={60: 5.0}), np.zeros((20, 5)))
    least = verdict_of(weather(rain={60: 5.0}), np.zeros((20, 5)), is_for_packing=False)
    assert least.demand.litres_per_km < full.demand.litres_per_km


def test_unknown_moisture_gives_no_figure():
    record = weather()
    record.rain_mm[-3:] = np.nan
    found = verdict_of(record, np.zeros((20, 5)))
    assert found.verdict == "unknown"
    assert found.demand is None


def test_only_a_water_truck_carries_water():
    case = district(network=NETWORK, policy=POLICY)
    state = surface_state(case, first_day=TODAY, n_days=2)
    for truck in (FLEET.machines[0], replace(TRUCK, capacity=0.0)):
        with pytest.raises(InputError, match="no water truck"):
            water_or_wait(
                state, NETWORK.segments[0], TODAY, truck, POLICY, water_km=5.0, worked_depth_mm=80.0
            )


def test_a_road_that_is_workable_is_not_sold_water():
    found = verdict_of(weather(rain={1: 25.0}, tmin=10, tmax=18), np.zeros((20, 5)))
    assert found.verdict == "not_needed"
    assert found.demand is None
    assert found.cost is None
    assert found.n_loads == 0
    assert " L " not in found.reason
    assert found.reason.startswith("Workable without water: ")


def test_wait_for_rain_is_said_only_where_rain_does_it():
    # No rain in sight: a road of which some members are workable now, some too wet and drying
    case = district(
        network=NETWORK, record=weather(rain={60: 5.0}), forecasts=(forecast(np.zeros((20, 5))),),
        policy=POLICY,
    )  # fmt: skip
    state = surface_state(case, first_day=TODAY, n_days=5)
    classes = state.group_classes.copy()
    classes[:] = MoistureClass.DRYING
    classes[:8, 0, 0] = MoistureClass.WORKABLE
    classes[8:14, 0, 0] = MoistureClass.TOO_WET
    classes[8:14, 0, 1] = MoistureClass.WORKABLE
    moisture = np.linspace(6.5, 4.0, 5)[None, None, :] * np.ones((20, 1, 1))
    split = replace(state, group_classes=classes, group_moisture_pct=moisture)
    found = water_or_wait(
        split, NETWORK.segments[0], TODAY, TRUCK, POLICY, water_km=6.0, worked_depth_mm=100.0
    )
    assert found.verdict == "look"
    assert "may be workable already" in found.reason
    assert "rain" not in found.reason
    assert found.demand is None
