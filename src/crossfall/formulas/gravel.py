"""Gravel for a lift: compacted, loose and by mass, and where each load goes.

A *lift* is one layer placed, spread, watered and rolled before the next. Designs speak of
compacted volume, trucks carry loose volume, scales weigh tonnes; the three are never mixed.
The section is a trapezoid: the top carries traffic and both edges run out at a slope.
"""

from __future__ import annotations

import math

from crossfall.errors import InputError
from crossfall.formulas.given import Num, at_least, density, percent, positive, within


def section_area(
    width_m: Num, edge_mm: Num, *, extra_crown_m: float = 0.0, edge_slope: float = 0.0
) -> Num:
    """Area of a lift across the road: ``A = W t + W c / 2 + z t²``. [m²]

    Parameters
    ----------
    width_m : float or array, > 0
        Top width. [m]
    edge_mm : float or array, > 0
        Compacted thickness at the edge. [mm]
    extra_crown_m : float, >= 0
        Rise at the centre beyond the crown that is there. [m]
    edge_slope : float, >= 0
        Run-out of each edge, horizontal to vertical.

    Examples
    --------
    >>> round(section_area(5.5, 150.0, extra_crown_m=0.04, edge_slope=1.5), 5)
    0.96875
    """
    positive("width_m", width_m)
    positive("edge_mm", edge_mm)
    at_least("extra_crown_m", extra_crown_m, 0.0)
    at_least("edge_slope", edge_slope, 0.0)
    edge_m = edge_mm * 0.001
    return width_m * edge_m + width_m * (extra_crown_m * 0.5) + edge_slope * edge_m * edge_m


def compacted_volume(length_m: Num, width_m: Num, depth_mm: Num, *, edge_slope: float = 0.0) -> Num:
    """Volume in place: ``V = L (W t + z t²)``. [m³]

    Examples
    --------
    >>> compacted_volume(1600.0, 7.0, 75.0)
    840.0
    """
    positive("length_m", length_m)
    return length_m * section_area(width_m, depth_mm, edge_slope=edge_slope)


def loose_volume(compacted_m3: Num, bulking: Num) -> Num:
    """Volume to haul so that it packs down to ``compacted_m3``. [m³]

    Parameters
    ----------
    compacted_m3 : float or array, >= 0
        In-place volume. [m³]
    bulking : float or array, 1 to 2
        Loose over compacted. Measure it for each pit.

    Raises
    ------
    InputError
        If ``bulking`` is below 1: then it is a shrinkage, the other way round.

    Examples
    --------
    >>> loose_volume(840.0, 1.25)
    1050.0
    """
    at_least("compacted_m3", compacted_m3, 0.0)
    within(
        "bulking",
        bulking,
        1.0,
        2.0,
        hint="loose gravel takes more room than compacted; a figure below 1 is a shrinkage",
    )
    return compacted_m3 * bulking


def mass(compacted_m3: Num, dry_t_m3: Num) -> Num:
    """Dry mass of compacted gravel. [t]

    Examples
    --------
    >>> mass(840.0, 2.1)
    1764.0
    """
    at_least("compacted_m3", compacted_m3, 0.0)
    density("dry_t_m3", dry_t_m3)
    return compacted_m3 * dry_t_m3


def n_lifts(depth_mm: float, lift_max_mm: float) -> int:
    """Equal lifts that no one exceeds ``lift_max_mm``: ``ceil(t / t_max)``.

    Examples
    --------
    >>> n_lifts(160.0, 100.0)
    2
    """
    positive("depth_mm", depth_mm)
    positive("lift_max_mm", lift_max_mm)
    return max(1, math.ceil(depth_mm / lift_max_mm - 1e-9))


def load_volume(
    body_m3: float, payload_t: float, loose_t_m3: float, *, least_m3: float = 0.5
) -> float:
    """Loose gravel in one load: the body, or what the legal payload lets in, the smaller. [m³]

    A seasonal or bridge limit lowers the payload and so moves every stake.

    Raises
    ------
    InputError
        If the payload does not even carry ``least_m3``, one bucket.

    Examples
    --------
    >>> load_volume(10.0, 14.0, 1.6)
    8.75
    """
    positive("body_m3", body_m3)
    positive("payload_t", payload_t)
    density("loose_t_m3", loose_t_m3, 1.0, 2.2)
    load_m3 = min(body_m3, payload_t / loose_t_m3)
    if load_m3 < least_m3:
        raise InputError(
            f"payload_t is {payload_t:g}, which carries {load_m3:.2f} m3; expected at least one"
            f" bucket of {least_m3:g} m3"
        )
    return load_m3


