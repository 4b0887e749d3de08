"""From records and forecasts to what the layer feels: one timeline for all stations.

The past comes from the record. From the day after the record ends, each member goes its own way:
with the forecast as far as it reaches, then with past weather of the same season. A day without a
figure is never taken as dry. It is carried as two histories, one with nothing and one with the
most it may have brought; only where both lead to the same moisture is moisture known.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
import numpy.typing as npt

from crossfall.errors import InputError
from crossfall.formulas.evapotranspiration import reference_et
from crossfall.formulas.moisture import Weather
from crossfall.formulas.runoff import snow_and_melt
from crossfall.formulas.thaw import frost_index, thaw_reference_c, thaw_season
from crossfall.judgement.members import analogue_starts, follow_line
from crossfall.judgement.stations import distance_km
from crossfall.model.policy.moisture import MoisturePolicy
from crossfall.model.weather import Forecast, Station, WeatherRecord

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Timeline:
    """Member weather of all stations: arrays (member, station, day) from ``first_day`` on.

    With missing weather there are twice as many runs: first every member with the least the
    missing days may have brought, then every member with the most.
    """

    stations: tuple[Station, ...]
    first_day: date
    n_past: int
    """Days that are the same in every member."""
    n_members: int
    is_doubled: bool
    weather: Weather
    rain_mm: Floats
    """As recorded or forecast, NaN where missing, shape (member, station, day) [mm]."""
    snow_mm: Floats
    frost_start: Floats
    """Frost index at the start of each day, shape as ``weather``."""
    freezing_c_day: Floats
    thawing_c_day: Floats
    notes: tuple[str, ...]

    @property
    def n_days(self) -> int:
        return int(self.rain_mm.shape[-1])


def build_timeline(
    records: Sequence[WeatherRecord],
    forecasts: Sequence[Forecast],
    policy: MoisturePolicy,
    *,
    first_day: date,
    n_days: int,
    seed: int,
) -> Timeline:
    """Weather from the warm-up to the last day asked for, for each of ``records``.

    Raises
    ------
    InputError
        If a record begins after ``first_day``, or ends so long before it that neither a forecast
        nor the policy's allowed gap reaches it.
    """
    notes: list[str] = []
    for record in records:
        _check_record(record, first_day)
    oldest = min(record.first_day for record in records)
    start = max(oldest, first_day - timedelta(days=policy.warmup_days))
    n_warm = (first_day - start).days
    if n_warm < policy.warmup_least_days:
        notes.append(
            f"only {n_warm} days of weather before {first_day}; moisture is unknown until rain or"
            " drought settles it"
        )
    chosen = [_forecast_for(record, forecasts, policy, first_day, notes) for record in records]
    n_forecast = max((each.n_members for each in chosen if each is not None), default=1)
    n_members = n_forecast if n_forecast > 1 else policy.n_members
    n_all = n_warm + n_days

    splits, series = [], []
    for record, forecast in zip(records, chosen, strict=True):
        split, values = _station_days(
            record, forecast, policy, start, first_day, n_all, n_members, seed, notes
        )
        splits.append(split)
        series.append(values)
    n_past = min(splits)
    rain, tmin, tmax, wind, solar, vapour = (
        np.stack([values[i] for values in series], axis=1) for i in range(6)
    )
    return _feel(
        records,
        policy,
        start,
        n_past,
        n_members,
        seed,
        notes,
        rain,
        tmin,
        tmax,
        wind,
        solar,
        vapour,
    )


def _feel(
    records: Sequence[WeatherRecord],
    policy: MoisturePolicy,
    start: date,
    n_past: int,
    n_members: int,
    seed: int,
    notes: list[str],
    rain: Floats,
    tmin: Floats,
    tmax: Floats,
    wind: Floats,
    solar: Floats,
    vapour: Floats,
) -> Timeline:
    n_all = rain.shape[-1]
    days = [start + timedelta(days=i) for i in range(n_all)]
    day_of_year = np.array([day.timetuple().tm_yday for day in days])
    stations = tuple(record.station for record in records)
    et0 = np.empty_like(rain)
    for i, station in enumerate(stations):
        result = reference_et(
            tmin[:, i],
            tmax[:, i],
            station.lat,
            station.elevation_m,
            np.broadcast_to(day_of_year, tmin[:, i].shape),
            solar_mj_m2=solar[:, i],
            vapour_kpa=vapour[:, i],
            wind_m_s=wind[:, i],
            is_coastal=policy.is_coastal,
        )
        et0[:, i] = result.et_mm
        past = result.method[0, :n_past]
        if past.size:
            hargreaves = float((past == 2).mean())
            text = "temperatures alone (Hargreaves)" if hargreaves > 0.5 else "Penman-Monteith"
            notes.append(f"{station.name}: evaporation from {text}")
    spread = np.random.default_rng([seed, 4]).standard_normal(n_members)
    factor = np.clip(1 + policy.et_spread * spread, 0.5, 1.5)
    et0[:, :, n_past:] *= factor[:, None, None]

    tmean = _filled((tmin + tmax) / 2)
    is_missing = np.isnan(rain) | np.isnan(et0)
    is_doubled = bool(is_missing.any())
    low, high = np.where(np.isnan(rain), 0.0, rain), rain
    et_low, et_high = et0, et0
    if is_doubled:
        high = np.where(np.isnan(rain), policy.missing_rain_mm, rain)
        et_low = np.where(np.isnan(et0), policy.missing_et_mm, et0)
        et_high = np.where(np.isnan(et0), 0.0, et0)
    fallen = np.concatenate([low, high]) if is_doubled else low
    et_all = np.concatenate([et_low, et_high]) if is_doubled else et_low
    warmth = np.concatenate([tmean, tmean]) if is_doubled else tmean

    snow = snow_and_melt(
        fallen, warmth, snow_below_c=policy.snow_below_c, melt_mm_c_day=policy.melt_mm_c_day
    )
    frost = frost_index(warmth, decay=policy.frost_decay)
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
        warmth,
        reference,
        onset_c_day=policy.thaw_onset_c_day,
        min_freeze_c_day=policy.thaw_min_freeze_c_day,
        recovery_share=policy.thaw_recovery_share,
        refreeze_share=policy.thaw_refreeze_share,
        max_days=policy.thaw_max_days,
    )
    frost_start = np.concatenate([np.zeros_like(frost[..., :1]), frost[..., :-1]], axis=-1)
    return Timeline(
        stations=stations,
        first_day=start,
        n_past=n_past,
        n_members=n_members,
        is_doubled=is_doubled,
        weather=Weather(snow.liquid_mm, et_all, frost, season.is_weak),
        rain_mm=rain,
        snow_mm=snow.snow_mm,
        frost_start=frost_start,
        freezing_c_day=season.freezing_c_day,
        thawing_c_day=season.thawing_c_day,
        notes=tuple(dict.fromkeys(notes)),
    )


def _station_days(
    record: WeatherRecord,
    forecast: Forecast | None,
    policy: MoisturePolicy,
    start: date,
    first_day: date,
    n_all: int,
    n_members: int,
    seed: int,
    notes: list[str],
) -> tuple[int, tuple[Floats, ...]]:
    """First day that differs by member, and (member, day) arrays, NaN where nothing is known."""
    columns = _clean(record, policy, notes)
    n_known = min((record.last_day - start).days + 1, (first_day - start).days)
    shift = (record.first_day - start).days
    past = [np.full(n_all, np.nan) for _ in columns]
    for target, source in zip(past, columns, strict=True):
        lo = max(shift, 0)
        target[lo:n_known] = source[lo - shift : n_known - shift]
    n_unknown = int(np.isnan(past[0][:n_known]).sum())
    if n_unknown:
        notes.append(f"{record.station.name}: {n_unknown} days without a rain figure")
    values = tuple(np.repeat(each[None], n_members, axis=0) for each in past)

    split_day = start + timedelta(days=n_known)
    n_ahead = n_all - n_known
    in_forecast = _forecast_columns(forecast, split_day, n_ahead)
    n_gap = (first_day - split_day).days
    n_gap_open = int(np.isnan(in_forecast[0][0, : max(n_gap, 0)]).sum()) if forecast else n_gap
    if n_gap_open > policy.weather_gap_days:
        raise InputError(
            f"the weather of {record.station.name} ends on {record.last_day}, {n_gap} days before"
            f" {first_day}, and no forecast covers them; expected at most"
            f" {policy.weather_gap_days} days, so read newer weather"
        )
    if n_gap_open > 0:
        notes.append(
            f"{record.station.name}: {n_gap_open} days before {first_day} filled by chance"
        )
    _go_on(record, columns, forecast, in_forecast, policy, values, n_known, split_day, seed, notes)
    return n_known, values


def _go_on(
    record: WeatherRecord,
    columns: tuple[Floats, ...],
    forecast: Forecast | None,
    in_forecast: tuple[Floats, ...],
    policy: MoisturePolicy,
    values: tuple[Floats, ...],
    n_known: int,
    split_day: date,
    seed: int,
    notes: list[str],
) -> None:
    """Fill the days after the record, member by member, in place."""
    n_members, n_all = values[0].shape
    n_ahead = n_all - n_known
    n_lines = 0 if forecast is None else forecast.n_members
    is_open = np.ones((n_members, n_ahead), bool)
    if n_lines:
        line = np.arange(n_members) % n_lines
        is_covered = np.zeros(n_ahead, bool)
        assert forecast is not None
        lo = (forecast.first_day - split_day).days
        is_covered[max(lo, 0) : max(lo + forecast.n_days, 0)] = True
        is_open = np.broadcast_to(~is_covered, is_open.shape).copy()
        if n_lines == 1:
            follow = follow_line(n_members, n_ahead, policy, seed=seed)
            is_open |= np.arange(n_ahead)[None, :] >= follow[:, None]
        for i in range(3):
            values[i][:, n_known:] = np.where(is_open, np.nan, in_forecast[i][line])
    if not is_open.any():
        return
    n_record = min((split_day - record.first_day).days, record.n_days)
    is_complete = np.isfinite(columns[0]) & np.isfinite(columns[1]) & np.isfinite(columns[2])
    starts, in_season = analogue_starts(
        is_complete[:n_record],
        record.first_day,
        split_day,
        n_ahead,
        n_members,
        window_days=policy.analogue_window_days,
        seed=seed,
    )
    notes.append(
        f"{record.station.name}: past weather of "
        + ("the season" if in_season else "recent weeks, for want of an earlier year,")
        + (" stands in where the forecast ends" if n_lines else " stands in for a forecast")
    )
    index = starts[:, None] + np.arange(n_ahead)[None, :]
    for target, source in zip(values, columns, strict=True):
        target[:, n_known:] = np.where(is_open, source[index], target[:, n_known:])


def _forecast_columns(
    forecast: Forecast | None, split_day: date, n_ahead: int
) -> tuple[Floats, ...]:
    if forecast is None:
        return tuple(np.full((1, n_ahead), np.nan) for _ in range(3))
    lo = (forecast.first_day - split_day).days
    found = []
    for source in (forecast.rain_mm, forecast.tmin_c, forecast.tmax_c):
        target = np.full((forecast.n_members, n_ahead), np.nan)
        first, last = max(lo, 0), min(lo + forecast.n_days, n_ahead)
        if first < last:
            target[:, first:last] = source[:, first - lo : last - lo]
        found.append(target)
    return tuple(found)


def _forecast_for(
    record: WeatherRecord,
    forecasts: Sequence[Forecast],
    policy: MoisturePolicy,
    first_day: date,
    notes: list[str],
) -> Forecast | None:
    """The newest usable forecast near the station; nearest among those issued the same day."""
    usable: list[tuple[int, float, Forecast]] = []
    for forecast in forecasts:
        away = float(
            distance_km(
                record.station.lon, record.station.lat, forecast.station.lon, forecast.station.lat
            )
        )
        last = forecast.first_day + timedelta(days=forecast.n_days - 1)
        if away > policy.station_max_km or forecast.issued_on > first_day:
            continue
        if last < first_day:
            notes.append(f"the forecast issued {forecast.issued_on} ended {last} and is not used")
            continue
        usable.append((-forecast.issued_on.toordinal(), away, forecast))
    if not usable:
        return None
    return min(usable, key=lambda each: each[:2])[2]


def _clean(record: WeatherRecord, policy: MoisturePolicy, notes: list[str]) -> tuple[Floats, ...]:
    """Columns with impossible figures turned into missing ones, each said in the notes."""
    n = record.n_days
    columns = [
        np.full(n, np.nan) if each is None else np.array(each, float)
        for each in (
            record.rain_mm,
            record.tmin_c,
            record.tmax_c,
            record.wind_m_s,
            record.solar_mj_m2,
            record.vapour_kpa,
        )
    ]
    rain, tmin, tmax, wind, solar, vapour = columns
    with np.errstate(invalid="ignore"):
        faults = (
            ("wind", wind, (wind > policy.wind_most_m_s) | (wind < 0)),
            ("radiation", solar, solar < 0),
            ("vapour pressure", vapour, vapour < 0),
            ("temperature", tmin, tmin > tmax),
        )
    for name, values, is_bad in faults:
        if is_bad.any():
            at = int(np.flatnonzero(is_bad)[0])
            day = record.first_day + timedelta(days=at)
            notes.append(
                f"{record.station.name}: {int(is_bad.sum())} impossible {name} figures left out,"
                f" first {values[at]:g} on {day}"
            )
            values[is_bad] = np.nan
            if name == "temperature":
                tmax[is_bad] = np.nan
    return rain, tmin, tmax, wind, solar, vapour


def _check_record(record: WeatherRecord, first_day: date) -> None:
    name = record.station.name
    if record.first_day >= first_day:
        raise InputError(
            f"the weather of {name} begins on {record.first_day}; expected it to begin before the"
            f" first day {first_day}, maybe the year is wrong"
        )
    bad = np.flatnonzero(record.rain_mm < 0)
    if bad.size:
        day = record.first_day + timedelta(days=int(bad[0]))
        raise InputError(
            f"rain_mm of {name} is {record.rain_mm[bad[0]]:g} on {day}; expected >= 0,"
            " or NaN where missing"
        )


def _filled(values: Floats) -> Floats:
    """Temperature for frost and snow: gaps bridged in a straight line, mild where none is known.

    Days in a gap stay unknown in what is shown; this only keeps the indices running.
    """
    if not np.isnan(values).any():
        return values
    flat = values.reshape(-1, values.shape[-1]).copy()
    at = np.arange(values.shape[-1])
    for row in flat:
        is_known = np.isfinite(row)
        row[~is_known] = (
            np.interp(at[~is_known], at[is_known], row[is_known]) if is_known.any() else 10.0
        )
    return flat.reshape(values.shape)
