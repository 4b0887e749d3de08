"""Grader time and cover: the sums a foreman does on the back of a card."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from crossfall.errors import InputError
from crossfall.formulas.given import at_least, positive
from crossfall.formulas.grader import (
    area_rate,
    blade_hours,
    effective_blade,
    passes_to_cover,
    scarify_depth,
)
from crossfall.formulas.gravel import crown_edge_cut, crown_fill, crown_move
from crossfall.model.policy.design import GraderPractice, ShapePractice


@dataclass(frozen=True, slots=True)
class BladeTime:
    """Hours of a piece of blading, kind by kind."""

    hours_by_operation: tuple[float, ...]
    turn_h: float
    travel_h: float
    length_km: float
    """Road worked, once [km]."""
    shift_h: float
    warnings: tuple[str, ...] = ()

    @property
    def blade_h(self) -> float:
        """Hours with the blade down [h]."""
        return sum(self.hours_by_operation)

    @property
    def total_h(self) -> float:
        """Hours in all [h]."""
        return self.blade_h + self.turn_h + self.travel_h

    @property
    def km_per_day(self) -> float:
        """Road finished in a shift [km]."""
        return self.length_km / self.total_h * self.shift_h

    def summary(self) -> str:
        """One line to read out."""
        return (
            f"{self.total_h:.1f} h ({self.blade_h:.1f} blade down, {self.turn_h:.1f} turning,"
            f" {self.travel_h:.1f} travel), about {self.km_per_day:.1f} km a shift"
        )


def blade_time(
    operations: Sequence[tuple[int, float, float]],
    *,
    efficiency: float,
    turn_min: float = 0.0,
    travel_km: float = 0.0,
    travel_km_h: float = 40.0,
    shift_h: float = 8.0,
    practice: GraderPractice | None = None,
) -> BladeTime:
    """Hours of blading, each kind of pass at its own speed.

    Parameters
    ----------
    operations : sequence of (n_passes, km, km/h)
    efficiency : float, above 0, at most 1
    turn_min : float
        Time to turn around at the end of each pass. [min]
    travel_km, travel_km_h : float
        Way there and back, blade up. [km, km/h]
    shift_h : float
        For the km a day. [h]

    Raises
    ------
    InputError
        If a value is out of range, or a number of passes is not whole.

    Examples
    --------
    >>> blade_time([(2, 1.6, 6.5), (2, 1.6, 7.5)], efficiency=0.83, turn_min=3.0).summary()
    '1.3 h (1.1 blade down, 0.2 turning, 0.0 travel), about 9.8 km a shift'
    """
    practice = practice or GraderPractice()
    hours = blade_hours(operations, efficiency)
    at_least("turn_min", turn_min, 0.0)
    at_least("travel_km", travel_km, 0.0)
    positive("travel_km_h", travel_km_h)
    positive("shift_h", shift_h)
    n_passes = sum(int(each[0]) for each in operations)
    warnings = tuple(
        f"{speed:g} km/h is fast for blading; {practice.speed_low_km_h:g} to"
        f" {practice.speed_high_km_h:g} is usual and faster tends to leave washboard"
        for _, _, speed in operations
        if speed > practice.speed_warn_km_h
    )
    return BladeTime(
        hours_by_operation=hours,
        turn_h=n_passes * turn_min / 60,
        travel_h=travel_km / travel_km_h,
        length_km=max(each[1] for each in operations),
        shift_h=shift_h,
        warnings=warnings,
    )


@dataclass(frozen=True, slots=True)
class Coverage:
    """What one pass covers and how many there must be."""

    effective_m: float
    n_passes: int
    n_passes_even: int
    area_m2_h: float

    def summary(self) -> str:
        """One line to read out."""
        return (
            f"effective blade {self.effective_m:.2f} m, {self.n_passes} passes to cover"
            f" ({self.n_passes_even} if each side is worked with its own traffic),"
            f" {self.area_m2_h:,.0f} m2/h"
        )


def coverage(
    *,
    width_m: float,
    blade_m: float,
    moldboard_deg: float,
    overlap_m: float,
    speed_km_h: float,
    efficiency: float,
) -> Coverage:
    """Effective blade, passes to cover a width, area an hour.

    Examples
    --------
    >>> coverage(width_m=7.2, blade_m=3.66, moldboard_deg=30, overlap_m=0.3, speed_km_h=8,
    ...          efficiency=0.75).n_passes
    3
    """
    effective = effective_blade(blade_m, moldboard_deg)
    return Coverage(
        effective_m=effective,
        n_passes=passes_to_cover(width_m, effective, overlap_m, is_even=False),
        n_passes_even=passes_to_cover(width_m, effective, overlap_m),
        area_m2_h=area_rate(speed_km_h, effective, overlap_m, efficiency),
    )


@dataclass(frozen=True, slots=True)
class Reshape:
    """What it takes to raise a crown."""

    method: Literal["add", "move"]
    m3_per_km: float
    """Compacted gravel added, or moved from the edges to the centre [m³/km]."""
    edge_cut_mm: float
    """Zero when gravel is added [mm]."""
    scarify_mm: float

    def summary(self) -> str:
        """One line to read out."""
        what = "bring in" if self.method == "add" else "move from the edges"
        cut = f", cut {self.edge_cut_mm:.0f} mm at the edges" if self.method == "move" else ""
        return f"{what} {self.m3_per_km:,.0f} m3/km compacted{cut}"


def reshape(
    *,
    width_m: float,
    old_pct: float,
    new_pct: float,
    method: Literal["add", "move"] = "move",
    gravel_mm: float = 100.0,
    scarify_mm: float = 0.0,
    practice: ShapePractice | None = None,
) -> Reshape:
    """Gravel to add or to move so that the crown rises from one transverse slope to another.

    Raises
    ------
    UnitsError
        If a slope looks like a ratio: 0.04 where 4 is meant.
    InputError
        If the new crown is lower, or cutting the edges would go through the gravel.

    Examples
    --------
    >>> reshape(width_m=7.3, old_pct=2, new_pct=4).summary()
    'move from the edges 67 m3/km compacted, cut 36 mm at the edges'
    """
    practice = practice or ShapePractice()
    if method not in ("add", "move"):
        raise InputError(f"method is {method!r}; expected 'add' or 'move'")
    moved = crown_move(width_m, old_pct, new_pct)
    if new_pct < old_pct:
        raise InputError(f"new_pct is {new_pct:g}, below old_pct {old_pct:g}; expected a rise")
    cut = crown_edge_cut(width_m, old_pct, new_pct) if method == "move" else 0.0
    if cut > gravel_mm:
        raise InputError(
            f"raising the crown to {new_pct:g} % by moving cuts {cut:.0f} mm at the edges, but"
            f" gravel_mm is {gravel_mm:g}; add gravel instead"
        )
    return Reshape(
        method=method,
        m3_per_km=1000 * (moved if method == "move" else crown_fill(width_m, old_pct, new_pct)),
        edge_cut_mm=cut,
        scarify_mm=scarify_depth(scarify_mm, gravel_mm, practice.keep_uncut_mm),
    )
