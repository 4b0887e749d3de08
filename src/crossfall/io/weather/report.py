"""What an importer of weather tells: what it read, what is unknown, and what looks wrong."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date

from crossfall.errors import Problem
from crossfall.io.text import count
from crossfall.model import Forecast, WeatherRecord


@dataclass(frozen=True)
class WeatherReport:
    """Counts and doubts of one file. Nothing counted here was filled in or corrected."""

    file: str
    format: str
    first_day: date
    last_day: date
    n_rows: int
    """Rows or lines of data read."""
    n_unknown: dict[str, int] = field(default_factory=dict)
    """Days whose figure is unknown, for each field."""
    n_dropped: dict[str, int] = field(default_factory=dict)
    """Readings left out, by reason: the source's own quality flag, or ``impossible``."""
    n_gap_days: int = 0
    """Days between the first and the last that have no row at all."""
    n_duplicated: int = 0
    """Rows that repeat another word for word."""
    n_trace: int = 0
    """Rain too little to measure, taken as 0."""
    n_short_days: int = 0
    """Days with too few hours for their rain to be known."""
    n_part_days: int = 0
    """Days whose rain counts although an hour or two of it are unknown."""
    n_clock_days: int = 0
    """Days of 23 or 25 hours, when the clocks changed."""
    n_multi_day: int = 0
    """Rain totals of several days; the days they cover stay unknown."""
    n_other: int = 0
    """Readings of elements that are not used."""
    doubts: tuple[Problem, ...] = ()
    """What a person should look at; the figures stand as they are in the file, or are unknown."""

    @property
    def n_days(self) -> int:
        return (self.last_day - self.first_day).days + 1

    def summary(self) -> str:
        """A few lines for a person."""
        lines = [
            f"{self.file} ({self.format}): {count(self.n_days, 'day')},"
            f" {self.first_day} to {self.last_day}, from {count(self.n_rows, 'row')}"
        ]
        unknown = [f"{name} on {n}" for name, n in self.n_unknown.items() if n]
        lines.append("unknown: " + (", ".join(unknown) + " days" if unknown else "nothing"))
        counts = (
            (sum(self.n_dropped.values()), _dropped(self.n_dropped)),
            (self.n_gap_days, "days without a row"),
            (self.n_duplicated, "rows repeated"),
            (self.n_trace, "traces of rain taken as 0"),
            (self.n_short_days, "days with too few hours"),
            (self.n_part_days, "days whose rain lacks an hour or two and counts without"),
            (self.n_clock_days, "days of 23 or 25 hours"),
            (self.n_multi_day, "totals of several days, not used"),
            (self.n_other, "readings of other elements, not used"),
        )
        lines += [f"{n} {words}" for n, words in counts if n]
        lines += [f"look at {doubt}" for doubt in self.doubts]
        return "\n".join(lines)


@dataclass(frozen=True)
class WeatherImport:
    """A record and how it was read."""

    record: WeatherRecord
    report: WeatherReport


@dataclass(frozen=True)
class ForecastImport:
    """A forecast and how it was read."""

    forecast: Forecast
    report: WeatherReport


def _dropped(reasons: dict[str, int]) -> str:
    return "readings left out (" + ", ".join(f"{why} {n}" for why, n in reasons.items()) + ")"
