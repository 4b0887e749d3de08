"""Screening of ditches and culverts: how much comes, how much can go.

These are the quick checks that show an obvious misfit. They are not a design: whatever they
say, an engineer confirms it.
"""

from __future__ import annotations

import math

from scipy.optimize import brentq

from crossfall.errors import InputError
from crossfall.formulas.given import Num, at_least, positive, within

LARGEST_HA = 80.0
"""Above this the rational method is not used (recalled)."""
LONGEST_INTENSITY_H = 6.0
"""An intensity averaged over longer than this is a depth in disguise (ours)."""


def rational_flow(
    runoff_c: float, intensity_mm_h: float, area_ha: float, *, over_h: float
) -> float:
    """Peak flow by the rational method: ``C i A / 360``. [m³/s]

    Parameters
    ----------
    runoff_c : float, above 0 to 1
        Share that runs off: gravel road 0.70, bare slope 0.50, grass 0.35, woods 0.20
        (published, North Carolina sediment control example).
    intensity_mm_h : float, > 0
        Rain at the time of concentration. [mm/h]
    area_ha : float, above 0 to 80
    over_h : float
        Time that the intensity is averaged over. A published worked example puts a 24-hour
        *depth* here and gets a flow many times too large; longer than 6 h is refused. [h]

    Raises
    ------
    InputError
        If a value is out of range, or the intensity is a long-duration depth.

    Examples
    --------
    >>> round(rational_flow(0.70, 60.0, 2.0, over_h=0.5), 4)
    0.2333
    """
    within("runoff_c", runoff_c, 1e-6, 1.0, hint="a share of the rain cannot exceed 1")
    positive("intensity_mm_h", intensity_mm_h)
    within("area_ha", area_ha, 1e-6, LARGEST_HA, hint="larger areas need an engineer's method")
    positive("over_h", over_h)
    if over_h > LONGEST_INTENSITY_H:
        raise InputError(
            f"over_h is {over_h:g}; expected at most {LONGEST_INTENSITY_H:g}: a day's depth is not"
            " an intensity, use the rain of the time of concentration"
        )
    return runoff_c * intensity_mm_h * area_ha / 360


def time_of_concentration(length_m: Num, slope: Num) -> Num:
    """Time for the far end to arrive, Kirpich: ``0.0195 L^0.77 S^-0.385`` (recalled). [min]

    Examples
    --------
    >>> round(time_of_concentration(500.0, 0.02), 1)
    10.5
    """
    return 0.0195 * positive("length_m", length_m) ** 0.77 * _slope(slope) ** -0.385


def v_section(depth_m: Num, left_z: float, right_z: float) -> tuple[Num, Num]:
    """Area and wetted perimeter of a V ditch, sides ``z`` horizontal to 1 vertical. [m², m]

    Examples
    --------
    >>> area, perimeter = v_section(0.5, 3.0, 3.0)
    >>> round(area, 3), round(perimeter, 3)
    (0.75, 3.162)
    """
    positive("depth_m", depth_m)
    at_least("left_z", left_z, 0.0)
    at_least("right_z", right_z, 0.0)
    positive("left_z + right_z", left_z + right_z)
    sides = math.sqrt(1 + left_z**2) + math.sqrt(1 + right_z**2)
    return (left_z + right_z) * depth_m**2 / 2, depth_m * sides


def trapezoid_section(depth_m: float, bottom_m: float, z: float) -> tuple[float, float]:
    """Area and wetted perimeter of a flat-bottomed ditch. [m², m]"""
    positive("depth_m", depth_m)
    at_least("bottom_m", bottom_m, 0.0)
    positive("z", z)
    area = (bottom_m + z * depth_m) * depth_m
    return area, bottom_m + 2 * depth_m * math.sqrt(1 + z**2)


def manning_velocity(hydraulic_radius_m: Num, slope: Num, roughness_n: Num) -> Num:
    """Mean velocity of even flow: ``R^(2/3) S^(1/2) / n``. [m/s]

    Roughness: bare earth 0.022 to 0.025, grass 0.03 to 0.05 (recalled but for grass 0.030).

    Examples
    --------
    >>> round(manning_velocity(0.25, 0.01, 0.03), 3)
    1.323
    """
    positive("hydraulic_radius_m", hydraulic_radius_m)
    within("roughness_n", roughness_n, 0.008, 0.2)
    return hydraulic_radius_m ** (2 / 3) * _slope(slope) ** 0.5 / roughness_n


def v_normal_depth(
    flow_m3_s: float, slope: float, roughness_n: float, left_z: float, right_z: float
) -> float:
    """Depth at which a V ditch carries a flow evenly; solved exactly. [m]

    Examples
    --------
    >>> round(v_normal_depth(0.08, 0.005, 0.015, 4.0, 0.5), 4)
    0.1976
    """
    positive("flow_m3_s", flow_m3_s)
    # Everything in a V ditch scales with depth, so flow goes with its power 8/3
    area, perimeter = v_section(1.0, left_z, right_z)
    flow_at_1_m = area * manning_velocity(area / perimeter, slope, roughness_n)
    return (flow_m3_s / flow_at_1_m) ** 0.375


def trapezoid_normal_depth(
    flow_m3_s: float, slope: float, roughness_n: float, bottom_m: float, z: float
) -> float:
    """Depth at which a flat-bottomed ditch carries a flow evenly. [m]

    Examples
    --------
    >>> depth = trapezoid_normal_depth(0.5, 0.01, 0.03, 0.6, 2.0)
    >>> area, perimeter = trapezoid_section(depth, 0.6, 2.0)
    >>> round(area * manning_velocity(area / perimeter, 0.01, 0.03), 6)
    0.5
    """
    positive("flow_m3_s", flow_m3_s)

    def missing(depth_m: float) -> float:
        area, perimeter = trapezoid_section(depth_m, bottom_m, z)
        return float(area * manning_velocity(area / perimeter, slope, roughness_n) - flow_m3_s)

    high = 1.0
    while missing(high) < 0:
        high *= 2
    return float(brentq(missing, 1e-6, high, xtol=1e-9))


def bed_shear(hydraulic_radius_m: Num, slope: Num) -> Num:
    """Mean shear on the bed: ``9810 R S``. [Pa]

    Examples
    --------
    >>> round(bed_shear(0.1, 0.02), 1)
    19.6
    """
    return 9810.0 * positive("hydraulic_radius_m", hydraulic_radius_m) * _slope(slope)


def pipe_full_flow(diameter_m: float, slope: float, roughness_n: float = 0.024) -> float:
    """Flow of a round pipe running full, without a head: a warning, not a rating. [m³/s]

    ``roughness_n`` 0.024 is corrugated metal (recalled).

    Examples
    --------
    >>> round(pipe_full_flow(0.45, 0.01), 3)
    0.154
    """
    within("diameter_m", diameter_m, 0.1, 10.0, hint="millimetres are divided by 1000")
    area = math.pi * diameter_m**2 / 4
    return area * manning_velocity(diameter_m / 4, slope, roughness_n)


def _slope(slope: Num) -> Num:
    within(
        "slope",
        slope,
        1e-5,
        1.0,
        hint="a ratio above 0; a level ditch carries nothing, and 2 percent is 0.02",
    )
    return slope
