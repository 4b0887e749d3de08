"""Observed weather from a file: pick the reader, judge the figures, make the record."""

from __future__ import annotations

import warnings
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from typing import Literal

import numpy as np

from crossfall.errors import CrossfallWarning, InputError, Problem
from crossfall.formulas.evapotranspiration import saturation_vapour_kpa
from crossfall.io.text import first_line
from crossfall.io.weather.calendar import Readings
from crossfall.io.weather.ghcn import looks_like_by_station, read_by_station, read_dly
from crossfall.io.weather.hours import hours_of
from crossfall.io.weather.own import has_own_names, header_of, with_own_names
from crossfall.io.weather.quality import judge_days
from crossfall.io.weather.report import WeatherImport, WeatherReport
from crossfall.io.weather.table import TableShape, read_table
from crossfall.model import Station, WeatherRecord
from crossfall.model.policy import WeatherPolicy

FileFormat = Literal["auto", "ghcn_dly", "ghcn_csv", "table"]
Reading = Literal["same_day", "day_before"]


def import_weather(
    path: str | Path,
    *,
    station: Station,
    format: FileFormat = "auto",
    columns: dict[str, str] | None = None,
    units: dict[str, str] | None = None,
    where: dict[str, str] | None = None,
    date_format: str | None = None,
    time_zone: str | None = None,
    home_zone: str | None = None,
    reading: Reading = "same_day",
    believe: bool = False,
    policy: WeatherPolicy | None = None,
) -> WeatherImport:
    """Read daily weather of one station and tell everything that is odd about it.

    Parameters
    ----------
    path
        ``.dly``, by-station CSV, a CSV with our own column names (``date``, ``rain_mm``, ...), or
        any CSV with ``columns`` and ``units``; ``.gz`` of them too.
    station
        Where the gauge stands. With an ``id`` that the file holds, only that station is read.
    columns, units, where, date_format, time_zone
        See :class:`~crossfall.io.weather.table.TableShape`; only for a mapped CSV.
    home_zone
        Zone whose clock local hours follow when no ``time_zone`` is said; it tells the nights on
        which clocks are changed.
    reading
        ``day_before`` when the gauge is read in the morning: rain moves one day back.
    believe
        Take figures that are possible but unlikely, such as very little rain.

    Raises
    ------
    InputError
        If the file cannot be read as said; names file, row and field.
    UnitsError
        If the figures can only be of another unit.
    """
    path, policy = Path(path), policy or WeatherPolicy()
    if reading not in ("same_day", "day_before"):
        raise InputError(f"reading is {reading!r}; expected 'same_day' or 'day_before'")
    kind = _kind(path, format, columns)
    if kind != "table" and (columns or units or where or date_format or time_zone):
        raise InputError(
            f"--column and --unit are for a CSV of your own; {path.name} is read as {kind}"
        )
    if kind == "table":
        columns, units = with_own_names(path, columns or {}, units or {})
        shape = TableShape(columns, units, where or {}, date_format, time_zone, home_zone)
        readings = read_table(path, shape, policy)
    elif kind == "ghcn_dly":
        readings = read_dly(path, station_id=_known_id(station))
    else:
        readings = read_by_station(
            path, station_id=_known_id(station), morning_until_h=policy.morning_until_h
        )
    judged = judge_days(
        readings.values,
        readings.first_day,
        file=path.name,
        policy=policy,
        units_said=kind == "table",
        believe=believe,
        lat=station.lat,
    )
    readings.values = judged.values
    if judged.n_impossible:
        readings.dropped["impossible"] = readings.dropped.get("impossible", 0) + judged.n_impossible
    readings.doubts += judged.doubts
    if reading == "day_before":
        if readings.rain_hour is not None:
            raise InputError(
                f"{path.name} holds hours, and an hour's rain fell in that hour; leave out"
                " --read-in-the-morning"
            )
        _move_back(readings)
    record = _record(readings, station, path)
    return WeatherImport(record, _report(readings, record, path))


