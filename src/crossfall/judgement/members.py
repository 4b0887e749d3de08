"""What the sky may do next: members from a forecast, from past years, or from both.

Nothing here reads a clock or holds a hidden generator: the seed is an argument, and the same seed
gives the same members.
"""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import numpy.typing as npt
from scipy.special import gammaincinv, ndtr

from crossfall.errors import InputError, UnitsError
from crossfall.model.policy.moisture import MoisturePolicy

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


def draw_rain_members(
    probability: npt.ArrayLike,
    amount_mm: npt.ArrayLike,
    n_members: int,
    *,
    seed: int,
    persistence: float,
    gamma_shape: float,
) -> Floats:
    """Rain members (member, day) [mm] from a chance of rain and an expected amount for each day.

    A day is wet where a standard normal series with day-to-day correlation ``persistence`` falls
    in the lower ``probability`` share; wet amounts are gamma distributed with mean
    ``amount / probability``, so that both the chance and the expected amount are kept.

    Parameters
    ----------
    probability
        Chance of measurable rain, 0 to 1, shape (day,).
    amount_mm
        Expected amount, dry outcomes included [mm], shape (day,).

    Raises
    ------
    UnitsError
        If a probability above 1 suggests percent.
    InputError
        If shapes differ, an amount is negative, or rain is expected with no chance of it.

    Examples
    --------
    >>> rain = draw_rain_members([0.8], [9.0], 2000, seed=1, persistence=0.35, gamma_shape=0.8)
    >>> abs(float((rain > 0).mean()) - 0.8) < 0.03, abs(float(rain.mean()) - 9.0) < 0.8
    (True, True)
    """
    chance, amount = np.asarray(probability, float), np.asarray(amount_mm, float)
    if chance.ndim != 1 or chance.shape != amount.shape:
        raise InputError(
            f"probability has shape {chance.shape} and amount_mm {amount.shape}; expected (day,)"
        )
    if np.any(chance > 1):
        raise UnitsError(f"probability has {np.nanmax(chance):g}; expected 0 to 1, maybe percent")
    if np.any(chance < 0) or np.any(amount < 0):
        raise InputError("probability or amount_mm is negative; expected >= 0")
    if np.any((chance == 0) & (amount > 0)):
        at = int(np.flatnonzero((chance == 0) & (amount > 0))[0])
        raise InputError(f"day {at} expects {amount[at]:g} mm with probability 0")
    if n_members < 1:
        raise InputError(f"n_members is {n_members}; expected 1 or more")

    rng = np.random.default_rng([seed, 3])
    shocks = rng.standard_normal((n_members, chance.size))
    level = np.empty_like(shocks)
    for day in range(chance.size):
        level[:, day] = (
            shocks[:, day]
            if day == 0
            else persistence * level[:, day - 1] + np.sqrt(1 - persistence**2) * shocks[:, day]
        )
    is_wet = ndtr(level) < chance
    mean = np.divide(amount, chance, out=np.zeros_like(amount), where=chance > 0)
    wet = gammaincinv(gamma_shape, rng.uniform(size=level.shape)) / gamma_shape * mean
    rain = np.where(is_wet, wet, 0.0)
    rain[:, np.isnan(chance) | np.isnan(amount)] = np.nan
    return np.asarray(rain)


def analogue_starts(
    is_complete: npt.NDArray[np.bool_],
    first_day: date,
    start: date,
    n_days: int,
    n_members: int,
    *,
    window_days: int,
    recent_days: int,
    seed: int,
) -> tuple[Ints, bool]:
    """Where in a record the past weather of each member begins, and whether the season is right.

    Candidates begin within ``window_days`` of ``start``'s calendar day in any year, lie wholly in
    the record and have no missing day. Without one, any complete stretch of its last
    ``recent_days`` stands in, and the second result is False.

    Raises
    ------
    InputError
        If not even that is there.
    """
    last = is_complete.size - n_days
    if last < 0:
        raise InputError(
            f"the weather record has {is_complete.size} days; expected at least the {n_days} days"
            " to plan, to stand in where the forecast ends"
        )
    gaps = np.concatenate([[0], np.cumsum(~is_complete)])
    offsets = np.arange(last + 1)
    is_whole = gaps[offsets + n_days] == gaps[offsets]
    begin = first_day.toordinal() + offsets
    season = np.array([_days_apart(int(each), start) for each in begin])
    candidates = offsets[is_whole & (season <= window_days)]
    in_season = candidates.size > 0
    if not in_season:
        candidates = offsets[is_whole & (offsets >= is_complete.size - recent_days)]
    if candidates.size == 0:
        raise InputError(
            f"the weather record has no complete stretch of {n_days} days to stand in where the"
            " forecast ends; bring a longer record or a longer forecast"
        )
    rng = np.random.default_rng([seed, 1])
    rounds = -(-n_members // candidates.size)
    drawn = np.concatenate([rng.permutation(candidates) for _ in range(rounds)])
    return drawn[:n_members].astype(np.int64), in_season


def follow_line(n_members: int, n_days: int, policy: MoisturePolicy, *, seed: int) -> Ints:
    """Days for which each member follows a one-line forecast before past weather takes over.

    The shares of ``policy.single_line_trust`` hold by days ahead; beyond the last the share
    stays.
    """
    trust = np.minimum.accumulate(np.asarray(policy.single_line_trust, float))
    by_day = trust[np.minimum(np.arange(n_days), trust.size - 1)]
    level = (np.random.default_rng([seed, 2]).permutation(n_members) + 0.5) / n_members
    return np.asarray((level[:, None] < by_day[None, :]).sum(axis=1), dtype=np.int64)


def _days_apart(ordinal: int, start: date) -> int:
    day = date.fromordinal(ordinal)
    apart = abs((day - _in_year(start, day.year)).days)
    return min(
        apart,
        abs((day - _in_year(start, day.year - 1)).days),
        abs((day - _in_year(start, day.year + 1)).days),
    )


def _in_year(day: date, year: int) -> date:
    try:
        return day.replace(year=year)
    except ValueError:  # 29 February in a common year
        return day.replace(year=year, day=28) + timedelta(days=1)
