"""Every segment under every strategy over the years: the plain reference.

For each year: gravel below the strategy's trigger is brought up by its lift and the road is
smooth again; the bladings of the year give its mean roughness in closed form; users pay for
roughness, the agency for bladings, gravel and dust control; traffic, rain and wind take gravel.
What gravel is short at the end is owed. Costs are present values.

:mod:`crossfall.programme.kernel` does the same in compiled blocks; this one is for reading, and
for checking the other.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from crossfall.errors import InputError
from crossfall.formulas.user_cost import SMOOTH_IRI
from crossfall.model.policy.programme import ProgrammePolicy
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
    costs, strategies = policy.costs, policy.strategies
    return Course(
        n_years,
        tuple((1 + costs.discount_pct / 100) ** -year for year in range(n_years)),
        tuple((1 + costs.traffic_growth_pct / 100) ** year for year in range(n_years)),
        strategies.dust_loss_share,
        strategies.dust_rate_share,
        costs.thin_mm,
        costs.thin_iri,
        costs.fresh_iri,
        costs.end_value_share,
        costs.reference_mm,
    )


def simulate_reference(table: SegmentTable, strategies: StrategySet, years: Course) -> Outcomes:
    """Simulate with numpy, in the precision of the table's values."""
    kind = table.values.dtype
    cost = np.empty((table.n, strategies.n), dtype=kind)
    mask = np.empty((table.n, strategies.n), dtype=np.uint32)
    mean = np.empty((table.n, strategies.n), dtype=kind)
    at = {name: table.values[row] for row, name in enumerate(COLUMNS)}
    n_gravel = strategies.trigger_mm.shape[0]
    for dust_index, dust in enumerate(strategies.dust.tolist()):
        for blading_index, bladings in enumerate(strategies.bladings.tolist()):
            first = (dust_index * strategies.bladings.shape[0] + blading_index) * n_gravel
            cycles = [
                _cycle(at, bladings, dust > 0, growth, years, kind) for growth in years.growth
            ]
            for gravel in range(n_gravel):
                cost[:, first + gravel], mask[:, first + gravel], mean[:, first + gravel] = _run(
                    at,
                    cycles,
                    bladings,
                    dust,
                    float(strategies.trigger_mm[gravel]),
                    float(strategies.lift_mm[gravel]),
                    years,
                    kind,
                )
    allowed = np.maximum(at["service_iri"], mean.min(axis=1) * kind.type(FALLBACK_SLACK))
    cost[mean > allowed[:, None]] = np.inf
    return Outcomes(cost, mask)


@dataclass(frozen=True, eq=False)
class _Cycle:
    """Closed forms of one year of equal blading cycles; see ``formulas.roughness``."""

    settled: Singles
    all_year: Singles
    mean_share: Singles
    climb: Singles
    loss_mm: Singles


def _cycle(
    at: dict[str, Singles],
    bladings: float,
    has_dust: bool,
    growth: float,
    years: Course,
    kind: np.dtype[np.float32],
) -> _Cycle:
    number = kind.type
    rate_share = number(years.dust_rate_share if has_dust else 1.0)
    loss_share = number(years.dust_loss_share if has_dust else 1.0)
    rate = np.maximum(
        rate_share * (at["rate_fixed"] + number(growth) * at["rate_traffic"]), number(SLOWEST_RATE)
    )
    span = rate * number(DAYS_A_YEAR / bladings)
    kept = np.exp(-span)
    share = at["blading_share"]
    shrink = share * kept
    all_year = shrink ** number(bladings)
    return _Cycle(
        settled=(share * at["top_iri"] * (1 - kept) + (1 - share) * at["bottom_iri"])
        / (1 - shrink),
        all_year=all_year,
        mean_share=(1 - all_year) / (number(bladings) * (1 - shrink)),
        climb=np.divide(number(1) - kept, span, dtype=kind),
        loss_mm=loss_share * (at["loss_fixed_mm"] + number(growth) * at["loss_traffic_mm"]),
    )


def _run(
    at: dict[str, Singles],
    cycles: list[_Cycle],
    bladings: float,
    dust: float,
    trigger: float,
    lift: float,
    years: Course,
    kind: np.dtype[np.float32],
) -> tuple[Singles, Masks, Singles]:
    number = kind.type
    gravel, iri = at["start_mm"].copy(), at["start_iri"].copy()
    cost, iri_sum = np.zeros_like(gravel), np.zeros_like(gravel)
    mask = np.zeros(gravel.shape, dtype=np.uint32)
    routine = number(bladings) * at["blade_minor"] + number(dust) * at["dust_minor"]
    for year, cycle in enumerate(cycles):
        discount, growth = number(years.discount[year]), number(years.growth[year])
        is_due = gravel < number(trigger)
        gravel = np.where(is_due, gravel + number(lift), gravel)
        iri = np.where(is_due, np.minimum(iri, number(years.fresh_iri)), iri)
        mask |= is_due.astype(np.uint32) << np.uint32(year)
        start = cycle.settled + (iri - cycle.settled) * cycle.mean_share
        mean = at["top_iri"] - (at["top_iri"] - start) * cycle.climb
        bare = np.maximum(1 - gravel / number(years.thin_mm), number(0.0))
        mean += number(years.thin_iri) * bare
        iri_sum += mean
        users = growth * (
            at["user_minor_iri"] * np.maximum(mean - number(SMOOTH_IRI), number(0.0))
            + at["bare_minor"] * bare
        )
        placed = np.where(is_due, number(lift), number(0.0)) * at["lift_minor_mm"]
        cost += discount * (users + routine + placed)
        iri = cycle.settled + cycle.all_year * (iri - cycle.settled)
        gravel = np.maximum(gravel - cycle.loss_mm, number(0.0))
    owed = np.maximum(number(years.reference_mm) - gravel, number(0.0)) * at["lift_minor_mm"]
    cost += number(years.end_value_share * years.discount[-1]) * owed
    return cost, mask, iri_sum / number(len(cycles))
