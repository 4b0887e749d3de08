"""Water or wait: what a truck would have to bring, and the chance that the sky brings it.

The verdict compares the two for one road and one day. Where it is workable as it is, or may well
be, no water is spoken of. Water that a rain would bring within the
days one is willing to wait is not worth hauling; where no rain is likely, the loads, hours and
cost stand beside the rain that would do the same, so that a person can still say no.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Literal

import numpy as np

from crossfall.errors import InputError
from crossfall.formulas.compaction import water_truck_rate
from crossfall.formulas.moisture_class import MoistureClass
from crossfall.formulas.sun import daylight_hours
from crossfall.formulas.water import WaterDemand, water_demand
from crossfall.judgement.state import MoistureState
from crossfall.model.common import CostRange
from crossfall.model.fleet import Machine
from crossfall.model.network import Segment
from crossfall.model.policy import Policy

Verdict = Literal["water", "wait", "not_needed", "look", "unknown"]


@dataclass(frozen=True, slots=True)
class WateringVerdict:
    """Water or wait, with everything behind it."""

    verdict: Verdict
    demand: WaterDemand | None
    """For one kilometre; None when moisture is unknown or no water is called for."""
    n_loads: int
    """For the whole segment."""
    cycle_min: float
    """Fill, haul, spray and back, for one load [min]."""
    truck_h: float
    """Truck hours for the whole segment [h]."""
    cost: CostRange | None
    p_workable_without: float
    """Chance of a workable day without water, this day and the days one is willing to wait."""
    warning: str
    reason: str


def water_or_wait(
    state: MoistureState,
    segment: Segment,
    day: date,
    truck: Machine,
    policy: Policy,
    *,
    water_km: float,
    worked_depth_mm: float,
    is_for_packing: bool = True,
    from_h: float = 8.0,
    to_h: float = 12.0,
) -> WateringVerdict:
    """Judge one segment on one day.

    Parameters
    ----------
    water_km
        Way from the water point to the segment [km].
    worked_depth_mm
        Depth that will be cut and mixed [mm].
    is_for_packing
        True brings the depth to its optimum; False to the least that shapes.
    from_h, to_h
        Clock times of the work [h].

    Raises
    ------
    InputError
        If the machine is no water truck, or a figure is out of range.
    """
    if truck.kind != "water_truck" or not truck.capacity > 0:
        raise InputError(
            f"machine {truck.id} is no water truck with a tank; its kind: {truck.kind}"
        )
    moisture, practice = policy.moisture, policy.design.water
    at, row = state.day_index(day), state.index(segment.id)
    group = int(state.groups.of_segment[row])
    ahead = state.group_classes[:, group, at : at + 1 + moisture.water_wait_days]
    is_workable = ahead == MoistureClass.WORKABLE
    p_today = float(is_workable[:, 0].mean())
    p_soon = float(is_workable.any(axis=1).mean())
    known = state.group_moisture_pct[:, group, at]
    known = known[np.isfinite(known)]
    if not known.size:
        says = "Nobody knows how wet it is, so nobody knows how much water"
        reason = f"{says}. {state.reason(segment.id, day)}"
        return WateringVerdict("unknown", None, 0, 0.0, 0.0, None, p_soon, "", reason)

    verdict, says = _decide(state, group, at, p_today, p_soon, policy)
    last = day + timedelta(days=ahead.shape[1] - 1)
    if verdict in ("not_needed", "look"):
        today = f"{round(10 * p_today)} in 10 for workable as it is on {day:%A}"
        reason = f"{says}: {today}, {round(10 * p_soon)} in 10 for a workable day by {last:%A}."
        return WateringVerdict(verdict, None, 0, 0.0, 0.0, None, p_soon, "", reason)

    material = moisture.materials[segment.material]
    target = material.optimum_pct - (0.0 if is_for_packing else moisture.band_below_optimum_pct)
    site = int(state.site_of_group[group])
    demand = water_demand(
        float(np.median(known)),
        target,
        worked_depth_mm / 1000,
        material.dry_density_kg_m3,
        segment.width_m,
        float(np.median(state.site_et0_mm[:, site, at])),
        from_h,
        to_h,
        float(daylight_hours(state.stations[site].lat, day.timetuple().tm_yday)),
        loss=moisture.water_loss_share,
        kc=moisture.bare_road_kc,
    )
    litres = demand.litres_per_km * segment.length_m / 1000
    n_loads = int(np.ceil(litres / truck.capacity - 1e-9))
    cycle = practice.fill_min + practice.spray_min + 120 * water_km / truck.travel_km_h
    rate = water_truck_rate(
        truck.capacity / 1000,
        practice.fill_min,
        water_km,
        truck.travel_km_h,
        practice.spray_min,
        policy.design.grader.efficiency,
    )
    hours = litres / 1000 / rate
    costs = policy.costs
    cost = (
        costs.water_truck.cost(hours) + costs.operator.cost(hours) + costs.water.cost(litres / 1000)
    )
    warning = ""
    if demand.applied_mm > moisture.water_warn_mm:
        warning = (
            f"that is a rain's work ({demand.applied_mm:.0f} mm); a cart mostly holds the dust"
        )
    loads = f"{n_loads} load{'' if n_loads == 1 else 's'}"
    figures = (
        f"{round(litres, -2):,.0f} L for {segment.length_m / 1000:.1f} km, {loads},"
        f" {hours:.1f} truck hours, as much as {demand.applied_mm:.1f} mm of rain"
    )
    chance = f"{round(10 * p_soon)} in 10 for a workable day without it by {last:%A}"
    reason = f"{says}: {figures}; {chance}" + (f"; {warning}" if warning else "") + "."
    return WateringVerdict(verdict, demand, n_loads, cycle, hours, cost, p_soon, warning, reason)


def _decide(
    state: MoistureState, group: int, at: int, p_today: float, p_soon: float, policy: Policy
) -> tuple[Verdict, str]:
    enough = policy.moisture.water_wait_chance
    today = state.group_classes[:, group, at]
    if np.isin(today, (MoistureClass.FROZEN, MoistureClass.TOO_WET)).mean() >= enough:
        return "wait", "Wait, it is wet or frozen as it is"
    if p_today >= enough:
        return "not_needed", "Workable without water"
    if p_soon < enough:
        return "water", "Water it, or leave it for a wetter week"
    if _chance_by_rain(state, group, at, policy) >= policy.moisture.water_rain_share * p_soon:
        return "wait", "Wait for rain"
    return "look", "It may be workable already, look first"


def _chance_by_rain(state: MoistureState, group: int, at: int, policy: Policy) -> float:
    """Chance that it is too dry on the day and rain makes it workable soon after."""
    days = slice(at, at + 1 + policy.moisture.water_wait_days)
    is_workable = state.group_classes[:, group, days] == MoistureClass.WORKABLE
    first = np.argmax(is_workable, axis=1)
    member = np.arange(first.size)
    moisture = state.group_moisture_pct[:, group, days]
    is_wetter = moisture[member, first] > moisture[:, 0]
    return float((is_workable.any(axis=1) & (first > 0) & is_wetter).mean())
