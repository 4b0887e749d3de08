"""The programme of a small agency, from nouns to a certified answer."""

from __future__ import annotations

import itertools
from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from crossfall.errors import InfeasibleError, InputError
from crossfall.model import Condition, Network, Node, Policy, Segment
from crossfall.programme import (
    GravelPlaced,
    can_be_told_apart,
    chances,
    cost_of_delay,
    first_year_needs,
    make_limits,
    plan_prepared,
    plan_years,
    prepare,
    under_funding_curve,
    with_contingency,
)

N = 70


def _network() -> Network:
    rng = np.random.default_rng(5)
    nodes = tuple(Node(f"n{i}", 0.02 * i, 45.0) for i in range(N + 1))
    segments = tuple(
        Segment(
            f"s{i}",
            f"Road {i}",
            f"n{i}",
            f"n{i + 1}",
            0.0,
            float(rng.uniform(700, 1700)),
            ((0.02 * i, 45.0), (0.02 * (i + 1), 45.0)),
            adt=float(rng.uniform(10, 250)),
            gravel_mm=float(rng.uniform(15, 120)),
            gravel_method="measured",
        )
        for i in range(N)
    )
    return Network(nodes, segments)


NETWORK = _network()


def test_a_programme_keeps_its_budget_and_says_what_it_is_worth() -> None:
    found = plan_years(NETWORK, (), Policy(), n_years=10, budget_minor=15_000_000, first_year=2026)
    assert found.certificate.is_within_limits
    assert found.use_minor.max() <= 15_000_000 * (1 + 1e-6)
    assert len(found.items) == N
    assert found.lower <= found.upper
    by_items = np.array([item.cost_minor for item in found.items]).sum(axis=0)
    assert np.allclose(by_items, found.use_minor, rtol=1e-4)
    gravel = np.array([item.gravel_m3 for item in found.items]).sum(axis=0)
    assert np.allclose(gravel, found.use_m3.sum(axis=0), atol=5)
    for item in found.items:
        assert all(2026 <= year < 2036 for year in item.regravel_years)
    assert "No programme within these limits" in found.summary()


def test_gravel_by_pit_is_limited_by_pit() -> None:
    gravel = {
        s.id: GravelPlaced("north" if i % 2 else "south", 3000.0, 8.0)
        for i, s in enumerate(NETWORK.segments)
    }
    free = plan_years(NETWORK, (), Policy(), n_years=8, budget_minor=None, gravel=gravel)
    north = free.pit_names.index("north")
    most = 1.1 * float(free.use_m3[north].mean())
    tight = plan_years(
        NETWORK,
        (),
        Policy(),
        n_years=8,
        budget_minor=None,
        gravel=gravel,
        gravel_m3={"north": most},
    )
    assert tight.use_m3[north].max() <= most * (1 + 1e-6)
    assert tight.upper >= free.lower * (1 - 1e-9)


def test_what_is_measured_starts_the_years() -> None:
    condition = Condition("s0", date(2026, 5, 1), 4, 4, 4, 4, 4, gravel_mm=3.0)
    first = plan_years(NETWORK, (), Policy(), n_years=3, budget_minor=None)
    second = plan_years(NETWORK, (condition,), Policy(), n_years=3, budget_minor=None)
    assert first.mean_gravel_mm[0] != second.mean_gravel_mm[0]


def test_too_little_money_is_named() -> None:
    with pytest.raises(InfeasibleError, match="money of year 1"):
        plan_years(NETWORK, (), Policy(), n_years=5, budget_minor=100_000)


@pytest.mark.parametrize(
    ("changes", "words"),
    [({"adt": -3.0}, "adt of segment s0"), ({"gravel_mm": 4000.0}, "gravel_mm")],
)
def test_impossible_segments_are_named(changes: dict, words: str) -> None:
    segments = (replace(NETWORK.segments[0], **changes), *NETWORK.segments[1:])
    with pytest.raises(InputError, match=words):
        plan_years(Network(NETWORK.nodes, segments), (), Policy(), n_years=5, budget_minor=None)


def test_rain_in_metres_is_refused() -> None:
    material = replace(Policy().programme.material, rain_mm_month=0.07)
    policy = replace(Policy(), programme=replace(Policy().programme, material=material))
    with pytest.raises(InputError, match="looks like metres"):
        plan_years(NETWORK, (), policy, n_years=5, budget_minor=None)


def test_the_same_input_gives_the_same_programme() -> None:
    def once() -> tuple:
        return plan_years(NETWORK, (), Policy(), n_years=8, budget_minor=12_000_000).items

    assert once() == once()


MADE = prepare(NETWORK, (), Policy(), n_years=8)
LIMITS = make_limits(8, budget_minor=14_000_000)


def test_less_money_costs_more_and_the_band_says_how_sure_that_is() -> None:
    points = under_funding_curve(MADE, LIMITS, (0.7, 0.85, 1.0, 3.0))
    for less, more in itertools.pairwise(points):
        assert less.lower >= more.lower * (1 - 1e-6)
        assert less.upper >= less.lower
    assert can_be_told_apart(points[0], points[-1])
    assert not can_be_told_apart(points[0], points[0])
    assert points[0].price > points[-1].price
    assert points[0].mean_gravel_mm_end < points[-1].mean_gravel_mm_end
    (hopeless,) = under_funding_curve(MADE, LIMITS, (0.001,))
    assert hopeless.lower == np.inf
    with pytest.raises(InputError, match="all above 0"):
        under_funding_curve(MADE, LIMITS, (0.0,))


def test_waiting_costs_something() -> None:
    delay = cost_of_delay(MADE, LIMITS, 2)
    assert delay.upper > 0
    assert 0 <= delay.lower <= delay.upper
    with pytest.raises(InputError, match="n_years is 8"):
        cost_of_delay(MADE, LIMITS, 8)


def test_the_first_year_feeds_the_week() -> None:
    found = plan_prepared(MADE, LIMITS, first_year=2026)
    needs = first_year_needs(found, MADE)
    due = {item.segment_id for item in found.items if 2026 in item.regravel_years}
    assert {need.segment_id for need in needs} == due
    assert due
    assert all(need.benefit_h > 0 and need.reasons for need in needs)


def test_a_budget_that_is_filled_is_often_exceeded_and_less_so_with_a_contingency() -> None:
    found = plan_prepared(MADE, LIMITS)
    plain = chances(found, MADE, n_draws=60)
    assert np.all(np.diff(plain.money_minor, axis=0) >= 0)
    careful = with_contingency(MADE, LIMITS, probability=0.8, n_draws=60)
    assert plain.p_over_budget.max() > 0.2, "or nothing would have to be kept back"
    assert careful.chance.p_over_budget.max() <= 0.2 + 1e-12
    assert careful.kept_back.min() >= -1e-12
    # Followed anew through the same draws, and against the whole budget
    again = chances(careful.programme, MADE, n_draws=60, budget_minor=LIMITS.money_minor)
    assert np.array_equal(again.p_over_budget, careful.chance.p_over_budget)
    assert np.all(careful.programme.use_minor <= LIMITS.money_minor * (1 + 1e-9))
    assert careful.programme.lower <= careful.programme.upper
    assert careful.programme.upper >= found.lower
    with pytest.raises(InputError, match="probability is 1"):
        with_contingency(MADE, LIMITS, probability=1.0)
    with pytest.raises(InputError, match="n_draws"):
        chances(found, MADE, n_draws=2)
