"""A forecast from a JSON file: equal-length arrays with units, one array for each member.

The shape is the common one of open forecast services: ``daily`` or ``hourly`` holds ``time`` and
the figures, ``daily_units`` or ``hourly_units`` their units; the members of an ensemble follow as
``_member01``, ``_member02`` and so on beside the control run. Files are read, nothing is fetched.
"""

from __future__ import annotations

import json
import re
import warnings
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import numpy as np

from crossfall.errors import CrossfallWarning, InputError, Problem
from crossfall.io.text import open_text
from crossfall.io.weather.figures import Floats, to_si
from crossfall.io.weather.hours import Days, hours_of, refuse_doubled, to_days
from crossfall.io.weather.quality import judge_days, judge_hours
from crossfall.io.weather.report import ForecastImport, WeatherReport
from crossfall.model import Forecast, Station
from crossfall.model.policy import WeatherPolicy

_DAILY = {
    "rain": ("precipitation_sum",),
    "tmin": ("temperature_2m_min",),
    "tmax": ("temperature_2m_max",),
    "probability": ("precipitation_probability_max", "precipitation_probability_mean"),
}
_HOURLY = {
    "rain": ("precipitation",),
    "temp": ("temperature_2m",),
    "probability": ("precipitation_probability",),
}
_MEMBER = re.compile(r"(?P<name>.+)_member(?P<number>\d+)$")
_DEGREES_AN_HOUR = 15.0
_MOST_BYTES = 100_000_000


@dataclass(frozen=True, eq=False)
class _Block:
    """``daily`` or ``hourly`` of a file: SI figures by field, shape (member, step)."""

    name: str
    stamps: list[datetime]
    figures: dict[str, Floats]


def import_forecast(
    path: str | Path,
    *,
    station: Station | None = None,
    issued_on: date | None = None,
    time_zone: str | None = None,
    policy: WeatherPolicy | None = None,
) -> ForecastImport:
    """Read forecast members for the days ahead and tell everything that is odd about them.

    Parameters
    ----------
    station
        Where it is for; None takes the file's own latitude and longitude.
    issued_on
        Day it was made; None takes its first day.
    time_zone
        Zone whose midnight ends the day, when the file's hours are in another one.

    Raises
    ------
    InputError
        If the file is not of that shape, arrays differ in length, or a unit is missing or unknown.
    UnitsError
        If the figures can only be of another unit.
    """
    path, policy = Path(path), policy or WeatherPolicy()
    content = _load(path)
    doubts: list[Problem] = []
    block = _block(content, path)
    station = station or _station(content, path)
    stamps = _local(block.stamps, content, time_zone, station, path, doubts)
    n_short = n_clock = 0
    rain_hour = None
    if block.name == "hourly":
        days = _from_hours(block, stamps, path, policy, time_zone, doubts)
        first, figures, rain_hour = days.first_day, days.values, days.rain_hour
        n_short, n_clock = days.n_short, len(days.clock_days)
    else:
        first, figures = _from_days(block, stamps, path)
    figures, n_cut = _whole_days(figures)
    if n_cut:
        doubts.append(
            Problem(
                f"{path.name}, {block.name}", f"the last {n_cut} days are incomplete and left out"
            )
        )
    figures, n_impossible = _judge(figures, first, path, policy, doubts)
    forecast = _forecast(figures, rain_hour, station, first, issued_on, path)
    n_before = min((forecast.issued_on - first).days, forecast.n_days)
    if n_before > 0:
        doubts.append(
            Problem(
                f"{path.name}, {block.name}",
                f"{n_before} of {forecast.n_days} days, from {first} on, lie before"
                f" {forecast.issued_on}, the day it was issued; they are no forecast, maybe the day"
                " is wrong or the file holds past days as well",
            )
        )
    report = WeatherReport(
        file=path.name,
        format=f"forecast JSON, {block.name}, {forecast.n_members} members",
        first_day=first,
        last_day=first + timedelta(days=forecast.n_days - 1),
        n_rows=len(block.stamps),
        n_unknown={
            name: int(np.isnan(values).any(axis=0).sum())
            for name, values in (
                ("rain_mm", forecast.rain_mm),
                ("tmin_c", forecast.tmin_c),
                ("tmax_c", forecast.tmax_c),
            )
        },
        n_dropped={"impossible": n_impossible} if n_impossible else {},
        n_short_days=n_short,
        n_clock_days=n_clock,
        doubts=tuple(doubts),
    )
    return ForecastImport(forecast, report)


