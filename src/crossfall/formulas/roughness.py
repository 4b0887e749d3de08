"""How rough a gravel road rides between bladings, and what blading leaves.

Roughness (IRI, m/km) climbs towards a maximum that the material, grade and curvature set; a
blading brings it down towards a minimum that the stones in the surface set. At a steady interval
the cycle repeats, and its lowest, highest and mean values have closed forms, so years can be
simulated without stepping through every blading.

Source of the relationships: Paterson, Road Deterioration and Maintenance Effects, World Bank 1987,
in IRI units with 13 QI to 1 IRI. That blading cycles reach a steady state is published (Paterson,
Transportation Research Record 1291, 1991, abstract). The coefficients are *recalled*: two
remembered forms agree, the pages were not seen. Fitted in Brazil without frost.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from crossfall.errors import InputError, UnitsError

Floats = npt.NDArray[np.float64]
Number = float | Floats

HIGHEST_FLOOR = 11.5
"""The maximum roughness is never below this [m/km]."""
LOWEST_RANGE = (0.8, 7.7)
"""The minimum roughness lies between these [m/km]."""
SLOWEST_RATE = -1e-5
"""Rain may slow the progression, never turn it back; ours [1/day]."""


def dust_ratio(p075_pct: Number, p425_pct: Number) -> Floats:
    """Share of the fines below 0.425 mm that are below 0.075 mm [-]; 1 without such fines.

    Examples
    --------
    >>> float(dust_ratio(12.0, 24.0))
    0.5
    """
    fines, sand = np.asarray(p075_pct, dtype=float), np.asarray(p425_pct, dtype=float)
    if np.any(fines > sand):
        raise InputError("p075_pct is above p425_pct; passing shares must grow with sieve size")
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(sand > 0, fines / np.where(sand > 0, sand, 1.0), 1.0)


def grading_modulus(p075_pct: Number, p425_pct: Number, p2_pct: Number, d95_mm: Number) -> Floats:
    """How well graded the surface gravel is, 0 to 0.36 [-].

    Mean of the slopes of the grading curve below the 95 % size, folded at one half.

    Examples
    --------
    >>> round(float(grading_modulus(12.0, 24.0, 42.0, 20.0)), 2)
    0.36
    """
    d95 = np.asarray(d95_mm, dtype=float)
    if np.any(d95 <= 0):
        raise InputError(f"d95_mm is {float(np.min(d95)):g}; expected more than 0")

    def slope(passing: Number, size: float) -> Floats:
        share = np.maximum(np.asarray(passing, dtype=float), 1e-3) / 95.0
        with np.errstate(divide="ignore", invalid="ignore"):
            return np.log(share) / np.log(size / d95)

    g075, g425, g2 = slope(p075_pct, 0.075), slope(p425_pct, 0.425), slope(p2_pct, 2.0)
    g2 = np.where(d95 <= 4.0, g425, g2)
    g425 = np.where(d95 <= 1.0, 0.3, g425)
    g2 = np.where(d95 <= 1.0, 0.3, g2)
    g075 = np.where(d95 <= 0.4, 0.3, g075)
    mean = (g075 + g425 + g2) / 3
    return np.clip(np.minimum(mean, 1 - mean), 0.0, 0.36)


def highest(
    dust: Number, curvature_deg_km: Number, rise_fall_m_km: Number, rain_mm_month: Number
) -> Floats:
    """Roughness that an unbladed road climbs to [m/km].

    Examples
    --------
    >>> round(float(highest(0.5, 50.0, 20.0, 80.0)), 4)
    21.1276
    """
    _rain_guard(rain_mm_month)
    rain_m = np.asarray(rain_mm_month, dtype=float) / 1000
    bare = (
        21.5
        - 32.4 * (0.5 - np.asarray(dust, dtype=float)) ** 2
        + 0.017 * np.asarray(curvature_deg_km, dtype=float)
        - 0.764 * np.asarray(rise_fall_m_km, dtype=float) * rain_m
    )
    return np.maximum(bare, HIGHEST_FLOOR)


def lowest(d95_mm: Number, grading: Number) -> Floats:
    """Roughness that perfect blading would leave [m/km].

    Examples
    --------
    >>> float(lowest(20.0, 0.36))
    0.8
    """
    bare = 0.36 * np.asarray(d95_mm, dtype=float) * (1 - 2.78 * np.asarray(grading, dtype=float))
    return np.clip(bare, *LOWEST_RANGE)


def rate_per_day(
    adl: Number, adh: Number, rain_mm_month: Number, *, factor: Number = 1.0
) -> Floats:
    """Rate ``c`` at which the distance to the maximum shrinks, negative [1/day].

    ``adl`` and ``adh`` are light and heavy vehicles a day, both directions.

    Examples
    --------
    >>> round(float(rate_per_day(90.0, 10.0, 80.0)), 6)
    -0.001911
    """
    _rain_guard(rain_mm_month)
    light = _not_negative("adl", adl)
    heavy = _not_negative("adh", adh)
    rain_m = np.asarray(rain_mm_month, dtype=float) / 1000
    bracket = 0.461 + 0.0174 * light + 0.0114 * heavy - 0.0287 * (light + heavy) * rain_m
    return np.minimum(-0.001 * _not_negative("factor", factor) * bracket, SLOWEST_RATE)


def blading_share(dust: Number, *, grader: Number = 1.0, factor: Number = 1.0) -> Floats:
    """Share ``a`` of the roughness above the minimum that a blading leaves, 0.5 to 1 [-].

    ``grader`` is 1.4 for a drag, 1.0 for a dry motor grader, 0.7 with water and a roller.

    Examples
    --------
    >>> float(blading_share(0.5))
    0.668
    """
    bare = (
        np.asarray(factor, dtype=float)
        * np.asarray(grader, dtype=float)
        * (0.553 + 0.230 * np.asarray(dust, dtype=float))
    )
    return np.clip(bare, 0.5, 1.0)


def after_days(start: Number, top: Number, rate: Number, days: Number) -> Floats:
    """Roughness ``days`` after it was ``start`` [m/km].

    Examples
    --------
    >>> round(float(after_days(4.0, 20.0, -0.002, 60.0)), 3)
    5.809
    """
    high = np.asarray(top, dtype=float)
    return high - (high - start) * np.exp(np.asarray(rate, dtype=float) * days)


def after_blading(before: Number, bottom: Number, share: Number) -> Floats:
    """Roughness just after a blading [m/km]; blading never makes a smooth road rough.

    Examples
    --------
    >>> round(float(after_blading(10.0, 2.0, 0.668)), 3)
    7.344
    """
    rough, low = np.asarray(before, dtype=float), np.asarray(bottom, dtype=float)
    return np.minimum(rough, low + np.asarray(share, dtype=float) * (rough - low))


def steady_cycle(
    top: Number, bottom: Number, share: Number, rate: Number, interval_days: Number
) -> tuple[Floats, Floats, Floats]:
    """Lowest, highest and mean roughness when bladed every ``interval_days`` for ever [m/km].

    Raises
    ------
    InputError
        If an interval is not positive.

    Examples
    --------
    >>> [round(float(each), 3) for each in steady_cycle(20.0, 2.0, 0.668, -0.002, 90.0)]
    [6.481, 8.708, 7.628]
    """
    days = np.asarray(interval_days, dtype=float)
    if np.any(~(days > 0)):
        raise InputError(f"interval_days is {float(np.min(days)):g}; expected more than 0")
    high, low = np.asarray(top, dtype=float), np.asarray(bottom, dtype=float)
    left, speed = np.asarray(share, dtype=float), np.asarray(rate, dtype=float)
    kept = np.exp(speed * days)
    best = (low * (1 - left) + left * high * (1 - kept)) / (1 - left * kept)
    worst = (high * (1 - kept) + kept * low * (1 - left)) / (1 - left * kept)
    mean = high - (high - best) * np.expm1(speed * days) / (speed * days)
    return best, worst, mean


def year_of_bladings(
    start: Number,
    top: Number,
    bottom: Number,
    share: Number,
    rate: Number,
    n_bladings: Number,
    *,
    days: float = 365.0,
) -> tuple[Floats, Floats]:
    """Mean roughness of a year of equal cycles, and the roughness it ends with [m/km].

    The year is ``n_bladings`` cycles; each climbs for an equal time and ends with a blading, so
    ``start`` is the roughness just after one. Fractions of a blading are allowed.

    Raises
    ------
    InputError
        If there is less than a tenth of a blading a year.

    Examples
    --------
    >>> best, worst, mean = steady_cycle(20.0, 2.0, 0.668, -0.002, 365 / 6)
    >>> year_mean, end = year_of_bladings(best, 20.0, 2.0, 0.668, -0.002, 6)
    >>> abs(float(year_mean - mean)) < 1e-12, abs(float(end - best)) < 1e-12
    (True, True)
    """
    n = np.asarray(n_bladings, dtype=float)
    if np.any(~(n >= 0.1)):
        raise InputError(f"n_bladings is {float(np.min(n)):g}; expected at least 0.1 a year")
    high, low = np.asarray(top, dtype=float), np.asarray(bottom, dtype=float)
    left, speed = np.asarray(share, dtype=float), np.asarray(rate, dtype=float)
    kept = np.exp(speed * days / n)
    shrink = left * kept
    settled = (left * high * (1 - kept) + (1 - left) * low) / (1 - shrink)
    all_year = shrink**n
    end = settled + all_year * (np.asarray(start, dtype=float) - settled)
    mean_start = settled + (start - settled) * (1 - all_year) / (n * (1 - shrink))
    mean = high - (high - mean_start) * np.expm1(speed * days / n) / (speed * days / n)
    return mean, end


def year_of_seasons(
    start: Number,
    top: Number,
    bottom: Number,
    share: Number,
    rate: Number,
    n_bladings: Sequence[Number],
    *,
    days: Sequence[float],
    rate_factor: Sequence[float],
) -> tuple[Floats, Floats]:
    """Mean roughness of a year of seasons, and the roughness it ends with [m/km].

    Each season has its own bladings, in equal cycles, and its own pace of roughening; a season
    without any only climbs. Seasons follow one another as they are given.

    Raises
    ------
    InputError
        If lists differ in length, days do not make 365, or a season has less than a tenth of a
        blading and more than none.

    Examples
    --------
    >>> year_of_seasons(5.0, 20.0, 2.0, 0.668, -0.002, [6], days=[365.0], rate_factor=[1.0]) == (
    ...     year_of_bladings(5.0, 20.0, 2.0, 0.668, -0.002, 6))
    True
    """
    if not len(n_bladings) == len(days) == len(rate_factor):
        raise InputError(
            f"{len(n_bladings)} seasons have bladings, {len(days)} days and {len(rate_factor)}"
            " factors; expected as many of each"
        )
    if abs(sum(days) - 365.0) > 1e-6 or min(days) <= 0:
        raise InputError(f"days of the seasons are {list(days)}; expected 365 in all, each above 0")
    now: Floats = np.asarray(start, dtype=float)
    total: Number = 0.0
    for n, length, factor in zip(n_bladings, days, rate_factor, strict=True):
        number, speed = np.asarray(n, dtype=float), np.asarray(rate, dtype=float) * factor
        bladed, end = year_of_bladings(
            now, top, bottom, share, speed, np.where(number > 0, number, 1.0), days=length
        )
        left_alone = after_days(now, top, speed, length)
        high = np.asarray(top, dtype=float)
        climbed = high - (high - now) * np.expm1(speed * length) / (speed * length)
        total = total + np.where(number > 0, bladed, climbed) * (length / 365.0)
        now = np.where(number > 0, end, left_alone)
    return np.asarray(total), np.asarray(now)


def _not_negative(name: str, value: Number) -> Floats:
    values = np.asarray(value, dtype=float)
    if not np.all(np.isfinite(values)) or np.any(values < 0):
        bad = values[~(np.isfinite(values) & (values >= 0))].flat[0]
        raise InputError(f"{name} is {bad:g}; expected a finite number >= 0")
    return values


def _rain_guard(rain_mm_month: Number) -> None:
    rain = _not_negative("rain_mm_month", rain_mm_month)
    if np.any((rain > 0) & (rain < 1.0)):
        raise UnitsError(
            f"rain_mm_month is {float(rain[(rain > 0) & (rain < 1)].flat[0]):g}; expected"
            " millimetres a month, 1 or more; the figure looks like metres"
        )
