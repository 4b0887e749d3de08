"""Hours made into civil days: a day is known only when enough of its hours are.

Rain keeps its hours beside the day's total. On the night the clocks are set back one hour of the
clock lasts two and both count; on the other night one hour is not there and nobody misses it.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

import numpy as np
import numpy.typing as npt

from crossfall.errors import InputError, Problem
from crossfall.io.weather.figures import Floats
from crossfall.model import HOURS
from crossfall.model.policy import WeatherPolicy

_MOST_NAMED = 5


@dataclass(frozen=True, eq=False)
class Days:
    """Daily figures made from hours; shape (day,) or (member, day)."""

    first_day: date
    values: dict[str, Floats]
    n_short: int
    """Days on which too few hours of rain are known."""
    clock_days: tuple[tuple[date, int], ...]
    """Days on which the clocks were changed, and how many hours they have."""
    n_part: int = 0
    """Days whose rain counts although an hour or two of it are unknown."""
    rain_hour: Floats | None = None
    """Rain of each hour of the clock, shape (..., day, 24); NaN where the day's rain is."""


@dataclass(frozen=True, eq=False)
class Hours:
    """The rows of a file, each hour once, and what was odd about them."""

    stamps: list[datetime]
    columns: dict[str, Floats]
    repeated: tuple[datetime, ...]
    """Hours that stood there twice, word for word; one of each was dropped."""
    set_back: tuple[datetime, ...]
    """Hours that stand there twice because the clock was set back; both count."""
    skipped: tuple[datetime, ...]
    """Hours that were written down although the clock skips them."""


def distinct_hours(
    stamps: list[datetime],
    columns: dict[str, Floats],
    *,
    rows: list[int],
    file: str,
    time_zone: str | None = None,
) -> Hours:
    """Drop rows that repeat an hour word for word.

    The one hour that a local clock repeats when it is set back is kept twice; without a zone, one
    on a Sunday night in spring or autumn is taken for it.

    Raises
    ------
    InputError
        If two rows give different figures for one hour.
    """
    zone = None if time_zone is None else ZoneInfo(time_zone)
    times = Counter(stamps)
    repeats = Counter(stamp.date() for stamp, n in times.items() if n > 1)
    seen: dict[datetime, int] = {}
    keep: list[int] = []
    repeated: list[datetime] = []
    set_back: list[datetime] = []
    for index, stamp in enumerate(stamps):
        before = seen.setdefault(stamp, index)
        if before == index:
            keep.append(index)
            continue
        if times[stamp] == 2 and _is_clock_hour(stamp, zone, repeats[stamp.date()]):
            keep.append(index)
            set_back.append(stamp)
            continue
        if not all(
            np.array_equal(values[index], values[before], equal_nan=True)
            for values in columns.values()
        ):
            raise InputError(
                f"{file} rows {rows[before]} and {rows[index]} give different figures for"
                f" {stamp:%Y-%m-%d %H:%M}; keep the one that is right"
            )
        repeated.append(stamp)
    skipped = tuple(each for each in seen if zone is not None and _turn_h(each, zone) < 0)
    return Hours(
        [stamps[i] for i in keep],
        {name: values[keep] for name, values in columns.items()},
        tuple(repeated),
        tuple(set_back),
        skipped,
    )


