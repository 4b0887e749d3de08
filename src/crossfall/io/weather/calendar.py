"""Readings laid on civil days: repeated rows, contradicting rows, and days nobody wrote down."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date

import numpy as np

from crossfall.errors import InputError, Problem
from crossfall.io.weather.figures import Floats


@dataclass(eq=False)
class Readings:
    """What one file said before it is judged: SI figures by field, one entry a day, with counts."""

    format: str
    first_day: date
    values: dict[str, Floats]
    """Keys as in :data:`crossfall.io.weather.figures.SI`; shape (day,)."""
    n_rows: int
    station_id: str = ""
    counts: dict[str, int] = field(default_factory=dict)
    """Of the report: ``n_gap_days``, ``n_duplicated``, ``n_trace``, ``n_other`` and so on."""
    dropped: dict[str, int] = field(default_factory=dict)
    doubts: list[Problem] = field(default_factory=list)
    rain_hour: Floats | None = None
    """Rain of each hour, shape (day, 24), where the file holds hours."""

    @property
    def n_days(self) -> int:
        return len(next(iter(self.values.values())))


def by_day(
    days: list[int], columns: dict[str, list[float]], *, rows: list[int], file: str
) -> tuple[date, dict[str, Floats], int, tuple[date, ...]]:
    """Arrays over every day from the first to the last, NaN where there is no row.

    ``days`` are proleptic ordinals, ``rows`` the file's row numbers. Returns the first day, the
    arrays, the number of days without a row and the days whose row is repeated.

    Raises
    ------
    InputError
        If there is no row, or two rows give different figures for one day.
    """
    if not days:
        raise InputError(f"{file} holds no rows of data; expected one for each day")
    ordinals = np.array(days)
    first, last = int(ordinals.min()), int(ordinals.max())
    row_of = np.full(last - first + 1, -1)
    laid = {name: np.full(last - first + 1, np.nan) for name in columns}
    figures = {name: np.array(values, dtype=np.float64) for name, values in columns.items()}
    repeated: list[date] = []
    for index, ordinal in enumerate(ordinals - first):
        before = row_of[ordinal]
        if before >= 0:
            day = date.fromordinal(int(ordinal) + first)
            for values in figures.values():
                if not np.array_equal(values[index], values[before], equal_nan=True):
                    raise InputError(
                        f"{file} rows {rows[before]} and {rows[index]} give different figures for"
                        f" {day}; keep the one that is right"
                    )
            repeated.append(day)
            continue
        row_of[ordinal] = index
        for name, values in figures.items():
            laid[name][ordinal] = values[index]
    return date.fromordinal(first), laid, int((row_of < 0).sum()), tuple(repeated)
