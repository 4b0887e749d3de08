"""What the fleet can bring to a job, worked out once for all jobs."""

from __future__ import annotations

from dataclasses import dataclass
from statistics import median

from crossfall.errors import InputError
from crossfall.model import Fleet, Machine, Place
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
    bodies = [truck.capacity for truck in trucks if truck.capacity > 0]
    payloads = [truck.payload_t for truck in trucks if truck.payload_t > 0]
    tanks = [truck.capacity for truck in water if truck.capacity > 0]
    return Outfit(
        blade_m=min(blades, default=design.grader.default_blade_m),
        work_min=_work_minutes(fleet, policy),
        n_trucks=len(trucks) or design.haul.default_n_trucks,
        body_m3=min(bodies, default=design.haul.default_body_m3),
        payload_t=min(payloads, default=design.haul.default_payload_t),
        truck_mass_t=max((truck.mass_t for truck in trucks), default=0.0),
        n_water_trucks=max(1, len(water)),
        tank_l=min(tanks, default=design.water.default_tank_l),
        water_points=tuple(place for place in fleet.places if place.kind == "water"),
        has_scarifier=any("scarifier" in machine.attachments for machine in graders),
        assumed=tuple(assumed),
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
