"""Tracks against the planner's travel speeds: few say nothing, many move it, nobody in silence."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest

from crossfall.errors import InputError
from crossfall.learning import learn_rates, propose_travel, with_travel
from crossfall.model import ClassTravel, MachineDay, Policy
from small_district import small_network, small_record


def days(n: int, km_h: float, km: float = 40.0) -> list[MachineDay]:
    return [
        MachineDay(
            f"g1-{k}", "g1", date(2026, 5, 1) + timedelta(days=k), 4.0, km / km_h, 1.0, 20.0, km,
            (ClassTravel("local", km, km / km_h),),
        )
        for k in range(n)
    ]  # fmt: skip


def test_few_days_change_nothing():
    found = propose_travel(days(2, 25.0), Policy())
    assert not found.has_changes
    assert found.policy == Policy()
    assert found.rows[0].is_prior


def test_many_days_move_the_speed_towards_what_was_seen():
    policy = Policy()
    found = propose_travel(days(30, 25.0), policy)
    (row,) = found.rows
    assert row.raw == pytest.approx(25.0)
    assert 25.0 < row.new < policy.network.travel_local_km_h
    assert row.new == pytest.approx(25.0, abs=2.0)
    assert found.policy.network.travel_local_km_h == row.new
    assert found.policy.network.travel_arterial_km_h == policy.network.travel_arterial_km_h
    assert found.policy.version == "1+learned"


def test_little_travel_and_unbelievable_speeds_are_left_out():
    assert propose_travel(days(9, 25.0, km=0.5), Policy()).rows == ()
    found = propose_travel(days(9, 2.0), Policy())
    assert found.rows == ()
    assert "times the planned speed" in found.left_out[0]


def test_roads_at_their_class_default_follow_and_others_stay():
    network = small_network()
    usual = Policy().network.travel_km_h("local")
    own = replace(network.segments[0], travel_km_h=22.0)
    roads = tuple(replace(each, travel_km_h=usual) for each in network.segments[1:])
    network = replace(network, segments=(own, *roads))
    new = propose_travel(days(30, 25.0), Policy()).policy
    moved = with_travel(network, Policy(), new)
    assert [each.id for each in moved] == ["s1", "s2"]
    assert {each.travel_km_h for each in moved} == {new.network.travel_local_km_h}


def test_both_kinds_of_rates_stand_in_one_proposal():
    records = [
        small_record(f"r{k}", hours=1.0, n_passes=4, from_m=0.0, to_m=780.0) for k in range(12)
    ]
    found = learn_rates(records, days(30, 25.0), small_network(), Policy())
    names = {row.path for row in found.rows}
    assert "network.travel_local_km_h" in names
    assert "design.grader.pass_rules[blading].speed_km_h" in names
    assert found.policy.version == "1+learned"
    assert found.policy.network.travel_local_km_h < Policy().network.travel_local_km_h
    assert found.policy.design.grader.pass_rules != Policy().design.grader.pass_rules
    with pytest.raises(InputError, match="needs a new one"):
        learn_rates(records, [], small_network(), Policy(), version="1")
