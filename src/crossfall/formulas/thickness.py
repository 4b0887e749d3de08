"""How much gravel a road needs over its soil, and how much will be left: screening only.

Two opinions. A table of thickness by heavy trucks a day and strength of the soil, as one state
gives it in the federal gravel roads manual (the manual's method was seen, the table's figures are
*recalled*), and a closed form for unpaved roads over soft soil (Giroud and Noiray 1981, recalled;
two remembered forms agree within 5 %). Neither is a design: an engineer confirms.
"""

from __future__ import annotations

import math
from typing import Literal

import numpy as np
import numpy.typing as npt

from crossfall.errors import InputError

Floats = npt.NDArray[np.float64]

Soil = Literal["low", "medium", "high"]

TABLE_TRUCKS = (5.0, 10.0, 25.0, 50.0)
"""Upper ends of the classes of heavy trucks a day."""
TABLE_MM: dict[Soil, tuple[float, float, float, float]] = {
    "low": (165.1, 215.9, 292.1, 368.3),
    "medium": (139.7, 177.8, 228.6, 292.1),
    "high": (114.3, 139.7, 177.8, 215.9),
}
"""Thickness over soil of CBR up to 3, 3 to 10, and more [mm], from 6.5, 8.5, 11.5, 14.5 in etc."""
_KPA_PER_CBR = 30.0
MOST_PASSAGES = 10_000.0


def soil_class(cbr_pct: float) -> Soil:
    """Class of the soil by its California bearing ratio.

    Examples
    --------
    >>> soil_class(2.5), soil_class(8.0), soil_class(15.0)
    ('low', 'medium', 'high')
    """
    if not 0 < cbr_pct <= 100:
        raise InputError(f"cbr_pct is {cbr_pct:g}; expected more than 0, up to 100 %")
    return "low" if cbr_pct <= 3 else "medium" if cbr_pct <= 10 else "high"


def table_thickness_mm(heavy_trucks_day: float, soil: Soil) -> float | None:
    """Thickness by the table [mm]; None for more trucks than it knows: ask the engineer.

    Source: South Dakota table in the FHWA gravel roads manual, appendix A (recalled figures).

    Examples
    --------
    >>> table_thickness_mm(8.0, "medium")
    177.8
    >>> table_thickness_mm(80.0, "low") is None
    True
    """
    if not heavy_trucks_day >= 0:
        raise InputError(f"heavy_trucks_day is {heavy_trucks_day:g}; expected >= 0")
    for most, thickness in zip(TABLE_TRUCKS, TABLE_MM[soil], strict=True):
        if heavy_trucks_day <= most:
            return thickness
    return None


def soft_soil_thickness_m(
    passages: float, *, axle_kn: float = 80.0, rut_m: float = 0.075, cbr_pct: float
) -> float:
    """Gravel over soft soil so that ruts stay within ``rut_m`` [m].

    ``passages`` of an axle of ``axle_kn``, 1 to 10,000; soil strength 30 kPa for each percent of
    CBR. Source: Giroud and Noiray 1981, without reinforcement (recalled).

    Examples
    --------
    >>> round(soft_soil_thickness_m(1000, cbr_pct=1.0), 3)
    0.548
    """
    _positive(axle_kn=axle_kn, rut_m=rut_m, cbr_pct=cbr_pct)
    if not 1 <= passages <= MOST_PASSAGES:
        raise InputError(f"passages is {passages:g}; expected 1 to {MOST_PASSAGES:g}")
    strength_pa = _KPA_PER_CBR * 1000 * cbr_pct
    top = (
        119.24 * math.log10(passages)
        + 470.98 * math.log10(axle_kn * 1000)
        - 279.01 * rut_m
        - 2283.34
    )
    return max(0.0, top / strength_pa**0.63)


def soft_soil_thickness_short_m(passages: float, *, cbr_pct: float) -> float:
    """The same for an 80 kN axle and ruts of 75 mm, in its short form [m] (recalled).

    Examples
    --------
    >>> round(soft_soil_thickness_short_m(1000, cbr_pct=3.0), 3)
    0.285
    """
    _positive(cbr_pct=cbr_pct)
    if not 1 <= passages <= MOST_PASSAGES:
        raise InputError(f"passages is {passages:g}; expected 1 to {MOST_PASSAGES:g}")
    return 0.19 * math.log10(passages) / cbr_pct**0.63


def damage_sum(traffic: Floats, allowed: Floats) -> float:
    """Damage over seasons: traffic over what each season allows, summed; up to 1 passes [-].

    What a season allows is read from the design manual's chart by a person.

    Examples
    --------
    >>> round(damage_sum(np.array([4400, 2600, 7000, 7000.0]),
    ...                  np.array([400000, 4900, 8400, 20000.0])), 3)
    1.725
    """
    if traffic.shape != allowed.shape:
        raise InputError(f"traffic {traffic.shape} and allowed {allowed.shape} differ in shape")
    if np.any(traffic < 0) or np.any(~(allowed > 0)):
        raise InputError("traffic must be >= 0 and allowed more than 0 in every season")
    return float((traffic / allowed).sum())


def years_left(gravel_mm: float, least_mm: float, loss_mm_year: float) -> float:
    """Years until the gravel is down to ``least_mm`` [year]; 0 when it is already.

    Examples
    --------
    >>> years_left(100.0, 40.0, 12.0)
    5.0
    """
    _positive(loss_mm_year=loss_mm_year)
    if not (gravel_mm >= 0 and least_mm >= 0):
        raise InputError("gravel_mm and least_mm must be >= 0")
    return max(0.0, (gravel_mm - least_mm) / loss_mm_year)


def _positive(**values: float) -> None:
    for name, value in values.items():
        if not value > 0:
            raise InputError(f"{name} is {value:g}; expected more than 0")