def read_weather(
    path: str | Path, *, station: Station, policy: WeatherPolicy | None = None, **shape: object
) -> WeatherRecord:
    """As :func:`import_weather`, the record alone; every doubt becomes a warning.

    Raises
    ------
    InputError, UnitsError
        As :func:`import_weather`.
    """
    found = import_weather(path, station=station, policy=policy, **shape)  # type: ignore[arg-type]
    for doubt in found.report.doubts:
        warnings.warn(str(doubt), CrossfallWarning, stacklevel=2)
    return found.record


def _kind(path: Path, given: str, columns: dict[str, str] | None) -> str:
    if given not in ("auto", "ghcn_dly", "ghcn_csv", "table"):
        raise InputError(f"format is {given!r}; expected 'auto', 'ghcn_dly', 'ghcn_csv' or 'table'")
    if given != "auto":
        return given
    if columns:
        return "table"
    line = first_line(path)
    if not line:
        raise InputError(f"{path.name} is empty")
    if ".dly" in path.suffixes:
        return "ghcn_dly"
    if looks_like_by_station(line) or line.upper().startswith("ID,DATE,ELEMENT"):
        return "ghcn_csv"
    if has_own_names(path):
        return "table"
    raise InputError(
        f"{path.name} is not GHCN-Daily and has no rain_mm or rain_in; name its columns and their"
        f" units, like --column date=... --column rain=... --unit rain=mm; it has"
        f" {', '.join(header_of(path))}"
    )


def _known_id(station: Station) -> str:
    """The archive's ids have eleven characters; any other is the agency's own name for it."""
    return station.id if len(station.id) == 11 else ""


def _move_back(readings: Readings) -> None:
    rain = readings.values["rain"]
    readings.values = {
        name: np.concatenate([[np.nan], values]) for name, values in readings.values.items()
    }
    readings.values["rain"] = np.concatenate([rain, [np.nan]])
    readings.first_day -= timedelta(days=1)


def _record(readings: Readings, station: Station, path: Path) -> WeatherRecord:
    values, n_days = readings.values, readings.n_days
    unknown = np.full(n_days, np.nan)
    vapour = values.get("vapour")
    if vapour is None and "dewpoint" in values:
        vapour = saturation_vapour_kpa(values["dewpoint"])
    if readings.station_id and not station.id:
        station = replace(station, id=readings.station_id)
    return WeatherRecord(
        station=station,
        first_day=readings.first_day,
        rain_mm=values["rain"],
        tmin_c=values.get("tmin", unknown),
        tmax_c=values.get("tmax", unknown.copy()),
        wind_m_s=values.get("wind"),
        solar_mj_m2=values.get("solar"),
        vapour_kpa=vapour,
        source=path.name,
        rain_hour_mm=hours_of(values["rain"], readings.rain_hour),
    )


def _report(readings: Readings, record: WeatherRecord, path: Path) -> WeatherReport:
    names = {
        "rain_mm": record.rain_mm,
        "tmin_c": record.tmin_c,
        "tmax_c": record.tmax_c,
        "wind_m_s": record.wind_m_s,
        "solar_mj_m2": record.solar_mj_m2,
        "vapour_kpa": record.vapour_kpa,
    }
    doubts = list(readings.doubts)
    if np.isnan(record.tmin_c).all():
        doubts.append(
            Problem(path.name, "gives no temperatures; drying cannot be followed from it alone")
        )
    return WeatherReport(
        file=path.name,
        format=readings.format,
        first_day=record.first_day,
        last_day=record.last_day,
        n_rows=readings.n_rows,
        n_unknown={
            name: int(np.isnan(values).sum())
            for name, values in names.items()
            if values is not None
        },
        n_dropped=readings.dropped,
        doubts=tuple(doubts),
        **{name: count for name, count in readings.counts.items() if count},
    )
