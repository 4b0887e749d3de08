"""From weather to what the layer feels: liquid water, drying, frost and thaw, at every *site*.

A site is a station as a neighbourhood hears it: its record with the gauge readings of people
nearby mixed in. A day without a figure is never taken as dry. It is carried as two histories, one
with nothing and one with the most it may have brought; only where both lead to the same moisture
is moisture known.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np
import numpy.typing as npt

from crossfall.errors import InputError
from crossfall.formulas.evapotranspiration import reference_et
from crossfall.formulas.moisture import Weather
from crossfall.formulas.runoff import snow_and_melt
from crossfall.formulas.thaw import ThawSeason, frost_index, thaw_reference_c, thaw_season
from crossfall.judgement.observe import Reading, take_rain
from crossfall.judgement.station_days import DayTable, Span, choose_forecast, station_days
from crossfall.model import HOURS
from crossfall.model.policy.moisture import MoisturePolicy
from crossfall.model.weather import Forecast, Station, WeatherRecord

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Site:
    """A station as one neighbourhood hears it."""

    station: int
    readings: tuple[Reading, ...] = ()


@dataclass(frozen=True, eq=False)
class RainHours:
    """When in the day it rained: shares of the day's rain, NaN where nobody knows or it was dry."""

    past: Floats
    """(station, day, 24) of the recorded days."""
    ahead: Floats
    """(member, station, day, 24) of the days after them."""


@dataclass(frozen=True, eq=False)
class Timeline:
    """Member weather of all sites: arrays (member, site, day) from ``first_day`` on.

    With missing weather there are twice as many runs in ``weather``: first every member with the
    least the missing days may have brought, then every member with the most.
    """

    stations: tuple[Station, ...]
    """Station of each site."""
    first_day: date
    n_past: int
    """Recorded days; their rain differs between members only where a gauge may or may not hold."""
    n_shared: int
    """Days that are the same in every member, at most ``n_past``."""
    n_members: int
    is_doubled: bool
    weather: Weather
    rain_mm: Floats
    """As recorded or forecast, NaN where missing [mm]."""
    frost_start: Floats
    """Frost index at the start of each day, shaped as ``weather``."""
    freezing_c_day: Floats
    thawing_c_day: Floats
    tmean_c: Floats
    notes: tuple[str, ...]
    melt_mm: Floats
    """Snow melt within ``weather.liquid_mm``, shaped alike [mm]."""
    station_of_site: Ints
    storm_gap_h: float
    hours: RainHours | None = None
    """None where no station knows any."""

    @property
    def n_days(self) -> int:
        return int(self.rain_mm.shape[-1])

    @property
    def day_of_year(self) -> Ints:
        """1 to 366 for each day."""
        days = (self.first_day + timedelta(days=i) for i in range(self.n_days))
        return np.array([day.timetuple().tm_yday for day in days], dtype=np.int64)

    def has_hours(self, days: slice) -> Bools:
        """Sites whose station knows the hours of rain on any of ``days``, (site,)."""
        known = np.zeros(self.station_of_site.size, dtype=bool)
        if self.hours is not None:
            first, until, _ = days.indices(self.n_days)
            past = self.hours.past[:, first : min(until, self.n_past)]
            ahead = self.hours.ahead[
                :, :, max(first - self.n_past, 0) : max(until - self.n_past, 0)
            ]
            station = np.isfinite(past).any(axis=(1, 2)) | np.isfinite(ahead).any(axis=(0, 2, 3))
            known = np.asarray(np.atleast_1d(station)[self.station_of_site])
        return known

    def rain_share(self, members: Ints, sites: Ints, days: slice) -> Floats:
        """Share of each day's rain in each hour, (member, site, day, 24).

        Rain of unknown hours falls at the start of its day, as a daily step takes it.
        """
        known = self.known_share(members, sites, days)
        is_known = np.isfinite(known[..., :1])
        start = np.zeros(HOURS)
        start[0] = 1.0
        return np.where(is_known, known, start)

    def known_share(self, members: Ints, sites: Ints, days: slice) -> Floats:
        """The same, NaN where the hours are not known or it did not rain."""
        first, until, _ = days.indices(self.n_days)
        found = np.full((members.size, sites.size, until - first, HOURS), np.nan)
        if self.hours is None:
            return found
        station = self.station_of_site[sites]
        split = min(max(self.n_past - first, 0), until - first)
        found[:, :, :split] = self.hours.past[station, first : first + split]
        ahead = self.hours.ahead[:, :, self._ahead(first) : self._ahead(until)]
        found[:, :, split:] = ahead[np.ix_(members, station)]
        return found

    def _ahead(self, at: int) -> int:
        return max(at - self.n_past, 0)

    def day_index(self, day: date) -> int:
        """Place of a day; may lie outside."""
        return (day - self.first_day).days


