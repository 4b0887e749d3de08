"""Simulation of years: kernel against reference, and both against an integrator of its own kind."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from crossfall.errors import InputError
from crossfall.formulas.roughness import year_of_bladings
from crossfall.model.policy.programme import (
    ProgrammePolicy,
    SeasonPolicy,
    StrategyPolicy,
    YearsCostPolicy,
)
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
    care, blading, gravel = (int(part) for part in strategies.parts(np.array(index)))
    n, has_dust = float(strategies.bladings[blading]), strategies.dust[care] > 0
    short = at["drain_short"] if strategies.drain[care] > 0 else 0.0
    rate_share = (years.dust_rate_share if has_dust else 1) * (
        1 - (1 - years.drainage_rate_share) * short
    )
    loss_share = (years.dust_loss_share if has_dust else 1) * (
        1 - (1 - years.drainage_loss_share) * short
    )
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
        rate = max(rate * rate_share, 1e-5)
        area = 0.0
        for days, pace, times in zip(
            years.season_days, years.season_rate, strategies.by_season[blading], strict=True
        ):
            # Many small steps of the slope itself, however long the stretch between bladings
            n_cycles = max(1, round(float(times)))
            steps = math.ceil(days / n_cycles * 6)
            step = days / n_cycles / steps
            for _ in range(n_cycles):
                for _ in range(steps):
                    before = rough
                    slopes: list[float] = []
                    for ahead in (0.0, 0.5, 0.5, 1.0):
                        there = before + ahead * step * (slopes[-1] if slopes else 0.0)
                        slopes.append(rate * pace * (at["top_iri"] - there))
                    rough = before + step / 6 * (
                        slopes[0] + 2 * slopes[1] + 2 * slopes[2] + slopes[3]
                    )
                    area += step * (before + rough) / 2
                if times > 0:
                    rough = at["bottom_iri"] + at["blading_share"] * (rough - at["bottom_iri"])
        bare = max(0.0, 1 - left / years.thin_mm)
        mean = area / 365 + years.thin_iri * bare
        users = at["user_minor_iri"] * max(mean - 3.0, 0.0) + at["bare_minor"] * bare
        agency = n * at["blade_minor"] + (at["dust_minor"] if has_dust else 0.0)
        agency += at["drain_minor"] if strategies.drain[care] > 0 else 0.0
        total += discount * (grown * users + agency)
        loss = at["loss_fixed_mm"] + grown * at["loss_traffic_mm"]
        left = max(0.0, left - loss * loss_share)
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
    "drain_minor",
    "drain_short",
)


def test_an_independent_integrator_agrees_within_one_in_ten_thousand() -> None:
    table, rng = made_table(40, 8), np.random.default_rng(4)
    outcomes = simulate(table, STRATEGIES, YEARS)
    n_compared = 0
    for row, index in zip(rng.integers(0, 40, 40), rng.integers(0, STRATEGIES.n, 40), strict=True):
        cost, bits = _stepped(table, int(row), STRATEGIES, int(index), YEARS)
        assert int(outcomes.mask[row, index]) == bits
        if np.isfinite(outcomes.cost[row, index]):
            assert outcomes.cost[row, index] == pytest.approx(cost, rel=1e-4)
            n_compared += 1
    assert n_compared >= 20


def test_the_trace_follows_the_simulated_years() -> None:
    table = made_table(50, 2)
    outcomes = simulate(table, STRATEGIES, YEARS)
    strategy = np.random.default_rng(1).integers(0, STRATEGIES.n, 50)
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
    for blading in (0, 1, 2, 4, 5):
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
        strategy_set(StrategyPolicy(bladings_by_season=((4.0, 0.0), (1.0, 0.0))))
    with pytest.raises(InputError, match="as many seasons"):
        strategy_set(StrategyPolicy(bladings_by_season=((4.0, 0.0), (5.0,))))
    with pytest.raises(InputError, match="0, or 1 and more"):
        strategy_set(StrategyPolicy(bladings_by_season=((1.0, 0.5),)))
    with pytest.raises(InputError, match="begin with 0"):
        strategy_set(StrategyPolicy(regravel_below_mm=(25.0,), lift_mm=(75.0,)))


def test_discount_and_growth_run_by_year() -> None:
    policy = ProgrammePolicy(costs=YearsCostPolicy(discount_pct=5, traffic_growth_pct=2))
    years = course(policy, 3)
    assert years.discount == pytest.approx((1, 1 / 1.05, 1 / 1.05**2))
    assert years.growth == pytest.approx((1, 1.02, 1.0404))


def test_seasons_must_make_a_year() -> None:
    with pytest.raises(InputError, match="365 in all"):
        course(ProgrammePolicy(seasons=SeasonPolicy(days=(120.0, 120.0))), 3)
    with pytest.raises(InputError, match="two factors each"):
        course(ProgrammePolicy(seasons=SeasonPolicy(roughness_factor=(1.0,))), 3)
    with pytest.raises(InputError, match="factor of a season"):
        course(ProgrammePolicy(seasons=SeasonPolicy(roughness_factor=(1.0, 0.0))), 3)


def test_a_blading_counts_for_more_in_the_season_that_roughens() -> None:
    """Four bladings either in a short, rough season or in a long, calm one."""
    seasons = SeasonPolicy(days=(120.0, 245.0), roughness_factor=(3.0, 0.1))
    strategies = strategy_set(StrategyPolicy(bladings_by_season=((4.0, 0.0), (0.0, 4.0))))
    table = made_table(200, 2)
    years = course(ProgrammePolicy(seasons=seasons), 6)
    early, late = (
        trace(np.full(200, first), table, strategies, years).iri.mean() for first in (0, 5)
    )
    assert early < late


def test_ditches_help_where_the_drainage_is_short_and_nowhere_else() -> None:
    table = made_table(300, 2)
    with_ditches = 2 * 6 * 5
    plain, kept_up = (
        trace(np.full(300, first), table, STRATEGIES, YEARS) for first in (0, with_ditches)
    )
    is_short = table.column("drain_short") > 0
    assert np.all(kept_up.iri[:, is_short] < plain.iri[:, is_short])
    assert np.allclose(kept_up.iri[:, ~is_short], plain.iri[:, ~is_short])
    assert np.all(kept_up.gravel_mm >= plain.gravel_mm - 1e-9)
    assert np.all(kept_up.money_minor > plain.money_minor)


def test_figures_of_a_segment_do_not_depend_on_its_neighbours() -> None:
    """To the last bit: partitions and samples are simulated apart."""
    table = made_table(1000, 4)
    outcomes = simulate(table, STRATEGIES, YEARS)
    some = np.sort(np.random.default_rng(3).choice(1000, 301, replace=False))
    apart = simulate(table.rows(some), STRATEGIES, YEARS)
    assert np.array_equal(apart.cost, outcomes.cost[some])
    assert np.array_equal(apart.mask, outcomes.mask[some])


def test_one_season_is_the_plain_year() -> None:
    policy = ProgrammePolicy(
        seasons=SeasonPolicy(
            names=("year",), days=(365.0,), roughness_factor=(1.0,), gravel_loss_factor=(1.0,)
        ),
        strategies=replace(POLICY.strategies, bladings_by_season=((2.0,), (6.0,))),
    )
    table, strategies = made_table(60, 1), strategy_set(policy.strategies)
    years = course(policy, 1)
    found = trace(np.full(60, 5), table, strategies, years)
    rate = -(table.column("rate_fixed") + table.column("rate_traffic")).astype(float)
    mean, _ = year_of_bladings(
        np.where(found.is_regravelled[0], 4.0, table.column("start_iri")),
        table.column("top_iri"),
        table.column("bottom_iri"),
        table.column("blading_share"),
        rate,
        6.0,
    )
    bare = np.maximum(1 - table.column("start_mm") / years.thin_mm, 0.0)
    assert np.allclose(found.iri[0], mean + years.thin_iri * bare, rtol=1e-6)
