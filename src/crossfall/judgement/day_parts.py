"""The surface in parts of a day: early, midday and late.

The sun's share up to the hour dries the surface that the morning finds. Where rain is known by the
hour, it falls in its hour: a road may be right for the blade until noon and too wet after it. Where
only the day's rain is known, more than the limit makes all parts too wet.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import numpy.typing as npt

from crossfall.formulas.layer import Layer
from crossfall.formulas.moisture import Weather, run_layer
from crossfall.formulas.moisture_class import (
    Bands,
    Bools,
    Classes,
    classify_moisture,
    moisture_at_hours,
    rain_between,
)
from crossfall.formulas.runoff import storm_before
from crossfall.formulas.sun import evaporation_by_hour
from crossfall.model import HOURS
from crossfall.model.policy.moisture import MoisturePolicy

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

DAY_PARTS = ("early", "midday", "late")


def part_of_day_classes(
    layer: Layer,
    bands: Bands,
    start_mm: Floats,
    rain_mm: Floats,
    rain_share: Floats | None,
    et0_mm: Floats,
    is_frozen: Bools,
    is_weak: Bools,
    policy: MoisturePolicy,
    *,
    daylight_h: float,
) -> Classes:
    """Class of each part of one day for one group, shape (part, member).

    Parameters
    ----------
    layer, bands
        Of the group alone.
    start_mm, rain_mm, et0_mm, is_frozen, is_weak
        Of the day, shape (member,); NaN where unknown.
    rain_share
        Share of the day's rain in each hour, shape (member, 24), NaN where unknown; None where
        nothing is known.
    """
    starts = (policy.early_h, policy.midday_h, policy.late_h)
    moisture = moisture_at_hours(
        layer,
        start_mm[:, None, None],
        et0_mm[:, None, None],
        is_frozen[:, None, None],
        is_weak[:, None, None],
        starts,
        daylight_h=daylight_h,
    )[..., 0, 0]
    rain = np.broadcast_to(rain_mm, moisture.shape).copy()
    hourly = _wet_by_hour(start_mm, rain_mm, rain_share)
    if rain_share is not None and hourly.size:
        by_hour = rain_mm[hourly, None] * rain_share[hourly]
        water = _run_day(
            layer,
            start_mm[hourly],
            by_hour,
            et0_mm[hourly],
            is_frozen[hourly],
            is_weak[hourly],
            policy,
            daylight_h,
        )
        for part, (from_h, to_h) in enumerate(pairwise((*starts, policy.day_end_h))):
            moisture[part, hourly] = water[:, round(from_h)] / layer.mm_per_pct
            rain[part, hourly] = rain_between(by_hour, from_h - policy.rain_settle_h, to_h)
    found = classify_moisture(
        moisture[..., None, None],
        rain[..., None, None],
        is_frozen[:, None, None],
        is_weak[:, None, None],
        bands,
        rain_limit_mm=policy.rain_limit_mm,
    )
    return np.asarray(found[..., 0, 0])


def _wet_by_hour(start_mm: Floats, rain_mm: Floats, rain_share: Floats | None) -> Ints:
    """Members in which it rains, and whose rain has its hours."""
    if rain_share is None:
        return np.zeros(0, dtype=np.int64)
    with np.errstate(invalid="ignore"):
        is_wet = (rain_mm > 0) & np.isfinite(start_mm) & np.isfinite(rain_share[:, 0])
    return np.flatnonzero(is_wet)


def _run_day(
    layer: Layer,
    start_mm: Floats,
    by_hour: Floats,
    et0_mm: Floats,
    is_frozen: Bools,
    is_weak: Bools,
    policy: MoisturePolicy,
    daylight_h: float,
) -> Floats:
    """Water at each full hour of the day, shape (member, 25) [mm]."""

    def all_day(flags: npt.NDArray[np.generic]) -> npt.NDArray[np.generic]:
        return np.repeat(flags[:, None], HOURS, axis=1)[:, None]

    fallen = by_hour[:, None]
    weather = Weather(
        fallen,
        evaporation_by_hour(et0_mm[:, None], daylight_h)[:, None],
        all_day(np.where(is_frozen, np.inf, 0.0)),  # type: ignore[arg-type]
        all_day(is_weak),  # type: ignore[arg-type]
        storm_before(fallen, max(1, round(policy.storm_gap_h))),
    )
    run = run_layer(
        layer,
        weather,
        np.zeros(1, dtype=np.int64),
        np.clip(start_mm[:, None], layer.air_dry_mm, layer.saturation_mm),
        step_days=1 / HOURS,
        engine="numba",
    )
    return np.asarray(run.water_mm[:, 0])