def build_timeline(
    records: Sequence[WeatherRecord],
    forecasts: Sequence[Forecast],
    sites: Sequence[Site],
    policy: MoisturePolicy,
    *,
    first_day: date,
    n_days: int,
    seed: int,
) -> Timeline:
    """Weather from the warm-up to the last day asked for, at each of ``sites``.

    Raises
    ------
    InputError
        If a record begins on or after ``first_day``, or ends so long before it that neither a
        forecast nor the policy's allowed gap reaches it.
    """
    notes: list[str] = []
    for record in records:
        if record.first_day >= first_day:
            raise InputError(
                f"the weather of {record.station.name} begins on {record.first_day}; expected it"
                f" to begin before the first day {first_day}, maybe the year is wrong"
            )
    oldest = min(record.first_day for record in records)
    start = max(oldest, first_day - timedelta(days=policy.warmup_days))
    n_warm = (first_day - start).days
    if n_warm < policy.warmup_least_days:
        notes.append(
            f"only {n_warm} days of weather before {first_day}; moisture is unknown until rain or"
            " drought settles it"
        )
    chosen = [choose_forecast(record, forecasts, policy, first_day, notes) for record in records]
    n_lines = max((each.n_members for each in chosen if each is not None), default=1)
    n_members = n_lines if n_lines > 1 else policy.n_members
    span = Span(start, first_day, n_warm + n_days, n_members, seed)
    tables, splits = [], []
    for record, forecast in zip(records, chosen, strict=True):
        table, split = station_days(record, forecast, policy, span, notes)
        tables.append(table)
        splits.append(split)
    n_past = min(splits)
    stations = [record.station for record in records]
    et0 = np.stack(
        [
            _evaporation(table, station, policy, span, n_past, notes)
            for table, station in zip(tables, stations, strict=True)
        ],
        axis=1,
    )
    of_site = np.array([site.station for site in sites], dtype=np.int64)
    rain = np.stack([table.rain_mm for table in tables], axis=1)[:, of_site]
    n_shared = _mix_gauges(rain, sites, span, n_warm, n_past, policy)
    tmean = np.stack([(table.tmin_c + table.tmax_c) / 2 for table in tables], axis=1)
    warmth = _warmth(bridge_gaps(tmean, mild_c=policy.mild_c), stations, span, policy)
    return _feel(
        tuple(stations[i] for i in of_site),
        policy,
        span,
        n_past,
        n_shared,
        rain,
        et0[:, of_site],
        warmth.at(of_site),
        tuple(dict.fromkeys(notes)),
        of_site,
        _rain_hours(tables, n_past),
    )


def bridge_gaps(tmean_c: Floats, *, mild_c: float) -> Floats:
    """Mean temperature without gaps, for the running of frost and snow only.

    Gaps are bridged in a straight line, and a station without any temperature takes ``mild_c``; the
    moisture of such days is unknown all the same.
    """
    if not np.isnan(tmean_c).any():
        return tmean_c
    rows = tmean_c.reshape(-1, tmean_c.shape[-1]).copy()
    at = np.arange(rows.shape[-1])
    for row in rows:
        is_known = np.isfinite(row)
        if is_known.any():
            row[~is_known] = np.interp(at[~is_known], at[is_known], row[is_known])
        else:
            row[:] = mild_c
    return rows.reshape(tmean_c.shape)


