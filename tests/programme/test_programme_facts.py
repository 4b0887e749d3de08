"""From facts to the table: three ways of gravel loss, groups' own factors, ditches, doubts."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from crossfall.errors import InputError, UnitsError
from crossfall.formulas.gravel_loss import yearly_loss, yearly_loss_four_inputs
from crossfall.model import Condition, Policy
from crossfall.programme import Scenario, plan_years, prepare
from crossfall.programme.facts import doubts, facts_of, loss_mm_year, segment_table, table_of
from crossfall.programme.years import check_currency
from small_district import small_network

NETWORK = small_network()
SEGMENTS = NETWORK.maintained


def _policy(**parts) -> Policy:
    policy = Policy()
    programme = policy.programme
    changed = {name: replace(getattr(programme, name), **fields) for name, fields in parts.items()}
    return replace(policy, programme=replace(programme, **changed))


def _loss(policy: Policy, adt: float = 100.0) -> float:
    return float(loss_mm_year(np.array([adt]), np.array([2.0]), np.array([1.0]), policy)[0])


def test_the_relationship_is_the_default() -> None:
    material = Policy().programme.material
    expected = yearly_loss(
        adt=100,
        rise_fall_m_km=20,
        curvature_deg_km=material.curvature_deg_km,
        rain_mm_month=material.rain_mm_month,
        p075_pct=material.p075_pct,
        plasticity_pct=material.plasticity_pct,
    )
    assert _loss(Policy()) == pytest.approx(float(expected))


def test_four_inputs_take_rain_by_the_year_and_the_materials_factor() -> None:
    """TRRL Laboratory Report 673, 1975, as recalled: 14.28 mm/yr at 1 m of rain, 2 %, factor 1."""
    policy = _policy(
        gravel_loss={"method": "four inputs", "four_inputs_material": 1.0},
        material={"rain_mm_month": 1000 / 12},
    )
    assert _loss(policy) == pytest.approx(14.28, abs=0.01)
    assert _loss(policy) == pytest.approx(
        float(yearly_loss_four_inputs(adt=100, rain_m_year=1.0, grade_pct=2.0))
    )


def test_measured_rates_hold_as_they_are() -> None:
    policy = _policy(
        gravel_loss={"method": "measured", "measured_knots": ((100.0, 9.0), (20.0, 5.0))},
        factors={"gravel_loss": 0.5},
        seasons={"gravel_loss_factor": (3.0, 3.0)},
    )
    assert _loss(policy, 20.0) == 5.0
    assert _loss(policy, 60.0) == 7.0
    assert _loss(policy, 500.0) == 9.0, "beyond what was measured the last rate holds"


@pytest.mark.parametrize(
    ("how", "words"),
    [
        ({"method": "guess"}, "expected one of relationship, four inputs, measured"),
        ({"method": "measured"}, "measured_knots is empty"),
        ({"method": "measured", "measured_knots": ((50.0, -1.0),)}, "a rate of -1"),
    ],
)
def test_methods_that_cannot_be_are_named(how: dict, words: str) -> None:
    with pytest.raises(InputError, match=words):
        _loss(_policy(gravel_loss=how))


def test_seasons_weigh_gravel_loss_by_their_days() -> None:
    policy = _policy(seasons={"gravel_loss_factor": (2.0, 0.5)})
    of_year = (2.0 * 120 + 0.5 * 245) / 365
    assert _loss(policy) == pytest.approx(of_year * _loss(Policy()))


def test_a_group_takes_its_own_factors_and_others_the_agencys() -> None:
    busy = replace(SEGMENTS[0], adt=300.0)
    name = "surface gravel, over 250 vehicles a day"
    policy = _policy(factors={"by_group": ((name, 0.35, 2.0, 1.1),)})
    plain, own = (segment_table((busy, SEGMENTS[1]), (), each) for each in (Policy(), policy))
    loss = plain.column("loss_fixed_mm"), own.column("loss_fixed_mm")
    assert loss[1][0] == pytest.approx(loss[0][0] * 0.35 / 0.7, rel=1e-6)
    assert own.column("rate_traffic")[0] == pytest.approx(
        2 * plain.column("rate_traffic")[0], rel=1e-6
    )
    assert own.column("blading_share")[0] > plain.column("blading_share")[0]
    for column in ("loss_fixed_mm", "rate_traffic", "blading_share"):
        assert own.column(column)[1] == plain.column(column)[1]


def test_ditches_gain_where_the_drainage_score_is_low() -> None:
    day = date(2026, 5, 1)
    looks = tuple(
        Condition(segment.id, day, 4, score, 4, 4, 4)
        for segment, score in zip(SEGMENTS, (1.5, 3.0, 4.5), strict=True)
    )
    table = segment_table(SEGMENTS, looks, Policy())
    assert table.column("drain_short").tolist() == [1.0, 0.5, 0.0]


def test_what_is_hard_to_believe_is_said_and_what_cannot_be_refused() -> None:
    policy = _policy(
        gravel_loss={"method": "measured", "measured_knots": ((0.0, 1.0), (1000.0, 1.0))}
    )
    assert doubts(segment_table(SEGMENTS, (), policy), policy) == (
        "3 segments lose less than 3 mm a year.",
    )
    policy = _policy(
        gravel_loss={"method": "measured", "measured_knots": ((0.0, 90.0), (1000.0, 90.0))}
    )
    assert "more than 50 mm" in doubts(segment_table(SEGMENTS, (), policy), policy)[0]
    policy = _policy(
        gravel_loss={"method": "measured", "measured_knots": ((0.0, 400.0), (1000.0, 400.0))}
    )
    with pytest.raises(InputError, match="would lose 400 mm of gravel a year"):
        segment_table(SEGMENTS, (), policy)


def test_rain_in_metres_is_refused_by_each_relationship() -> None:
    for method in ("relationship", "four inputs"):
        policy = _policy(material={"rain_mm_month": 0.07}, gravel_loss={"method": method})
        with pytest.raises(UnitsError, match="looks like metres"):
            segment_table(SEGMENTS, (), policy)


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"adt": -1.0}, "adt of segment s0 is -1; expected 0 to 100000 vehicles a day"),
        ({"adt": float("nan")}, "adt of segment s0 is nan"),
        ({"gravel_mm": 1500.0}, "gravel_mm of segment s0 is 1500; expected 0 to 1000 mm"),
        ({"width_m": 700.0}, "width_m of segment s0 is 700"),
        ({"heavy_share": 10.0}, "heavy_share of segment s0 is 10"),
        ({"grade_pct": -3.0}, "grade_pct of segment s0"),
    ],
)
def test_impossible_figures_name_segment_and_unit(changes: dict, words: str) -> None:
    with pytest.raises(InputError, match=words):
        segment_table((replace(SEGMENTS[0], **changes),), (), Policy())


def test_scenarios_change_rain_traffic_and_growth() -> None:
    base, other = (
        prepare(NETWORK, (), Policy(), n_years=4, scenario=each)
        for each in (Scenario(), Scenario(1.5, 2.0, 5.0))
    )
    rain = Policy().programme.material.rain_mm_month
    assert other.policy.programme.material.rain_mm_month == pytest.approx(1.5 * rain)
    assert other.years.growth[1] == pytest.approx(1.05)
    users = base.table.column("user_minor_iri"), other.table.column("user_minor_iri")
    assert np.allclose(users[1], 2 * users[0])
    with pytest.raises(InputError, match="rain_factor is 0"):
        Scenario(rain_factor=0).policy(Policy())
    with pytest.raises(InputError, match="growth_pct is 80"):
        Scenario(growth_pct=80).policy(Policy())


def test_rates_in_two_currencies_are_named() -> None:
    policy = Policy()
    rate = policy.costs.roller
    odd = replace(rate, likely=replace(rate.likely, currency="EUR"))
    mixed = replace(policy, costs=replace(policy.costs, roller=odd))
    with pytest.raises(InputError, match="roller in EUR"):
        check_currency(mixed)
    with pytest.raises(InputError, match="currencies"):
        plan_years(NETWORK, (), mixed, n_years=3, budget_minor=None)


def test_pits_of_a_part_keep_the_index_of_the_whole() -> None:
    facts = facts_of(SEGMENTS, (), Policy())
    table = table_of(facts, Policy(), pit_names=("north", "any pit"))
    assert table.pit_names == ("north", "any pit")
    assert table.pit.tolist() == [1, 1, 1]
    with pytest.raises(InputError, match="road_class is 'lane'"):
        table_of(replace(facts, road_class=np.array(["local", "lane", "local"])), Policy())
