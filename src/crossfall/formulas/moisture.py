"""The water in the top of the road, day by day.

One bucket stands for the top 100 to 150 mm. Rain and melt come in; some runs off, what is above
field capacity drains, and the sun takes its share in two stages: at the full rate while the
surface is wet, then slower and slower (FAO-56 ch. 7). The two stages are integrated exactly
within a step, so that one day and 24 hours give the same answer when no rain falls;
``scheme="explicit"`` reproduces FAO-56's own daily arithmetic instead.

Water is in millimetres (kg/m²); 1 % of moisture in 150 mm at 2100 kg/m³ is 3.15 mm. Arrays are
(member, segment, day); weather is (member, station, day).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from crossfall.errors import InputError
from crossfall.formulas.runoff import runoff_from_storage, storage_mm
from crossfall.formulas.thaw import freeze_through_c_day

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]
Scheme = Literal["exact", "explicit"]

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


@dataclass(frozen=True, eq=False)
class Weather:
    """What the sky does at each station: arrays of shape (member, station, step)."""

    liquid_mm: Floats
    """Rain and melt [mm]."""
    et0_mm: Floats
    """Reference evapotranspiration [mm]."""
    frost_index: Floats
    """At the end of the step [degC d]."""
    is_weak: Bools
    """Thaw-weak; nothing drains."""
    storm_before_mm: Floats | None = None
    """Rain of the same storm before the step, for steps shorter than a day [mm]."""

    def __post_init__(self) -> None:
        shape = self.liquid_mm.shape
        if len(shape) != 3:
            raise InputError(f"liquid_mm has shape {shape}; expected (member, station, step)")
        for name in ("et0_mm", "frost_index", "is_weak", "storm_before_mm"):
            values = getattr(self, name)
            if values is not None and values.shape != shape:
                raise InputError(f"{name} has shape {values.shape}; expected {shape}")
        if not np.all(np.isfinite(self.liquid_mm) & np.isfinite(self.et0_mm)):
            raise InputError("liquid_mm or et0_mm has NaN; missing weather must be bounded first")
        if np.any(self.liquid_mm < 0) or np.any(self.et0_mm < 0):
            raise InputError("liquid_mm or et0_mm is negative; expected >= 0")

    def part(self, members: slice | list[int], steps: slice) -> Weather:
        """The same for some members and steps."""
        before = self.storm_before_mm
        return Weather(
            self.liquid_mm[members, :, steps],
            self.et0_mm[members, :, steps],
            self.frost_index[members, :, steps],
            self.is_weak[members, :, steps],
            None if before is None else before[members, :, steps],
        )


@dataclass(frozen=True, eq=False)
class LayerRun:
    """Water at the step boundaries and the fluxes between them [mm]."""

    water_mm: Floats
    """Shape (member, segment, step + 1); entry 0 is the start."""
    runoff_mm: Floats
    evaporation_mm: Floats
    drainage_mm: Floats

    @property
    def start_mm(self) -> Floats:
        """At the start of each step."""
        return self.water_mm[..., :-1]

    @property
    def end_mm(self) -> Floats:
        """At the end of each step."""
        return self.water_mm[..., 1:]


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


def evaporate_two_stage(
    depletion_mm: npt.ArrayLike,
    potential_mm: npt.ArrayLike,
    tew_mm: npt.ArrayLike,
    rew_mm: npt.ArrayLike,
    *,
    scheme: Scheme = "exact",
) -> Floats:
    """Depletion below field capacity after drying by ``potential_mm`` [mm].

    ``depletion_mm`` may be negative (above field capacity) and at most ``tew_mm``. The rate is
    full while depletion is at most ``rew_mm``, then falls in proportion to what is left (FAO-56
    Eq. 74). ``exact`` integrates this over the step; ``explicit`` takes the rate at its start.

    Examples
    --------
    >>> one_day = evaporate_two_stage(0.0, 6.9, 20.475, 7.0)
    >>> hours = 0.0
    >>> for _ in range(24):
    ...     hours = evaporate_two_stage(hours, 6.9 / 24, 20.475, 7.0)
    >>> print(abs(one_day - hours) < 1e-9)
    True
    """
    depletion = np.asarray(depletion_mm, float)
    potential = np.asarray(potential_mm, float)
    tew, rew = np.asarray(tew_mm, float), np.asarray(rew_mm, float)
    if scheme == "explicit":
        rate = reduction_factor(depletion, tew, rew)
        return np.asarray(np.minimum(depletion + rate * potential, tew))
    first = np.minimum(potential, np.maximum(rew - depletion, 0.0))
    after_first = depletion + first
    return np.asarray(tew - (tew - after_first) * np.exp(-(potential - first) / (tew - rew)))


def reduction_factor(
    depletion_mm: npt.ArrayLike, tew_mm: npt.ArrayLike, rew_mm: npt.ArrayLike
) -> Floats:
    """Evaporation rate over the full rate, 0 to 1; FAO-56 Eq. 74.

    Examples
    --------
    >>> print(f"{reduction_factor(9.45, 20.0, 9.0):.4f}")
    0.9591
    """
    depletion, tew = np.asarray(depletion_mm, float), np.asarray(tew_mm, float)
    return np.asarray(np.clip((tew - depletion) / (tew - np.asarray(rew_mm, float)), 0.0, 1.0))


def run_layer(
    layer: Layer,
    weather: Weather,
    station_of_segment: Ints,
    start_mm: Floats,
    *,
    scheme: Scheme = "exact",
    step_days: float = 1.0,
    rew_factor: Floats | None = None,
) -> LayerRun:
    """Run the balance over all steps: the plain numpy reference.

    Within a step: infiltration and runoff, overflow above saturation, drainage, drying. A layer
    that is frozen at the end of the step neither drains nor dries in it.

    Parameters
    ----------
    layer, weather
        Of the segments and of the stations.
    station_of_segment
        Index of each segment's station, shape (segment,).
    start_mm
        Water at the start, shape (member, segment) [mm], between air dry and saturation.
    step_days
        Length of a step [d]: 1 or 1/24.
    rew_factor
        Multiplies REW for each member, shape (member,).

    Raises
    ------
    InputError
        If a shape does not fit or the start is out of range.
    """
    n_members, _, n_steps = weather.liquid_mm.shape
    water = _checked_start(layer, weather, station_of_segment, start_mm)
    drain_share = 1 - (1 - layer.drain_per_day) ** step_days
    tew = layer.tew_mm
    rew = layer.rew_mm * (np.ones((n_members, 1)) if rew_factor is None else rew_factor[:, None])
    rew = np.minimum(rew, 0.95 * tew)

    shape = (n_steps, n_members, layer.n_segments)
    waters = np.empty((n_steps + 1, n_members, layer.n_segments))
    runoff, evaporation, drainage = np.empty(shape), np.empty(shape), np.empty(shape)
    waters[0] = water
    for step in range(n_steps):
        liquid = weather.liquid_mm[:, station_of_segment, step]
        is_frozen = weather.frost_index[:, station_of_segment, step] >= layer.freeze_through_c_day
        is_weak = weather.is_weak[:, station_of_segment, step]

        off = _runoff(weather, layer, station_of_segment, step, liquid)
        water = water + (liquid - off)
        excess = np.maximum(water - layer.saturation_mm, 0.0)
        water = water - excess
        drained = np.where(
            is_frozen | is_weak,
            0.0,
            drain_share * np.maximum(water - layer.field_capacity_mm, 0.0),
        )
        water = water - drained
        potential = np.where(
            is_frozen, 0.0, layer.et_factor * weather.et0_mm[:, station_of_segment, step]
        )
        depletion = evaporate_two_stage(
            layer.field_capacity_mm - water, potential, tew, rew, scheme=scheme
        )
        dried = layer.field_capacity_mm - depletion
        runoff[step], drainage[step], evaporation[step] = off + excess, drained, water - dried
        water = dried
        waters[step + 1] = water
    return LayerRun(*(np.moveaxis(each, 0, -1) for each in (waters, runoff, evaporation, drainage)))


def _runoff(
    weather: Weather, layer: Layer, station_of_segment: Ints, step: int, liquid: Floats
) -> Floats:
    if weather.storm_before_mm is None:
        return runoff_from_storage(liquid, layer.storage_mm)
    before = weather.storm_before_mm[:, station_of_segment, step]
    return np.asarray(
        runoff_from_storage(before + liquid, layer.storage_mm)
        - runoff_from_storage(before, layer.storage_mm)
    )


def _checked_start(
    layer: Layer, weather: Weather, station_of_segment: Ints, start_mm: Floats
) -> Floats:
    n_members, n_stations, _ = weather.liquid_mm.shape
    if station_of_segment.shape != (layer.n_segments,):
        raise InputError(
            f"station_of_segment has shape {station_of_segment.shape};"
            f" expected ({layer.n_segments},)"
        )
    if station_of_segment.size and not (
        station_of_segment.min() >= 0 and station_of_segment.max() < n_stations
    ):
        raise InputError(f"station_of_segment must be 0 to {n_stations - 1}")
    if start_mm.shape != (n_members, layer.n_segments):
        raise InputError(
            f"start_mm has shape {start_mm.shape}; expected ({n_members}, {layer.n_segments})"
        )
    tiny = 1e-9
    if not np.all((start_mm >= layer.air_dry_mm - tiny) & (start_mm <= layer.saturation_mm + tiny)):
        raise InputError("start_mm must lie between air dry and saturation; maybe it is in percent")
    return start_mm