def read_forecast(
    path: str | Path,
    *,
    station: Station | None = None,
    issued_on: date | None = None,
    time_zone: str | None = None,
    policy: WeatherPolicy | None = None,
) -> Forecast:
    """As :func:`import_forecast`, the forecast alone; every doubt becomes a warning.

    Raises
    ------
    InputError, UnitsError
        As :func:`import_forecast`.
    """
    found = import_forecast(
        path, station=station, issued_on=issued_on, time_zone=time_zone, policy=policy
    )
    for doubt in found.report.doubts:
        warnings.warn(str(doubt), CrossfallWarning, stacklevel=2)
    return found.forecast


def _load(path: Path) -> dict[str, Any]:
    with open_text(path) as text:
        if path.stat().st_size > _MOST_BYTES:
            raise InputError(f"{path.name} is larger than 100 MB; expected one station's forecast")
        try:
            content = json.load(text)
        except (json.JSONDecodeError, RecursionError) as error:
            raise InputError(f"{path.name} is not JSON ({error}); is the file cut off?") from None
    if isinstance(content, list) and len(content) == 1:
        content = content[0]
    if not isinstance(content, dict):
        raise InputError(
            f"{path.name} is not one forecast; expected an object with daily or hourly"
        )
    return content


def _block(content: dict[str, Any], path: Path) -> _Block:
    for name, wanted in (("daily", _DAILY), ("hourly", _HOURLY)):
        arrays, units = content.get(name), content.get(f"{name}_units")
        if not isinstance(arrays, dict) or not any(key in arrays for key in wanted["rain"]):
            continue
        if not isinstance(units, dict):
            raise InputError(f"{path.name} has no {name}_units; units are never guessed")
        stamps = _stamps(arrays, units, f"{path.name}, {name}.time")
        figures = {}
        for field, keys in wanted.items():
            found = _members(arrays, units, keys, field, len(stamps), f"{path.name}, {name}")
            if found is not None:
                figures[field] = found
        return _Block(name, stamps, figures)
    raise InputError(
        f"{path.name} has no rain; expected daily.precipitation_sum or hourly.precipitation"
    )


def _stamps(arrays: dict[str, Any], units: dict[str, Any], where: str) -> list[datetime]:
    times = arrays.get("time")
    if not isinstance(times, list) or not times:
        raise InputError(f"{where} is missing or empty")
    try:
        if units.get("time") == "unixtime":
            return [datetime.fromtimestamp(int(time), UTC) for time in times]
        return [datetime.fromisoformat(time) for time in times]
    except (TypeError, ValueError, OverflowError) as error:
        raise InputError(f"{where} is not ISO 8601 ({error})") from None


def _members(
    arrays: dict[str, Any],
    units: dict[str, Any],
    keys: tuple[str, ...],
    field: str,
    n_steps: int,
    where: str,
) -> Floats | None:
    """Figures of all members, control run first, shape (member, step)."""
    key = next((key for key in keys if key in arrays or f"{key}_member01" in arrays), None)
    if key is None:
        return None
    numbered = {
        int(match["number"]): name
        for name in arrays
        if (match := _MEMBER.fullmatch(name)) and match["name"] == key
    }
    names = ([key] if key in arrays else []) + [numbered[number] for number in sorted(numbered)]
    rows = []
    for name in names:
        values = arrays[name]
        if not isinstance(values, list) or len(values) != n_steps:
            length = len(values) if isinstance(values, list) else "no"
            raise InputError(f"{where}.{name} has {length} values; expected {n_steps} as in time")
        unit = units.get(name, units.get(key))
        if not isinstance(unit, str):
            raise InputError(
                f"{where}_units does not say the unit of {name}; units are never guessed"
            )
        try:
            figures = np.array([np.nan if v is None else float(v) for v in values])
        except (TypeError, ValueError):
            raise InputError(f"{where}.{name} holds something that is not a figure") from None
        rows.append(to_si(figures, unit, field))
    return np.array(rows)


def _station(content: dict[str, Any], path: Path) -> Station:
    lat, lon = content.get("latitude"), content.get("longitude")
    if not isinstance(lat, int | float) or not isinstance(lon, int | float):
        raise InputError(f"{path.name} does not say where it is for; give station")
    if not (-90 <= lat <= 90 and -180 <= lon <= 180):
        raise InputError(
            f"{path.name}: latitude {lat}, longitude {lon} is no place; are they swapped?"
        )
    height = content.get("elevation")
    return Station(
        id=f"{lat:.3f},{lon:.3f}",
        name=f"forecast for {lat:.3f}, {lon:.3f}",
        lon=float(lon),
        lat=float(lat),
        elevation_m=float(height) if isinstance(height, int | float) else 0.0,
    )