def _rain_hours(tables: Sequence[DayTable], n_past: int) -> RainHours | None:
    """When it rained, of the stations that know it; None where none does."""
    if all(table.rain_hours is None for table in tables):
        return None
    shares = []
    for table in tables:
        hours = table.rain_hours
        if hours is None:
            shares.append(np.full((*table.rain_mm.shape, HOURS), np.nan))
            continue
        total = hours.sum(axis=-1, keepdims=True)
        share = np.full(hours.shape, np.nan)
        shares.append(np.divide(hours, total, out=share, where=total > 0))
    return RainHours(
        np.stack([share[0, :n_past] for share in shares]),
        np.stack([share[:, n_past:] for share in shares], axis=1),
    )


def _mix_gauges(
    rain: Floats,
    sites: Sequence[Site],
    span: Span,
    n_warm: int,
    n_past: int,
    policy: MoisturePolicy,
) -> int:
    """Give each member the gauge's rain or the station's, in place; the days still shared by all.

    A member that takes a gauge takes it at every site where the reading counts at least as much,
    so that one storm covers one neighbourhood.
    """
    turn = (np.random.default_rng([span.seed, 6]).permutation(span.n_members) + 0.5) / (
        span.n_members
    )
    n_shared = n_past
    for i, site in enumerate(sites):
        for reading in site.readings:
            at = (reading.day - span.start).days
            if 0 <= at < n_warm:
                before = rain[:, i, at].copy()
                rain[:, i, at] = take_rain(
                    before, reading, turn, settles_weight=policy.settles_weight
                )
                if np.unique(rain[:, i, at]).size > 1:
                    n_shared = min(n_shared, at)
    return n_shared


def _evaporation(
    table: DayTable,
    station: Station,
    policy: MoisturePolicy,
    span: Span,
    n_past: int,
    notes: list[str],
) -> Floats:
    """Reference evapotranspiration (member, day), spread over members after the record's end."""
    found = []
    # The recorded days are the same in every member: compute them once
    past = DayTable(*(column[:1, :n_past] for column in table.columns))
    ahead = DayTable(*(column[:, n_past:] for column in table.columns))
    for part, first in ((past, 0), (ahead, n_past)):
        days = [span.start + timedelta(days=first + i) for i in range(part.rain_mm.shape[-1])]
        result = reference_et(
            part.tmin_c,
            part.tmax_c,
            station.lat,
            station.elevation_m,
            np.broadcast_to([day.timetuple().tm_yday for day in days], part.tmin_c.shape),
            solar_mj_m2=part.solar_mj_m2,
            vapour_kpa=part.vapour_kpa,
            wind_m_s=part.wind_m_s,
            is_coastal=policy.is_coastal,
        )
        if first == 0 and n_past:
            notes.append(f"{station.name}, evaporation: {result.summary()}")
        elif part.rain_mm.shape[-1]:
            # Members share their columns' gaps; one of them tells the methods
            one = replace(result, et_mm=result.et_mm[:1], method=result.method[:1])
            notes.append(f"{station.name}, evaporation of the days ahead: {one.summary()}")
        found.append(result.et_mm)
    noise = np.random.default_rng([span.seed, 4]).standard_normal(span.n_members)
    factor = np.clip(1 + policy.et_spread * noise, policy.factor_least, policy.factor_most)
    return np.concatenate(
        [np.repeat(found[0], span.n_members, axis=0), found[1] * factor[:, None]], axis=1
    )


