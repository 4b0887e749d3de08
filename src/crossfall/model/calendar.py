"""What else people and machines have to do, and when a road may not be worked."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Literal

from crossfall.errors import InputError

DutyKind = Literal[
    "snow", "mowing", "signs", "patching", "shop", "greasing", "orders", "training", "other"
]
DUTY_KINDS: tuple[DutyKind, ...] = (
    "snow",
    "mowing",
    "signs",
    "patching",
    "shop",
    "greasing",
    "orders",
    "training",
    "other",
)
"""``orders`` are hours of job cards that a crew has in hand."""

_DAY_MIN = 24 * 60


@dataclass(frozen=True, slots=True)
class Reservation:
    """Hours of one day in which a machine, a person or both are spoken for.

    Raises
    ------
    InputError
        If nobody is reserved, or the hours are not within a day or end before they begin.
    """

    id: str
    day: date
    start_min: float
    """Clock [minutes after midnight]."""
    end_min: float
    kind: DutyKind
    machine_id: str | None = None
    operator_id: str | None = None
    note: str = ""

    def __post_init__(self) -> None:
        if not self.machine_id and not self.operator_id:
            raise InputError(f"reservation {self.id} names neither a machine nor an operator")
        if self.kind not in DUTY_KINDS:
            raise InputError(
                f"reservation {self.id} is of kind {self.kind!r}; expected {', '.join(DUTY_KINDS)}"
            )
        if not 0 <= self.start_min < self.end_min <= _DAY_MIN:
            raise InputError(
                f"reservation {self.id} runs from {self.start_min:g} to {self.end_min:g} min;"
                " expected times of one day, the end after the beginning"
            )

    def holds(self, machine_id: str, operator_id: str, day: date) -> bool:
        """Whether it takes hours of this machine or this person on this day."""
        return self.day == day and (
            self.machine_id == machine_id or self.operator_id == operator_id
        )


@dataclass(frozen=True, slots=True)
class OtherWork:
    """Work that only takes hours, on whichever day suits: mowing, signs, a service in the shop.

    Raises
    ------
    InputError
        If nobody can do it, the hours are not positive, or it ends before it begins.
    """

    id: str
    kind: DutyKind
    hours: float
    who: tuple[str, ...]
    """Ids of machines or operators, any one of which does it."""
    first_day: date
    last_day: date
    note: str = ""

    def __post_init__(self) -> None:
        if not self.who:
            raise InputError(f"other work {self.id} names nobody who could do it")
        if self.kind not in DUTY_KINDS:
            raise InputError(
                f"other work {self.id} is of kind {self.kind!r}; expected {', '.join(DUTY_KINDS)}"
            )
        if not 0 < self.hours <= 24:
            raise InputError(f"other work {self.id} takes {self.hours:g} h; expected 0 to 24")
        if self.last_day < self.first_day:
            raise InputError(
                f"other work {self.id} ends {self.last_day}, before it begins {self.first_day}"
            )


@dataclass(frozen=True, slots=True)
class RoadBan:
    """Hours in which no blade is down on some roads: the school bus, harvest, a market day.

    Raises
    ------
    InputError
        If no road or weekday is named, or the hours are not within a day.
    """

    id: str
    segment_ids: tuple[str, ...]
    start_min: float
    """Clock [minutes after midnight]."""
    end_min: float
    reason: str
    weekdays: tuple[int, ...] = (0, 1, 2, 3, 4)
    """0 for Monday to 6 for Sunday."""
    first_day: date | None = None
    last_day: date | None = None

    def __post_init__(self) -> None:
        if not self.segment_ids:
            raise InputError(f"ban {self.id} names no road")
        if not self.weekdays or not set(self.weekdays) <= set(range(7)):
            raise InputError(
                f"ban {self.id} is for weekdays {self.weekdays}; expected 0 (Monday) to 6 (Sunday)"
            )
        if not 0 <= self.start_min < self.end_min <= _DAY_MIN:
            raise InputError(
                f"ban {self.id} runs from {self.start_min:g} to {self.end_min:g} min; expected"
                " times of one day, the end after the beginning"
            )
        if self.first_day and self.last_day and self.last_day < self.first_day:
            raise InputError(f"ban {self.id} ends {self.last_day}, before {self.first_day}")

    def holds(self, segment_id: str, day: date) -> bool:
        """Whether it bars work on a segment on a day."""
        return (
            segment_id in self.segment_ids
            and day.weekday() in self.weekdays
            and (self.first_day is None or day >= self.first_day)
            and (self.last_day is None or day <= self.last_day)
        )


@dataclass(frozen=True, slots=True)
class CrewCalendar:
    """Everything the week has to be planned around."""

    reservations: tuple[Reservation, ...] = ()
    other_work: tuple[OtherWork, ...] = ()
    bans: tuple[RoadBan, ...] = ()

    def as_promised(self, reserved: Sequence[Reservation]) -> CrewCalendar:
        """The calendar with other work where a plan in force has put it."""
        held = {each.id: each for each in (*self.reservations, *reserved)}
        return CrewCalendar(tuple(held.values()), bans=self.bans)

    def between(self, first_day: date, last_day: date) -> CrewCalendar:
        """What touches some days."""
        return CrewCalendar(
            tuple(r for r in self.reservations if first_day <= r.day <= last_day),
            tuple(
                w for w in self.other_work if w.first_day <= last_day and w.last_day >= first_day
            ),
            tuple(
                b
                for b in self.bans
                if (b.first_day is None or b.first_day <= last_day)
                and (b.last_day is None or b.last_day >= first_day)
            ),
        )


def free_stretches(
    start_min: float, end_min: float, taken: Sequence[tuple[float, float]]
) -> list[tuple[float, float]]:
    """What is left of a span of hours when others have taken theirs, in order.

    Examples
    --------
    >>> free_stretches(390, 990, [(600, 660), (360, 420)])
    [(420, 600), (660, 990)]
    """
    left: list[tuple[float, float]] = []
    at = start_min
    for begin, end in sorted(taken):
        if begin > at:
            left.append((at, min(begin, end_min)))
        at = max(at, end)
    if at < end_min:
        left.append((at, end_min))
    return [(begin, end) for begin, end in left if begin < end]


def days_between(first_day: date, last_day: date) -> list[date]:
    """Every day from one to another, both included."""
    return [first_day + timedelta(days=n) for n in range((last_day - first_day).days + 1)]
