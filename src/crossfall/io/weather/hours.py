"""Hours made into civil days: a day is known only when enough of its hours are."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

import numpy as np
import numpy.typing as npt

from crossfall.errors import InputError
from crossfall.io.weather.figures import Floats
from crossfall.model.policy import WeatherPolicy


@dataclass(frozen=True, eq=False)
class Days:
    """Daily figures made from hours; shape (day,) or (member, day)."""

    first_day: date
    values: dict[str, Floats]
    n_short: int
    n_clock: int


def distinct_hours(
    stamps: list[datetime], columns: dict[str, Floats], *, rows: list[int], file: str
) -> tuple[list[datetime], dict[str, Floats], int]:
    """Drop rows that repeat an hour word for word; returns what is left and how many went.

    The one hour that a local clock repeats on a Sunday in autumn is kept twice.

    Raises
    ------
    InputError
        If two rows give different figures for one hour.
    """
    times = Counter(stamps)
    repeats = Counter(stamp.date() for stamp, n in times.items() if n > 1)
    seen: dict[datetime, int] = {}
    keep: list[int] = []
    n_repeated = 0
    for index, stamp in enumerate(stamps):
        before = seen.setdefault(stamp, index)
        if before == index or (
            _is_clock_hour(stamp) and times[stamp] == 2 and repeats[stamp.date()] == 1
        ):
            keep.append(index)
            continue
        if not all(
            np.array_equal(values[index], values[before], equal_nan=True)
            for values in columns.values()
        ):
            raise InputError(
                f"{file} rows {rows[before]} and {rows[index]} give different figures for"
                f" {stamp:%Y-%m-%d %H:%M}; keep the one that is right"
            )
        n_repeated += 1
    return [stamps[i] for i in keep], {k: v[keep] for k, v in columns.items()}, n_repeated


def to_days(
    stamps: list[datetime],
    columns: dict[str, Floats],
    *,
    policy: WeatherPolicy,
    time_zone: str | None = None,
) -> Days:
    """Daily rain, extremes and means of hourly figures, shape (..., hour) to (..., day).

    ``rain`` is summed, ``temp`` gives ``tmin`` and ``tmax``, ``probability`` its maximum, the rest
    their mean. A day's figure is NaN when fewer hours are known than the policy asks for.
    """
    ordinals = np.array([stamp.toordinal() for stamp in stamps])
    first, n_days = int(ordinals.min()), int(ordinals.max() - ordinals.min()) + 1
    day = ordinals - first
    expected = _hours_in_days(date.fromordinal(first), n_days, time_zone)
    made: dict[str, Floats] = {}
    n_short = 0
    for field, values in columns.items():
        known = _sum(np.isfinite(values).astype(np.float64), day, n_days)
        needed = _needed(field, policy) + expected - 24
        is_known = known >= needed
        if field == "rain":
            made["rain"] = np.where(is_known, _sum(np.nan_to_num(values), day, n_days), np.nan)
            n_short = (
                int((~is_known).any(axis=0).sum()) if known.ndim > 1 else int((~is_known).sum())
            )
        elif field == "temp":
            made["tmin"] = np.where(is_known, _extreme(np.minimum, values, day, n_days), np.nan)
            made["tmax"] = np.where(is_known, _extreme(np.maximum, values, day, n_days), np.nan)
        elif field == "probability":
            made[field] = np.where(is_known, _extreme(np.maximum, values, day, n_days), np.nan)
        else:
            total = _sum(np.nan_to_num(values), day, n_days)
            made[field] = np.where(is_known, total / np.maximum(known, 1), np.nan)
    return Days(date.fromordinal(first), made, n_short, int((expected != 24).sum()))


def _is_clock_hour(stamp: datetime) -> bool:
    """Whether clocks may have been set back over this local hour."""
    return stamp.weekday() == 6 and stamp.hour <= 3 and stamp.month in (3, 4, 5, 9, 10, 11)


def _needed(field: str, policy: WeatherPolicy) -> int:
    if field == "rain":
        return policy.hours_for_rain
    return policy.hours_for_temperature if field == "temp" else policy.hours_for_mean


def _sum(values: Floats, day: npt.NDArray[np.intp], n_days: int) -> Floats:
    total = np.zeros((*values.shape[:-1], n_days))
    np.add.at(total.T, day, values.T)
    return total


def _extreme(ufunc: np.ufunc, values: Floats, day: npt.NDArray[np.intp], n_days: int) -> Floats:
    worst = np.inf if ufunc is np.minimum else -np.inf
    found = np.full((*values.shape[:-1], n_days), worst)
    ufunc.at(found.T, day, np.where(np.isfinite(values), values, worst).T)
    return found


def _hours_in_days(first: date, n_days: int, time_zone: str | None) -> npt.NDArray[np.intp]:
    if time_zone is None:
        return np.full(n_days, 24)
    zone = ZoneInfo(time_zone)
    midnights = [
        datetime.combine(first + timedelta(days=n), datetime.min.time(), tzinfo=zone).astimezone(
            UTC
        )
        for n in range(n_days + 1)
    ]
    return np.array([round((b - a).total_seconds() / 3600) for a, b in pairwise(midnights)])
