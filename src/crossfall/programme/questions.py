"""Questions a board asks: less money, more money, later, and what the next load is worth.

Each answer is a band: what the programme found costs, and what no programme can undercut. Where
two bands overlap, the two cannot be told apart, and the summary says so.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from crossfall.errors import InfeasibleError, InputError
from crossfall.model import (
    BenefitPart,
    Need,
    Policy,
    ProgrammeItem,
    Reason,
    Segment,
    Treatment,
)
from crossfall.programme.limits import Limits
from crossfall.programme.years import Prepared, Programme, plan_prepared

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class CurvePoint:
    """What a share of the budget buys. Money in minor units; costs are present values."""

    share: float
    budget_minor: float
    """Mean budget of a year."""
    upper: float
    """Cost with the programme found, users' included; inf where nothing keeps the limits."""
    lower: float
    """No programme within this budget costs less."""
    price: float
    """Present value that one more unit of yearly money would save, mean over the years."""
    mean_gravel_mm_end: float
    mean_iri: float


@dataclass(frozen=True, slots=True)
class Delay:
    """What waiting costs: nothing but the least is done in the first years."""

    n_years: int
    upper: float
    lower: float
    """Band of the further cost, present value, minor units."""


def under_funding_curve(
    made: Prepared, limits: Limits, shares: Sequence[float], *, first_year: int = 1
) -> tuple[CurvePoint, ...]:
    """What shares of the budget in ``limits`` buy, the other limits held.

    Raises
    ------
    InputError
        If a share is not above 0, or there is no budget to take shares of.
    """
    if any(not share > 0 for share in shares):
        raise InputError(f"shares are {list(shares)}; expected all above 0")
    if not np.isfinite(limits.money_minor).all():
        raise InputError("there is no budget in some year; give one to take shares of")
    points, start = [], None
    for share in shares:
        money = limits.money_minor * share
        mean = float(money.mean())
        try:
            found = plan_prepared(
                made,
                Limits(money, limits.grader_h, limits.gravel_m3),
                first_year=first_year,
                start=start,
            )
        except InfeasibleError:
            points.append(
                CurvePoint(share, mean, np.inf, np.inf, np.inf, float("nan"), float("nan"))
            )
            continue
        start = found.choice.prices
        points.append(
            CurvePoint(
                share,
                mean,
                found.upper,
                found.lower,
                float(found.price_minor.mean()),
                float(found.mean_gravel_mm[-1]),
                float(found.mean_iri.mean()),
            )
        )
    return tuple(points)


def can_be_told_apart(first: CurvePoint, second: CurvePoint) -> bool:
    """Whether the bands of two points do not overlap."""
    return first.lower > second.upper or second.lower > first.upper


def cost_of_delay(
    made: Prepared, limits: Limits, n_years: int, *, now: Programme | None = None
) -> Delay:
    """Further cost when only the least is done for ``n_years`` years, then the budget as before.

    Raises
    ------
    InputError
        If ``n_years`` is not within the programme's years.
    """
    if not 1 <= n_years < limits.n_years:
        raise InputError(f"n_years is {n_years}; expected 1 to {limits.n_years - 1}")
    now = now or plan_prepared(made, limits)
    gravel = limits.gravel_m3.copy()
    gravel[:, :n_years] = np.minimum(gravel[:, :n_years], 0.0)
    late = plan_prepared(
        made, Limits(limits.money_minor, limits.grader_h, gravel), start=now.choice.prices
    )
    return Delay(n_years, late.upper - now.lower, max(0.0, late.lower - now.upper))


def needs_of_year(
    items: Sequence[ProgrammeItem],
    segments: Sequence[Segment],
    policy: Policy,
    *,
    first_year: int,
    year: int,
) -> tuple[Need, ...]:
    """Regravelling that a programme places in ``year``, as needs of the week's kind.

    Worth is left to the programme: a need here stands because the programme says so, and carries
    the usual hours of the work as its worth so that the week weighs it.
    """
    usual = policy.needs.usual.regravelling_h_km
    length_km = {segment.id: segment.length_m / 1000 for segment in segments}
    needs = []
    for item in items:
        if year not in item.regravel_years or item.segment_id not in length_km:
            continue
        hours = usual * length_km[item.segment_id]
        gravel = item.gravel_m3[year - first_year]
        needs.append(
            Need(
                id=f"{item.segment_id}-{Treatment.REGRAVELLING.value}",
                segment_id=item.segment_id,
                treatment=Treatment.REGRAVELLING,
                cause="gravel due by the years' programme",
                reasons=(
                    Reason(
                        "programme",
                        f"The programme of years places {gravel:,.0f} m³ of compacted gravel here"
                        f" in {year}.",
                        "default",
                    ),
                ),
                urgency=0.5,
                benefit=(BenefitPart("programme", round(hours, 3)),),
                assumed=("Gravel loss rests on recalled coefficients until calibrated.",),
                policy_version=policy.version,
                estimated_h=round(hours, 2),
            )
        )
    return tuple(needs)


def first_year_needs(programme: Programme, made: Prepared) -> tuple[Need, ...]:
    """The work list of the programme's first year; see :func:`needs_of_year`."""
    return needs_of_year(
        programme.items,
        made.segments,
        made.policy,
        first_year=programme.first_year,
        year=programme.first_year,
    )