def hauled_density(
    loose_t_m3: float, dry_t_m3: float, bulking: float, moisture_pct: float = 0.0
) -> float:
    """Mass of a loose cubic metre in the truck, as the scale reads it. [t/m³]

    The bulk density and the compacted dry density over the bulking are two words on one thing,
    and they seldom agree. The heavier counts: else a truck that is filled by the lighter stands
    over its legal payload, and the loads together carry less than the mass that is placed.

    Parameters
    ----------
    loose_t_m3, dry_t_m3 : float
        Bulk density in the truck, and compacted dry density. [t/m³]
    bulking : float, 1 to 2
        Loose over compacted.
    moisture_pct : float, >= 0
        Of the gravel as it is hauled, by dry mass. [%]

    Examples
    --------
    >>> round(hauled_density(1.6, 2.1, 1.25), 3)
    1.68
    >>> hauled_density(1.8, 2.1, 1.25)
    1.8
    """
    density("dry_t_m3", dry_t_m3)
    at_least("moisture_pct", moisture_pct, 0.0)
    from_dry = dry_t_m3 / loose_volume(1.0, bulking) * (1 + moisture_pct / 100)
    return max(density("loose_t_m3", loose_t_m3, 1.0, 2.2), from_dry)


def n_loads(loose_m3: float, load_m3: float) -> int:
    """Loads for a volume, the last one counted whole.

    Examples
    --------
    >>> n_loads(1050.0, 10.0)
    105
    """
    at_least("loose_m3", loose_m3, 0.0)
    positive("load_m3", load_m3)
    return math.ceil(loose_m3 / load_m3 - 1e-9)


def load_length(load_m3: Num, width_m: Num, depth_mm: Num, bulking: Num) -> Num:
    """Length that one load covers: ``s = load / (W t k)``. [m]

    Examples
    --------
    >>> round(load_length(10.0, 7.0, 75.0, 1.25), 2)
    15.24
    """
    positive("load_m3", load_m3)
    return load_m3 / (loose_volume(section_area(width_m, depth_mm), bulking))


def crown_fill(width_m: Num, old_pct: Num, new_pct: Num) -> Num:
    """Compacted gravel to raise a crown by adding it: ``W² (c1 − c0) / 4``. [m³/m]

    Transverse slopes are in percent and fall evenly from the centre to both edges.

    Examples
    --------
    >>> round(crown_fill(7.3, 2.0, 4.0), 4)
    0.2665
    """
    return positive("width_m", width_m) ** 2 * _crown_rise(old_pct, new_pct) / 4


def crown_move(width_m: Num, old_pct: Num, new_pct: Num) -> Num:
    """Gravel to move from the edges to the centre instead: ``W² (c1 − c0) / 16``. [m³/m]

    Examples
    --------
    >>> round(crown_move(7.3, 2.0, 4.0), 4)
    0.0666
    """
    return positive("width_m", width_m) ** 2 * _crown_rise(old_pct, new_pct) / 16


def crown_edge_cut(width_m: Num, old_pct: Num, new_pct: Num) -> Num:
    """Depth cut at the edge when the same gravel is moved: ``W (c1 − c0) / 4``. [mm]

    Examples
    --------
    >>> round(crown_edge_cut(7.3, 2.0, 4.0), 1)
    36.5
    """
    return positive("width_m", width_m) * _crown_rise(old_pct, new_pct) * 250.0


def windrow_volume(base_m: Num, height_m: Num) -> Num:
    """Loose gravel in a triangular windrow, by length: ``b h / 2``. [m³/m]

    Examples
    --------
    >>> windrow_volume(1.2, 0.5)
    0.3
    """
    return positive("base_m", base_m) * positive("height_m", height_m) / 2


def _crown_rise(old_pct: Num, new_pct: Num) -> Num:
    percent("new_pct", new_pct, 0.5, 12.0, called="crossfall")
    within("old_pct", old_pct, -12.0, 12.0)
    return (new_pct - old_pct) * 0.01
