"""Choice under limits: optimal on tiny ones, proven on larger, certified by separate code."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import linprog

from crossfall.errors import InfeasibleError, InputError
from crossfall.model.policy.programme import ProgrammePolicy, StrategyPolicy
from crossfall.programme.certify import certify
from crossfall.programme.choose import Choice, choose
from crossfall.programme.kernel import simulate
from crossfall.programme.limits import Limits, make_limits
from crossfall.programme.made import made_limits, made_table
from crossfall.programme.outcomes import Outcomes
from crossfall.programme.price import price, uses_of, values_at
from crossfall.programme.prune import drop_dominated
from crossfall.programme.simulate import course
from crossfall.programme.table import strategy_set

POLICY = ProgrammePolicy()
FEW = StrategyPolicy(
    bladings_by_season=((1.0, 0.0), (2.0, 4.0)),
    regravel_below_mm=(0.0, 40.0),
    lift_mm=(0.0, 75.0),
    with_dust_control=(False, True),
)


def _instance(n: int, seed: int, strategies: StrategyPolicy, n_years: int, **shares: float):
    table, chosen_from = made_table(n, seed), strategy_set(strategies)
    outcomes = simulate(table, chosen_from, course(POLICY, n_years))
    free = price(outcomes, table, chosen_from, np.zeros((5, n_years)))[1].use[0]
    return table, chosen_from, outcomes, made_limits(free, **shares)


def _certified(choice: Choice, limits: Limits, instance: tuple) -> None:
    table, strategies, outcomes, _ = instance
    proof = certify(choice.strategy, choice.prices, limits.stacked(), outcomes, table, strategies)
    assert proof.is_within_limits, proof
    assert proof.upper == pytest.approx(choice.upper, rel=1e-9)
    assert proof.lower == pytest.approx(choice.lower, rel=1e-6)
    assert proof.lower <= proof.upper * (1 + 1e-9)


@pytest.mark.parametrize("seed", range(6))
def test_brute_force_agrees_on_tiny_networks(seed: int) -> None:
    """Every combination of 8 strategies on 4 segments, under loosened limits."""
    n, n_years = 4, 6
    table, strategies, outcomes, limits = _instance(n, seed, FEW, n_years, money=1.0, gravel=1.6)
    limits = Limits(limits.money_minor * 1.3, limits.grader_h * 1.4, limits.gravel_m3 * 1.5)
    everyone = np.arange(n)
    cost, money, hours, gravel = uses_of(outcomes, table, strategies, n_years)
    rows = limits.stacked()
    best = np.inf
    for combination in itertools.product(range(strategies.n), repeat=n):
        pick = np.array(combination)
        used = np.zeros_like(rows)
        used[0] = money[everyone, pick].sum(axis=0)
        used[1] = hours[everyone, pick].sum(axis=0)
        np.add.at(used, 2 + table.pit, gravel[everyone, pick])
        if np.all(used <= rows * (1 + 1e-9)):
            best = min(best, cost[everyone, pick].sum())
    if not np.isfinite(best):
        with pytest.raises(InfeasibleError):
            choose(outcomes, table, strategies, limits, POLICY.solve)
        return
    choice = choose(outcomes, table, strategies, limits, POLICY.solve)
    assert choice.upper == pytest.approx(best, rel=1e-6)
    assert choice.lower <= best * (1 + 1e-6)


def test_the_bound_is_the_value_of_the_linear_programme() -> None:
    """Lagrangian bound against scipy's own linear programme, to three decimals of a money unit."""
    n, n_years = 40, 8
    table, strategies, outcomes, limits = _instance(n, 11, FEW, n_years)
    solve = replace(POLICY.solve, dual_tolerance=1e-11, dual_passes=600, polish_below=0)
    choice = choose(outcomes, table, strategies, limits, solve)
    cost, money, hours, gravel = uses_of(outcomes, table, strategies, n_years)
    by_pit = np.zeros((n, strategies.n, 5, n_years))
    by_pit[:, :, 0], by_pit[:, :, 1] = money, hours
    by_pit[np.arange(n)[:, None], np.arange(strategies.n), 2 + table.pit[:, None]] = gravel
    allowed = np.isfinite(cost).ravel()
    found = linprog(
        cost.ravel()[allowed],
        A_ub=by_pit.reshape(n * strategies.n, -1).T[:, allowed],
        b_ub=limits.stacked().ravel(),
        A_eq=np.kron(np.eye(n), np.ones(strategies.n))[:, allowed],
        b_eq=np.ones(n),
    )
    assert found.status == 0
    assert choice.lower / 100 == pytest.approx(found.fun / 100, abs=5e-4 + 1e-9 * found.fun)


