"""Trucks, roller and water truck: who sets the pace, and for how long they are needed."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from crossfall.formulas.compaction import (
    roller_rate,
    spray_speed,
    water_truck_rate,
    water_volume,
)
from crossfall.formulas.given import count, percent, positive, share_of_hour
from crossfall.formulas.hauling import (
    Pace,
    slowest,
    truck_cycle,
    truck_rate,
    trucks_for_loader,
    trucks_to_match,
)

_LEAST_MOISTURE_PCT = 0.3
"""No gravel outdoors is drier than this; a smaller figure is a share."""


@dataclass(frozen=True, slots=True)
class FleetMatch:
    """How many trucks, who is slowest, how long it takes."""

    cycle_min: float
    n_trucks_for_loader: int
    n_trucks_to_match: int
    n_trucks: int
    pace: Pace
    """Loose m³/h, with who waits for whom."""
    hours: float

    def summary(self) -> str:
        """One line to read out."""
        idle = ", ".join(
            f"{name} idle {100 * share:.0f} %"
            for name, share in self.pace.idle_share.items()
            if share > 0.005
        )
        return (
            f"{self.n_trucks} trucks on a {self.cycle_min:.0f}-minute cycle,"
            f" {self.pace.rate:.0f} m3/h loose, {self.hours:.1f} h; slowest:"
            f" {self.pace.bottleneck}{'; ' + idle if idle else ''}"
        )


def fleet(
    *,
    loose_m3: float,
    load_m3: float,
    haul_km: float,
    loaded_km_h: float,
    empty_km_h: float,
    dump_min: float,
    loader_m3_h: float,
    others_m3_h: Mapping[str, float],
    efficiency: float,
    spot_min: float = 0.0,
    n_trucks: int | None = None,
) -> FleetMatch:
    """Match the trucks to the slowest of loader, grader, roller and water.

    Parameters
    ----------
    loose_m3 : float
        To be hauled. [m³]
    loader_m3_h, others_m3_h : float
        What the loader and each other machine can take, loose. [m³/h]
    n_trucks : int, optional
        What there is; the number that matches where it is left out.

    Raises
    ------
    InputError
        If a rate or a time is not possible.

    Examples
    --------
    >>> fleet(loose_m3=1050, load_m3=10, haul_km=12, loaded_km_h=40, empty_km_h=50, dump_min=3,
    ...       loader_m3_h=90, others_m3_h={"grader": 80, "roller": 100}, efficiency=0.83).summary()
    '7 trucks on a 42-minute cycle, 75 m3/h loose, 14.1 h; slowest: loader; grader idle 7 %, \
roller idle 25 %, trucks idle 10 %'
    """
    load_min = 60 * positive("load_m3", load_m3) / positive("loader_m3_h", loader_m3_h)
    share_of_hour("efficiency", efficiency)
    cycle = truck_cycle(load_min, haul_km, loaded_km_h, empty_km_h, dump_min, spot_min)
    rates = {"loader": loader_m3_h * efficiency, **others_m3_h}
    to_match = trucks_to_match(min(rates.values()), load_m3, cycle, efficiency)
    for_loader = trucks_for_loader(cycle, load_min)
    used = min(to_match, for_loader) if n_trucks is None else count("n_trucks", n_trucks)
    rates["trucks"] = truck_rate(used, load_m3, cycle, efficiency)
    pace = slowest(rates)
    hours = positive("loose_m3", loose_m3) / pace.rate
    return FleetMatch(cycle, for_loader, to_match, used, pace, hours)


@dataclass(frozen=True, slots=True)
class Water:
    """Water for a layer, in loads and hours, and as the rain that would do the same."""

    water_m3: float
    n_loads: int
    hours: float
    rain_mm: float
    spray_km_h: float | None
    verdict: str

    def summary(self) -> str:
        """One line to read out."""
        if self.n_loads == 0:
            return self.verdict
        return (
            f"{self.water_m3:.1f} m3 in {self.n_loads} loads, {self.hours:.1f} h of the water"
            f" truck, the same as {self.rain_mm:.0f} mm of rain"
        )


def water(
    *,
    compacted_m3: float,
    area_m2: float,
    dry_t_m3: float,
    now_pct: float,
    target_pct: float,
    allowance: float = 0.0,
    tank_m3: float,
    fill_min: float,
    haul_km: float,
    truck_km_h: float,
    spray_min: float,
    efficiency: float,
    pump_l_min: float | None = None,
    bar_m: float | None = None,
) -> Water:
    """Water to bring a layer to working moisture.

    Raises
    ------
    UnitsError
        If a moisture looks like a share, or a density like kg/m³.
    InputError
        If a value is out of range.

    Examples
    --------
    >>> layer = dict(compacted_m3=840, area_m2=11200, dry_t_m3=2.1, target_pct=7, tank_m3=10,
    ...              fill_min=12, haul_km=8, truck_km_h=40, spray_min=10, efficiency=0.83)
    >>> water(now_pct=3, **layer).summary()
    '70.6 m3 in 8 loads, 6.5 h of the water truck, the same as 6 mm of rain'
    >>> water(now_pct=8, **layer).summary()
    'too wet: let it dry or wait, no water'
    """
    if 0 < now_pct < _LEAST_MOISTURE_PCT:
        percent("now_pct", now_pct, _LEAST_MOISTURE_PCT, 30.0, called="moisture")
    volume = water_volume(compacted_m3, dry_t_m3, now_pct, target_pct, allowance=allowance)
    positive("area_m2", area_m2)
    rate = water_truck_rate(tank_m3, fill_min, haul_km, truck_km_h, spray_min, efficiency)
    loads = math.ceil(volume / tank_m3 - 1e-9)
    if volume > 0:
        verdict = "water"
    elif now_pct > target_pct:
        verdict = "too wet: let it dry or wait, no water"
    else:
        verdict = "moist enough, no water"
    laid = None
    if pump_l_min is not None and bar_m is not None and volume > 0:
        laid = spray_speed(pump_l_min, 1000 * volume / area_m2, bar_m)
    return Water(volume, loads, volume / rate, 1000 * volume / area_m2, laid, verdict)


@dataclass(frozen=True, slots=True)
class Rolling:
    """Output and hours of a roller."""

    m3_h: float
    hours: float

    def summary(self) -> str:
        """One line to read out."""
        return f"{self.m3_h:.0f} m3/h compacted, {self.hours:.1f} h"


def roll(
    *,
    compacted_m3: float,
    drum_m: float,
    overlap_m: float,
    speed_km_h: float,
    lift_mm: float,
    n_passes: int,
    efficiency: float,
) -> Rolling:
    """Output and hours of a roller on one lift.

    Examples
    --------
    >>> roll(compacted_m3=840, drum_m=2.15, overlap_m=0.15, speed_km_h=4, lift_mm=75, n_passes=6,
    ...      efficiency=0.83).summary()
    '83 m3/h compacted, 10.1 h'
    """
    strip = positive("drum_m less overlap_m", drum_m - overlap_m)
    rate = roller_rate(strip, speed_km_h, lift_mm, n_passes, efficiency)
    return Rolling(rate, positive("compacted_m3", compacted_m3) / rate)
