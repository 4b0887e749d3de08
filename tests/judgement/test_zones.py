"""Zones: shares of road length, and names in the order people look for them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from crossfall.errors import InputError
from crossfall.formulas.moisture_class import MoistureClass
from crossfall.judgement import judge_gates, surface_state, zones
from crossfall.model import Policy
from crossfall.model.policy import MoisturePolicy
from moisture_case import FLEET, TODAY, district, forecast, roads, weather

POLICY = Policy(moisture=MoisturePolicy(n_members=20))
RAIN = np.array([[0.0, 20.0]] * 5 + [[0.0, 0.0]] * 15)


@pytest.fixture(scope="module")
def case():
    network = roads(4)
    names = (("90th Street", "B", 3000.0), ("100th Street", "A", 1000.0), ("Mill Road", "", 1000.0))
    segments = [
        replace(segment, route=route, district=board, length_m=length, drainage=drainage)
        for segment, (route, board, length), drainage in zip(
            network.segments[:3], names, ("good", "good", "poor"), strict=True
        )
    ]
    paved = replace(network.segments[3], is_maintained=False)
    network = replace(network, segments=(*segments, paved))
    given = district(
        network=network, record=weather(rain={1: 9.0}), forecasts=(forecast(RAIN),), policy=POLICY
    )
    state = surface_state(given, first_day=TODAY, n_days=2)
    return network, state, judge_gates(state, FLEET, POLICY)


def zones_by(case, by):
    network, state, gates = case
    return zones(state, gates, network.segments, by)


def test_shares_are_of_length_and_sum_to_one(case):
    (whole,) = zones_by(case, "whole")
    assert whole.length_m == 5000.0
    assert whole.segment_ids == ("s0", "s1", "s2")
    np.testing.assert_allclose(whole.class_share.sum(axis=0), 1.0)
    state = case[1]
    by_hand = state.p_workable[:, 0] @ [3000.0, 1000.0, 1000.0] / 5000.0
    assert whole.workable_share[0] == pytest.approx(by_hand)
    assert whole.class_share.shape == (len(MoistureClass), whole.n_days)


def test_rain_chance_and_high_rain_follow_the_members(case):
    (whole,) = zones_by(case, "whole")
    # 5 of 20 members bring 20 mm on the second day, above the limit of 3 mm
    np.testing.assert_allclose(whole.rain_chance, [0.0, 0.25])
    np.testing.assert_allclose(whole.rain_high_mm, [0.0, np.quantile(RAIN[:, 1], 0.9)])


def test_tasks_are_split_into_as_it_is_and_with_water(case):
    _, _, gates = case
    (whole,) = zones_by(case, "whole")
    for task in ("light_blading", "cutting", "hand_work"):
        both = whole.go_share[task] + whole.watered_share[task]
        by_hand = np.average(gates.allowed(task), axis=0, weights=[3000.0, 1000.0, 1000.0])
        np.testing.assert_allclose(both, by_hand)
    np.testing.assert_array_equal(whole.go_share["hand_work"], 1.0)


def test_names_stand_in_the_order_people_look_for_them(case):
    assert [each.name for each in zones_by(case, "route")] == [
        "90th Street", "100th Street", "Mill Road",
    ]  # fmt: skip
    assert [each.name for each in zones_by(case, "district")] == ["A", "B", ""]
    assert [each.name for each in zones_by(case, "drainage")] == ["poor", "good"]


def test_zones_are_parts_of_the_whole(case):
    (whole,) = zones_by(case, "whole")
    for by in ("route", "district", "drainage"):
        parts = zones_by(case, by)
        weighted = sum(part.class_share * part.length_m for part in parts) / whole.length_m
        np.testing.assert_allclose(weighted, whole.class_share)


def test_summary_and_unknown_kind(case):
    (first, *_) = zones_by(case, "route")
    assert first.summary().startswith("90th Street: 3 km, ")
    with pytest.raises(InputError, match="expected one of whole, district, route, drainage"):
        zones_by(case, "colour")


def test_unknown_rain_is_unknown():
    record = weather()
    record.rain_mm[-40:] = np.nan
    given = district(record=record, policy=POLICY)
    state = surface_state(given, first_day=TODAY, n_days=1)
    state.site_rain_mm[:] = np.nan
    (whole,) = zones(state, judge_gates(state, FLEET, POLICY), given.network.segments)
    assert np.isnan(whole.rain_chance).all()
    assert np.isnan(whole.rain_high_mm).all()
