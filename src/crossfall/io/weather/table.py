"""A CSV of an agency's own gauge or any station, with a column map and units said aloud.

Nothing is guessed: every column that is used is named, every figure has its unit.
"""

from __future__ import annotations

import csv
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import numpy as np

from crossfall.errors import InputError, Problem, refuse
from crossfall.io.text import open_text
from crossfall.io.weather.calendar import Readings, by_day
from crossfall.io.weather.figures import SI, TRACE, Floats, number, to_si
from crossfall.io.weather.hours import clock_doubts, distinct_hours, repeated_doubts, to_days
from crossfall.io.weather.quality import judge_hours
from crossfall.model.policy import WeatherPolicy

WHEN = ("date", "time", "year", "month", "day", "hour")
DAILY = ("rain", "tmin", "tmax", "wind", "solar", "vapour", "dewpoint")
HOURLY = ("rain", "temp", "wind", "solar", "vapour", "dewpoint")


@dataclass(frozen=True)
class TableShape:
    """How to read a table: which column holds what, in which unit.

    ``columns`` maps our field to the file's column: ``date`` (or ``year``, ``month``, ``day``), or
    ``time`` (or those with ``hour``) for hourly rows; then ``rain``, ``tmin``, ``tmax``, ``wind``,
    ``solar``, ``vapour``, ``dewpoint``; hourly rows have ``temp`` for ``tmin`` and ``tmax``.
    ``units`` gives the unit of each, like ``in``, ``degF``, ``0.1 mm``.
    """

    columns: dict[str, str]
    units: dict[str, str]
    where: dict[str, str] = field(default_factory=dict)
    """Only rows whose columns hold these words, for example ``{"origin": "JFK"}``."""
    date_format: str | None = None
    """As in ``strptime``; None takes 2026-05-31, 2026/05/31 and 20260531."""
    time_zone: str | None = None
    """Zone whose midnight ends the day, for hourly rows that carry an offset or Z."""
    home_zone: str | None = None
    """Zone whose clock local hours are taken to follow when nobody said one; it tells the nights on
    which clocks are changed."""

    def __post_init__(self) -> None:
        fields = [name for name in self.columns if name not in WHEN]
        allowed = HOURLY if self.is_hourly else DAILY
        for name in fields:
            if name not in allowed:
                raise InputError(
                    f"--column {name}=... is no field; expected one of"
                    f" {', '.join((*WHEN, *allowed))}"
                )
            if name not in self.units:
                raise InputError(
                    f"the unit of {name} is not said; give one like --unit {name}={SI[name]}"
                )
        for name in self.units:
            if name not in fields:
                raise InputError(
                    f"--unit {name}={self.units[name]} has no column; name it with"
                    f" --column {name}=..."
                )
        if "rain" not in fields:
            raise InputError(
                "no column is named for rain, and the moisture of a road cannot be told without;"
                " name it with --column rain=..."
            )
        if not (
            {"date", "time"} & self.columns.keys()
            or {"year", "month", "day"} <= self.columns.keys()
        ):
            raise InputError(
                "no column is named for the date; name one with --column date=... (or time, or"
                " year, month and day)"
            )
        for zone in (self.time_zone, self.home_zone):
            if zone is not None:
                _check_zone(zone)

    @property
    def is_hourly(self) -> bool:
        return "time" in self.columns or "hour" in self.columns

    @property
    def fields(self) -> tuple[str, ...]:
        return tuple(name for name in self.columns if name not in WHEN)


def read_table(path: Path, shape: TableShape, policy: WeatherPolicy) -> Readings:
    """Read a mapped CSV, daily or hourly.

    Raises
    ------
    InputError
        If a column is not there, a cell is no figure or date, two rows contradict each other, or
        no row is left.
    UnitsError
        If hourly figures can only be of another unit.
    """
    rows, stamps, cells, n_trace = _cells(path, shape)
    columns = {
        name: to_si(np.array(values), shape.units[name], name) for name, values in cells.items()
    }
    if not rows:
        raise InputError(f"{path.name} has no rows{_words(shape.where)}; expected one for each day")
    if shape.is_hourly:
        readings = _hourly(path, shape, policy, rows, stamps, columns)
    else:
        days = [stamp.toordinal() for stamp in stamps]
        first, laid, n_gap, repeated = by_day(
            days, {name: values.tolist() for name, values in columns.items()},
            rows=rows, file=path.name,
        )  # fmt: skip
        readings = Readings("CSV, daily", first, laid, len(rows))
        readings.counts |= {"n_gap_days": n_gap, "n_duplicated": len(repeated)}
        readings.doubts += repeated_doubts([str(day) for day in repeated], path.name)
    readings.counts["n_trace"] = n_trace
    return readings


