"""Doubts that only roads and calendar can raise: a station far away, weather of the past."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from crossfall.errors import Problem
from crossfall.io.text import count
from crossfall.judgement.stations import distance_km, middle_of
from crossfall.model import Forecast, Segment, WeatherRecord
from crossfall.model.policy import MoisturePolicy


def doubts_of_place_and_day(
    weather: WeatherRecord | Forecast,
    segments: Sequence[Segment],
    *,
    file: str,
    today: date,
    policy: MoisturePolicy,
) -> tuple[Problem, ...]:
    """What the maintained roads and today make doubtful in weather that reads well by itself.

    Examples
    --------
    >>> import numpy as np
    >>> from crossfall.model import Station
    >>> some = np.zeros(10)
    >>> old = WeatherRecord(Station("g", "Gauge", 0.0, 0.0), date(2026, 5, 1), some, some, some)
    >>> for doubt in doubts_of_place_and_day(
    ...     old, (), file="g.csv", today=date(2026, 6, 1), policy=MoisturePolicy()):
    ...     print(doubt)
    g.csv: ends 2026-05-10, 21 days before today; no surface is told from it without newer weather
    """
    station = weather.station
    doubts = []
    if segments:
        lon, lat = middle_of(segments)
        away = float(distance_km(lon, lat, station.lon, station.lat).min())
        if away > policy.station_max_km:
            doubts.append(
                Problem(
                    f"{file}, station {station.name}",
                    f"stands {away:.0f} km from the nearest road; farther than"
                    f" {policy.station_max_km:g} km it says nothing about any, so it is kept and"
                    " not used",
                )
            )
    if isinstance(weather, Forecast):
        last = date.fromordinal(weather.first_day.toordinal() + weather.n_days - 1)
        if last < today:
            doubts.append(
                Problem(file, f"ended {last}, before today {today}; a forecast of the past is not"
                        " used")
            )  # fmt: skip
        elif weather.issued_on > today:
            doubts.append(
                Problem(file, f"was issued {weather.issued_on}, after today {today}; it is not used"
                        " before")
            )  # fmt: skip
        return tuple(doubts)
    n_ahead = (weather.last_day - today).days
    if n_ahead > 0:
        doubts.append(
            Problem(
                file,
                f"ends {weather.last_day}, {count(n_ahead, 'day')} after today {today}, and nobody"
                " has seen those; maybe the year is wrong, or it is a forecast",
            )
        )
    n_old = (today - weather.last_day).days - 1
    if n_old > policy.weather_gap_days:
        doubts.append(
            Problem(
                file,
                f"ends {weather.last_day}, {count(n_old, 'day')} before today; no surface is told"
                " from it without newer weather",
            )
        )
    return tuple(doubts)
