"""What a plan comes to: hours by kind, by machine and by board district, worth by road class."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from crossfall.model import Job, Network, Plan

_KINDS = ("work", "travel", "turn", "break", "wait")


@dataclass(frozen=True)
class Figures:
    """Sums over all itineraries."""

    hours: dict[str, float]
    """By kind of leg: work, travel, turn, break, wait [h]."""
    machine_hours: dict[str, float]
    """Out of the yard, by machine [h]."""
    district_hours: dict[str, float]
    """Blade down, by board district; roads without one count under ``""`` [h]."""
    class_worth_h: dict[str, float]
    """Worth of finished stages by road class, before weather and the price of hours [h]."""
    travel_km: float

    @property
    def out_h(self) -> float:
        """Travel, turns and work [h]."""
        return sum(self.hours[kind] for kind in ("work", "travel", "turn"))

    @property
    def deadhead_pct(self) -> float:
        """Share of the hours out that is driven blade up or turned [%]."""
        return 100.0 * (1 - self.hours["work"] / self.out_h) if self.out_h > 0 else 0.0

    def summary(self) -> str:
        """One sentence for the morning."""
        return (
            f"{self.hours['work']:.1f} h blade down of {self.out_h:.1f} h out,"
            f" {self.deadhead_pct:.0f} % on the way or turning, {self.travel_km:.0f} km driven."
        )


def figures_of(plan: Plan, jobs: Sequence[Job], network: Network) -> Figures:
    """Add everything up."""
    hours = dict.fromkeys(_KINDS, 0.0)
    machine_hours: dict[str, float] = {}
    district_hours: dict[str, float] = {}
    travel_m = 0.0
    worked: set[str] = set()
    for itinerary in plan.itineraries:
        for leg in itinerary.legs:
            leg_h = (leg.end_min - leg.start_min) / 60
            hours[leg.kind] += leg_h
            if leg.kind in ("work", "travel", "turn"):
                name = itinerary.machine_id
                machine_hours[name] = machine_hours.get(name, 0.0) + leg_h
            if leg.kind == "travel":
                travel_m += leg.length_m
            if leg.kind == "work" and leg.segment_id is not None:
                district = network.segment_by_id[leg.segment_id].district
                district_hours[district] = district_hours.get(district, 0.0) + leg_h
                worked.add(str(leg.stage_id))
    class_worth: dict[str, float] = {}
    for job in jobs:
        road_class = network.segment_by_id[job.segment_id].road_class
        for stage in job.stages:
            if stage.id in worked:
                share = job.benefit_h * stage.work_min / (60 * job.work_h)
                class_worth[road_class] = class_worth.get(road_class, 0.0) + share
    return Figures(hours, machine_hours, district_hours, class_worth, travel_m / 1000)
