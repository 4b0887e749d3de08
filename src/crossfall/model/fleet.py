"""Machines, the people who run them, and the places they start from."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Literal

from crossfall.model.common import Rate
from crossfall.model.need import Treatment

MachineKind = Literal["grader", "water_truck", "roller", "haul_truck", "loader", "excavator"]


@dataclass(frozen=True, slots=True)
class Place:
    """A yard, a camp, a pit or a water point."""

    id: str
    name: str
    kind: Literal["yard", "camp", "pit", "water"]
    lon: float
    lat: float


@dataclass(frozen=True, slots=True)
class GravelPit:
    """Where gravel comes from, and what it costs at the gate."""

    place: Place
    material: str
    price: Rate
    stock_m3: float
    """Loose volume ready to load [m³]."""
    loading_m3_h: float = 90.0


@dataclass(frozen=True, slots=True)
class Machine:
    """One machine. Widths in metres, speeds in km/h, capacity in m³ (trucks) or litres (water)."""

    id: str
    name: str
    kind: MachineKind
    home_id: str
    """The place it stands overnight."""
    blade_m: float = 3.7
    travel_km_h: float = 40.0
    capacity: float = 0.0
    payload_t: float = 0.0
    mass_t: float = 18.0
    attachments: tuple[str, ...] = ()
    """For example ``scarifier``."""
    is_available: bool = True
    note: str = ""


@dataclass(frozen=True, slots=True)
class Operator:
    """A person on the crew, with their hours and what they may do alone."""

    id: str
    name: str
    machine_id: str
    shift_h: float = 8.0
    shift_start_h: float = 6.5
    """Clock time the shift begins [h after midnight]."""
    max_overtime_h: float = 0.0
    skills: tuple[Treatment, ...] = (
        Treatment.BLADING,
        Treatment.RESHAPING,
        Treatment.REGRAVELLING,
    )
    is_trainee: bool = False
    off_days: tuple[date, ...] = ()
    home_district: str = ""


@dataclass(frozen=True, slots=True)
class Fleet:
    """Everything that can be sent out, and where it stands."""

    places: tuple[Place, ...]
    machines: tuple[Machine, ...]
    operators: tuple[Operator, ...]
    pits: tuple[GravelPit, ...] = ()

    @property
    def graders(self) -> tuple[Machine, ...]:
        return tuple(m for m in self.machines if m.kind == "grader" and m.is_available)
