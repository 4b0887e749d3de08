"""Work that is let: what is paid by, what came over the scale, who looked and who signed."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from crossfall.errors import InputError


@dataclass(frozen=True, slots=True)
class BidItem:
    """One line of a contract, by the unit that is measured for payment."""

    number: int
    name: str
    quantity: float
    unit: str


@dataclass(frozen=True, slots=True)
class ScaleTicket:
    """One load over a scale."""

    number: str
    day: date
    net_t: float
    """As weighed, with its water [t]."""


@dataclass(frozen=True, slots=True)
class HoldPoint:
    """Where work stops until a named person has looked."""

    name: str
    seen_by: str = ""
    seen_on: date | None = None


@dataclass(frozen=True, slots=True)
class Contract:
    """A job that somebody else does, from the order to the acceptance.

    Raises
    ------
    InputError
        If it is accepted without a name or a day, or a ticket is there twice.
    """

    id: str
    segment_id: str
    title: str
    contractor: str
    ordered_loads: int
    ordered_dry_t: float
    wanted_mm: float
    """Compacted depth [mm]."""
    items: tuple[BidItem, ...] = ()
    hold_points: tuple[HoldPoint, ...] = ()
    moisture_pct: float = 0.0
    """Water in the gravel as weighed, by dry mass; it is not paid for [%]."""
    tickets: tuple[ScaleTicket, ...] = ()
    depths_mm: tuple[float, ...] = ()
    """Compacted depths dug [mm]."""
    accepted_by: str = ""
    accepted_on: date | None = None
    note: str = ""

    def __post_init__(self) -> None:
        numbers = [ticket.number for ticket in self.tickets]
        if len(set(numbers)) < len(numbers):
            twice = next(number for number in numbers if numbers.count(number) > 1)
            raise InputError(f"ticket {twice} is there twice; it would be paid twice")
        if bool(self.accepted_by.strip()) != (self.accepted_on is not None):
            raise InputError(f"contract {self.id} is accepted by a named person on a day, or not")

    @property
    def open_holds(self) -> tuple[str, ...]:
        """Hold points that nobody has looked at yet, in order."""
        return tuple(each.name for each in self.hold_points if each.seen_on is None)
