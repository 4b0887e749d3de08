"""The layer run through days of a timeline: by the day, or by the hour where rain has its hours.

Roads whose station knows the hours of rain are run in hourly steps: rain falls when it fell, a
storm runs off as one, and the sun dries by day. A day without hours in such a record takes its rain
at its start, as a daily step does. Drainage is taken by the day as there, so that a day on which
nothing falls, or of which only the total is known, ends exactly where a daily step ends. All other
roads are run in daily steps. Either way the result stands at the boundaries of the days.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from crossfall.formulas.layer import Layer
from crossfall.formulas.moisture import LayerRun, Weather, run_layer
from crossfall.formulas.runoff import storm_before
from crossfall.formulas.sun import daylight_hours, evaporation_by_hour
from crossfall.judgement.forcing import Timeline
from crossfall.model import HOURS

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Rows = slice | list[int]

_BLOCK_DAYS = 60
"""Hours are made for so many days at a time, to keep memory small."""
_LEAD_DAYS = 3
"""Days before a block that are looked at for a storm that goes on."""


def run_days(
    timeline: Timeline,
    layer: Layer,
    site: Ints,
    start_mm: Floats,
    *,
    rows: Rows,
    days: slice,
    rew_factor: Floats | None = None,
) -> LayerRun:
    """Run groups through ``days`` of the timeline, for the ``rows`` of its weather.

    Parameters
    ----------
    layer, site
        Of the groups.
    start_mm
        Water at the start, shape (row, group) [mm].
    rows
        Of ``timeline.weather``, whose members may be doubled.
    rew_factor
        As in :func:`~crossfall.formulas.moisture.run_layer`, shape (row,).

    Returns
    -------
    LayerRun
        Water at the day boundaries and fluxes of each day, shapes (row, group, day + 1) and (row,
        group, day).
    """
    first, until, _ = days.indices(timeline.n_days)
    days = slice(first, until)
    by_hour = np.isin(site, np.flatnonzero(timeline.has_hours(days)))
    if not by_hour.any():
        weather = timeline.weather.part(rows, days)
        return run_layer(layer, weather, site, start_mm, rew_factor=rew_factor)
    runs: list[tuple[Ints, LayerRun]] = []
    for is_hourly in (False, True):
        chosen = np.flatnonzero(by_hour == is_hourly)
        if not chosen.size:
            continue
        part, at, begin = layer.part(chosen.tolist()), site[chosen], start_mm[:, chosen]
        if is_hourly:
            run = _run_hours(timeline, part, at, begin, rows, days, rew_factor)
        else:
            weather = timeline.weather.part(rows, days)
            run = run_layer(part, weather, at, begin, rew_factor=rew_factor)
        runs.append((chosen, run))
    return _joined(runs, site.size)


def _run_hours(
    timeline: Timeline,
    layer: Layer,
    site: Ints,
    start_mm: Floats,
    rows: Rows,
    days: slice,
    rew_factor: Floats | None,
) -> LayerRun:
    sites, site_of_group = np.unique(site, return_inverse=True)
    water = [start_mm[..., None]]
    fluxes: list[list[Floats]] = [[], [], []]
    for first in range(days.start, days.stop, _BLOCK_DAYS):
        block = slice(first, min(first + _BLOCK_DAYS, days.stop))
        run = run_layer(
            layer,
            hourly_weather(timeline, rows, sites, block),
            site_of_group,
            np.ascontiguousarray(water[-1][..., -1]),
            step_days=1 / HOURS,
            rew_factor=rew_factor,
            engine="numba",
            drains="by_day",
        )
        water.append(run.water_mm[..., HOURS::HOURS])
        for kept, flux in zip(
            fluxes, (run.runoff_mm, run.evaporation_mm, run.drainage_mm), strict=True
        ):
            kept.append(flux.reshape(*flux.shape[:-1], -1, HOURS).sum(axis=-1))
    none = np.zeros((*start_mm.shape, 0))
    return LayerRun(
        np.concatenate(water, axis=-1),
        *(np.concatenate([none, *each], axis=-1) for each in fluxes),
    )


def hourly_weather(timeline: Timeline, rows: Rows, sites: Ints, days: slice) -> Weather:
    """Weather of some sites in hourly steps, arrays (row, site, hour of all ``days``)."""
    lead = min(days.start, _LEAD_DAYS)
    wide = slice(days.start - lead, days.stop)
    every = timeline.weather
    liquid = every.liquid_mm[rows][:, sites, wide]
    melt = timeline.melt_mm[rows][:, sites, wide]
    by_sun = np.stack(
        [daylight_hours(timeline.stations[i].lat, timeline.day_of_year[wide]) for i in sites]
    )
    share = timeline.rain_share(_members(rows, timeline), sites, wide)
    fallen = (liquid - melt)[..., None] * share
    fallen = fallen.reshape(*liquid.shape[:-1], -1) + _by_sun(melt, by_sun)
    gap = max(1, round(timeline.storm_gap_h))
    before = storm_before(fallen, gap)[..., lead * HOURS :]
    et0 = _by_sun(every.et0_mm[rows][:, sites, days], by_sun[:, lead:])
    return Weather(
        fallen[..., lead * HOURS :],
        et0,
        np.repeat(every.frost_index[rows][:, sites, days], HOURS, axis=-1),
        np.repeat(every.is_weak[rows][:, sites, days], HOURS, axis=-1),
        before,
    )


def _members(rows: Rows, timeline: Timeline) -> Ints:
    """The members that rows of doubled weather stand for."""
    every = np.arange(timeline.weather.liquid_mm.shape[0])
    return np.asarray(every[rows] % timeline.n_members)


def _by_sun(daily_mm: Floats, daylight_h: Floats) -> Floats:
    """Daily figures (row, site, day) spread over the hours of the sun (row, site, hour)."""
    spread = [evaporation_by_hour(daily_mm[:, i], hours) for i, hours in enumerate(daylight_h)]
    return np.stack(spread, axis=1)


def _joined(runs: list[tuple[Ints, LayerRun]], n_groups: int) -> LayerRun:
    """Runs of some groups each, put back in the order of the groups."""
    if len(runs) == 1:
        return runs[0][1]
    joined = []
    for name in ("water_mm", "runoff_mm", "evaporation_mm", "drainage_mm"):
        one = getattr(runs[0][1], name)
        whole = np.empty((one.shape[0], n_groups, one.shape[2]))
        for chosen, run in runs:
            whole[:, chosen] = getattr(run, name)
        joined.append(whole)
    return LayerRun(*joined)