@pytest.mark.parametrize(("seed", "money"), [(1, 0.65), (2, 0.8), (3, 0.95)])
def test_a_larger_network_is_proven_and_certified(seed: int, money: float) -> None:
    instance = _instance(1500, seed, POLICY.strategies, 20, money=money)
    table, strategies, outcomes, limits = instance
    choice = choose(outcomes, table, strategies, limits, POLICY.solve)
    _certified(choice, limits, instance)
    assert choice.gap_pct <= 0.25
    assert choice.avoidable_gap_pct <= 0.4


def test_a_sample_shows_the_way_on_large_networks() -> None:
    instance = _instance(3000, 4, POLICY.strategies, 10, money=0.8)
    table, strategies, outcomes, limits = instance
    solve = replace(POLICY.solve, sample_above=1000, sample=1000)
    choice = choose(outcomes, table, strategies, limits, solve)
    _certified(choice, limits, instance)
    assert choice.gap_pct <= 0.2


def test_the_compiled_pass_and_the_plain_one_choose_alike() -> None:
    table, strategies, outcomes, _ = _instance(300, 9, POLICY.strategies, 13)
    prices = np.random.default_rng(2).uniform(0, 0.5, (5, 13))
    prices[1:] *= 2000
    choice, priced = price(outcomes, table, strategies, prices)
    plain = values_at(outcomes, table, strategies, prices, np.arange(300))
    here = np.arange(300)
    assert np.allclose(plain[here, choice], plain.min(axis=1), rtol=1e-12)
    bound = priced.bound(prices, np.zeros((5, 13)))
    assert bound == pytest.approx(plain.min(axis=1).sum(), rel=1e-9)


def test_without_limits_nothing_is_left_to_better() -> None:
    table, strategies, outcomes, _ = _instance(200, 1, FEW, 5)
    limits = make_limits(5, budget_minor=None, pit_names=table.pit_names)
    choice = choose(outcomes, table, strategies, limits, POLICY.solve)
    assert choice.gap_pct == pytest.approx(0, abs=1e-9)
    assert not choice.prices.any()


def test_limits_that_nothing_keeps_are_named() -> None:
    table, strategies, outcomes, _ = _instance(200, 1, FEW, 5)
    limits = make_limits(5, budget_minor=1000.0, pit_names=table.pit_names)
    with pytest.raises(InfeasibleError, match="money of year"):
        choose(outcomes, table, strategies, limits, POLICY.solve)


def test_more_money_never_costs_more() -> None:
    instance = _instance(400, 7, POLICY.strategies, 10)
    table, strategies, outcomes, limits = instance
    solve = replace(POLICY.solve, polish_below=0)
    lowers = [
        choose(
            outcomes,
            table,
            strategies,
            Limits(limits.money_minor * share, limits.grader_h, limits.gravel_m3),
            solve,
        ).lower
        for share in (0.7, 0.85, 1.0)
    ]
    assert lowers[0] >= lowers[1] * (1 - 1e-6) >= lowers[2] * (1 - 2e-6)


def test_the_certificate_sees_a_broken_limit_and_refuses_odd_prices() -> None:
    table, strategies, outcomes, limits = _instance(100, 1, FEW, 5)
    greedy = np.full(100, strategies.n - 1)
    none = np.zeros((5, 5))
    proof = certify(greedy, none, limits.stacked(), outcomes, table, strategies)
    assert not proof.is_within_limits
    assert proof.worst_share > 1
    with pytest.raises(InputError, match="price is negative"):
        certify(greedy, none - 1, limits.stacked(), outcomes, table, strategies)
    with pytest.raises(InputError, match="strategy has shape"):
        certify(greedy[:-1], none, limits.stacked(), outcomes, table, strategies)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ({"budget_minor": 0.0}, "budget_minor is 0"),
        ({"budget_minor": -5.0}, "budget_minor is -5"),
        ({"budget_minor": [1e6, 1e6]}, "has 2 years; expected 3"),
        ({"budget_minor": 1e6, "grader_h": float("nan")}, "grader_h is nan"),
        ({"budget_minor": 1e6, "gravel_m3": {"moon": 1.0}}, "names pits"),
    ],
)
def test_impossible_limits_are_named(arguments: dict, words: str) -> None:
    with pytest.raises(InputError, match=words):
        make_limits(3, **arguments)


def test_dropping_dominated_strategies_changes_no_choice_at_any_prices() -> None:
    table, strategies, outcomes, _ = _instance(400, 3, POLICY.strategies, 9)
    full = Outcomes(outcomes.cost.copy(), outcomes.mask)
    n_dropped = drop_dominated(outcomes, strategies)
    assert 0 < n_dropped < 0.9 * outcomes.cost.size
    rng = np.random.default_rng(6)
    for scale in (0.0, 0.1, 1.0, 10.0):
        prices = rng.uniform(0, scale, (5, 9))
        prices[1:] *= 1000
        before, after = (price(each, table, strategies, prices)[1] for each in (full, outcomes))
        bounds = [each.bound(prices, np.zeros((5, 9))) for each in (before, after)]
        assert bounds[0] == pytest.approx(bounds[1], rel=1e-12)
