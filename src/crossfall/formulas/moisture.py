"""The water in the top of the road, step by step.

Rain and melt come in; some runs off, what is above field capacity drains, and the sun takes its
share. Within a step the order is: infiltration and runoff, overflow above saturation, drainage,
drying. A layer that is frozen at the end of the step neither drains nor dries in it; a thaw-weak
one does not drain.

Layer properties are (segment,); weather is (member, station, step); results are (member,
segment, step). A step is a day or an hour. :func:`run_layer` has a plain numpy form, the
reference, and a compiled one for large runs; both give the same numbers.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from crossfall.errors import InputError
from crossfall.formulas.drying import Scheme, evaporate_two_stage
from crossfall.formulas.layer import Layer
from crossfall.formulas.moisture_kernel import layer_steps
from crossfall.formulas.runoff import runoff_from_storage

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]
Engine = Literal["auto", "numpy", "numba"]
Drains = Literal["evenly", "by_day"]

COMPILED_FROM = 5_000_000
"""Segment-steps above which ``auto`` takes the compiled form; below it is not worth loading."""
REW_SHARE_MOST = 0.95
"""REW stays below TEW whatever a member's factor, or the second stage would have no length."""


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
    """Shape (member, segment, step), or (member, segment, 1) for the total alone; so are the
    other fluxes."""
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

    def imbalance_mm(self, weather: Weather, station_of_segment: Ints) -> float:
        """Largest water gained or lost by the arithmetic over the whole run [mm]."""
        come = weather.liquid_mm.sum(axis=-1)[:, station_of_segment]
        gone = sum(
            each.sum(axis=-1) for each in (self.runoff_mm, self.evaporation_mm, self.drainage_mm)
        )
        kept = self.water_mm[..., -1] - self.water_mm[..., 0]
        return float(np.max(np.abs(come - gone - kept), initial=0.0))


def run_layer(
    layer: Layer,
    weather: Weather,
    station_of_segment: Ints,
    start_mm: Floats,
    *,
    scheme: Scheme = "exact",
    step_days: float = 1.0,
    rew_factor: Floats | None = None,
    keep_fluxes: bool = True,
    engine: Engine = "auto",
    drains: Drains = "evenly",
) -> LayerRun:
    """Run the balance over all steps.

    Parameters
    ----------
    layer, weather
        Of the segments and of the stations.
    station_of_segment
        Index of each segment's station, shape (segment,).
    start_mm
        Water at the start, shape (member, segment) [mm], between air dry and saturation.
    scheme
        ``exact`` or, to reproduce FAO-56 arithmetic, ``explicit``.
    step_days
        Length of a step [d]: 1 or 1/24.
    rew_factor
        Multiplies REW for each member, shape (member,).
    keep_fluxes
        False keeps only the total of each flux, for long runs.
    engine
        ``numpy`` is the reference, ``numba`` the compiled loop, ``auto`` picks by size.
    drains
        For steps shorter than a day. ``evenly`` lets what is above field capacity drain in every
        step, so drying and drainage share it and a wet layer ends the day otherwise than in one
        step. ``by_day`` takes the day's share of what its first step finds, as a daily step does,
        and in later steps only drains what comes on top: where no water comes after the first
        step, the day ends exactly where a daily step ends. The run must begin at midnight.

    Raises
    ------
    InputError
        If a shape does not fit, the start is out of range or an option is unknown.

    Examples
    --------
    A day of 25 mm on a dry road (2.5 %), then drying at 2 mm/d; a check value of the method:

    >>> from crossfall.formulas.layer import make_layer
    >>> one = np.ones(1)
    >>> layer = make_layer(thickness_m=0.15 * one, dry_density_kg_m3=2100 * one,
    ...     specific_gravity=2.68 * one, optimum_pct=7 * one, field_capacity_pct=8 * one,
    ...     air_dry_pct=1.5 * one, rew_mm=7 * one, drain_per_day=0.6 * one,
    ...     curve_number=91 * one, et_factor=1.15 * one, conductivity_w_m_k=2.0)
    >>> day = np.ones((1, 1, 1))
    >>> weather = Weather(25 * day, 2 * day, 0 * day, day > 1)
    >>> run = run_layer(layer, weather, np.array([0]), np.array([[2.5 * 3.15]]))
    >>> print(f"{layer.percent(run.end_mm).item():.2f} %")
    6.90 %
    """
    start = _checked_start(layer, weather, station_of_segment, start_mm)
    _check_options(scheme, step_days, engine, drains)
    n_members, _, n_steps = weather.liquid_mm.shape
    drain_share = 1 - (1 - layer.drain_per_day) ** step_days
    factor = np.ones(n_members) if rew_factor is None else np.asarray(rew_factor, float)
    if factor.shape != (n_members,) or not np.all(factor > 0):
        raise InputError(f"rew_factor must be {n_members} figures above 0, one for each member")
    rew = np.minimum(layer.rew_mm * factor[:, None], REW_SHARE_MOST * layer.tew_mm)
    is_compiled = engine == "numba" or (
        engine == "auto" and n_members * layer.n_segments * n_steps >= COMPILED_FROM
    )
    run = _run_compiled if is_compiled else _run_numpy
    steps_a_day = round(1 / step_days) if drains == "by_day" else 0
    return run(
        layer, weather, station_of_segment, start, drain_share, rew, scheme, keep_fluxes,
        steps_a_day,
    )  # fmt: skip


