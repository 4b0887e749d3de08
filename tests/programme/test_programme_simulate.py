"""Simulation of years: kernel against reference, and both against an integrator of its own kind."""

from __future__ import annotations

import numpy as np
import pytest

from crossfall.errors import InputError
from crossfall.model.policy.programme import ProgrammePolicy, StrategyPolicy, YearsCostPolicy
from crossfall.programme.kernel import simulate
from crossfall.programme.made import made_table
from crossfall.programme.simulate import Course, course, simulate_reference
from crossfall.programme.table import SegmentTable, StrategySet, strategy_set
from crossfall.programme.trace import trace

POLICY = ProgrammePolicy()
STRATEGIES = strategy_set(POLICY.strategies)
YEARS = course(POLICY, 12)


def test_kernel_and_reference_agree() -> None:
    table = made_table(700, 3)
    fast, plain = simulate(table, STRATEGIES, YEARS), simulate_reference(table, STRATEGIES, YEARS)
    assert np.array_equal(fast.mask, plain.mask)
    assert np.array_equal(np.isfinite(fast.cost), np.isfinite(plain.cost))
    both = np.isfinite(plain.cost)
    assert np.allclose(fast.cost[both], plain.cost[both], rtol=2e-5)


def _stepped(
    table: SegmentTable, row: int, strategies: StrategySet, index: int, years: Course
) -> tuple[float, int]:
    """Present value and regravelling bits by small steps, with no closed form anywhere."""
    at = {name: float(table.column(name)[row]) for name in _NAMES}
    dust, blading, gravel = (int(part) for part in strategies.parts(np.array(index)))
    n, has_dust = float(strategies.bladings[blading]), strategies.dust[dust] > 0
    below, lift = float(strategies.trigger_mm[gravel]), float(strategies.lift_mm[gravel])
    left, rough, total, bits = at["start_mm"], at["start_iri"], 0.0, 0
    for year in range(years.n_years):
        grown, discount = years.growth[year], years.discount[year]
        if left < below:
            left += lift
            rough = min(rough, years.fresh_iri)
            bits |= 1 << year
            total += discount * lift * at["lift_minor_mm"]
        rate = at["rate_fixed"] + grown * at["rate_traffic"]
        rate = max(rate * (years.dust_rate_share if has_dust else 1), 1e-5)
        area, steps, n_cycles = 0.0, 400, round(n)
        step = 365 / n / steps
        for _ in range(n_cycles):
            for _ in range(steps):
                before = rough
                slopes = []
                for ahead in (0.0, 0.5, 0.5, 1.0):
                    there = before + ahead * step * (slopes[-1] if slopes else 0.0)
                    slopes.append(rate * (at["top_iri"] - there))
                rough = before + step / 6 * (slopes[0] + 2 * slopes[1] + 2 * slopes[2] + slopes[3])
                area += step * (before + rough) / 2
            rough = at["bottom_iri"] + at["blading_share"] * (rough - at["bottom_iri"])
        bare = max(0.0, 1 - left / years.thin_mm)
        mean = area / 365 + years.thin_iri * bare
        users = at["user_minor_iri"] * max(mean - 3.0, 0.0) + at["bare_minor"] * bare
        agency = n * at["blade_minor"] + (at["dust_minor"] if has_dust else 0.0)
        total += discount * (grown * users + agency)
        loss = at["loss_fixed_mm"] + grown * at["loss_traffic_mm"]
        left = max(0.0, left - loss * (years.dust_loss_share if has_dust else 1))
    owed = max(0.0, years.reference_mm - left) * at["lift_minor_mm"]
    return total + years.end_value_share * years.discount[-1] * owed, bits


_NAMES = (
    "top_iri",
    "bottom_iri",
    "blading_share",
    "rate_fixed",
    "rate_traffic",
    "loss_fixed_mm",
    "loss_traffic_mm",
    "user_minor_iri",
    "bare_minor",
    "blade_minor",
    "lift_minor_mm",
    "dust_minor",
    "start_mm",
    "start_iri",
)


def test_an_independent_integrator_agrees_within_one_in_ten_thousand() -> None:
    table, rng = made_table(40, 8), np.random.default_rng(4)
    outcomes = simulate(table, STRATEGIES, YEARS)
    n_compared = 0
    for row, index in zip(rng.integers(0, 40, 24), rng.integers(0, 50, 24), strict=True):
        cost, bits = _stepped(table, int(row), STRATEGIES, int(index), YEARS)
        assert int(outcomes.mask[row, index]) == bits
        if np.isfinite(outcomes.cost[row, index]):
            assert outcomes.cost[row, index] == pytest.approx(cost, rel=1e-4)
            n_compared += 1
    assert n_compared >= 20


def test_the_trace_follows_the_simulated_years() -> None:
    table = made_table(50, 2)
    outcomes = simulate(table, STRATEGIES, YEARS)
    strategy = np.random.default_rng(1).integers(0, 50, 50)
    found = trace(strategy, table, STRATEGIES, YEARS)
    bits = (found.is_regravelled * (1 << np.arange(12))[:, None]).sum(axis=0)
    assert np.array_equal(bits, outcomes.mask[np.arange(50), strategy])
    assert found.gravel_mm.min() >= 0


def test_strategies_that_miss_the_service_level_are_out_unless_all_do() -> None:
    table = made_table(200, 5)
    outcomes = simulate(table, STRATEGIES, YEARS)
    assert np.isfinite(outcomes.cost).any(axis=1).all()
    assert not np.isfinite(outcomes.cost).all()


def test_more_blading_is_never_rougher() -> None:
    table = made_table(100, 6)
    means = []
    for blading in range(5):
        index = np.full(100, blading * 5)
        means.append(trace(index, table, STRATEGIES, YEARS).iri.mean(axis=0))
    assert np.all(np.diff(means, axis=0) <= 1e-9)


@pytest.mark.parametrize("n_years", [0, 31])
def test_years_out_of_range_are_refused(n_years: int) -> None:
    with pytest.raises(InputError, match="n_years"):
        course(POLICY, n_years)


def test_lists_that_do_not_fit_are_refused() -> None:
    with pytest.raises(InputError, match="one lift for each"):
        strategy_set(StrategyPolicy(lift_mm=(0.0,)))
    with pytest.raises(InputError, match="begin with the least"):
        strategy_set(StrategyPolicy(bladings_per_year=(4.0, 1.0)))
    with pytest.raises(InputError, match="begin with 0"):
        strategy_set(StrategyPolicy(regravel_below_mm=(25.0,), lift_mm=(75.0,)))


def test_discount_and_growth_run_by_year() -> None:
    policy = ProgrammePolicy(costs=YearsCostPolicy(discount_pct=5, traffic_growth_pct=2))
    years = course(policy, 3)
    assert years.discount == pytest.approx((1, 1 / 1.05, 1 / 1.05**2))
    assert years.growth == pytest.approx((1, 1.02, 1.0404))
