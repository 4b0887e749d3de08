"""A regravel on paper: lifts, volumes in each state, loads and a stake table."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from crossfall.errors import InputError
from crossfall.formulas.given import Floats, at_least, positive
from crossfall.formulas.gravel import (
    hauled_density,
    load_volume,
    loose_volume,
    mass,
    n_lifts,
    n_loads,
    section_area,
)
from crossfall.formulas.stakes import load_starts, volume_between
from crossfall.model.policy.design import GravelPractice


@dataclass(frozen=True, slots=True)
class Width:
    """A stretch of road whose width runs straight from one figure to another."""

    length_m: float
    start_m: float
    end_m: float


@dataclass(frozen=True, slots=True)
class Lift:
    """One layer."""

    number: int
    thickness_mm: float
    compacted_m3: float
    loose_m3: float
    dry_t: float
    n_loads: int
    stakes_m: tuple[float, ...]
    """Chainage at which each load begins; it is dumped up to the next marker [m]."""


@dataclass(frozen=True, slots=True)
class Regravel:
    """Figures of one regravel, each state of volume by its own name."""

    length_m: float
    load_m3: float
    """Loose gravel in a full load [m³]."""
    load_length_m: float
    """Length one full load covers where the road is widest [m]."""
    lifts: tuple[Lift, ...]
    assumed: tuple[str, ...] = ()

    @property
    def compacted_m3(self) -> float:
        return sum(lift.compacted_m3 for lift in self.lifts)

    @property
    def loose_m3(self) -> float:
        return sum(lift.loose_m3 for lift in self.lifts)

    @property
    def dry_t(self) -> float:
        return sum(lift.dry_t for lift in self.lifts)

    @property
    def n_loads(self) -> int:
        return sum(lift.n_loads for lift in self.lifts)

    def summary(self) -> str:
        """Lines to read out."""
        thickness = self.lifts[0].thickness_mm
        return (
            f"{len(self.lifts)} lift(s) of {thickness:.0f} mm compacted over"
            f" {self.length_m:,.0f} m: {self.compacted_m3:,.0f} m3 compacted,"
            f" {self.loose_m3:,.0f} m3 loose, {self.dry_t:,.0f} t dry, {self.n_loads} loads of"
            f" {self.load_m3:.1f} m3 loose"
        )


def regravel(
    *,
    widths: Sequence[Width] | None = None,
    length_m: float | None = None,
    width_m: float | None = None,
    depth_mm: float,
    edge_slope: float = 0.0,
    extra_crown_m: float = 0.0,
    bulking: float,
    dry_t_m3: float,
    loose_t_m3: float,
    body_m3: float,
    payload_t: float,
    limit_t: float | None = None,
    truck_mass_t: float = 0.0,
    bridges: Sequence[tuple[float, float]] = (),
    lift_max_mm: float | None = None,
    practice: GravelPractice | None = None,
) -> Regravel:
    """Lifts, volumes, loads and stakes of a regravel.

    Parameters
    ----------
    widths : sequence of Width, or ``length_m`` and ``width_m``
        The road, stretch by stretch; widenings get the loads that they take. [m]
    depth_mm : float
        Compacted thickness in all. [mm]
    edge_slope : float
        Run-out of each edge, horizontal to vertical.
    extra_crown_m : float
        Rise at the centre beyond the crown that is there, all in the first lift. [m]
    bulking : float, 1 to 2
        Loose over compacted.
    dry_t_m3, loose_t_m3 : float
        Compacted dry density, and bulk density in the truck. [t/m³]
    body_m3, payload_t : float
        One truck. [m³, t]
    limit_t, truck_mass_t : float
        A posted limit on the loaded truck, and the empty truck; both or neither. [t]
    bridges : sequence of (from_m, to_m)
        Decks, which get no gravel. [m]
    lift_max_mm : float
        Thickest lift; the policy's where it is left out. [mm]

    Raises
    ------
    InputError
        If a value is out of range or the road is given twice.

    Examples
    --------
    >>> regravel(length_m=1600, width_m=7, depth_mm=75, bulking=1.25, dry_t_m3=2.1,
    ...          loose_t_m3=1.6, body_m3=10, payload_t=17).summary()
    '1 lift(s) of 75 mm compacted over 1,600 m: 840 m3 compacted, 1,050 m3 loose, 1,764 t dry, \
105 loads of 10.0 m3 loose'
    """
    practice = practice or GravelPractice()
    road = _road(widths, length_m, width_m)
    most = min(lift_max_mm or practice.lift_max_mm, practice.lift_limit_mm)
    number = n_lifts(depth_mm, most)
    thickness = depth_mm / number
    at_least("extra_crown_m", extra_crown_m, 0.0)
    payload = payload_t
    if limit_t is not None:
        payload = min(payload, limit_t - positive("truck_mass_t", truck_mass_t))
    load = load_volume(body_m3, max(payload, 1e-9), hauled_density(loose_t_m3, dry_t_m3, bulking))
    lifts = []
    for index in range(number):
        crown = extra_crown_m if index == 0 else 0.0
        at, area = _profile(road, thickness, edge_slope, crown, bridges)
        compacted = float(volume_between(at, area)[-1])
        if not compacted > 0:
            raise InputError("the bridges cover the whole road; no gravel is placed")
        loose = loose_volume(compacted, bulking)
        loads = n_loads(loose, load)
        lifts.append(
            Lift(
                number=index + 1,
                thickness_mm=thickness,
                compacted_m3=compacted,
                loose_m3=loose,
                dry_t=mass(compacted, dry_t_m3),
                n_loads=loads,
                stakes_m=tuple(load_starts(at, area, loads).tolist()),
            )
        )
    widest = max(max(each.start_m, each.end_m) for each in road)
    full = loose_volume(section_area(widest, thickness, edge_slope=edge_slope), bulking)
    return Regravel(sum(each.length_m for each in road), load, load / full, tuple(lifts))


def _road(
    widths: Sequence[Width] | None, length_m: float | None, width_m: float | None
) -> tuple[Width, ...]:
    if (widths is None) == (length_m is None or width_m is None):
        raise InputError("give either widths, or length_m and width_m")
    if widths is None:
        assert length_m is not None
        assert width_m is not None
        widths = (Width(length_m, width_m, width_m),)
    if not widths:
        raise InputError("widths is empty; expected at least one stretch")
    for each in widths:
        positive("length_m", each.length_m)
        positive("width_m", each.start_m)
        positive("width_m", each.end_m)
    return tuple(widths)


def _profile(
    road: Sequence[Width],
    thickness_mm: float,
    edge_slope: float,
    extra_crown_m: float,
    bridges: Sequence[tuple[float, float]],
) -> tuple[Floats, Floats]:
    """Chainages and areas of one lift, with a step down to nothing at each deck."""
    ends = np.cumsum([0.0, *(each.length_m for each in road)])
    at = np.repeat(ends, 2)[1:-1]
    area: Floats = np.array(
        [
            section_area(width, thickness_mm, extra_crown_m=extra_crown_m, edge_slope=edge_slope)
            for each in road
            for width in (each.start_m, each.end_m)
        ]
    )
    for from_m, to_m in bridges:
        if not 0 <= from_m < to_m <= ends[-1]:
            raise InputError(
                f"a bridge runs from {from_m:g} to {to_m:g} m; expected within 0 to {ends[-1]:g}"
            )
        low, high = np.interp([from_m, to_m], at, area)
        before, behind = at < from_m, at > to_m
        at = np.concatenate([at[before], [from_m, from_m, to_m, to_m], at[behind]])
        area = np.concatenate([area[before], [low, 0.0, 0.0, high], area[behind]])
    return at, area
