"""A week's plan: who goes where, pass by pass, and what was left out and why."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from typing import Literal

from crossfall.model.calendar import Reservation
from crossfall.model.wish import PlanWish

LegKind = Literal["travel", "work", "turn", "break", "wait"]

Binding = Literal[
    "no_workable_day",
    "higher_priorities",
    "not_worth_hours",
    "too_long_for_shift",
    "no_machine",
    "no_operator",
    "no_support",
    "unreachable",
    "waits_for_other_work",
    "engineer_to_confirm",
    "road_class_closed",
    "time_ran_out",
    "barred_hours",
    "no_clearance",
    "kept_out",
]


@dataclass(frozen=True, slots=True)
class Leg:
    """One unbroken thing a machine does. Times are minutes after midnight of the day."""

    kind: LegKind
    start_min: float
    end_min: float
    from_node: str
    to_node: str
    segment_id: str | None = None
    stage_id: str | None = None
    pass_number: int | None = None
    """1 for the first pass of the stage."""
    is_forward: bool = True
    """Along increasing measure; with traffic this is the right-hand side facing that way."""
    length_m: float = 0.0
    from_m: float | None = None
    """Where on the segment the leg begins, metres from the segment's start; None off a segment."""
    to_m: float | None = None
    """Where on the segment it ends. Between the ends, the nodes are those behind and ahead."""


@dataclass(frozen=True, slots=True)
class Itinerary:
    """One machine's day with one operator."""

    machine_id: str
    operator_id: str
    day: date
    legs: tuple[Leg, ...]

    def minutes(self, kind: LegKind) -> float:
        """Total minutes of one kind of leg [min]."""
        return sum(leg.end_min - leg.start_min for leg in self.legs if leg.kind == kind)

    @property
    def stage_ids(self) -> tuple[str, ...]:
        """Stages worked this day, in order of their first pass."""
        return tuple(dict.fromkeys(leg.stage_id for leg in self.legs if leg.stage_id is not None))


@dataclass(frozen=True, slots=True)
class SupportBooking:
    """A water truck, roller or truck promised to a stage on a day.

    It is bound to the stage from ``start_min`` to ``end_min`` (minutes after midnight): from the
    first pass to the last, and for ``hours`` if those are longer. It serves nothing else then.
    """

    stage_id: str
    day: date
    machine_id: str
    hours: float
    start_min: float = 0.0
    end_min: float = 0.0


@dataclass(frozen=True, slots=True)
class Stay:
    """A machine that stands out overnight; its operator rides home and back by pickup."""

    machine_id: str
    night_of: date
    """The day after whose work it stays."""
    node: str
    place_id: str = ""
    """The camp; empty where its last job of the day ended."""
    shuttle_min: float = 0.0
    """Minutes of one ride; one is in the evening's shift, one in the next morning's [min]."""


@dataclass(frozen=True, slots=True)
class Unserved:
    """A job, or what is left of it, that this plan does not do; words fit for a public record."""

    job_id: str
    segment_id: str
    binding: Binding
    reason: str
    would_change: str = ""
    """What would have to be different for it to be done."""
    n_stages_done: int = 0


@dataclass(frozen=True, slots=True)
class Violation:
    """A rule that a plan breaks, found by the checker."""

    rule: str
    where: str
    message: str


@dataclass(frozen=True, slots=True)
class Plan:
    """Who does what on which day. A plan with violations is never shown as one."""

    id: str
    made_at: datetime
    first_day: date
    n_days: int
    itineraries: tuple[Itinerary, ...]
    bookings: tuple[SupportBooking, ...]
    served: tuple[str, ...]
    """Ids of jobs all of whose stages are in the plan."""
    unserved: tuple[Unserved, ...]
    benefit_h: float
    """Worth of the work in the plan less the price of its hours, grader-hours equivalent [h]."""
    benefit_bound_h: float
    """No plan under the same rules can be worth more than this [h]."""
    seed: int
    policy_version: str = ""
    note: str = ""
    wishes: tuple[PlanWish, ...] = ()
    """What people asked for when it was made: kept there, or kept out."""
    reserved: tuple[Reservation, ...] = ()
    """Hours that machines and people had for something else, other work included."""
    stays: tuple[Stay, ...] = ()
    """Machines that do not come home at night."""

    @property
    def gap_pct(self) -> float:
        """How much better any plan could be at most, of the bound [%]."""
        if self.benefit_bound_h <= 0:
            return 0.0
        return max(0.0, 100.0 * (1 - self.benefit_h / self.benefit_bound_h))