def _hourly(
    path: Path,
    shape: TableShape,
    policy: WeatherPolicy,
    rows: list[int],
    stamps: list[datetime],
    columns: dict[str, Floats],
) -> Readings:
    zone = shape.time_zone or shape.home_zone
    hours = distinct_hours(stamps, columns, rows=rows, file=path.name, time_zone=zone)
    words = [f"{stamp:%Y-%m-%d %H:%M}" for stamp in hours.stamps]
    judged = judge_hours(hours.columns, words, file=path.name, policy=policy)
    days = to_days(hours.stamps, judged.values, policy=policy, time_zone=zone)
    n_days = {stamp.date() for stamp in hours.stamps}
    readings = Readings("CSV, hourly", days.first_day, days.values, len(rows))
    readings.rain_hour = days.rain_hour
    length = readings.n_days
    readings.counts |= {
        "n_gap_days": length - len(n_days),
        "n_duplicated": len(hours.repeated),
        "n_short_days": days.n_short - (length - len(n_days)),
        "n_part_days": days.n_part,
        "n_clock_days": len(days.clock_days),
    }
    if judged.n_impossible:
        readings.dropped["impossible"] = judged.n_impossible
    readings.doubts += judged.doubts
    readings.doubts += clock_doubts(hours, days, path.name)
    return readings


def _cells(
    path: Path, shape: TableShape
) -> tuple[list[int], list[datetime], dict[str, list[float]], int]:
    rows: list[int] = []
    stamps: list[datetime] = []
    cells: dict[str, list[float]] = {name: [] for name in shape.fields}
    problems: list[Problem] = []
    n_trace = 0
    with open_text(path) as lines:
        table = csv.DictReader(lines, delimiter=delimiter(path), strict=True)
        _check_header(path, table.fieldnames, shape)
        for number_, row in _rows(path, table):
            if any((row[column] or "").strip() != word for column, word in shape.where.items()):
                continue
            try:
                stamp = _stamp(row, shape)
            except (ValueError, TypeError) as error:
                problems.append(Problem(f"{path.name} row {number_}, date", str(error)))
                continue
            rows.append(number_)
            stamps.append(stamp)
            for name in shape.fields:
                text = row[shape.columns[name]]
                if name == "rain" and text is not None and text.strip().lower() in TRACE:
                    cells[name].append(0.0)
                    n_trace += 1
                    continue
                cells[name].append(_figure(text, path, number_, name, problems))
    refuse(problems)
    return rows, stamps, cells, n_trace


def _figure(text: str | None, path: Path, row: int, name: str, problems: list[Problem]) -> float:
    where = f"{path.name} row {row}, {name}"
    if text is None:
        problems.append(Problem(where, "the row is too short; is the file cut off?"))
        return np.nan
    try:
        return number(text)
    except ValueError:
        hint = "; write a decimal point, not a comma" if "," in text else ""
        problems.append(Problem(where, f"{text.strip()!r} is not a figure{hint}"))
        return np.nan


def _rows(path: Path, table: csv.DictReader[str]) -> Iterable[tuple[int, dict[str, str | None]]]:
    try:
        for row in table:
            yield table.line_num, row
    except csv.Error as error:
        raise InputError(f"{path.name} row {table.line_num} is not CSV ({error})") from None


def _check_header(path: Path, header: Iterable[str] | None, shape: TableShape) -> None:
    names = list(header or ())
    for name, column in (*shape.columns.items(), *((k, k) for k in shape.where)):
        if column not in names:
            raise InputError(
                f"{path.name} has no column {column!r} (for {name}); it has"
                f" {', '.join(names) or 'none'}"
            )


def delimiter(path: Path) -> str:
    """The sign between the cells: the commonest of three in the first line."""
    with open_text(path) as lines:
        head = lines.readline()
    return max(",;\t", key=head.count)


def _check_zone(name: str) -> None:
    try:
        ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError):
        raise InputError(f"--time-zone {name} is unknown; expected like America/Chicago") from None


def _stamp(row: dict[str, str | None], shape: TableShape) -> datetime:
    """Civil day and hour of a row, without a zone."""
    if "date" in shape.columns or "time" in shape.columns:
        text = (row[shape.columns.get("time", shape.columns.get("date", ""))] or "").strip()
        stamp = _parse(text, shape.date_format)
    else:
        parts = [int(row[shape.columns[name]] or "") for name in ("year", "month", "day")]
        stamp = datetime(parts[0], parts[1], parts[2])  # noqa: DTZ001 - a civil day has no zone
    if "hour" in shape.columns:
        stamp = stamp.replace(hour=int(row[shape.columns["hour"]] or ""))
    if stamp.tzinfo is not None:
        if shape.time_zone is None:
            raise ValueError(f"{text} carries a zone; say --time-zone, like America/Chicago")
        stamp = stamp.astimezone(UTC).astimezone(ZoneInfo(shape.time_zone)).replace(tzinfo=None)
    return stamp


def _parse(text: str, date_format: str | None) -> datetime:
    if date_format is not None:
        return datetime.strptime(text, date_format)  # noqa: DTZ007 - civil time as written
    try:
        return datetime.fromisoformat(text.replace("/", "-"))
    except ValueError:
        raise ValueError(
            f"{text!r} is not a date like 2026-05-31; if it is another order say"
            " --date-format, like %m/%d/%Y"
        ) from None


def _words(where: dict[str, str]) -> str:
    return "".join(f" with {column} {word}" for column, word in where.items())
