"""GHCN-Daily, the two shapes agencies get it in: fixed width ``.dly`` and the by-station CSV.

Layout and units after the archive's own notes (NOAA NCEI, *GHCN-Daily readme* and
*readme-by_station*): tenths of a millimetre, of a degree Celsius and of a metre a second; -9999
is missing; a reading with a quality flag failed the archive's checks and is not used.
"""

from __future__ import annotations

import csv
import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path

import numpy as np

from crossfall.errors import InputError, Problem, refuse
from crossfall.io.text import open_text
from crossfall.io.weather.calendar import Readings

USED = {"PRCP": "rain", "TMAX": "tmax", "TMIN": "tmin", "AWND": "wind"}
_MULTI_DAY = "MDPR"
_MISSING = -9999
_PRESUMED_ZERO = "P"
"""Measurement flag of a missing total that somebody presumed to be zero: unknown here."""
_TRACE = "T"
_ID = re.compile(r"[A-Z0-9_-]{11}")


@dataclass(frozen=True, slots=True)
class _Reading:
    station: str
    day: date
    element: str
    value: int
    mflag: str
    qflag: str
    time: str
    row: int


def read_dly(path: Path, *, station_id: str = "") -> Readings:
    """Read a fixed-width ``.dly`` file: one line for a station, month and element.

    Raises
    ------
    InputError
        If a line is cut off or not of that layout, there is no reading, or the file holds
        several stations and none of them is named ``station_id``.
    """
    return _collect(_dly_readings(path), "GHCN-Daily .dly", path, station_id)


def read_by_station(path: Path, *, station_id: str = "", morning_until_h: float) -> Readings:
    """Read a by-station CSV: id, date, element, value, M-, Q-, S-flag, time of observation.

    Rain read in the morning is reported as a doubt, for most of it fell the day before.
    """
    times: Counter[str] = Counter()
    readings = _collect(_csv_readings(path, times), "GHCN-Daily CSV", path, station_id)
    morning = sum(n for time, n in times.items() if time and int(time) <= morning_until_h * 100)
    if morning * 2 > sum(times.values()):
        readings.doubts.append(
            Problem(
                f"{path.name}, time of observation",
                f"{morning} rain readings were taken in the morning, so most of their rain fell the"
                " day before; say reading='day_before' to move them",
            )
        )
    return readings


def looks_like_by_station(line: str) -> bool:
    """Whether a first line is a row of the by-station CSV."""
    cells = line.strip().split(",")
    return len(cells) == 8 and bool(_ID.fullmatch(cells[0])) and cells[1].isdigit()


def _dly_readings(path: Path) -> Iterator[_Reading]:
    problems: list[Problem] = []
    with open_text(path) as lines:
        for row, line in enumerate(lines, start=1):
            text = line.rstrip("\r\n")
            if not text.strip():
                continue
            where = f"{path.name} line {row}"
            if len(text) < 21 + 8 * 30 + 5:
                problems.append(
                    Problem(
                        where, f"has {len(text)} characters; expected 269, is the file cut off?"
                    )
                )
                continue
            try:
                year, month = int(text[11:15]), int(text[15:17])
                values = [int(text[21 + 8 * n : 26 + 8 * n]) for n in range(31)]
                first = date(year, month, 1)
            except ValueError:
                problems.append(Problem(where, "is not of the GHCN-Daily layout"))
                continue
            for n, value in enumerate(values):
                day = first + timedelta(days=n)
                if day.month != month:
                    if value != _MISSING:
                        problems.append(
                            Problem(where, f"gives {value} for day {n + 1} of {year}-{month:02d}")
                        )
                    continue
                flags = text[26 + 8 * n : 29 + 8 * n].ljust(3)
                yield _Reading(
                    text[:11], day, text[17:21], value, flags[0], flags[1].strip(), "", row
                )
    refuse(problems)


