"""Every segment under every strategy over the years: the plain reference.

For each year: gravel below the strategy's trigger is brought up by its lift and the road is
smooth again; the bladings of its seasons give its mean roughness in closed form; users pay for
roughness, the agency for bladings, gravel, dust control and ditches; traffic, rain and wind take
gravel. What gravel is short at the end is owed. Costs are present values.

:mod:`crossfall.programme.kernel` does the same in compiled blocks; this one is for reading, and
for checking the other.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from crossfall.errors import InputError
from crossfall.formulas.user_cost import SMOOTH_IRI
from crossfall.model.policy.programme import ProgrammePolicy, SeasonPolicy
from crossfall.programme.outcomes import Masks, Outcomes, Singles
from crossfall.programme.table import COLUMNS, MOST_YEARS, SegmentTable, StrategySet

DAYS_A_YEAR = 365.0
SLOWEST_RATE = 1e-5
FALLBACK_SLACK = 1.02
"""Where no strategy meets the service level, those within this of the smoothest may be chosen."""


@dataclass(frozen=True, slots=True)
class Course:
    """Figures of the years that are the same for all segments."""

    n_years: int
    discount: tuple[float, ...]
    growth: tuple[float, ...]
    dust_loss_share: float
    dust_rate_share: float
    drainage_loss_share: float
    drainage_rate_share: float
    season_days: tuple[float, ...]
    season_rate: tuple[float, ...]
    """Factor on the roughness rate in each season."""
    thin_mm: float
    thin_iri: float
    fresh_iri: float
    end_value_share: float
    reference_mm: float


def course(policy: ProgrammePolicy, n_years: int) -> Course:
    """The course of ``n_years`` years under a policy.

    Raises
    ------
    InputError
        If there are not 1 to 30 years.

    Examples
    --------
    >>> [round(each, 4) for each in course(ProgrammePolicy(), 3).discount]
    [1.0, 0.9615, 0.9246]
    """
    if not 1 <= n_years <= MOST_YEARS:
        raise InputError(f"n_years is {n_years}; expected 1 to {MOST_YEARS}")
    costs, strategies, seasons = policy.costs, policy.strategies, policy.seasons
    check_seasons(seasons)
    return Course(
        n_years,
        tuple((1 + costs.discount_pct / 100) ** -year for year in range(n_years)),
        tuple((1 + costs.traffic_growth_pct / 100) ** year for year in range(n_years)),
        strategies.dust_loss_share,
        strategies.dust_rate_share,
        strategies.drainage_loss_share,
        strategies.drainage_rate_share,
        seasons.days,
        seasons.roughness_factor,
        costs.thin_mm,
        costs.thin_iri,
        costs.fresh_iri,
        costs.end_value_share,
        costs.reference_mm,
    )


def check_seasons(seasons: SeasonPolicy) -> None:
    """Seasons fit together and make a year.

    Raises
    ------
    InputError
        If lists differ in length, days do not make 365, or a factor is not above 0.
    """
    lists = (seasons.names, seasons.days, seasons.roughness_factor, seasons.gravel_loss_factor)
    if len({len(each) for each in lists}) != 1 or not seasons.days:
        raise InputError("seasons need a name, days and two factors each, at least one season")
    if abs(sum(seasons.days) - DAYS_A_YEAR) > 0.01 or min(seasons.days) <= 0:
        raise InputError(f"seasons.days is {seasons.days}; expected 365 in all, each above 0")
    if min(*seasons.roughness_factor, *seasons.gravel_loss_factor) <= 0:
        raise InputError("a factor of a season is 0 or less; expected more")


def simulate_reference(table: SegmentTable, strategies: StrategySet, years: Course) -> Outcomes:
    """Simulate with numpy, in the precision of the table's values."""
    kind = table.values.dtype
    cost = np.empty((table.n, strategies.n), dtype=kind)
    mask = np.empty((table.n, strategies.n), dtype=np.uint32)
    mean = np.empty((table.n, strategies.n), dtype=kind)
    at = {name: table.values[row] for row, name in enumerate(COLUMNS)}
    n_gravel = strategies.trigger_mm.shape[0]
    for care in range(strategies.n_care):
        loss_share, rate_share = _shares(at, strategies, care, years, kind)
        for blading, by_season in enumerate(strategies.by_season.tolist()):
            first = (care * strategies.bladings.shape[0] + blading) * n_gravel
            cycles = [
                _cycle(at, by_season, rate_share, loss_share, growth, years, kind)
                for growth in years.growth
            ]
            routine = (
                strategies.bladings[blading] * at["blade_minor"]
                + strategies.dust[care] * at["dust_minor"]
                + strategies.drain[care] * at["drain_minor"]
            )
            for gravel in range(n_gravel):
                cost[:, first + gravel], mask[:, first + gravel], mean[:, first + gravel] = _run(
                    at,
                    cycles,
                    routine,
                    float(strategies.trigger_mm[gravel]),
                    float(strategies.lift_mm[gravel]),
                    years,
                    kind,
                )
    allowed = np.maximum(at["service_iri"], mean.min(axis=1) * kind.type(FALLBACK_SLACK))
    cost[mean > allowed[:, None]] = np.inf
    return Outcomes(cost, mask)


