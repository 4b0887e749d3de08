"""How long crews can see: sunset by the clock on the wall, wherever the roads are."""

from __future__ import annotations

import math
from collections.abc import Callable
from datetime import date, datetime, time
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from crossfall.errors import InputError
from crossfall.formulas.sun import daylight_hours, sun_ahead_of_clock
from crossfall.model import Network
from crossfall.model.policy import DispatchPolicy


def last_light(network: Network, policy: DispatchPolicy) -> Callable[[date], float]:
    """Minutes after midnight by which machines are home, for any day, in the network's middle.

    Raises
    ------
    InputError
        If the time zone of the policy is unknown.
    """
    n_nodes = max(1, len(network.nodes))
    lon = sum(node.lon for node in network.nodes) / n_nodes
    lat = sum(node.lat for node in network.nodes) / n_nodes
    return lambda day: (
        sunset_min(lon, lat, day, time_zone=policy.time_zone) - policy.dusk_margin_min
    )


def sunset_min(lon: float, lat: float, day: date, *, time_zone: str = "") -> float:
    """Clock time of sunset at a place [min after midnight].

    The middle of the sun's disc on a level horizon without refraction, which comes a few minutes
    before the last of it is gone: on the safe side. Where the sun does not set, it is midnight.

    Examples
    --------
    >>> sunset = sunset_min(-100.0, 45.0, date(2026, 6, 8), time_zone="America/Chicago")
    >>> f"{sunset // 60:.0f}:{sunset % 60:02.0f}"
    '21:19'
    """
    number = day.timetuple().tm_yday
    noon_h = 12 + clock_ahead_h(lon, day, time_zone) - lon / 15 - float(sun_ahead_of_clock(number))
    return 60 * (noon_h + float(daylight_hours(lat, number)) / 2)


def clock_ahead_h(lon: float, day: date, time_zone: str = "") -> float:
    """Hours that the clock is ahead of Greenwich at noon of a day, summer time included [h].

    Raises
    ------
    InputError
        If the zone is unknown.

    Examples
    --------
    >>> clock_ahead_h(-105.0, date(2026, 7, 1), "America/Denver"), clock_ahead_h(-105.0, date.min)
    (-6.0, -7.0)
    """
    if not time_zone:
        return float(math.floor(lon / 15 + 0.5))
    try:
        zone = ZoneInfo(time_zone)
    except (ZoneInfoNotFoundError, ValueError):
        raise InputError(
            f"policy dispatch.time_zone is {time_zone!r}; expected a zone such as America/Denver"
        ) from None
    ahead = datetime.combine(day, time(12), zone).utcoffset()
    return 0.0 if ahead is None else ahead.total_seconds() / 3600
