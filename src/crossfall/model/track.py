"""What stays of a machine's track: the sums of a day. Times and places of it are not kept here."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Literal

from crossfall.errors import InputError
from crossfall.model.network import RoadClass

BladeSource = Literal["known", "inferred"]
"""Whether a device said that the blade was down, or its speed only suggests it."""


@dataclass(frozen=True, slots=True)
class ClassTravel:
    """Travel with the blade up on roads of one class; shunting and standing are left out."""

    road_class: RoadClass
    km: float
    hours: float

    @property
    def km_h(self) -> float:
        return self.km / self.hours if self.hours > 0 else 0.0


@dataclass(frozen=True, slots=True)
class MachineDay:
    """What a track or a counter said of one machine on one day.

    Raises
    ------
    InputError
        If a figure is negative.
    """

    id: str
    machine_id: str
    day: date
    work_h: float
    """Blade down and moving [h]."""
    travel_h: float
    """Blade up and moving [h]."""
    standing_h: float
    """Switched on and still [h]."""
    work_km: float
    """Driven with the blade down: wear of the cutting edge [km]."""
    travel_km: float
    """Deadhead: driven with the blade up [km]."""
    travel: tuple[ClassTravel, ...] = ()
    blade: BladeSource = "known"
    engine_h: float | None = None
    """What the hour meter rose by; None where no snapshot says [h]."""
    fuel_l: float | None = None
    """Fuel used; None where no snapshot says [L]."""
    source: str = ""
    """The file it came from."""

    def __post_init__(self) -> None:
        for name in ("work_h", "travel_h", "standing_h", "work_km", "travel_km"):
            if not getattr(self, name) >= 0:
                raise InputError(
                    f"{name} of machine {self.machine_id} on {self.day} is"
                    f" {getattr(self, name):g}; expected 0 or more"
                )