def run_in_chunks(
    layer: Layer,
    weather: Weather,
    station_of_segment: Ints,
    start_mm: Floats,
    *,
    n_segments: int = 20_000,
    scheme: Scheme = "exact",
    step_days: float = 1.0,
    rew_factor: Floats | None = None,
    keep_fluxes: bool = False,
    engine: Engine = "auto",
) -> Iterator[tuple[slice, LayerRun]]:
    """The same for any number of segments in bounded memory: one chunk of segments at a time.

    Yields the chunk and its run; take what is needed and let the run go.
    """
    if n_segments < 1:
        raise InputError(f"n_segments is {n_segments}; expected 1 or more")
    for first in range(0, layer.n_segments, n_segments):
        chunk = slice(first, min(first + n_segments, layer.n_segments))
        yield (
            chunk,
            run_layer(
                layer.part(chunk),
                weather,
                station_of_segment[chunk],
                start_mm[:, chunk],
                scheme=scheme,
                step_days=step_days,
                rew_factor=rew_factor,
                keep_fluxes=keep_fluxes,
                engine=engine,
            ),
        )


def _run_numpy(
    layer: Layer,
    weather: Weather,
    station: Ints,
    start: Floats,
    drain_share: Floats,
    rew: Floats,
    scheme: Scheme,
    keep_fluxes: bool,
    steps_a_day: int,
) -> LayerRun:
    n_steps = weather.liquid_mm.shape[-1]
    shape = (n_steps if keep_fluxes else 1, *start.shape)
    waters = np.empty((n_steps + 1, *start.shape))
    runoff, evaporation, drainage = np.zeros(shape), np.zeros(shape), np.zeros(shape)
    water = waters[0] = start
    held = np.zeros(start.shape)
    for step in range(n_steps):
        is_dawn = steps_a_day > 0 and step % steps_a_day == 0
        if is_dawn:
            held = np.zeros(start.shape)
        liquid = weather.liquid_mm[:, station, step]
        is_frozen = weather.frost_index[:, station, step] >= layer.freeze_through_c_day
        is_shut = is_frozen | weather.is_weak[:, station, step]

        off = runoff_from_storage(liquid, layer.storage_mm)
        if weather.storm_before_mm is not None:
            before = weather.storm_before_mm[:, station, step]
            off = runoff_from_storage(before + liquid, layer.storage_mm) - runoff_from_storage(
                before, layer.storage_mm
            )
        water = water + (liquid - off)
        excess = np.maximum(water - layer.saturation_mm, 0.0)
        water = water - excess
        share = layer.drain_per_day if is_dawn else drain_share
        drained = share * np.maximum(water - layer.field_capacity_mm - held, 0.0)
        drained[is_shut] = 0.0
        water = water - drained
        if is_dawn:
            held = np.where(is_frozen, 0.0, np.maximum(water - layer.field_capacity_mm, 0.0))
        potential = layer.et_factor * weather.et0_mm[:, station, step]
        potential[is_frozen] = 0.0
        dried = layer.field_capacity_mm - evaporate_two_stage(
            layer.field_capacity_mm - water, potential, layer.tew_mm, rew, scheme=scheme
        )
        at = step if keep_fluxes else 0
        runoff[at] += off + excess
        drainage[at] += drained
        evaporation[at] += water - dried
        water = waters[step + 1] = dried
        held = np.minimum(held, np.maximum(water - layer.field_capacity_mm, 0.0))
    return LayerRun(*(np.moveaxis(each, 0, -1) for each in (waters, runoff, evaporation, drainage)))


def _run_compiled(
    layer: Layer,
    weather: Weather,
    station: Ints,
    start: Floats,
    drain_share: Floats,
    rew: Floats,
    scheme: Scheme,
    keep_fluxes: bool,
    steps_a_day: int,
) -> LayerRun:
    n_steps = weather.liquid_mm.shape[-1]
    waters = np.empty((*start.shape, n_steps + 1))
    waters[..., 0] = start
    shape = (*start.shape, n_steps if keep_fluxes else 1)
    runoff, evaporation, drainage = np.zeros(shape), np.zeros(shape), np.zeros(shape)
    before = weather.storm_before_mm
    layer_steps(
        np.ascontiguousarray(weather.liquid_mm),
        np.zeros((0, 0, 0)) if before is None else np.ascontiguousarray(before),
        np.ascontiguousarray(weather.et0_mm),
        np.ascontiguousarray(weather.frost_index),
        np.ascontiguousarray(weather.is_weak),
        np.ascontiguousarray(station),
        layer.field_capacity_mm,
        layer.saturation_mm,
        layer.tew_mm,
        np.ascontiguousarray(rew),
        drain_share,
        layer.storage_mm,
        layer.et_factor,
        layer.freeze_through_c_day,
        scheme == "exact",
        keep_fluxes,
        np.ascontiguousarray(layer.drain_per_day),
        steps_a_day,
        waters,
        runoff,
        evaporation,
        drainage,
    )
    return LayerRun(waters, runoff, evaporation, drainage)


def _check_options(scheme: str, step_days: float, engine: str, drains: str) -> None:
    if scheme not in ("exact", "explicit"):
        raise InputError(f"scheme is {scheme!r}; expected exact or explicit")
    if engine not in ("auto", "numpy", "numba"):
        raise InputError(f"engine is {engine!r}; expected auto, numpy or numba")
    if drains not in ("evenly", "by_day"):
        raise InputError(f"drains is {drains!r}; expected evenly or by_day")
    if not 0 < step_days <= 1:
        raise InputError(f"step_days is {step_days:g}; expected 1 for days or 1/24 for hours")


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