def _shares(
    at: dict[str, Singles],
    strategies: StrategySet,
    care: int,
    years: Course,
    kind: np.dtype[np.float32],
) -> tuple[Singles, Singles]:
    """Gravel loss and roughness rate under a care, as shares of without."""
    shares = []
    for dust, drain in (
        (years.dust_loss_share, years.drainage_loss_share),
        (years.dust_rate_share, years.drainage_rate_share),
    ):
        share = np.full_like(at["drain_short"], dust if strategies.dust[care] else 1.0)
        if strategies.drain[care]:
            share = share * (1 - kind.type(1 - drain) * at["drain_short"])
        shares.append(share)
    return shares[0], shares[1]


@dataclass(frozen=True, eq=False)
class _Cycle:
    """A year of seasons turns the way below the top, y, into ``end_0 + end_1 y``."""

    mean_0: Singles
    mean_1: Singles
    end_0: Singles
    end_1: Singles
    loss_mm: Singles


def _cycle(
    at: dict[str, Singles],
    by_season: list[float],
    rate_share: Singles,
    loss_share: Singles,
    growth: float,
    years: Course,
    kind: np.dtype[np.float32],
) -> _Cycle:
    """Closed forms of one year; see ``formulas.roughness.year_of_seasons``.

    In y, the way from the roughness up to its top, days multiply by ``kept`` and a blading
    multiplies by its share and adds what it can take off at most.
    """
    number = kind.type
    share = at["blading_share"]
    added = (1 - share) * (at["top_iri"] - at["bottom_iri"])
    rate = rate_share * (at["rate_fixed"] + number(growth) * at["rate_traffic"])
    rate = np.maximum(rate, number(SLOWEST_RATE))
    mean_0, mean_1 = np.zeros_like(share), np.zeros_like(share)
    end_0, end_1 = np.zeros_like(share), np.ones_like(share)
    for n, days, factor in zip(by_season, years.season_days, years.season_rate, strict=True):
        span = rate * number(factor * days / max(n, 1.0))
        kept_less_one = np.expm1(-span)
        part = number(days / DAYS_A_YEAR) * -kept_less_one / span
        if n > 0:
            rest = (1 - share) - share * kept_less_one
            settled = added / rest
            left = (share * (1 + kept_less_one)) ** number(n)
            weight = (1 - left) / (number(n) * rest)
        else:
            settled, left, weight = number(0), 1 + kept_less_one, number(1)
        mean_0 = mean_0 + part * (settled + (end_0 - settled) * weight)
        mean_1 = mean_1 + part * weight * end_1
        end_0 = settled + left * (end_0 - settled)
        end_1 = left * end_1
    loss = loss_share * (at["loss_fixed_mm"] + number(growth) * at["loss_traffic_mm"])
    return _Cycle(mean_0, mean_1, end_0, end_1, loss)


def _run(
    at: dict[str, Singles],
    cycles: list[_Cycle],
    routine: Singles,
    trigger: float,
    lift: float,
    years: Course,
    kind: np.dtype[np.float32],
) -> tuple[Singles, Masks, Singles]:
    number = kind.type
    gravel, below = at["start_mm"].copy(), at["top_iri"] - at["start_iri"]
    cost, iri_sum = np.zeros_like(gravel), np.zeros_like(gravel)
    mask = np.zeros(gravel.shape, dtype=np.uint32)
    fresh = at["top_iri"] - number(years.fresh_iri)
    for year, cycle in enumerate(cycles):
        discount, growth = number(years.discount[year]), number(years.growth[year])
        is_due = gravel < number(trigger)
        gravel = np.where(is_due, gravel + number(lift), gravel)
        below = np.where(is_due, np.maximum(below, fresh), below)
        mask |= is_due.astype(np.uint32) << np.uint32(year)
        bare = np.maximum(1 - gravel / number(years.thin_mm), number(0.0))
        mean = at["top_iri"] - (cycle.mean_0 + cycle.mean_1 * below)
        mean += number(years.thin_iri) * bare
        iri_sum += mean
        users = growth * (
            at["user_minor_iri"] * np.maximum(mean - number(SMOOTH_IRI), number(0.0))
            + at["bare_minor"] * bare
        )
        placed = np.where(is_due, number(lift), number(0.0)) * at["lift_minor_mm"]
        cost += discount * (users + routine + placed)
        below = cycle.end_0 + cycle.end_1 * below
        gravel = np.maximum(gravel - cycle.loss_mm, number(0.0))
    owed = np.maximum(number(years.reference_mm) - gravel, number(0.0)) * at["lift_minor_mm"]
    cost += number(years.end_value_share * years.discount[-1]) * owed
    return cost, mask, iri_sum / number(len(cycles))