def refuse_doubled(stamps: list[datetime], *, file: str, time_zone: str | None = None) -> None:
    """Of a forecast every hour stands once, but for the one that a clock set back repeats.

    Raises
    ------
    InputError
        If another hour stands twice; its rain would count twice.
    """
    zone = None if time_zone is None else ZoneInfo(time_zone)
    times = Counter(stamps)
    repeats = Counter(stamp.date() for stamp, n in times.items() if n > 1)
    for stamp, n in times.items():
        if n > 2 or (n == 2 and not _is_clock_hour(stamp, zone, repeats[stamp.date()])):
            raise InputError(
                f"{file}: {stamp:%Y-%m-%d %H:%M} stands there {n} times; expected every hour once"
            )


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
    # An hour may have several rows, of quarter hours say; it counts once
    slot = day * HOURS + np.array([stamp.hour for stamp in stamps])
    lengths = _hours_in_days(date.fromordinal(first), n_days, time_zone)
    expected = np.minimum(lengths, HOURS)
    made: dict[str, Floats] = {}
    n_short = n_part = 0
    rain_hour = None
    for field, values in columns.items():
        is_told = _sum(np.isfinite(values).astype(np.float64), slot, n_days * HOURS) > 0
        known = is_told.reshape(*values.shape[:-1], n_days, HOURS).sum(axis=-1)
        needed = _needed(field, policy) + expected - HOURS
        is_known = known >= needed
        if field == "rain":
            hours = _sum(np.nan_to_num(values), slot, n_days * HOURS)
            hours = hours.reshape(*values.shape[:-1], n_days, HOURS)
            made["rain"] = np.where(is_known, hours.sum(axis=-1), np.nan)
            rain_hour = np.where(is_known[..., None], hours, np.nan)
            n_short = _n_days(~is_known)
            n_part = _n_days(is_known & (known < expected))
        elif field == "temp":
            made["tmin"] = np.where(is_known, _extreme(np.minimum, values, day, n_days), np.nan)
            made["tmax"] = np.where(is_known, _extreme(np.maximum, values, day, n_days), np.nan)
        elif field == "probability":
            made[field] = np.where(is_known, _extreme(np.maximum, values, day, n_days), np.nan)
        else:
            count = _sum(np.isfinite(values).astype(np.float64), day, n_days)
            total = _sum(np.nan_to_num(values), day, n_days)
            made[field] = np.where(is_known, total / np.maximum(count, 1), np.nan)
    clock_days = tuple(
        (date.fromordinal(first + int(at)), int(lengths[at]))
        for at in np.flatnonzero(lengths != HOURS)
    )
    return Days(date.fromordinal(first), made, n_short, clock_days, n_part, rain_hour)


def hours_of(rain: Floats, rain_hour: Floats | None) -> Floats | None:
    """Rain by the hour of the days whose rain is still known after it was judged."""
    if rain_hour is None or np.isnan(rain_hour).all():
        return None
    return np.where(np.isnan(rain)[..., None], np.nan, rain_hour)


def clock_doubts(hours: Hours, days: Days, file: str) -> list[Problem]:
    """What the clock did to the file: hours twice, hours that are not there, rows repeated."""
    doubts = repeated_doubts(_said(hours.repeated), file)
    if hours.set_back:
        doubts.append(
            Problem(
                f"{file}, {_words(_said(hours.set_back))}",
                "stands there twice, for the clock was set back; both count",
            )
        )
    if hours.skipped:
        doubts.append(
            Problem(
                f"{file}, {_words(_said(hours.skipped))}",
                "is an hour that the clock skips; if the logger keeps one time all year, say so"
                " with --time-zone Etc/GMT+6 or the like",
            )
        )
    doubts += [
        Problem(f"{file}, {day}", f"has {n_hours} hours, for the clock was changed")
        for day, n_hours in days.clock_days
    ]
    return doubts


def repeated_doubts(said: list[str], file: str) -> list[Problem]:
    """Rows that stand twice, by their day or hour."""
    if not said:
        return []
    what = "stands there twice, word for word; one of the two is not used"
    return [Problem(f"{file}, {_words(said)}", what)]


def _said(stamps: tuple[datetime, ...]) -> list[str]:
    return [f"{each:%Y-%m-%d %H:%M}" for each in stamps]


def _words(said: list[str]) -> str:
    more = len(said) - _MOST_NAMED
    return ", ".join(said[:_MOST_NAMED]) + (f" and {more} more" if more > 0 else "")


def _n_days(flags: npt.NDArray[np.bool_]) -> int:
    """Days on which any member is so."""
    return int(np.atleast_2d(flags).any(axis=0).sum())


def _is_clock_hour(stamp: datetime, zone: ZoneInfo | None, n_repeats: int) -> bool:
    """Whether clocks were, or may have been, set back over this local hour."""
    if zone is not None:
        return _turn_h(stamp, zone) > 0
    is_season = stamp.weekday() == 6 and stamp.hour <= 3 and stamp.month in (3, 4, 5, 9, 10, 11)
    return is_season and n_repeats == 1


def _turn_h(stamp: datetime, zone: ZoneInfo) -> float:
    """Hours by which clocks are set back over a local time; negative where they skip it."""
    first, second = (stamp.replace(tzinfo=zone, fold=n).utcoffset() for n in (0, 1))
    assert first is not None, "a zone has an offset"
    assert second is not None, "a zone has an offset"
    return (first - second).total_seconds() / 3600


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
        return np.full(n_days, HOURS)
    zone = ZoneInfo(time_zone)
    midnights = [
        datetime.combine(first + timedelta(days=n), datetime.min.time(), tzinfo=zone).astimezone(
            UTC
        )
        for n in range(n_days + 1)
    ]
    return np.array([round((b - a).total_seconds() / 3600) for a, b in pairwise(midnights)])
