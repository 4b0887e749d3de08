"""Lengths in a work zone: tapers and the spacing of what marks them.

The rules are those of the United States manual (MUTCD part 6, 2009 and 2012 texts), turned
into metres and km/h exactly. Local codes govern; these figures only help to load the truck.
"""

from __future__ import annotations

from typing import Literal

from crossfall.formulas.given import positive, within

Taper = Literal["merging", "shifting", "shoulder"]

_KM_H_PER_MPH = 1.609344
_SLOW_KM_H = 40 * _KM_H_PER_MPH
_SHARE: dict[Taper, float] = {"merging": 1.0, "shifting": 0.5, "shoulder": 1 / 3}


def taper_length(offset_m: float, posted_km_h: float, kind: Taper = "merging") -> float:
    """Length of a taper. [m]

    ``W S² / 60`` up to 40 mph and ``W S`` from 45 mph, in feet and mph; half of it for a
    shift, a third on a shoulder. Between 40 and 45 mph the manual is silent: the posted speed
    is taken as 45.

    Parameters
    ----------
    offset_m : float, > 0
        Width that is closed. [m]
    posted_km_h : float, 10 to 130
        Posted speed. [km/h]

    Notes
    -----
    Published: California MUTCD 2012 part 6, as in a county's plan set, p. 10.

    Examples
    --------
    >>> round(taper_length(12 * 0.3048, 45 * 1.609344) / 0.3048, 6)
    540.0
    """
    positive("offset_m", offset_m)
    within("posted_km_h", posted_km_h, 10.0, 130.0)
    mph = posted_km_h / _KM_H_PER_MPH
    if posted_km_h <= _SLOW_KM_H * (1 + 1e-9):
        return offset_m * mph**2 / 60 * _SHARE[kind]
    return offset_m * max(mph, 45.0) * _SHARE[kind]


def taper_spacing(posted_km_h: float) -> float:
    """Farthest that devices in a taper stand apart: as many feet as mph. [m]

    Examples
    --------
    >>> round(taper_spacing(35 * 1.609344), 3)
    10.668
    """
    within("posted_km_h", posted_km_h, 10.0, 130.0)
    return posted_km_h / _KM_H_PER_MPH * 0.3048
