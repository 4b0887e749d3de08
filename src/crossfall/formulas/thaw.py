"""Frost in the layer, and the weeks when trapped water below makes the road weak.

Two indices are needed. The *layer* freezes and thaws within days (a decaying frost index against
Stefan's equation). What lies below freezes over months and gives its water back slowly: it is
followed by the cumulative freezing and thawing indices, which decide when the road is *thaw-weak*
however dry its surface may look. A midwinter thaw that freezes again is undone.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from crossfall.errors import InputError

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]

FUSION_J_KG = 334_000.0
"""Latent heat of fusion of water."""
SECONDS_PER_DAY = 86_400.0


@dataclass(frozen=True, eq=False)
class ThawSeason:
    """Indices at the end of each day, and whether the road is thaw-weak on it."""

    freezing_c_day: Floats
    thawing_c_day: Floats
    is_weak: Bools


def frost_index(
    tmean_c: Floats,
    *,
    decay: float = 0.97,
    cap_c_day: float = np.inf,
    start: npt.ArrayLike = 0.0,
    step_days: float = 1.0,
) -> Floats:
    """Frost index of a ploughed road at the end of each step [degC d]; F = max(decay F - T, 0).

    Source: LISFLOOD documentation after Molnau and Bissell (snow term 1 on a ploughed road),
    written for whole soils. ``cap_c_day`` (ours) keeps the index to what a thin layer can hold,
    so that it thaws in days after a long winter; what lies deeper is :func:`thaw_season`'s.

    Examples
    --------
    >>> print(np.round(frost_index(np.array([-5.0, -5, -5, -2, 0, 3])), 3))
    [ 5.     9.85  14.554 16.118 15.634 12.165]
    """
    if not 0 < decay <= 1:
        raise InputError(f"decay is {decay:g}; expected above 0 and at most 1")
    tmean = np.asarray(tmean_c, float)
    index = np.zeros(tmean.shape)
    now = np.broadcast_to(np.asarray(start, float), tmean.shape[:-1])
    for day in range(tmean.shape[-1]):
        now = np.clip(decay**step_days * now - tmean[..., day] * step_days, 0.0, cap_c_day)
        index[..., day] = now
    return index


def freeze_through_c_day(
    thickness_m: npt.ArrayLike,
    dry_density_kg_m3: npt.ArrayLike,
    moisture_pct: npt.ArrayLike,
    conductivity_w_m_k: npt.ArrayLike,
) -> Floats:
    """Frost index that freezes a layer through [degC d], by Stefan's equation.

    F = z² L / (2 k 86400) with L the latent heat of the water in a cubic metre.

    Examples
    --------
    >>> print(np.round(freeze_through_c_day([0.15, 0.10], 2100, 7.0, 2.0), 3))
    [3.196 1.421]
    """
    latent = FUSION_J_KG * np.asarray(dry_density_kg_m3) * np.asarray(moisture_pct) / 100
    depth = np.asarray(thickness_m, float)
    return np.asarray(
        depth**2 * latent / (2 * np.asarray(conductivity_w_m_k) * SECONDS_PER_DAY), dtype=float
    )


def thaw_reference_c(
    day_of_year: npt.ArrayLike,
    *,
    start_day: int,
    start_c: float,
    end_day: int,
    end_c: float,
    is_southern: bool = False,
) -> Floats:
    """Air temperature above which the road thaws [degC], falling as the sun climbs.

    Before ``start_day`` it is 0 °C, then it falls evenly from ``start_c`` to ``end_c`` on
    ``end_day`` and stays until midsummer. In the south the calendar is shifted by half a year.

    Examples
    --------
    >>> dates = dict(start_day=32, start_c=-1.67, end_day=74, end_c=-4.44)
    >>> thaw_reference_c([10, 32, 53, 74, 300], **dates)
    array([ 0.   , -1.67 , -3.055, -4.44 ,  0.   ])
    """
    if not start_day < end_day:
        raise InputError(f"start_day {start_day} is not before end_day {end_day}")
    day = np.asarray(day_of_year, float)
    if is_southern:
        day = (day + 184 - 1) % 365 + 1
    share = np.clip((day - start_day) / (end_day - start_day), 0.0, 1.0)
    falling = start_c + share * (end_c - start_c)
    return np.asarray(np.where((day < start_day) | (day > 182), 0.0, falling))


def thawing_index(tmean_c: Floats, reference_c: npt.ArrayLike) -> Floats:
    """Cumulative thawing index at the end of each day [degC d], never below 0.

    Above the reference the excess is added; at or below it half the frost (degrees below 0 °C)
    is taken off. Halving is [recalled]; the threshold is MnDOT's.

    Examples
    --------
    >>> t = np.array([-3.0, -1, 2, 4, 3, -2, 5, 6])
    >>> print(np.round(thawing_index(t, -1.67), 2))
    [ 0.    0.67  4.34 10.01 14.68 13.68 20.35 28.02]
    """
    tmean = _without_gaps(tmean_c)
    reference = np.broadcast_to(np.asarray(reference_c, float), tmean.shape)
    index = np.zeros(tmean.shape)
    now = np.zeros(tmean.shape[:-1])
    for day in range(tmean.shape[-1]):
        now = _thaw_one_day(now, tmean[..., day], reference[..., day])
        index[..., day] = now
    return index


def freezing_index(tmean_c: Floats) -> Floats:
    """Cumulative freezing index at the end of each day [degC d]: degrees below 0 °C, summed.

    Examples
    --------
    Ten days at 18 °F (-7.78 °C) give 140 °F·d, that is 77.8 °C·d:

    >>> print(f"{freezing_index(np.full(10, -70 / 9))[-1]:.1f}")
    77.8
    """
    return np.asarray(np.cumsum(np.maximum(-_without_gaps(tmean_c), 0.0), axis=-1))


def thaw_season(
    tmean_c: Floats,
    reference_c: npt.ArrayLike,
    *,
    onset_c_day: float,
    min_freeze_c_day: float,
    recovery_share: float,
    refreeze_share: float,
    max_days: int,
) -> ThawSeason:
    """Follow freezing and thawing through winters, with a reset for thaws that freeze again.

    The road turns weak when it has frozen by ``min_freeze_c_day`` and the thawing index reaches
    ``onset_c_day``. It is weak until one of three things happens:

    * *recovery*: degrees above 0 °C since the thaw began reach ``recovery_share`` of the freezing
      index; the frost is out and both indices start anew;
    * *reset*: after the thaw, net freezing degrees reach ``refreeze_share`` of the thawing
      degrees; the water is ice again, the thawing index starts anew, the freezing index stays;
    * ``max_days`` have passed.

    The rules for reset are ours (default): no published rule for midwinter thaws was found.

    Examples
    --------
    A long frost, a week of thaw, hard frost again, then spring:

    >>> t = np.concatenate([np.full(30, -8.0), np.full(7, 4.0), np.full(6, -9.0), np.full(30, 6.0)])
    >>> season = thaw_season(t, 0.0, onset_c_day=13.9, min_freeze_c_day=55,
    ...     recovery_share=0.3, refreeze_share=0.5, max_days=56)
    >>> weak = np.flatnonzero(season.is_weak)
    >>> int(weak[0]), int(np.flatnonzero(~season.is_weak[33:])[0]) + 33, int(weak[-1])
    (33, 38, 56)
    """
    tmean = np.asarray(tmean_c, float)
    reference = np.broadcast_to(np.asarray(reference_c, float), tmean.shape)
    shape = tmean.shape[:-1]
    freezing, thawing = np.zeros(shape), np.zeros(shape)
    warm, cold = np.zeros(shape), np.zeros(shape)
    weak, days = np.zeros(shape, bool), np.zeros(shape)
    all_freezing, all_thawing = np.zeros(tmean.shape), np.zeros(tmean.shape)
    is_weak = np.zeros(tmean.shape, bool)

    for day in range(tmean.shape[-1]):
        now = tmean[..., day]
        freezing = freezing + np.maximum(-now, 0.0)
        thawing = _thaw_one_day(thawing, now, reference[..., day])
        warm = warm + np.maximum(now, 0.0)
        cold = np.where(warm > 0, np.maximum(cold - now, 0.0), 0.0)

        is_refrozen = (cold > 0) & (cold >= refreeze_share * warm)
        is_out = (warm > 0) & (warm >= recovery_share * freezing) & ~is_refrozen
        is_over = weak & (days >= max_days)
        weak = weak & ~(is_refrozen | is_out | is_over)
        freezing = np.where(is_out | is_over, 0.0, freezing)
        is_new = is_refrozen | is_out | is_over
        thawing, warm, cold = (np.where(is_new, 0.0, each) for each in (thawing, warm, cold))

        weak = weak | ((freezing >= min_freeze_c_day) & (thawing >= onset_c_day))
        days = np.where(weak, days + 1, 0.0)
        all_freezing[..., day], all_thawing[..., day] = freezing, thawing
        is_weak[..., day] = weak
    return ThawSeason(all_freezing, all_thawing, is_weak)


def _without_gaps(tmean_c: Floats) -> Floats:
    """A sum over days cannot leap over one that nobody measured."""
    tmean = np.asarray(tmean_c, float)
    if not np.isfinite(tmean).all():
        day = int(np.argwhere(~np.isfinite(tmean))[0][-1])
        raise InputError(
            f"tmean_c has a gap on day {day}; expected a temperature for every day, so fill the"
            " gap or begin after it"
        )
    return tmean


def _thaw_one_day(index: Floats, tmean: Floats, reference: Floats) -> Floats:
    gain = np.where(tmean > reference, tmean - reference, np.minimum(tmean, 0.0) / 2)
    return np.asarray(np.maximum(index + gain, 0.0))
