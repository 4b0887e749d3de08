"""A calculator that is given another unit, or an impossible limit, says so and lays nothing out."""

from __future__ import annotations

from dataclasses import replace

import pytest

from crossfall.design.alone import Piece, design_alone
from crossfall.design.calculator import culvert, gravel_check, regravel
from crossfall.design.zone import duration_of
from crossfall.errors import InfeasibleError, InputError
from crossfall.model import Policy, Treatment
from crossfall.model.policy.specifications import default_specifications
from crossfall.model.policy.work_zone import ZonePractice


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("payload_t", 0.2),
        ("payload_t", 14_000),
        ("body_m3", 9000),
        ("haul_km", 9000),
        ("water_km", -1),
        ("tank_l", 10),
        ("blade_m", 12),
        ("blade_m", 0.2),
        ("shift_h", 600),
        ("limit_t", 20_000),
        ("truck_t", float("nan")),
    ],
)
def test_a_figure_in_another_unit_is_named(name, value):
    with pytest.raises(InputError, match=rf"^{name} is .*expected"):
        design_alone(Treatment.REGRAVELLING, Piece(1600.0, **{name: value}))


def test_a_limit_that_lets_no_loaded_truck_in_lays_nothing_out():
    with pytest.raises(InfeasibleError, match="limit of 9 t on the road"):
        design_alone(Treatment.REGRAVELLING, Piece(1600.0, limit_t=9.0))


def test_trucks_that_carry_no_bucket_are_told_without_a_limit():
    policy = Policy()
    haul = replace(policy.design.haul, default_payload_t=0.4)
    policy = replace(policy, design=replace(policy.design, haul=haul))
    with pytest.raises(InputError, match="one bucket"):
        design_alone(Treatment.REGRAVELLING, Piece(1600.0), policy=policy)


def test_loads_carry_the_mass_that_is_placed():
    # The bulk density alone says 1.6 t/m3, 2.1 t/m3 over 1.25 says 1.68: 120 loads would bring
    # 1,680 t of the 1,764 t
    made = regravel(
        length_m=1600, width_m=7, depth_mm=75, bulking=1.25, dry_t_m3=2.1, loose_t_m3=1.6,
        body_m3=10, payload_t=14,
    )  # fmt: skip
    assert made.n_loads == 126
    assert made.n_loads * 14 >= made.dry_t
    job = design_alone(Treatment.REGRAVELLING, Piece(1600.0, 7.0, depth_mm=75.0, edge_slope=0.0))
    amounts = {row.name: row.value for row in job.quantities}
    scale_t = amounts["gravel, dry mass"] * (1 + Policy().design.water.pit_pct / 100)
    assert amounts["loads"] * Policy().design.haul.default_payload_t >= scale_t


def test_time_below_nothing_and_a_pipe_of_half_a_millimetre_are_refused():
    with pytest.raises(InputError, match="stay_min is -4"):
        duration_of(-4.0, ZonePractice())
    with pytest.raises(InputError, match=r"diameter_m is 0\.00045"):
        culvert(diameter_m=0.00045, slope=0.01, flow_m3_s=1.0)


@pytest.mark.parametrize(
    ("named", "words"),
    [
        ({"plasticity": -3.0}, "plasticity is -3"),
        ({"plasticity": float("nan")}, "plasticity is nan"),
        ({"liquid_limit": 400.0}, "liquid_limit is 400"),
    ],
)
def test_a_limit_that_nobody_asked_for_must_still_be_possible(named, words):
    pile = {25.0: 100, 19.0: 98, 12.5: 80, 4.75: 50, 2.36: 30, 0.075: 10}
    with pytest.raises(InputError, match=words):
        gravel_check(pile, default_specifications()[0], **named)


def test_a_truck_of_spoil_stands_within_its_payload():
    job = design_alone(Treatment.DITCH_CLEANING, Piece(800.0, body_m3=10.0, payload_t=8.0))
    gravel_t_m3 = Policy().design.hauled_t_m3
    for stage in job.stages:
        amounts = {row.name: row.value for row in stage.quantities}
        hauled_t = amounts["loose spoil hauled away"] * gravel_t_m3
        assert amounts["loads of spoil"] * 8.0 >= hauled_t - 1e-9
    heavier = design_alone(Treatment.DITCH_CLEANING, Piece(800.0, body_m3=10.0, payload_t=30.0))
    assert heavier.cost.likely.minor <= job.cost.likely.minor


def test_a_culvert_is_opened_from_its_outlet_whether_or_not_it_is_on_the_map():
    for places in ((), (40.0,)):
        piece = Piece(100.0, culverts_at_m=places)
        steps = design_alone(Treatment.CULVERT_CLEARING, piece).stages[0].steps
        assert any("open outlet, then inlet" in step for step in steps)
