"""The days of one station: recorded as far as the record goes, then a different sky per member.

A member follows the forecast as far as it reaches and past weather of the same season after
that. A figure that cannot be (a minimum above its maximum, a storm wind all day) is left out and
said; a missing one stays missing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields
from datetime import date, timedelta

import numpy as np
import numpy.typing as npt

from crossfall.errors import InputError, UnitsError
from crossfall.judgement.members import analogue_starts, draw_rain_members, follow_line
from crossfall.judgement.stations import distance_km
from crossfall.model import HOURS
from crossfall.model.policy.moisture import MoisturePolicy
from crossfall.model.weather import Forecast, WeatherRecord

Floats = npt.NDArray[np.float64]


@dataclass(eq=False)
class DayTable:
    """Daily figures, NaN where missing; arrays (..., day)."""

    rain_mm: Floats
    tmin_c: Floats
    tmax_c: Floats
    wind_m_s: Floats
    solar_mj_m2: Floats
    vapour_kpa: Floats
    rain_hours: Floats | None = None
    """Rain of each hour, (..., day, 24), NaN where only the day is known [mm]."""

    @property
    def columns(self) -> tuple[Floats, ...]:
        """All daily columns in order."""
        daily = [each.name for each in fields(self) if each.name != "rain_hours"]
        return tuple(getattr(self, name) for name in daily)


@dataclass(frozen=True, slots=True)
class Span:
    """Which days are wanted, for how many members."""

    start: date
    """First day of the warm-up."""
    first_day: date
    """First day of interest."""
    n_days: int
    """All days, from ``start`` on."""
    n_members: int
    seed: int


def station_days(
    record: WeatherRecord,
    forecast: Forecast | None,
    policy: MoisturePolicy,
    span: Span,
    notes: list[str],
) -> tuple[DayTable, int]:
    """Figures (member, day) of one station and the first day on which members differ.

    Raises
    ------
    InputError
        If the record ends long before the first day and no forecast fills in, or is too short to
        stand in for a forecast.
    """
    clean = cleaned(record, policy, notes)
    n_known = min((record.last_day - span.start).days + 1, (span.first_day - span.start).days)
    # A record may end before the days that are followed even begin
    n_known = max(n_known, 0)
    shift = (record.first_day - span.start).days
    table = DayTable(*(np.full((span.n_members, span.n_days), np.nan) for _ in range(6)))
    lo = max(shift, 0)
    for target, source in zip(table.columns, clean.columns, strict=True):
        target[:, lo:n_known] = source[lo - shift : n_known - shift]
    if clean.rain_hours is not None or (forecast and forecast.rain_hour_mm is not None):
        table.rain_hours = np.full((span.n_members, span.n_days, HOURS), np.nan)
    if table.rain_hours is not None and clean.rain_hours is not None:
        table.rain_hours[:, lo:n_known] = clean.rain_hours[lo - shift : n_known - shift]
        n_hourly = int(np.isfinite(clean.rain_hours[lo - shift : n_known - shift, 0]).sum())
        notes.append(f"{record.station.name}: rain by the hour on {n_hourly} of {n_known} days")
    n_unknown = int(np.isnan(table.rain_mm[0, lo:n_known]).sum())
    if n_unknown:
        notes.append(f"{record.station.name}: {n_unknown} days without a rain figure")
    if lo > 0:
        notes.append(f"{record.station.name}: nothing recorded before {record.first_day}")

    split = span.start + timedelta(days=n_known)
    covered = _covered(forecast, split, span.n_days - n_known)
    n_gap = (span.first_day - split).days
    n_open = int((~covered[:n_gap]).sum())
    if n_open > policy.weather_gap_days:
        raise InputError(
            f"the weather of {record.station.name} ends on {record.last_day} and the plan begins"
            f" on {span.first_day}; {n_open} days between have neither record nor forecast,"
            f" expected at most {policy.weather_gap_days}, so read newer weather"
        )
    if n_open > 0:
        notes.append(
            f"{record.station.name}: {n_open} days before {span.first_day} filled by past weather"
        )
    _look_ahead(record, clean, forecast, covered, policy, table, n_known, span, notes)
    return table, n_known


def that_reach(
    records: Sequence[WeatherRecord],
    forecasts: Sequence[Forecast],
    policy: MoisturePolicy,
    first_day: date,
) -> tuple[list[WeatherRecord], tuple[str, ...]]:
    """Records that reach the first day, with a forecast if need be, and notes on the others.

    Where none does all are given back, so that the trouble is told as it is.
    """
    fit, notes = [], []
    for record in records:
        name = record.station.name
        if record.first_day >= first_day:
            notes.append(f"{name}: begins {record.first_day} and is not used")
            continue
        split = min(record.last_day + timedelta(days=1), first_day)
        n_gap = (first_day - split).days
        n_open = n_gap
        if n_gap > policy.weather_gap_days:
            forecast = choose_forecast(record, forecasts, policy, first_day, [])
            n_open = int((~_covered(forecast, split, n_gap)).sum())
        if n_open > policy.weather_gap_days:
            notes.append(f"{name}: ends {record.last_day} and is not used")
            continue
        fit.append(record)
    return (fit, tuple(notes)) if fit else (list(records), ())


def choose_forecast(
    record: WeatherRecord,
    forecasts: Sequence[Forecast],
    policy: MoisturePolicy,
    first_day: date,
    notes: list[str],
) -> Forecast | None:
    """The newest usable forecast near the station, named in ``notes`` with those left unused.

    Of those issued the same day the nearest counts, and of equally near ones the one that was
    brought in last.
    """
    usable: list[tuple[int, float, int]] = []
    here = record.station
    for i, forecast in enumerate(forecasts):
        away = distance_km(here.lon, here.lat, forecast.station.lon, forecast.station.lat)
        last = forecast.first_day + timedelta(days=forecast.n_days - 1)
        if forecast.issued_on > first_day or away > policy.station_max_km:
            continue
        if last < first_day:
            notes.append(f"{_called(forecast)} ended {last} and is not used")
            continue
        usable.append((-forecast.issued_on.toordinal(), float(away), -i))
    if not usable:
        return None
    best, *others = sorted(usable)
    chosen = forecasts[-best[2]]
    _check_forecast(chosen)
    notes.append(f"{here.name}: {_called(chosen)} is used")
    for issued, how_far, i in others:
        why = "an older one"
        if issued == best[0]:
            if how_far > best[1]:
                # The forecast of another station, which has its own place
                continue
            why = "a later one of that day was brought in"
        notes.append(f"{here.name}: {_called(forecasts[-i])} is not used, {why}")
    return chosen


def cleaned(record: WeatherRecord, policy: MoisturePolicy, notes: list[str]) -> DayTable:
    """A copy of the record with impossible figures left out, each said in ``notes``.

    Raises
    ------
    InputError
        If a rain figure is negative: it may be a code for missing, which only the reader knows.
    UnitsError
        If temperatures look like Fahrenheit.
    """
    name = record.station.name
    bad = np.flatnonzero(record.rain_mm < 0)
    if bad.size:
        day = record.first_day + timedelta(days=int(bad[0]))
        raise InputError(
            f"rain_mm of {name} is {record.rain_mm[bad[0]]:g} on {day}; expected >= 0,"
            " or NaN where missing"
        )
    hot = np.flatnonzero(record.tmax_c > policy.temperature_most_c)
    if hot.size:
        day = record.first_day + timedelta(days=int(hot[0]))
        raise UnitsError(
            f"tmax_c of {name} is {record.tmax_c[hot[0]]:g} on {day}; expected degC, maybe it is"
            " Fahrenheit"
        )
    empty = np.full(record.n_days, np.nan)
    daily = [
        np.array(empty if each is None else each, dtype=float)
        for each in (
            record.rain_mm,
            record.tmin_c,
            record.tmax_c,
            record.wind_m_s,
            record.solar_mj_m2,
            record.vapour_kpa,
        )
    ]
    table = DayTable(*daily)
    if record.rain_hour_mm is not None:
        table.rain_hours = record.rain_hour_mm.copy()
    with np.errstate(invalid="ignore"):
        faults = (
            ("wind", (table.wind_m_s,), table.wind_m_s > policy.wind_most_m_s),
            ("wind", (table.wind_m_s,), table.wind_m_s < 0),
            ("radiation", (table.solar_mj_m2,), table.solar_mj_m2 < 0),
            ("vapour pressure", (table.vapour_kpa,), table.vapour_kpa < 0),
            ("minimum temperature", (table.tmin_c, table.tmax_c), table.tmin_c > table.tmax_c),
        )
    for what, columns, flags in faults:
        is_bad = np.asarray(flags, dtype=np.bool_)
        if is_bad.any():
            at = int(np.argmax(is_bad))
            day = record.first_day + timedelta(days=at)
            notes.append(
                f"{name}: {int(is_bad.sum())} impossible figures of {what} left out, the first"
                f" {columns[0][at]:g} on {day}"
            )
            for column in columns:
                column[is_bad] = np.nan
    return table


def _look_ahead(
    record: WeatherRecord,
    clean: DayTable,
    forecast: Forecast | None,
    covered: npt.NDArray[np.bool_],
    policy: MoisturePolicy,
    table: DayTable,
    n_known: int,
    span: Span,
    notes: list[str],
) -> None:
    """Fill the days after the record, member by member, in place."""
    n_ahead = span.n_days - n_known
    split = span.start + timedelta(days=n_known)
    is_open = np.broadcast_to(~covered, (span.n_members, n_ahead)).copy()
    if forecast is not None:
        has_no_chance = _has_no_chance(forecast, notes)
        rain = _member_rain(forecast, has_no_chance, policy, span)
        line = np.arange(span.n_members) % forecast.n_members
        sources = (rain, forecast.tmin_c[line], forecast.tmax_c[line])
        shift = (forecast.first_day - split).days
        at = np.flatnonzero(covered)
        for target, source in zip(table.columns[:3], sources, strict=True):
            target[:, n_known + at] = source[:, at - shift]
        if table.rain_hours is not None and forecast.rain_hour_mm is not None:
            table.rain_hours[:, n_known + at] = forecast.rain_hour_mm[line][:, at - shift]
        if has_no_chance.any():
            follow = follow_line(span.n_members, n_ahead, policy, seed=span.seed)
            is_line = np.zeros(n_ahead, dtype=bool)
            is_line[covered] = has_no_chance[np.flatnonzero(covered) - shift]
            is_open |= (np.arange(n_ahead) >= follow[:, None]) & is_line
    if not is_open.any():
        return
    is_complete = np.asarray(np.isfinite(np.stack(clean.columns[:3])).all(axis=0))
    n_record = min((split - record.first_day).days, record.n_days)
    starts, in_season = analogue_starts(
        is_complete[:n_record],
        record.first_day,
        split,
        n_ahead,
        span.n_members,
        window_days=policy.analogue_window_days,
        recent_days=policy.analogue_recent_days,
        seed=span.seed,
    )
    season = "the season" if in_season else "recent weeks, for want of an earlier year,"
    where = "where the forecast ends or is doubted" if forecast is not None else "for a forecast"
    notes.append(f"{record.station.name}: past weather of {season} stands in {where}")
    index = starts[:, None] + np.arange(n_ahead)
    for target, source in zip(table.columns, clean.columns, strict=True):
        target[:, n_known:] = np.where(is_open, source[index], target[:, n_known:])
    if table.rain_hours is not None:
        hours = np.nan if clean.rain_hours is None else clean.rain_hours[index]
        ahead = table.rain_hours[:, n_known:]
        table.rain_hours[:, n_known:] = np.where(is_open[..., None], hours, ahead)


def _has_no_chance(forecast: Forecast, notes: list[str]) -> npt.NDArray[np.bool_]:
    """The days of a one-line forecast of which only the amount can be used."""
    n_days = forecast.rain_mm.shape[-1]
    if forecast.n_members > 1:
        return np.zeros(n_days, dtype=bool)
    if forecast.pop is None:
        return np.ones(n_days, dtype=bool)
    amount = forecast.rain_mm[0]
    is_odd = np.asarray((forecast.pop == 0) & (amount > 0))
    for at in np.flatnonzero(is_odd).tolist():
        day = forecast.first_day + timedelta(days=at)
        notes.append(
            f"{_called(forecast)} expects {amount[at]:g} mm on {day} with a chance of 0; the chance"
            " is left out, the amount counts"
        )
    return is_odd | np.isnan(forecast.pop)


def _member_rain(
    forecast: Forecast, has_no_chance: npt.NDArray[np.bool_], policy: MoisturePolicy, span: Span
) -> Floats:
    line = forecast.rain_mm[np.arange(span.n_members) % forecast.n_members]
    if forecast.n_members > 1 or forecast.pop is None:
        return np.asarray(line)
    drawn = draw_rain_members(
        np.where(has_no_chance, 1.0, forecast.pop),
        forecast.rain_mm[0],
        span.n_members,
        seed=span.seed,
        persistence=policy.rain_persistence,
        gamma_shape=policy.rain_gamma_shape,
    )
    return np.where(has_no_chance, line, drawn)


def _covered(forecast: Forecast | None, split: date, n_ahead: int) -> npt.NDArray[np.bool_]:
    covered = np.zeros(n_ahead, dtype=bool)
    if forecast is not None:
        lo = (forecast.first_day - split).days
        covered[max(lo, 0) : max(lo + forecast.n_days, 0)] = True
    return covered


def _check_forecast(forecast: Forecast) -> None:
    what = _called(forecast)
    if np.any(forecast.rain_mm < 0):
        raise InputError(f"{what} has rain_mm {np.nanmin(forecast.rain_mm):g}; expected >= 0")
    if np.any(forecast.tmin_c > forecast.tmax_c):
        raise InputError(f"{what} has a tmin_c above its tmax_c; maybe the columns are swapped")


def _called(forecast: Forecast) -> str:
    source = f" ({forecast.source})" if forecast.source else ""
    name = forecast.station.name
    # A file that says only where it is for is called so by its reader
    name = f"the {name}" if name.startswith("forecast ") else f"the forecast of {name}"
    return f"{name} issued {forecast.issued_on}{source}"
