"""Everything a person gets wrong on the back of a card is refused by name, value and range.

Each case names the argument, shows its value, says what is expected and, where there is a usual
one, the likely mistake.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from crossfall.design.calculator import (
    Edge,
    Pile,
    blade_time,
    blend_lp,
    coverage,
    culvert,
    ditch,
    dust,
    edge_cost,
    fleet,
    foretell,
    gravel_check,
    regravel,
    reshape,
    roll,
    scalp,
    taper,
    water,
)
from crossfall.design.cost import price_book
from crossfall.errors import InputError, UnitsError
from crossfall.formulas.compaction import water_volume
from crossfall.formulas.gradation import blend_passing, blend_plasticity
from crossfall.formulas.grader import blade_hours
from crossfall.formulas.thaw import thawing_index
from crossfall.model import Fleet, GravelPit, Place, Policy, Rate
from crossfall.model.policy.specifications import SieveBand, Specification

COVER = {
    "width_m": 7, "blade_m": 3.7, "moldboard_deg": 30, "overlap_m": 0.3, "speed_km_h": 6,
    "efficiency": 0.83,
}  # fmt: skip
GRAVEL = {
    "length_m": 600, "width_m": 7, "depth_mm": 80, "bulking": 1.25, "dry_t_m3": 2.1,
    "loose_t_m3": 1.6, "body_m3": 10, "payload_t": 17,
}  # fmt: skip
WATER = {
    "compacted_m3": 840, "area_m2": 11_200, "dry_t_m3": 2.1, "now_pct": 3, "target_pct": 7,
    "tank_m3": 10, "fill_min": 12, "haul_km": 8, "truck_km_h": 40, "spray_min": 10,
    "efficiency": 0.83,
}  # fmt: skip
ROLL = {
    "compacted_m3": 840, "drum_m": 2.15, "overlap_m": 0.15, "speed_km_h": 4, "lift_mm": 75,
    "n_passes": 6, "efficiency": 0.83,
}  # fmt: skip
TRUCKS = {
    "loose_m3": 1050, "load_m3": 10, "haul_km": 12, "loaded_km_h": 40, "empty_km_h": 50,
    "dump_min": 3, "loader_m3_h": 90, "others_m3_h": {"grader": 80.0}, "efficiency": 0.83,
}  # fmt: skip
DITCH = {
    "left_z": 3, "right_z": 2, "depth_m": 0.5, "slope": 0.01, "roughness_n": 0.03,
    "runoff_c": 0.5, "intensity_mm_h": 60, "area_ha": 3, "over_h": 0.5,
}  # fmt: skip
CULVERT = {"diameter_m": 0.6, "slope": 0.01, "flow_m3_s": 0.2}
CROWN = {"width_m": 7.3, "old_pct": 2.0, "new_pct": 4.0}
TAPER = {"offset_m": 3.0, "posted_km_h": 72.0}
DUST = {"length_m": 1600, "width_m": 7, "rate_l_m2": 1.36}
TOLD = {
    "passing_26_5": 96, "passing_2": 42, "passing_4_75": 56, "linear_shrinkage_pct": 5,
    "passing_425": 35,
}  # fmt: skip

EVERY = (
    (coverage, COVER), (regravel, GRAVEL), (water, WATER), (roll, ROLL), (fleet, TRUCKS),
    (ditch, DITCH), (culvert, CULVERT), (reshape, CROWN), (taper, TAPER), (dust, DUST),
    (foretell, TOLD),
)  # fmt: skip


@pytest.mark.parametrize(
    ("call", "name"),
    [
        pytest.param(call, name, id=f"{call.__name__}-{name}")
        for call, usual in EVERY
        for name, value in usual.items()
        if isinstance(value, int | float)
    ],
)
def test_no_figure_may_be_nan_or_infinite(call, name):
    usual = next(dict(given) for each, given in EVERY if each is call)
    call(**usual)
    for bad in (math.nan, math.inf):
        with pytest.raises(InputError, match=r"nan|inf"):
            call(**{**usual, name: bad})


@pytest.mark.parametrize(
    "call_usual", [(coverage, COVER), (roll, ROLL), (water, WATER), (fleet, TRUCKS)]
)
@pytest.mark.parametrize(
    ("value", "words"),
    [(0.0, "efficiency is 0"), (-0.1, "efficiency is -0.1"), (1.2, "at most 1"),
     (75.0, "75 looks like percent")],
)  # fmt: skip
def test_efficiency_is_a_share_of_an_hour(call_usual, value, words):
    call, usual = call_usual
    with pytest.raises(InputError, match=words):
        call(**{**usual, "efficiency": value})


@pytest.mark.parametrize(
    ("call", "usual", "bad", "kind", "words"),
    [
        (
            coverage,
            COVER,
            {"speed_km_h": 0.0},
            InputError,
            "speed_km_h is 0; expected a figure above 0",
        ),
        (
            coverage,
            COVER,
            {"width_m": -7.0},
            InputError,
            "width_m is -7; expected a figure above 0",
        ),
        (
            coverage,
            COVER,
            {"moldboard_deg": 75.0},
            InputError,
            "moldboard_deg is 75; expected 0 .* to below 75",
        ),
        (coverage, COVER, {"moldboard_deg": -1.0}, InputError, "moldboard_deg is -1"),
        (coverage, COVER, {"overlap_m": 3.5}, InputError, "or no ground is gained"),
        (coverage, COVER, {"overlap_m": -0.1}, InputError, "overlap_m is -0.1"),
        (
            roll,
            ROLL,
            {"n_passes": 0},
            InputError,
            "n_passes is 0; expected a whole number of 1 or more",
        ),
        (roll, ROLL, {"n_passes": 5.5}, InputError, "n_passes is 5.5; expected a whole number"),
        (roll, ROLL, {"overlap_m": 2.5}, InputError, "drum_m less overlap_m"),
        (
            reshape,
            CROWN,
            {"new_pct": 0.04},
            UnitsError,
            "0.04, which looks like a ratio; crossfall is given in percent",
        ),
        (reshape, CROWN, {"new_pct": 14.0}, InputError, "new_pct is 14; expected 0.5 to 12"),
        (reshape, CROWN, {"new_pct": 1.0}, InputError, "below old_pct 2; expected a rise"),
        (reshape, CROWN, {"gravel_mm": 20.0}, InputError, "add gravel instead"),
        (
            regravel,
            GRAVEL,
            {"bulking": 0.85},
            InputError,
            "bulking is 0.85; expected 1 to 2; .* below 1 is a shrinkage",
        ),
        (
            regravel,
            GRAVEL,
            {"dry_t_m3": 2100},
            UnitsError,
            "2100, which looks like kg/m3; expected t/m3",
        ),
        (regravel, GRAVEL, {"dry_t_m3": 131}, UnitsError, "131, which looks like lb/ft3"),
        (regravel, GRAVEL, {"loose_t_m3": 1600}, UnitsError, "looks like kg/m3"),
        (regravel, GRAVEL, {"payload_t": 0.5}, InputError, "expected at least one bucket"),
        (regravel, GRAVEL, {"depth_mm": 0.0}, InputError, "depth_mm is 0"),
        (regravel, GRAVEL, {"limit_t": 20.0}, InputError, "truck_mass_t is 0"),
        (
            water,
            WATER,
            {"target_pct": 0.07},
            UnitsError,
            "0.07, which looks like a ratio; moisture is given in percent",
        ),
        (
            water,
            WATER,
            {"now_pct": 0.035},
            UnitsError,
            "0.035, which looks like a ratio; moisture is given in percent",
        ),
        (water, WATER, {"now_pct": -1.0}, InputError, "now_pct is -1; expected 0 to 30"),
        (
            water,
            WATER,
            {"dry_t_m3": 2.47},
            InputError,
            "expected 1.2 to 2.45 t/m3; a wet density counts water as stone",
        ),
        (water, WATER, {"allowance": 10.0}, InputError, "allowance is 10; expected 0 to 1"),
        (fleet, TRUCKS, {"load_m3": 0.0}, InputError, "load_m3 is 0"),
        (fleet, TRUCKS, {"others_m3_h": {"grader": 0.0}}, InputError, "rate of grader is 0"),
        (fleet, TRUCKS, {"n_trucks": 0}, InputError, "n_trucks is 0"),
        (ditch, DITCH, {"runoff_c": 1.2}, InputError, "runoff_c is 1.2; .*cannot exceed 1"),
        (
            ditch,
            DITCH,
            {"slope": 0.0},
            InputError,
            "a level ditch carries nothing, and 2 percent is 0.02",
        ),
        (ditch, DITCH, {"slope": 2.0}, InputError, "slope is 2; .*2 percent is 0.02"),
        (ditch, DITCH, {"area_ha": 200.0}, InputError, "larger areas need an engineer's method"),
        (ditch, DITCH, {"over_h": 24.0}, InputError, "a day's depth is not an intensity"),
        (culvert, CULVERT, {"diameter_m": 0.0}, InputError, "diameter_m is 0"),
        (taper, TAPER, {"posted_km_h": 5.0}, InputError, "posted_km_h is 5; expected 10 to 130"),
        (taper, TAPER, {"road": "lane"}, InputError, "road is 'lane'; expected one of"),
        (dust, DUST, {"rate_l_m2": 0.0}, InputError, "rate_l_m2"),
        (foretell, TOLD, {"passing_425": 0.35}, UnitsError, "looks like a ratio"),
        (foretell, TOLD, {"passing_2": 60.0}, InputError, "a finer sieve cannot pass more"),
        (foretell, TOLD, {"passing_37_5": 90.0}, InputError, "a finer sieve cannot pass more"),
        (
            scalp,
            {"grading": {25.0: 80.0, 4.75: 40.0}, "top_mm": 25.0},
            {"efficiency": 1.2},
            InputError,
            "efficiency is 1.2",
        ),
        (
            scalp,
            {"grading": {25.0: 80.0, 4.75: 40.0}, "top_mm": 25.0},
            {"feed_price": -1.0},
            InputError,
            "feed_price is -1",
        ),
    ],
)
def test_a_bad_figure_is_named_with_what_is_expected(call, usual, bad, kind, words):
    call(**usual)
    with pytest.raises(kind, match=words):
        call(**{**usual, **bad})


@pytest.mark.parametrize("bad", [2.5, 0, -2, math.nan])
def test_passes_are_whole_and_at_least_one(bad):
    for call in (blade_time, blade_hours):
        with pytest.raises(InputError, match="n_passes is"):
            call([(bad, 1.6, 6.0)], efficiency=0.83)


@pytest.mark.parametrize(
    ("grading", "words"),
    [
        ({4.75: 55.0, 0.075: 101.0}, "passing at 0.075 mm is 101; expected 0 to 100"),
        ({4.75: 55.0, 0.075: -1.0}, "passing at 0.075 mm is -1"),
        ({4.75: 55.0, 0.075: 60.0}, "a finer sieve cannot pass more"),
        ({4.75: 0.55, 0.075: 0.10}, "percentages are wanted, not shares"),
        ({4.75: 55.0}, "expected at least two"),
        ({4.75: math.nan, 0.075: 5.0}, "nan"),
        ({25.0: 100.0, 4.75: 50.0}, "has no 19 mm sieve; it has 25, 4.75 mm"),
    ],
)
def test_a_bad_gradation(grading, words):
    wanted = Specification("two", (SieveBand(19.0, 90, 100),), "ours")
    with pytest.raises(InputError, match=words):
        gravel_check(grading, wanted)


@pytest.mark.parametrize(
    ("fractions", "words"),
    [([0.5, 0.4], "sum to 0.9; expected 1"), ([50.0, 50.0], "fractions is 50; expected 0 to 1"),
     ([1.2, -0.2], "fractions is 1.2"), ([1.0], "has 1 values; expected 2")],
)  # fmt: skip
def test_fractions_make_a_whole(fractions, words):
    with pytest.raises(InputError, match=words):
        blend_passing(fractions, [{19.0: 100.0, 4.75: 40.0}] * 2)


def test_a_blank_plasticity_is_not_non_plastic():
    with pytest.raises(InputError, match="not tested is not non-plastic"):
        blend_plasticity([0.5, 0.5], [30.0, 40.0], [6.0])
    wanted = Specification("one", (SieveBand(4.75, 0, 100),), "ours", plasticity_low=2.0)
    grading = {19.0: 100.0, 4.75: 50.0}
    blank, zero = (gravel_check(grading, wanted, plasticity=p).rows[-1] for p in (None, "NP"))
    assert (blank.is_met, zero.is_met) == (None, False)
    with pytest.raises(InputError, match="expected a figure, 'NP' or nothing"):
        gravel_check(grading, wanted, plasticity="none")


def test_money_of_two_kinds_is_never_added():
    one = Pile("A", {19.0: 100.0, 4.75: 40.0}, 9.0)
    other = Pile("B", {19.0: 100.0, 4.75: 80.0}, 9.0, "CAD")
    with pytest.raises(InputError, match="give all prices in one currency"):
        blend_lp([one, other], Specification("s", (SieveBand(4.75, 40, 60),), "ours"))
    with pytest.raises(InputError, match="more than one currency"):
        edge_cost([Edge("a", 1, 1), Edge("b", 1, 1, currency="CAD")], speed_km_h=8, efficiency=1)
    place = Place("p", "pit", "pit", 0.0, 0.0)
    for currency, year in (("CAD", 2022), ("USD", 2019)):
        pit = GravelPit(place, "any", Rate("gravel", 900, "m3", currency, year, "x"), 10.0)
        with pytest.raises(InputError, match="give all rates in one currency and year"):
            price_book(Policy(), Fleet((), (), (), (pit,)))


def test_days_without_a_temperature_are_not_bridged():
    with pytest.raises(InputError, match="a gap on day 1"):
        thawing_index(np.array([1.0, np.nan, 2.0]), np.array([-2.0, -2.0, -2.0]))


def test_too_wet_is_never_a_negative_number_of_litres():
    assert water_volume(840.0, 2.1, 9.0, 7.0) == 0.0
