"""How fast a grader works: blade, passes, hours.

A blade set at an angle covers less than its length. Passes overlap, so the road's width
decides how many there are; each kind of pass has its own speed, and the hours of the kinds
are added. Averaging speeds instead gives too few hours, because the slow passes take longer.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from crossfall.errors import InputError
from crossfall.formulas.given import Num, count, positive, share_of_hour, within

_SHORT_RUN_M = (50.0, 100.0, 200.0, 500.0)
_SHORT_RUN_FACTOR = (0.4, 0.6, 0.8, 1.0)
_STEEPEST_DEG = 75.0


def effective_blade(blade_m: Num, moldboard_deg: float) -> Num:
    """Width that a moldboard covers when it is turned.

    Parameters
    ----------
    blade_m : float or array, > 0
        Length of the moldboard. [m]
    moldboard_deg : float, 0 to below 75
        Angle from straight across. [degrees]

    Returns
    -------
    float or array
        ``L cos θ``. [m]

    Raises
    ------
    InputError
        If a value is outside its range; beyond 75° the blade no longer covers the road.

    Examples
    --------
    >>> round(effective_blade(3.658, 30.0), 3)
    3.168
    """
    positive("blade_m", blade_m)
    if not 0 <= moldboard_deg < _STEEPEST_DEG:
        raise InputError(
            f"moldboard_deg is {moldboard_deg:g}; expected 0 (straight across) to below"
            f" {_STEEPEST_DEG:g}"
        )
    return blade_m * math.cos(math.radians(moldboard_deg))


def passes_to_cover(
    width_m: float, effective_m: float, overlap_m: float, *, is_even: bool = True
) -> int:
    """Passes that cover a width once: ``ceil((W − Lo) / (Le − Lo))``.

    Parameters
    ----------
    width_m, effective_m : float, > 0
        Width worked and effective blade. [m]
    overlap_m : float, 0 to below ``effective_m``
        Overlap of neighbours. [m]
    is_even : bool
        Round up to an even number, so that each side is worked with its own traffic.

    Examples
    --------
    >>> passes_to_cover(7.2, 3.17, 0.3, is_even=False), passes_to_cover(7.2, 3.17, 0.3)
    (3, 4)
    """
    positive("width_m", width_m)
    _overlap_below_blade(effective_m, overlap_m)
    n_passes = max(1, math.ceil((width_m - overlap_m) / (effective_m - overlap_m) - 1e-9))
    return n_passes + n_passes % 2 if is_even else n_passes


def area_rate(speed_km_h: Num, effective_m: float, overlap_m: float, efficiency: float) -> Num:
    """Area bladed once in an hour: ``A = S (Le − Lo) 1000 E``. [m²/h]

    Source: manufacturer's performance handbook, ed. 47, p. 856 (published).

    Examples
    --------
    >>> round(area_rate(8.0, 3.17, 0.3, 0.75))
    17220
    """
    positive("speed_km_h", speed_km_h)
    _overlap_below_blade(effective_m, overlap_m)
    share_of_hour("efficiency", efficiency)
    return speed_km_h * (effective_m - overlap_m) * 1000.0 * efficiency


def pass_minutes(length_m: Num, speed_km_h: float, efficiency: float) -> Num:
    """Minutes of one pass over a length at one speed. [min]

    Examples
    --------
    >>> round(pass_minutes(1000.0, 6.0, 1.0), 9)
    10.0
    """
    positive("length_m", length_m)
    positive("speed_km_h", speed_km_h)
    share_of_hour("efficiency", efficiency)
    return length_m * (0.06 / (speed_km_h * efficiency))


def blade_hours(
    operations: Sequence[tuple[int, float, float]], efficiency: float
) -> tuple[float, ...]:
    """Hours of each kind of pass: ``P D / (S E)``, one term for each, to be added.

    Parameters
    ----------
    operations : sequence of (n_passes, km, km/h)
        Each kind of pass with its own length and speed.
    efficiency : float, above 0, at most 1
        Share of the hour that the blade moves.

    Returns
    -------
    tuple of float
        Hours of each kind, in the order given. [h]

    Notes
    -----
    The variables are those of the grader estimate of a United States Army correspondence text
    (published). A well-known worked example averages 6, 8 and 10 km/h to 8 and finds 90 h;
    adding the times of its own passes gives 94 h.

    Examples
    --------
    >>> six = [(2 * 3, 30.0, 6.0), (2 * 3, 30.0, 8.0), (2 * 3, 30.0, 10.0)]
    >>> round(sum(blade_hours(six, 0.75)), 1)
    94.0
    """
    share_of_hour("efficiency", efficiency)
    if not operations:
        raise InputError("operations is empty; expected at least one (n_passes, km, km/h)")
    hours = []
    for n_passes, length_km, speed_km_h in operations:
        n_whole = count("n_passes", n_passes)
        positive("length_km", length_km)
        positive("speed_km_h", speed_km_h)
        hours.append(n_whole * length_km / (speed_km_h * efficiency))
    return tuple(hours)


def short_run_factor(length_m: Num) -> Num:
    """Share of the output left on a short run, where turning eats the time. [-]

    0.4 at 50 m, 0.6 at 100 m, 0.8 at 200 m, 1.0 from 500 m; straight lines between.
    For estimates without a turn time of their own; never together with one.

    Source: the motor grader page of civilatwork.blogspot.com, 2016 (published, a blog).

    Examples
    --------
    >>> short_run_factor(100.0)
    0.6
    """
    positive("length_m", length_m)
    if isinstance(length_m, float | int):
        return float(np.interp(length_m, _SHORT_RUN_M, _SHORT_RUN_FACTOR))
    return np.asarray(np.interp(length_m, _SHORT_RUN_M, _SHORT_RUN_FACTOR), dtype=np.float64)


def scarify_depth(wanted_mm: Num, gravel_mm: Num, keep_mm: float) -> Num:
    """Depth for the teeth: what is wanted, never into the layer below the gravel. [mm]

    Examples
    --------
    >>> scarify_depth(40.0, 50.0, 20.0)
    30.0
    >>> scarify_depth(40.0, 10.0, 20.0)
    0.0
    """
    within("wanted_mm", wanted_mm, 0.0, 300.0)
    within("gravel_mm", gravel_mm, 0.0, 1000.0)
    depth = np.minimum(wanted_mm, np.maximum(gravel_mm - keep_mm, 0.0))
    return float(depth) if isinstance(gravel_mm, float | int) else depth


def _overlap_below_blade(effective_m: float, overlap_m: float) -> None:
    positive("effective_m", effective_m)
    if not 0 <= overlap_m < effective_m:
        raise InputError(
            f"overlap_m is {overlap_m:g}; expected 0 to below the effective blade of"
            f" {effective_m:g} m, or no ground is gained"
        )