def _local(
    stamps: list[datetime],
    content: dict[str, Any],
    time_zone: str | None,
    station: Station,
    path: Path,
    doubts: list[Problem],
) -> list[datetime]:
    """Civil time of each step; hours in Greenwich time far from Greenwich are doubted."""
    offset = content.get("utc_offset_seconds", 0)
    offset = timedelta(seconds=offset if isinstance(offset, int) else 0)
    if time_zone is not None:
        try:
            zone = ZoneInfo(time_zone)
        except (ZoneInfoNotFoundError, ValueError):
            raise InputError(
                f"time_zone {time_zone!r} is unknown; expected like 'America/Chicago'"
            ) from None
        utc = [s if s.tzinfo else (s - offset).replace(tzinfo=UTC) for s in stamps]
        return [stamp.astimezone(zone).replace(tzinfo=None) for stamp in utc]
    away_h = station.lon / _DEGREES_AN_HOUR - offset.total_seconds() / 3600
    if abs(away_h) > 3:
        doubts.append(
            Problem(
                f"{path.name}, timezone",
                f"days are counted {abs(away_h):.0f} hours from the sun's at longitude"
                f" {station.lon:.1f}; ask the service for local time, or say time_zone for hours",
            )
        )
    return [s.astimezone(UTC).replace(tzinfo=None) + offset if s.tzinfo else s for s in stamps]


def _from_hours(
    block: _Block,
    stamps: list[datetime],
    path: Path,
    policy: WeatherPolicy,
    time_zone: str | None,
    doubts: list[Problem],
) -> Days:
    refuse_doubled(stamps, file=f"{path.name}, {block.name}.time", time_zone=time_zone)
    figures = {}
    for field, members in block.figures.items():
        flat = {field: members.reshape(-1)}
        words = [f"{stamp:%Y-%m-%d %H:%M}" for stamp in stamps] * len(members)
        judged = judge_hours(flat, words, file=path.name, policy=policy)
        doubts += judged.doubts
        figures[field] = judged.values[field].reshape(members.shape)
    return to_days(stamps, figures, policy=policy, time_zone=time_zone)


def _from_days(block: _Block, stamps: list[datetime], path: Path) -> tuple[date, dict[str, Floats]]:
    days = [stamp.date() for stamp in stamps]
    for number, day in enumerate(days):
        if day != days[0] + timedelta(days=number):
            raise InputError(
                f"{path.name}, daily.time: {day} follows {days[number - 1]};"
                " expected every day once"
            )
    return days[0], dict(block.figures)


def _whole_days(figures: dict[str, Floats]) -> tuple[dict[str, Floats], int]:
    """Leave out days at the end for which no member has rain."""
    known = np.atleast_1d(np.isfinite(figures["rain"]).any(axis=0))
    if not known.any():
        return figures, 0
    end = int(np.flatnonzero(known)[-1]) + 1
    return {name: values[:, :end] for name, values in figures.items()}, len(known) - end


def _judge(
    figures: dict[str, Floats],
    first: date,
    path: Path,
    policy: WeatherPolicy,
    doubts: list[Problem],
) -> tuple[dict[str, Floats], int]:
    judged_by_field = {name: values.copy() for name, values in figures.items()}
    n_impossible = 0
    seen: set[str] = set()
    for member in range(len(figures["rain"])):
        one = {
            name: values[min(member, len(values) - 1)]
            for name, values in figures.items()
            if name != "probability"
        }
        judged = judge_days(one, first, file=path.name, policy=policy)
        n_impossible += judged.n_impossible
        doubts += [doubt for doubt in judged.doubts if doubt.where not in seen]
        seen |= {doubt.where for doubt in judged.doubts}
        for name, values in judged.values.items():
            if member < len(judged_by_field[name]):
                judged_by_field[name][member] = values
    return judged_by_field, n_impossible


def _forecast(
    figures: dict[str, Floats],
    rain_hour: Floats | None,
    station: Station,
    first: date,
    issued_on: date | None,
    path: Path,
) -> Forecast:
    rain = figures["rain"]
    if rain_hour is not None:
        rain_hour = rain_hour[:, : rain.shape[1]]
    unknown = np.full(rain.shape, np.nan)
    probability = figures.get("probability")
    return Forecast(
        station=station,
        issued_on=issued_on or first,
        first_day=first,
        rain_mm=rain,
        tmin_c=_like(figures.get("tmin", unknown), rain, "temperature_2m_min", path),
        tmax_c=_like(figures.get("tmax", unknown), rain, "temperature_2m_max", path),
        source=path.name,
        pop=None if probability is None else probability[0] / 100,
        rain_hour_mm=hours_of(rain, rain_hour),
    )


def _like(values: Floats, rain: Floats, name: str, path: Path) -> Floats:
    """Temperatures for every rain member; a single run serves them all."""
    if len(values) == len(rain):
        return values
    if len(values) == 1:
        return np.repeat(values, len(rain), axis=0)
    raise InputError(
        f"{path.name} has {len(rain)} members of rain but {len(values)} of {name}; expected as many"
    )
