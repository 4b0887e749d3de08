"""How sure the years are: the chosen programme under other rain, traffic and gravel loss.

A programme that fills its budget exceeds it about every second year, because triggers move with
the weather. The draws are common to all segments (a wet year is wet everywhere); their spreads are
settings. A contingency is found by planning with less; where triggers still bunch in a year,
segments that would be regravelled in it are left at the least their service level allows, until the
budget holds as often as asked in the draws, or nothing more can be left out.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from crossfall.errors import InfeasibleError, InputError
from crossfall.programme.limits import Limits
from crossfall.programme.trace import Trace, trace
from crossfall.programme.years import Prepared, Programme, plan_prepared

Floats = npt.NDArray[np.float64]

_MOST_TURNS = 6
_MOST_LEFT_OUT = 15
_GENTLY = 0.7
"""Turns in which money is kept back, and in which segments are left at the least after
them, for so much of what is exceeded in a turn."""
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
    budget = programme.limits.money_minor if budget_minor is None else budget_minor
    length = np.array([segment.length_m for segment in made.segments])
    weight = length / length.sum()
    money = np.empty((n_draws, made.years.n_years))
    gravel, rough = np.empty_like(money), np.empty_like(money)
    for draw, found in enumerate(_drawn(programme.choice.strategy, made, n_draws, seed)):
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
    """Plan with so much less that each year's budget holds with ``probability`` in the draws.

    The money kept back is changed in turns by what the draws exceed or leave. Where that is not
    enough, segments are left at the least, those first that cost most in the draws that exceed.
    Where even that is not enough, the turn in which the least sure year is surest counts:
    :attr:`Contingency.chance` says how often each budget holds. The bound of the programme is that
    of the whole budget, with nothing left out.

    Raises
    ------
    InputError
        If the probability is not from 0.5 to 0.99, or a year has no budget.
    """
    if not 0.5 <= probability <= 0.99:
        raise InputError(f"probability is {probability:g}; expected 0.5 to 0.99")
    if not np.isfinite(limits.money_minor).all():
        raise InputError("there is no budget in some year; give one to keep back from")
    budget, money, start = limits.money_minor, limits.money_minor.copy(), None
    best: Contingency | None = None
    lower, tried = 0.0, made
    for turn in range(_MOST_TURNS + _MOST_LEFT_OUT):
        try:
            found = plan_prepared(
                tried,
                Limits(money, limits.grader_h, limits.gravel_m3),
                first_year=first_year,
                start=start,
            )
        except InfeasibleError:
            if best is None:
                raise
            break
        start = found.choice.prices
        if turn == 0:
            lower = found.lower
        seen = chances(
            found,
            made,
            n_draws=n_draws,
            seed=seed,
            budget_minor=budget,
            quantiles=(1 - probability, 0.5, probability),
        )
        if best is None or seen.p_over_budget.max() < best.chance.p_over_budget.max():
            planned = found.use_minor if tried is not made else money
            bound = replace(found, lower=min(lower, found.upper))
            best = Contingency(bound, 1 - np.minimum(planned, budget) / budget, seen)
        if np.all(seen.p_over_budget <= 1 - probability + 1e-12):
            break
        if turn + 1 < _MOST_TURNS:
            off = seen.money_minor[2] / budget
            money = np.minimum(money * _ALL / off ** np.where(off > 1, _CUT, _EASE), budget)
            continue
        # From the surest turn on nothing is chosen anew, or others would fill what is left out
        if tried is made:
            found, seen, money = best.programme, best.chance, budget
        fewer = _left_out(found, made, seen, budget, n_draws, seed)
        if fewer is None:
            break
        tried = fewer
    assert best is not None
    return best


def _drawn(
    strategy: npt.NDArray[np.integer], made: Prepared, n_draws: int, seed: int
) -> Iterator[Trace]:
    """Follow ``strategy`` through drawn years; the same seed gives the same years."""
    spread, years = made.policy.programme.chance, made.years
    rng = np.random.default_rng(seed)
    growth = np.array(years.growth)
    for _ in range(n_draws):
        level = np.exp(rng.normal(0, spread.gravel_loss_sd))
        weather = np.exp(rng.normal(0, spread.rain_sd, years.n_years))
        traffic = growth * np.exp(rng.normal(0, spread.traffic_sd))
        yield trace(
            strategy,
            made.table,
            made.strategies,
            years,
            growth=traffic,
            loss_factor=level * weather,
        )


def _left_out(
    programme: Programme,
    made: Prepared,
    seen: Chance,
    budget: Floats,
    n_draws: int,
    seed: int,
) -> Prepared | None:
    """The programme with more segments at the least they may have; None if none would help."""
    chosen = programme.choice.strategy
    least = np.argmax(np.isfinite(made.outcomes.cost), axis=1).astype(chosen.dtype)
    bad = np.flatnonzero(seen.money_minor[2] > budget)
    saved = np.zeros((bad.shape[0], chosen.shape[0]))
    n_over = np.zeros(bad.shape[0])
    both = zip(_drawn(chosen, made, n_draws, seed), _drawn(least, made, n_draws, seed), strict=True)
    for now, then in both:
        is_over = now.money_minor[bad].sum(axis=1) > budget[bad]
        saved += is_over[:, None] * (now.money_minor[bad] - then.money_minor[bad])
        n_over += is_over
    saved /= np.maximum(n_over, 1)[:, None]
    excess = (seen.money_minor[2] - budget)[bad]
    leave = np.zeros(chosen.shape[0], dtype=np.bool_)
    for gain, needed in zip(saved, excess, strict=True):
        order = np.argsort(-gain, kind="stable")
        order = order[gain[order] > 0]
        enough = int(np.searchsorted(np.cumsum(gain[order]), _GENTLY * needed)) + 1
        leave[order[:enough]] = True
    leave &= chosen != least
    if not leave.any():
        return None
    only, rows = np.where(leave, least, chosen), np.arange(chosen.shape[0])
    cost = np.full_like(made.outcomes.cost, np.inf)
    cost[rows, only] = made.outcomes.cost[rows, only]
    return replace(made, outcomes=replace(made.outcomes, cost=cost))
