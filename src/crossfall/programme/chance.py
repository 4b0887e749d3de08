"""How sure the years are: the chosen programme under other rain, traffic and gravel loss.

A programme that fills its budget exceeds it about every second year, because triggers move with
the weather. The draws are common to all segments (a wet year is wet everywhere); their spreads are
settings. A contingency is found by planning with less until the budget holds as often as asked.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from crossfall.errors import InfeasibleError, InputError
from crossfall.programme.limits import Limits
from crossfall.programme.trace import trace
from crossfall.programme.years import Prepared, Programme, plan_prepared

Floats = npt.NDArray[np.float64]

_MOST_TURNS = 12
_CUT, _EASE, _ALL = 0.6, 0.5, 0.96
"""How much of what a year exceeds is cut in a turn, of what it leaves given back, and what all
years are cut to: triggers that bunch in one year are thinned out only by fewer of them."""


@dataclass(frozen=True, eq=False)
class Chance:
    """Quantiles over the draws; arrays of shape (quantile, year)."""

    quantiles: tuple[float, ...]
    money_minor: Floats
    """Agency money of each year."""
    gravel_mm: Floats
    """Mean thickness at each year's end, weighted by length."""
    iri: Floats
    """Mean roughness of each year, weighted by length."""
    p_over_budget: Floats
    """(year,) share of the draws in which the year costs more than its limit."""
    n_draws: int


@dataclass(frozen=True, eq=False)
class Contingency:
    """A programme planned with less, so that the budget holds."""

    programme: Programme
    kept_back: Floats
    """(year,) share of the budget not planned with."""
    chance: Chance


def chances(
    programme: Programme,
    made: Prepared,
    *,
    n_draws: int = 200,
    seed: int = 1,
    budget_minor: Floats | None = None,
    quantiles: tuple[float, ...] = (0.1, 0.5, 0.9),
) -> Chance:
    """Follow the chosen programme through drawn years.

    Raises
    ------
    InputError
        If there are fewer than 10 draws.
    """
    if n_draws < 10:
        raise InputError(f"n_draws is {n_draws}; expected at least 10")
    spread, years = made.policy.programme.chance, made.years
    rng = np.random.default_rng(seed)
    budget = programme.limits.money_minor if budget_minor is None else budget_minor
    length = np.array([segment.length_m for segment in made.segments])
    weight = length / length.sum()
    money = np.empty((n_draws, years.n_years))
    gravel, rough = np.empty_like(money), np.empty_like(money)
    growth = np.array(years.growth)
    for draw in range(n_draws):
        level = np.exp(rng.normal(0, spread.gravel_loss_sd))
        weather = np.exp(rng.normal(0, spread.rain_sd, years.n_years))
        traffic = growth * np.exp(rng.normal(0, spread.traffic_sd))
        found = trace(
            programme.choice.strategy,
            made.table,
            made.strategies,
            years,
            growth=traffic,
            loss_factor=level * weather,
        )
        money[draw] = found.money_minor.sum(axis=1)
        gravel[draw], rough[draw] = found.gravel_mm @ weight, found.iri @ weight
    return Chance(
        quantiles,
        np.quantile(money, quantiles, axis=0),
        np.quantile(gravel, quantiles, axis=0),
        np.quantile(rough, quantiles, axis=0),
        (money > budget * (1 + 1e-9)).mean(axis=0),
        n_draws,
    )


def with_contingency(
    made: Prepared,
    limits: Limits,
    *,
    probability: float,
    n_draws: int = 200,
    seed: int = 1,
    first_year: int = 1,
) -> Contingency:
    """Plan with so much less that each year's budget holds with ``probability``, as far as found.

    The money kept back is changed in turns by what the draws exceed or leave; the turn in which the
    least sure year is surest counts. :attr:`Contingency.chance` says how often each budget holds.

    Raises
    ------
    InputError
        If the probability is not from 0.5 to 0.99, or a year has no budget.
    """
    if not 0.5 <= probability <= 0.99:
        raise InputError(f"probability is {probability:g}; expected 0.5 to 0.99")
    if not np.isfinite(limits.money_minor).all():
        raise InputError("there is no budget in some year; give one to keep back from")
    money, start = limits.money_minor.copy(), None
    best: Contingency | None = None
    for _ in range(_MOST_TURNS):
        try:
            found = plan_prepared(
                made,
                Limits(money, limits.grader_h, limits.gravel_m3),
                first_year=first_year,
                start=start,
            )
        except InfeasibleError:
            if best is None:
                raise
            break
        start = found.choice.prices
        seen = chances(
            found,
            made,
            n_draws=n_draws,
            seed=seed,
            budget_minor=limits.money_minor,
            quantiles=(1 - probability, 0.5, probability),
        )
        if best is None or seen.p_over_budget.max() < best.chance.p_over_budget.max():
            best = Contingency(found, 1 - money / limits.money_minor, seen)
        if np.all(seen.p_over_budget <= 1 - probability):
            break
        off = seen.money_minor[2] / limits.money_minor
        money = money * _ALL / off ** np.where(off > 1, _CUT, _EASE)
        money = np.minimum(money, limits.money_minor)
    assert best is not None
    return best
