"""From moisture to a word a foreman uses: frozen, too wet, workable, drying or dry.

A day is judged by the surface as the shift finds it and by the rain of that day. The same bands
applied at hours of the day tell a morning that is still greasy from a noon that is not.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum

import numpy as np
import numpy.typing as npt

from crossfall.errors import InputError
from crossfall.formulas.drying import evaporate_two_stage
from crossfall.formulas.layer import Layer
from crossfall.formulas.sun import evaporation_share

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]
Classes = npt.NDArray[np.int8]


class MoistureClass(IntEnum):
    """State of the surface for work with a blade."""

    FROZEN = 0
    TOO_WET = 1
    WORKABLE = 2
    DRYING = 3
    DRY = 4
    UNKNOWN = 5

    @property
    def label(self) -> str:
        """In words."""
        return self.name.lower().replace("_", " ")


@dataclass(frozen=True, eq=False)
class Bands:
    """Limits of the classes, shape (segment,) [% by dry mass]."""

    dry_pct: Floats
    lower_pct: Floats
    upper_pct: Floats

    def __post_init__(self) -> None:
        if not np.all((self.dry_pct <= self.lower_pct) & (self.lower_pct < self.upper_pct)):
            raise InputError("bands must rise: dry_pct <= lower_pct < upper_pct")

    def part(self, segments: slice | list[int]) -> Bands:
        """The same for some segments."""
        return Bands(self.dry_pct[segments], self.lower_pct[segments], self.upper_pct[segments])


def workable_bands(
    optimum_pct: Floats,
    saturation_pct: Floats,
    *,
    below_pct: float,
    above_pct: float,
    saturation_share: float,
    dry_share: float,
) -> Bands:
    """Bands around the optimum for compaction.

    Examples
    --------
    >>> bands = workable_bands(np.array([7.0]), np.array([10.306]), below_pct=2.0,
    ...     above_pct=1.5, saturation_share=0.9, dry_share=0.5)
    >>> bands.dry_pct, bands.lower_pct, bands.upper_pct
    (array([3.5]), array([5.]), array([8.5]))
    """
    lower = optimum_pct - below_pct
    return Bands(
        dry_pct=np.minimum(dry_share * optimum_pct, lower),
        lower_pct=lower,
        upper_pct=np.minimum(optimum_pct + above_pct, saturation_share * saturation_pct),
    )


def classify_moisture(
    moisture_pct: Floats,
    rain_mm: npt.ArrayLike,
    is_frozen: Bools,
    is_weak: Bools,
    bands: Bands,
    *,
    rain_limit_mm: float,
) -> Classes:
    """Class for each (..., segment, day).

    Frozen comes first, then thaw-weak or rain above the limit (too wet), then the bands.
    NaN moisture or rain is UNKNOWN, never dry.

    Examples
    --------
    >>> bands = Bands(np.array([3.5]), np.array([5.0]), np.array([8.5]))
    >>> w = np.array([[9.0, 7.0, 4.0, 2.0, np.nan]])
    >>> no = np.zeros(w.shape, bool)
    >>> classify_moisture(w, 0.0, no, no, bands, rain_limit_mm=3.0)
    array([[1, 2, 3, 4, 5]], dtype=int8)
    """
    rain = np.broadcast_to(np.asarray(rain_mm, float), moisture_pct.shape)
    with np.errstate(invalid="ignore"):
        found = np.full(moisture_pct.shape, MoistureClass.DRY, dtype=np.int8)
        found[moisture_pct >= bands.dry_pct[:, None]] = MoistureClass.DRYING
        found[moisture_pct >= bands.lower_pct[:, None]] = MoistureClass.WORKABLE
        found[moisture_pct > bands.upper_pct[:, None]] = MoistureClass.TOO_WET
        found[rain > rain_limit_mm] = MoistureClass.TOO_WET
    found[np.broadcast_to(is_weak, found.shape)] = MoistureClass.TOO_WET
    found[np.broadcast_to(is_frozen, found.shape)] = MoistureClass.FROZEN
    found[np.isnan(moisture_pct) | np.isnan(rain)] = MoistureClass.UNKNOWN
    return found


def moisture_at_hours(
    layer: Layer,
    start_mm: Floats,
    et0_mm: Floats,
    is_frozen: Bools,
    is_weak: Bools,
    hours: tuple[float, ...],
    *,
    daylight_h: float,
) -> Floats:
    """Moisture at clock ``hours`` of a day without rain, shape (hour, ..., segment, day) [%].

    ``start_mm`` is the water at midnight; drainage runs evenly, drying follows the sun.
    """
    capacity = layer.field_capacity_mm[:, None]
    parts = []
    for hour in hours:
        share = 1 - (1 - layer.drain_per_day[:, None]) ** (hour / 24)
        drained = np.where(is_frozen | is_weak, 0.0, share * np.maximum(start_mm - capacity, 0.0))
        potential = layer.et_factor[:, None] * et0_mm * evaporation_share(0.0, hour, daylight_h)
        depletion = evaporate_two_stage(
            capacity - (start_mm - drained),
            np.where(is_frozen, 0.0, potential),
            layer.tew_mm[:, None],
            layer.rew_mm[:, None],
        )
        parts.append(layer.percent(capacity - depletion))
    return np.stack(parts)


def rain_between(rain_hour_mm: Floats, from_h: float, to_h: float) -> Floats:
    """Rain of (..., 24) hours between two clock times, hours begun counted by their share [mm].

    Examples
    --------
    >>> hours = np.zeros(24)
    >>> hours[9], hours[15] = 4.0, 6.0
    >>> print(rain_between(hours, 9.5, 16.0))
    8.0
    """
    hour = np.arange(24)
    share = np.clip(np.minimum(hour + 1, to_h) - np.maximum(hour, from_h), 0.0, 1.0)
    return np.asarray((rain_hour_mm * share).sum(axis=-1))