def _csv_readings(path: Path, times: Counter[str]) -> Iterator[_Reading]:
    problems: list[Problem] = []
    with open_text(path) as lines:
        for row, cells in enumerate(csv.reader(lines), start=1):
            if not cells or cells[0].strip().upper() in {"ID", "STATION"}:
                continue
            where = f"{path.name} row {row}"
            if len(cells) != 8:
                problems.append(
                    Problem(where, f"has {len(cells)} fields; expected 8, is the file cut off?")
                )
                continue
            station, day_text, element, value_text, mflag, qflag, _, time = (
                cell.strip() for cell in cells
            )
            try:
                day = date(int(day_text[:4]), int(day_text[4:6]), int(day_text[6:8]))
                value = int(value_text)
            except ValueError:
                problems.append(
                    Problem(
                        where, f"{day_text}, {value_text}: expected YYYYMMDD and a whole number"
                    )
                )
                continue
            if element == "PRCP":
                times[time if time.isdigit() else ""] += 1
            yield _Reading(station, day, element, value, mflag, qflag, time, row)
    refuse(problems)


def _collect(found: Iterator[_Reading], name: str, path: Path, station_id: str) -> Readings:
    used: dict[tuple[str, date], _Reading] = {}
    counts: Counter[str] = Counter()
    dropped: Counter[str] = Counter()
    multi_day: list[date] = []
    stations: set[str] = set()
    rows: set[int] = set()
    for reading in found:
        stations.add(reading.station)
        rows.add(reading.row)
        if not station_id and len(stations) > 1:
            raise InputError(
                f"{path.name} row {reading.row} brings a second station, {reading.station}; say"
                " which one to read in station.id"
            )
        if station_id and reading.station != station_id:
            continue
        if reading.value == _MISSING:
            continue
        if reading.qflag:
            dropped[f"flag {reading.qflag}"] += 1
        elif reading.element == _MULTI_DAY:
            multi_day.append(reading.day)
        elif reading.element not in USED:
            counts["n_other"] += 1
        elif reading.mflag == _PRESUMED_ZERO:
            dropped["presumed zero"] += 1
        else:
            counts["n_duplicated"] += _keep(used, reading, path)
            counts["n_trace"] += reading.mflag == _TRACE
    if station_id and station_id not in stations and stations:
        raise InputError(
            f"{path.name} holds {', '.join(sorted(stations)[:3])}; no station {station_id}"
        )
    if not used:
        raise InputError(f"{path.name} holds no reading of {', '.join(USED)} that can be used")
    return _laid(used, multi_day, counts, dropped, name, len(rows), station_id or stations.pop())


def _keep(used: dict[tuple[str, date], _Reading], reading: _Reading, path: Path) -> bool:
    """Keep a reading; True when the same one is there already."""
    key = (reading.element, reading.day)
    before = used.setdefault(key, reading)
    if before is reading:
        return False
    if before.value != reading.value:
        raise InputError(
            f"{path.name} rows {before.row} and {reading.row} give different {reading.element} for"
            f" {reading.day}; keep the one that is right"
        )
    return True


def _laid(
    used: dict[tuple[str, date], _Reading],
    multi_day: list[date],
    counts: Counter[str],
    dropped: Counter[str],
    name: str,
    n_rows: int,
    station_id: str,
) -> Readings:
    days = [day for _, day in used]
    first, n_days = min(days), (max(days) - min(days)).days + 1
    values = {field: np.full(n_days, np.nan) for field in ("rain", "tmin", "tmax")}
    if any(element == "AWND" for element, _ in used):
        values["wind"] = np.full(n_days, np.nan)
    for (element, day), reading in used.items():
        values[USED[element]][(day - first).days] = reading.value / 10
    gaps = n_days - len(set(days))
    readings = Readings(name, first, values, n_rows, station_id, dict(counts), dict(dropped))
    readings.counts |= {"n_gap_days": gaps, "n_multi_day": len(multi_day)}
    if multi_day:
        readings.doubts.append(
            Problem(
                f"{name}, {_MULTI_DAY}",
                f"{len(multi_day)} rain totals of several days, the first ending {min(multi_day)};"
                " the days they cover stay unknown",
            )
        )
    return readings
