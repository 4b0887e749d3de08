"""The top of the road as a bucket: what it holds, how it drains, how deep frost must go.

Water is in millimetres (kg/m²); 1 % of moisture in 150 mm at 2100 kg/m³ is 3.15 mm.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
import numpy.typing as npt

from crossfall.errors import InputError
from crossfall.formulas.runoff import storage_mm
from crossfall.formulas.thaw import freeze_through_c_day

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

WATER_DENSITY_KG_M3 = 1000.0


@dataclass(frozen=True, eq=False)
class Layer:
    """What the balance needs of each segment: arrays of shape (segment,), water in mm."""

    mm_per_pct: Floats
    field_capacity_mm: Floats
    saturation_mm: Floats
    air_dry_mm: Floats
    rew_mm: Floats
    drain_per_day: Floats
    storage_mm: Floats
    et_factor: Floats
    freeze_through_c_day: Floats

    @property
    def n_segments(self) -> int:
        return int(self.field_capacity_mm.shape[0])

    @property
    def tew_mm(self) -> Floats:
        """All the water that can evaporate, from field capacity down to air dry [mm]."""
        return np.asarray(self.field_capacity_mm - self.air_dry_mm)

    def percent(self, water_mm: Floats) -> Floats:
        """Moisture by dry mass [%] of water shaped (..., segment, day)."""
        return np.asarray(water_mm / self.mm_per_pct[:, None])

    def part(self, segments: slice | list[int]) -> Layer:
        """The same for some segments."""
        return Layer(*(getattr(self, each.name)[segments] for each in fields(self)))


def make_layer(
    *,
    thickness_m: Floats,
    dry_density_kg_m3: Floats,
    specific_gravity: Floats,
    optimum_pct: Floats,
    field_capacity_pct: Floats,
    air_dry_pct: Floats,
    rew_mm: Floats,
    drain_per_day: Floats,
    curve_number: Floats,
    et_factor: Floats,
    conductivity_w_m_k: float,
    rew_max_share: float = 0.6,
) -> Layer:
    """Turn materials into millimetres, one entry for each segment.

    Raises
    ------
    InputError
        If air dry, field capacity and saturation are not in that order.

    Examples
    --------
    >>> one = np.ones(1)
    >>> layer = make_layer(thickness_m=0.15 * one, dry_density_kg_m3=2100 * one,
    ...     specific_gravity=2.68 * one, optimum_pct=7 * one, field_capacity_pct=8 * one,
    ...     air_dry_pct=1.5 * one, rew_mm=7 * one, drain_per_day=0.6 * one,
    ...     curve_number=91 * one, et_factor=1.15 * one, conductivity_w_m_k=2.0)
    >>> print(layer.mm_per_pct[0], layer.tew_mm[0])
    3.15 20.475
    """
    mm_per_pct = np.asarray(thickness_m * dry_density_kg_m3 / 100)
    field_capacity = mm_per_pct * field_capacity_pct
    air_dry = mm_per_pct * air_dry_pct
    saturation = mm_per_pct * saturation_pct(dry_density_kg_m3, specific_gravity)
    if not np.all((air_dry < field_capacity) & (field_capacity <= saturation)):
        bad = int(np.flatnonzero(~((air_dry < field_capacity) & (field_capacity <= saturation)))[0])
        raise InputError(
            f"layer {bad}: air dry {air_dry_pct[bad]:g} %, field capacity"
            f" {field_capacity_pct[bad]:g} % and saturation"
            f" {saturation[bad] / mm_per_pct[bad]:.1f} % must rise in that order"
        )
    if not np.all((drain_per_day >= 0) & (drain_per_day < 1)):
        raise InputError("drain_per_day must be 0 or more and below 1")
    return Layer(
        mm_per_pct=mm_per_pct,
        field_capacity_mm=field_capacity,
        saturation_mm=saturation,
        air_dry_mm=air_dry,
        rew_mm=np.minimum(rew_mm, rew_max_share * (field_capacity - air_dry)),
        drain_per_day=np.asarray(drain_per_day, float),
        storage_mm=storage_mm(curve_number),
        et_factor=np.asarray(et_factor, float),
        freeze_through_c_day=freeze_through_c_day(
            thickness_m, dry_density_kg_m3, optimum_pct, conductivity_w_m_k
        ),
    )


def saturation_pct(dry_density_kg_m3: npt.ArrayLike, specific_gravity: npt.ArrayLike) -> Floats:
    """Moisture with every pore full [%]: 100 (rho_w / rho_d - 1 / Gs).

    Examples
    --------
    >>> print(f"{saturation_pct(2100, 2.68):.3f}")
    10.306
    """
    return np.asarray(
        100
        * (WATER_DENSITY_KG_M3 / np.asarray(dry_density_kg_m3) - 1 / np.asarray(specific_gravity))
    )
