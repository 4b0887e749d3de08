"""The years ahead: one strategy for each segment, and what it uses by year."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Strategy:
    """How a segment is kept up over the years."""

    id: str
    name: str
    bladings_per_year: float
    regravel_below_mm: float | None
    """Regravel when thickness falls below this; None never does [mm]."""
    lift_mm: float = 0.0
    has_dust_control: bool = False
    bladings_by_season: tuple[float, ...] = ()
    has_drainage_care: bool = False
    """Ditches are kept up: each is cleaned in its turn."""


@dataclass(frozen=True, slots=True)
class ProgrammeItem:
    """The strategy chosen for one segment and when it is regravelled."""

    segment_id: str
    strategy_id: str
    regravel_years: tuple[int, ...]
    cost_minor: tuple[int, ...]
    """Agency cost by year, minor units."""
    gravel_m3: tuple[float, ...]
    """Compacted gravel placed by year [m³]."""
    gravel_mm_end: float
