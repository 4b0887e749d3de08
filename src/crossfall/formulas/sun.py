"""The sun's share: radiation at the top of the air, length of the day, and evaporation by the hour.

Equations are those of FAO-56 ch. 3 [recalled; Ra agrees with refet and pyet]. Evaporation within
a day follows half a sine between sunrise and sunset around noon, which is ours (default).
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from crossfall.errors import InputError

Floats = npt.NDArray[np.float64]

SOLAR_CONSTANT = 0.0820
"""FAO-56 Eq. 21 [MJ/(m² min)]."""
HOURS = 24


def extraterrestrial_radiation(lat_deg: float, day_of_year: npt.ArrayLike) -> Floats:
    """Radiation at the top of the air [MJ/(m² d)]; FAO-56 Eqs 21 to 25 [recalled].

    Examples
    --------
    20° south on 3 September, FAO-56 Example 8 [recalled] gives 32.2:

    >>> print(f"{extraterrestrial_radiation(-20, 246):.2f}")
    32.19
    """
    distance = 1 + 0.033 * np.cos(2 * np.pi / 365 * np.asarray(day_of_year, float))
    lat, declination = np.radians(lat_deg), _declination(day_of_year)
    sunset = _sunset(lat_deg, declination)
    across = sunset * np.sin(lat) * np.sin(declination)
    along = np.cos(lat) * np.cos(declination) * np.sin(sunset)
    minutes = HOURS * 60
    return np.asarray(minutes / np.pi * SOLAR_CONSTANT * distance * (across + along))


def daylight_hours(lat_deg: float, day_of_year: npt.ArrayLike) -> Floats:
    """Hours between sunrise and sunset [h]; FAO-56 Eq. 34 [recalled].

    Examples
    --------
    >>> print(f"{daylight_hours(0.0, 100):.1f}")
    12.0
    """
    return np.asarray(HOURS / np.pi * _sunset(lat_deg, _declination(day_of_year)))


def sun_ahead_of_clock(day_of_year: npt.ArrayLike) -> Floats:
    """Hours that a sundial runs ahead of even time [h]; FAO-56 Eqs 32 and 33 [recalled].

    The same as ASCE-EWRI (2005) Eqs 57 and 58, as the library refet states them; within 0.021 h
    of the equation of time that instrument makers print.

    Examples
    --------
    FAO-56 Example 19, 1 October [recalled], gives 0.1889:

    >>> print(f"{sun_ahead_of_clock(274):.4f}")
    0.1889
    """
    b = 2 * np.pi * (np.asarray(day_of_year, float) - 81) / 364
    return np.asarray(0.1645 * np.sin(2 * b) - 0.1255 * np.cos(b) - 0.025 * np.sin(b))


def evaporation_share(
    from_h: npt.ArrayLike, to_h: npt.ArrayLike, daylight_h: npt.ArrayLike
) -> Floats:
    """Share of a day's evaporation that falls between two clock times, 0 to 1.

    Raises
    ------
    InputError
        If the length of the day is not 0 to 24 hours.

    Examples
    --------
    >>> print(f"{evaporation_share(8, 12, 15):.3f}")
    0.372
    """
    length = np.asarray(daylight_h, float)
    if not np.all((length >= 0) & (length <= HOURS)):
        raise InputError(f"daylight_h is {length}; expected 0 to 24")
    sunrise = 12 - length / 2
    safe = np.where(length > 0, length, 1.0)
    first, last = (
        np.clip((np.asarray(each, float) - sunrise) / safe, 0.0, 1.0) for each in (from_h, to_h)
    )
    return np.asarray(np.where(length > 0, (np.cos(np.pi * first) - np.cos(np.pi * last)) / 2, 0.0))


def evaporation_by_hour(daily_mm: Floats, daylight_h: npt.ArrayLike) -> Floats:
    """Spread daily evaporation (..., day) over hours (..., 24 day) [mm].

    The sum is kept. A day without any sun (polar night) is spread evenly.

    Examples
    --------
    >>> hours = evaporation_by_hour(np.array([4.8]), 12.0)
    >>> print(hours.shape, f"{hours.sum():.3f}", f"{hours[12]:.3f}")
    (24,) 4.800 0.621
    """
    daily = np.asarray(daily_mm, float)
    hour = np.arange(HOURS)
    length = np.broadcast_to(np.asarray(daylight_h, float), daily.shape[-1:])
    share = evaporation_share(hour, hour + 1, length[:, None])
    share = np.where(length[:, None] > 0, share, 1 / HOURS)
    spread = daily[..., None] * share
    return np.asarray(spread.reshape(*daily.shape[:-1], -1))


def _declination(day_of_year: npt.ArrayLike) -> Floats:
    return np.asarray(0.409 * np.sin(2 * np.pi / 365 * np.asarray(day_of_year, float) - 1.39))


def _sunset(lat_deg: float, declination: Floats) -> Floats:
    cosine = -np.tan(np.radians(lat_deg)) * np.tan(declination)
    return np.asarray(np.arccos(np.clip(cosine, -1.0, 1.0)))
