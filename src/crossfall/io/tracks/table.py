"""Tracks as tables: what vehicle locators export, read by a mapping of columns."""

from __future__ import annotations

import csv
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

from crossfall.errors import InputError
from crossfall.io.text import open_text
from crossfall.io.tracks.profile import TrackProfile
from crossfall.io.tracks.stream import Collector, ZoneMissingError, seconds_of
from crossfall.io.written import likely
from crossfall.network.fixes import DOWN, UNKNOWN, UP, Fixes

_WELL_KNOWN: dict[str, tuple[str, ...]] = {
    "time": ("time", "datetime", "timestamp", "date_time", "time_utc", "gps_time"),
    "date": ("date", "day"),
    "lat": ("lat", "latitude"),
    "lon": ("lon", "long", "lng", "longitude"),
    "blade": ("blade", "blade_down", "implement", "pto"),
    "machine": ("machine", "vehicle", "unit", "asset"),
}
_LONGEST_CELL = 4096


def read_table(path: Path, profile: TrackProfile, left_out: Counter[str]) -> Iterator[Fixes]:
    """Fixes of one machine, row by row.

    Raises
    ------
    InputError
        If a column that is needed or mapped is not there, the text is not UTF-8, a clock has no
        time zone, or the file has several machines and nobody says which.
    """
    found = Collector()
    machines: set[str] = set()
    with open_text(path) as lines:
        reader = csv.reader(lines, delimiter=profile.delimiter)
        # A quotation mark that is never closed draws the next lines into a name
        header = [" ".join(cell.split()) for cell in next(reader, [])]
        column = _columns(path.name, header, profile)
        widest = max(column.values())
        try:
            for row in reader:
                if not row:
                    continue
                if len(row) <= widest:
                    left_out["rows that are too short"] += 1
                    continue
                if "machine" in column:
                    machine = row[column["machine"]].strip()
                    if profile.machine and machine != profile.machine:
                        left_out["other machines"] += 1
                        continue
                    machines.add(machine)
                    if len(machines) > 1:
                        raise InputError(
                            f"{path.name} has several machines"
                            f" ({', '.join(sorted(machines))}); say which with --only"
                        )
                _add(row, column, profile, found, left_out)
                if found.is_full:
                    yield found.take()
        except csv.Error as error:
            raise InputError(f"{path.name} line {reader.line_num}: {error}") from None
        except ZoneMissingError as error:
            raise InputError(f"{path.name} line {reader.line_num}: {error}") from None
    yield found.take()


def _add(
    row: list[str],
    column: dict[str, int],
    profile: TrackProfile,
    found: Collector,
    left_out: Counter[str],
) -> None:
    time = row[column["time"]]
    if "date" in column:
        time = f"{row[column['date']].strip()} {time.strip()}"
    try:
        when = seconds_of(time, profile.zone, profile.time_format)
        lon, lat = float(row[column["lon"]]), float(row[column["lat"]])
    except ZoneMissingError:
        raise
    except ValueError:
        # A formula in place of a figure ends here as well: nothing is ever evaluated
        left_out["time or place that cannot be read"] += 1
        return
    blade = UNKNOWN
    if "blade" in column:
        said = row[column["blade"]].strip().lower()
        if said:
            blade = DOWN if said in profile.blade_down else UP
    found.add(when, lon, lat, blade)


def _columns(file: str, header: list[str], profile: TrackProfile) -> dict[str, int]:
    lower = [name.lower() for name in header]
    column: dict[str, int] = {}
    for field, name in profile.columns.items():
        if name not in header:
            raise InputError(
                f"{file} has no column {name!r} for {field}{likely(name, tuple(header))}"
            )
        column[field] = header.index(name)
    for field, words in _WELL_KNOWN.items():
        if field not in column:
            at = next((lower.index(word) for word in words if word in lower), None)
            if at is not None:
                column[field] = at
    if "time" in profile.columns and "date" not in profile.columns:
        # Somebody said where the time is; a column that happens to be called date is not asked
        column.pop("date", None)
    if "date" in column and "time" not in column:
        column["time"] = column.pop("date")
    if "date" in column and not profile.time_format and "date" not in profile.columns:
        column.pop("date")
    missing = [field for field in ("time", "lat", "lon") if field not in column]
    if missing:
        there = ", ".join(name[:30] for name in header[:12])
        raise InputError(
            f"{file} has no column for {', '.join(missing)}; map them with --column, such as"
            f" --column {missing[0]}=THEIR_NAME; it has {there or 'no header'}"
        )
    return column
