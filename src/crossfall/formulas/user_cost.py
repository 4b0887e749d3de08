"""What roughness costs those who drive, and how often to blade for it.

Published data give about 2 to 3 % more fuel and more tyres and repairs for each further m/km of
roughness, on roads up to an IRI of about 6; gravel roads run from 4 to 15, so every figure here
carries a band and none is an invoice.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from crossfall.errors import InputError

Floats = npt.NDArray[np.float64]
Number = float | Floats

SMOOTH_IRI = 3.0
"""Roughness up to which no cost is counted [m/km]: no effect on repair was seen below it."""
_DAYS_A_YEAR = 365.0


def yearly_user_cost(
    iri: Number, adt: Number, length_km: Number, *, voc_per_km: Number, share_per_iri: Number
) -> Floats:
    """Cost to users of roughness above :data:`SMOOTH_IRI`, a year, in the money of ``voc_per_km``.

    ``share_per_iri`` is the share by which vehicle operating cost grows for each m/km: 0.03, band
    0.02 to 0.06 (recalled).

    Examples
    --------
    >>> float(yearly_user_cost(8.0, 100.0, 1.0, voc_per_km=0.35, share_per_iri=0.03))
    1916.25
    """
    traffic, length = np.asarray(adt, dtype=float), np.asarray(length_km, dtype=float)
    if np.any(traffic < 0) or np.any(length < 0):
        raise InputError("adt and length_km cannot be negative")
    excess = np.maximum(np.asarray(iri, dtype=float) - SMOOTH_IRI, 0.0)
    return traffic * _DAYS_A_YEAR * length * np.asarray(voc_per_km) * share_per_iri * excess


def repair_factor(iri: Number, *, is_truck: bool = False) -> Floats:
    """Repair and maintenance of vehicles over that on a smooth road [-], up to an IRI of 5.

    No effect to an IRI of 3, 10 % more at 4, up to 40 % (car) or 50 % (truck) more at 5; beyond,
    the last figure is kept, since the data end there.

    Source: effect of roughness on vehicle operating costs, United States 2015 (published; see
    docs/methods/years.md).

    Examples
    --------
    >>> repair_factor(np.array([3.0, 4.0, 5.0])).tolist(), float(repair_factor(5.0, is_truck=True))
    ([1.0, 1.1, 1.4], 1.5)
    """
    return np.interp(
        np.asarray(iri, dtype=float), [3.0, 4.0, 5.0], [1.0, 1.1, 1.5 if is_truck else 1.4]
    )


def best_passes_between_bladings(
    blading_cost: Number, user_cost_per_iri: Number, iri_per_pass: Number
) -> Floats:
    """Vehicle passes between bladings that cost least in all, when roughness grows evenly [-].

    ``blading_cost`` money/km, ``user_cost_per_iri`` money/(veh-km·m/km), ``iri_per_pass`` m/km for
    one vehicle. From minimising blading plus user cost: ``sqrt(2 C / (v s))``.

    Examples
    --------
    >>> round(float(best_passes_between_bladings(250.0, 0.01, 0.0008)))
    7906
    """
    cost = np.asarray(blading_cost, dtype=float)
    slope = np.asarray(user_cost_per_iri, dtype=float) * np.asarray(iri_per_pass, dtype=float)
    if np.any(cost <= 0) or np.any(slope <= 0):
        raise InputError("blading_cost, user_cost_per_iri and iri_per_pass must be more than 0")
    return np.sqrt(2 * cost / slope)


def tolerated_speed_km_h(iri: Number, *, ride_mm_s: Number = 259.7) -> Floats:
    """Speed that drivers tolerate on a rough road, never a safe speed [km/h].

    ``ride_mm_s`` is the limiting rear-axle velocity: car 259.7, utility 239.7, bus 212.8, medium
    truck 194.0, heavy 177.7, articulated 130.9 (recalled constants, method published by the World
    Bank 1987).

    Examples
    --------
    >>> round(float(tolerated_speed_km_h(10.0)), 1)
    81.5
    """
    rough = np.asarray(iri, dtype=float)
    if np.any(rough <= 0):
        raise InputError(f"iri is {float(np.min(rough)):g}; expected more than 0")
    return np.asarray(ride_mm_s, dtype=float) / (1.147 * rough) * 3.6
