"""What the fleet can bring to a job, worked out once for all jobs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from statistics import median

from crossfall.errors import InputError
from crossfall.model import Fleet, Machine, Place, Stage
from crossfall.model.fleet import MachineKind
from crossfall.model.policy import Policy


@dataclass(frozen=True, slots=True)
class Outfit:
    """Typical machines of one fleet; a design must suit whichever grader the plan sends."""

    blade_m: float
    """Shortest moldboard among the graders [m]."""
    work_min: float
    """Minutes of a shift left for a stage, after checks, breaks and travel [min]."""
    n_trucks: int
    body_m3: float
    """Smallest truck body, loose [m³]."""
    payload_t: float
    truck_mass_t: float
    """Mass of an empty truck [t]."""
    n_water_trucks: int
    tank_l: float
    water_points: tuple[Place, ...]
    has_scarifier: bool
    assumed: tuple[str, ...]
    """What had to be assumed because the fleet does not say."""
    missing: Mapping[str, str]
    """Of each kind of machine that the fleet does not list, what is taken instead."""

    def full_truck_t(self, loose_t_m3: float) -> float:
        """Mass of a truck with the load that its body and its payload let it have [t]."""
        return self.truck_mass_t + min(self.payload_t, self.body_m3 * loose_t_m3)

    def assumed_of(self, stages: Sequence[Stage]) -> tuple[str, ...]:
        """What some stages rest on because the machines they ask for are not listed."""
        kinds = {each.kind for stage in stages for each in stage.support}
        return tuple(text for kind, text in self.missing.items() if kind in kinds)


def outfit_of(fleet: Fleet, policy: Policy) -> Outfit:
    """See what the fleet offers; where it says nothing, take the policy's figure and say so.

    Raises
    ------
    InputError
        If the shift is shorter than the time that checks, breaks and travel take.
    """
    design, assumed = policy.design, []
    graders = fleet.graders
    trucks, water = _of(fleet, "haul_truck"), _of(fleet, "water_truck")
    blades = [machine.blade_m for machine in graders]
    if not blades:
        assumed.append(f"no grader is known; a {design.grader.default_blade_m:g} m moldboard")
    haul = design.haul
    missing = {
        "haul_truck": f"the fleet lists no truck: {haul.default_n_trucks} of"
        f" {haul.default_body_m3:g} m3 and {haul.default_payload_t:g} t are assumed, to be hired",
        "water_truck": "the fleet lists no water truck: one of"
        f" {design.water.default_tank_l:,.0f} L is assumed, to be hired",
        "roller": f"the fleet lists no roller: one with a drum of {design.rolling.drum_m:g} m is"
        " assumed, to be hired",
    }
    listed = {machine.kind for machine in fleet.machines if machine.is_available}
    bodies = [truck.capacity for truck in trucks if truck.capacity > 0]
    payloads = [truck.payload_t for truck in trucks if truck.payload_t > 0]
    tanks = [truck.capacity for truck in water if truck.capacity > 0]
    return Outfit(
        blade_m=min(blades, default=design.grader.default_blade_m),
        work_min=_work_minutes(fleet, policy),
        n_trucks=len(trucks) or design.haul.default_n_trucks,
        body_m3=min(bodies, default=design.haul.default_body_m3),
        payload_t=min(payloads, default=design.haul.default_payload_t),
        truck_mass_t=max((t.mass_t for t in trucks), default=haul.default_truck_t),
        n_water_trucks=max(1, len(water)),
        tank_l=min(tanks, default=design.water.default_tank_l),
        water_points=tuple(place for place in fleet.places if place.kind == "water"),
        has_scarifier=any("scarifier" in machine.attachments for machine in graders),
        assumed=tuple(assumed),
        missing={kind: text for kind, text in missing.items() if kind not in listed},
    )


def _of(fleet: Fleet, kind: MachineKind) -> list[Machine]:
    return [each for each in fleet.machines if each.kind == kind and each.is_available]


def _work_minutes(fleet: Fleet, policy: Policy) -> float:
    graders = {machine.id for machine in fleet.graders}
    shifts = [op.shift_h for op in fleet.operators if op.machine_id in graders]
    shift_h = median(shifts) if shifts else policy.design.stage.default_shift_h
    work_h = shift_h - policy.design.stage.overhead_h
    if not work_h > 0:
        raise InputError(
            f"shift_h is {shift_h:g}; expected more than the"
            f" {policy.design.stage.overhead_h:g} h that checks, breaks and travel take"
        )
    return 60 * work_h
