"""The course of each segment under the strategy chosen for it, year by year, for showing."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from crossfall.formulas.roughness import year_of_seasons
from crossfall.formulas.user_cost import SMOOTH_IRI
from crossfall.programme.simulate import SLOWEST_RATE, Course
from crossfall.programme.table import SegmentTable, StrategySet

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Trace:
    """Arrays of shape (year, segment)."""

    iri: Floats
    """Mean roughness of the year [m/km]."""
    gravel_mm: Floats
    """Thickness at the year's end [mm]."""
    is_regravelled: npt.NDArray[np.bool_]
    money_minor: Floats
    """Agency money, not discounted."""
    users_minor: Floats
    """What roughness and missing gravel cost road users, not discounted."""


def trace(
    strategy: npt.NDArray[np.integer],
    table: SegmentTable,
    strategies: StrategySet,
    years: Course,
    *,
    growth: Floats | None = None,
    loss_factor: Floats | None = None,
) -> Trace:
    """Follow each segment under its strategy, in double precision.

    ``growth`` and ``loss_factor`` (year,) replace the course's traffic and scale gravel loss, for
    scenarios.
    """
    at = {name: table.column(name).astype(float) for name in _USED}
    care, blading, gravel = strategies.parts(strategy.astype(np.int64))
    bladings = strategies.bladings[blading].astype(float)
    by_season = strategies.by_season[blading].astype(float).T
    below, lift = strategies.trigger_mm[gravel].astype(float), strategies.lift_mm[gravel]
    has_dust, has_drainage = strategies.dust[care] > 0, strategies.drain[care] > 0
    short = has_drainage * at["drain_short"]
    loss_share = np.where(has_dust, years.dust_loss_share, 1.0)
    loss_share = loss_share * (1 - (1 - years.drainage_loss_share) * short)
    rate_share = np.where(has_dust, years.dust_rate_share, 1.0)
    rate_share = rate_share * (1 - (1 - years.drainage_rate_share) * short)
    routine = bladings * at["blade_minor"] + has_dust * at["dust_minor"]
    routine = routine + has_drainage * at["drain_minor"]
    thickness, now = at["start_mm"].copy(), at["start_iri"].copy()
    iri, left, placed, money, users = [], [], [], [], []
    for year in range(years.n_years):
        grown = years.growth[year] if growth is None else float(growth[year])
        lost = 1.0 if loss_factor is None else float(loss_factor[year])
        due = thickness < below
        thickness = np.where(due, thickness + lift, thickness)
        now = np.where(due, np.minimum(now, years.fresh_iri), now)
        rate = np.maximum(
            rate_share * (at["rate_fixed"] + grown * at["rate_traffic"]), SLOWEST_RATE
        )
        mean, now = year_of_seasons(
            now,
            at["top_iri"],
            at["bottom_iri"],
            at["blading_share"],
            -rate,
            list(by_season),
            days=years.season_days,
            rate_factor=years.season_rate,
        )
        bare = np.maximum(1 - thickness / years.thin_mm, 0.0)
        mean = mean + years.thin_iri * bare
        iri.append(mean)
        rough = at["user_minor_iri"] * np.maximum(mean - SMOOTH_IRI, 0.0)
        users.append(grown * (rough + at["bare_minor"] * bare))
        loss = loss_share * lost * (at["loss_fixed_mm"] + grown * at["loss_traffic_mm"])
        thickness = np.maximum(thickness - loss, 0.0)
        left.append(thickness.copy())
        placed.append(due)
        money.append(routine + np.where(due, lift * at["lift_minor_mm"], 0.0))
    return Trace(np.array(iri), np.array(left), np.array(placed), np.array(money), np.array(users))


_USED = (
    "top_iri",
    "bottom_iri",
    "blading_share",
    "rate_fixed",
    "rate_traffic",
    "loss_fixed_mm",
    "loss_traffic_mm",
    "blade_minor",
    "lift_minor_mm",
    "dust_minor",
    "start_mm",
    "start_iri",
    "drain_minor",
    "drain_short",
    "user_minor_iri",
    "bare_minor",
)