@dataclass(frozen=True, eq=False)
class _Warmth:
    """What temperature alone decides: arrays (member, station or site, day)."""

    tmean_c: Floats
    frost_index: Floats
    season: ThawSeason

    def at(self, sites: Ints) -> _Warmth:
        season = self.season
        return _Warmth(
            self.tmean_c[:, sites],
            self.frost_index[:, sites],
            ThawSeason(
                season.freezing_c_day[:, sites],
                season.thawing_c_day[:, sites],
                season.is_weak[:, sites],
            ),
        )


def _warmth(
    tmean: Floats, stations: Sequence[Station], span: Span, policy: MoisturePolicy
) -> _Warmth:
    days = [span.start + timedelta(days=i) for i in range(span.n_days)]
    day_of_year = [day.timetuple().tm_yday for day in days]
    reference = np.stack(
        [
            thaw_reference_c(
                day_of_year,
                start_day=policy.thaw_ref_start_day,
                start_c=policy.thaw_ref_start_c,
                end_day=policy.thaw_ref_end_day,
                end_c=policy.thaw_ref_end_c,
                is_southern=station.lat < 0,
            )
            for station in stations
        ]
    )
    season = thaw_season(
        tmean,
        reference,
        onset_c_day=policy.thaw_onset_c_day,
        min_freeze_c_day=policy.thaw_min_freeze_c_day,
        recovery_share=policy.thaw_recovery_share,
        refreeze_share=policy.thaw_refreeze_share,
        max_days=policy.thaw_max_days,
    )
    frost = frost_index(tmean, decay=policy.frost_decay, cap_c_day=policy.frost_cap_c_day)
    return _Warmth(tmean, frost, season)


def _feel(
    stations: tuple[Station, ...],
    policy: MoisturePolicy,
    span: Span,
    n_past: int,
    n_shared: int,
    rain: Floats,
    et0: Floats,
    warmth: _Warmth,
    notes: tuple[str, ...],
    station_of_site: Ints,
    hours: RainHours | None,
) -> Timeline:
    """Add snow and melt, and double the members where something is missing."""
    is_doubled = bool(np.isnan(rain).any() or np.isnan(et0).any())

    def doubled(least: Floats, most: Floats) -> Floats:
        return np.concatenate([least, most]) if is_doubled else least

    fallen = doubled(
        np.where(np.isnan(rain), 0.0, rain), np.where(np.isnan(rain), policy.missing_rain_mm, rain)
    )
    dried = doubled(
        np.where(np.isnan(et0), policy.missing_et_mm, et0), np.where(np.isnan(et0), 0.0, et0)
    )
    snow = snow_and_melt(
        fallen,
        doubled(warmth.tmean_c, warmth.tmean_c),
        snow_below_c=policy.snow_below_c,
        melt_mm_c_day=policy.melt_mm_c_day,
    )
    tmean = doubled(warmth.tmean_c, warmth.tmean_c)
    as_rain = np.where(tmean > policy.snow_below_c, fallen, 0.0)
    frost = doubled(warmth.frost_index, warmth.frost_index)
    is_weak = warmth.season.is_weak
    return Timeline(
        stations=stations,
        first_day=span.start,
        n_past=n_past,
        n_shared=n_shared,
        n_members=span.n_members,
        is_doubled=is_doubled,
        weather=Weather(
            snow.liquid_mm,
            dried,
            frost,
            np.concatenate([is_weak, is_weak]) if is_doubled else is_weak,
        ),
        rain_mm=rain,
        frost_start=np.concatenate([np.zeros_like(frost[..., :1]), frost[..., :-1]], axis=-1),
        freezing_c_day=warmth.season.freezing_c_day,
        thawing_c_day=warmth.season.thawing_c_day,
        tmean_c=warmth.tmean_c,
        notes=notes,
        melt_mm=np.maximum(snow.liquid_mm - as_rain, 0.0),
        station_of_site=station_of_site,
        storm_gap_h=policy.storm_gap_h,
        hours=hours,
    )
