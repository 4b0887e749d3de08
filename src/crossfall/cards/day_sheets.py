"""One sheet for each person and day: what to drive, do and bring, in order of the clock.

The grader's sheet follows the passes as they are driven, so that passes of two roads that take
turns stand in turn. Drivers of trucks, of water and of rollers get theirs from what was promised
to each stage, with how many loads or litres are theirs.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from crossfall.cards.clock import clock
from crossfall.cards.sketch import heading
from crossfall.design.words import cubic_metres, litres, metres, span
from crossfall.model import (
    District,
    Itinerary,
    Job,
    JobCard,
    Leg,
    Machine,
    Plan,
    Stage,
    SupportBooking,
)

_KINDS = ("grader", "haul_truck", "water_truck", "roller", "loader", "excavator")
_TURNED = {
    "eastbound": "westbound",
    "westbound": "eastbound",
    "northbound": "southbound",
    "southbound": "northbound",
}
_KEEP = (
    "Seat belt on; walk round before moving; pull over for a queue",
    "Phone only when stopped, bed or blade down, brake set",
    "Thunder heard: stop, stay in the cab, off high ground",
)
_BY_KIND = {
    "haul_truck": (
        "Look up before lifting the bed; bed down before driving on",
        "Back only with one spotter and one signal",
        "Pit rules hold in the pit; keep to the posted limits on the way",
    ),
    "water_truck": ("Even spray, never standing still; none near wells and streams",),
    "roller": ("Edges first; off the soft shoulder; nobody on foot behind",),
    "grader": ("No windrow left in the travelled way at shift end",),
}


@dataclass(frozen=True, slots=True)
class DayLine:
    """One thing to do."""

    start: str
    end: str
    kind: str
    """``drive``, ``work``, ``break`` or ``wait``."""
    what: str
    where: str = ""
    detail: str = ""
    card: int | None = None
    """Number of the card that says how."""


@dataclass(frozen=True, slots=True)
class DaySheet:
    """One person's day with one machine."""

    day: date
    operator: str
    machine: str
    kind: str
    start: str
    end: str
    lines: tuple[DayLine, ...]
    keep: tuple[str, ...]
    """What to keep to; local codes govern."""
    plan_id: str
    made_at: datetime
    is_invented: bool = False


def make_day_sheets(
    plan: Plan,
    jobs: Sequence[Job],
    cards: Sequence[JobCard],
    district: District,
    *,
    day: date | None = None,
) -> tuple[DaySheet, ...]:
    """Sheets for everybody the plan sends out, by day, kind of machine and name.

    Parameters
    ----------
    cards : sequence of JobCard
        For the numbers that the lines refer to; may be empty.
    day : date, optional
        Only this day's.
    """
    writer = _Writer(plan, jobs, cards, district)
    sheets = [writer.of_grader(each) for each in plan.itineraries if day in (None, each.day)]
    booked: dict[tuple[date, str], list[SupportBooking]] = {}
    for booking in plan.bookings:
        if day in (None, booking.day):
            booked.setdefault((booking.day, booking.machine_id), []).append(booking)
    sheets += [writer.of_support(*key, each) for key, each in booked.items()]
    order = {kind: place for place, kind in enumerate(_KINDS)}
    return tuple(
        sorted(sheets, key=lambda s: (s.day, order.get(s.kind, len(order)), s.machine, s.operator))
    )


class _Writer:
    def __init__(
        self, plan: Plan, jobs: Sequence[Job], cards: Sequence[JobCard], district: District
    ) -> None:
        self.plan, self.district = plan, district
        self.stages = {stage.id: stage for job in jobs for stage in job.stages}
        self.segments = district.network.segment_by_id
        self.machines = {machine.id: machine for machine in district.fleet.machines}
        self.people = {person.id: person.name for person in district.fleet.operators}
        # A card that was withdrawn orders nothing; of several versions the newest counts
        self.cards = {card.stage_id: card for card in cards if card.status != "withdrawn"}
        self.leads = {
            (itinerary.day, stage_id): itinerary
            for itinerary in plan.itineraries
            for stage_id in itinerary.stage_ids
        }
        self.n_alike: dict[tuple[date, str, str], int] = {}
        for each in plan.bookings:
            key = (each.day, each.stage_id, self._kind(each.machine_id))
            self.n_alike[key] = self.n_alike.get(key, 0) + 1

    def of_grader(self, itinerary: Itinerary) -> DaySheet:
        """The day as it is driven."""
        lines = tuple(self._line(legs) for legs in _runs(itinerary.legs))
        operator = self.people.get(itinerary.operator_id, itinerary.operator_id)
        return self._sheet(itinerary.day, operator, itinerary.machine_id, lines)

    def of_support(
        self, day: date, machine_id: str, bookings: Sequence[SupportBooking]
    ) -> DaySheet:
        """The day of a machine that helps."""
        ordered = sorted(bookings, key=lambda each: (each.start_min, each.stage_id))
        lines = tuple(self._help(each) for each in ordered if each.stage_id in self.stages)
        drivers = [
            person.name
            for person in self.district.fleet.operators
            if person.machine_id == machine_id and day not in person.off_days
        ]
        return self._sheet(day, drivers[0] if drivers else "nobody named", machine_id, lines)

    def _sheet(
        self, day: date, operator: str, machine_id: str, lines: tuple[DayLine, ...]
    ) -> DaySheet:
        kind = self._kind(machine_id)
        return DaySheet(
            day=day,
            operator=operator,
            machine=self._name(machine_id),
            kind=kind,
            start=lines[0].start if lines else "",
            end=lines[-1].end if lines else "",
            lines=lines,
            keep=(*_BY_KIND.get(kind, ()), *_KEEP),
            plan_id=self.plan.id,
            made_at=self.plan.made_at,
            is_invented=self.district.is_invented,
        )

    def _line(self, legs: list[Leg]) -> DayLine:
        first, last = legs[0], legs[-1]
        times = (clock(first.start_min), clock(last.end_min))
        if first.kind == "work" and first.stage_id in self.stages:
            return self._work(legs, *times)
        if first.kind == "travel":
            far = sum(leg.length_m for leg in legs if leg.kind == "travel") / 1000
            km = f"{far:,.1f}\N{NO-BREAK SPACE}km"
            return DayLine(*times, "drive", f"Drive {km}, blade up", self._roads(legs))
        if first.kind == "break":
            return DayLine(*times, "break", "Meal break")
        if first.kind == "turn":
            return DayLine(*times, "drive", "Turn round", self._roads(legs))
        if first.stage_id in self.stages:
            stage = self.stages[first.stage_id]
            return DayLine(*times, "wait", "Set the signs", self._place(stage), "", self._no(stage))
        return DayLine(
            *times, "wait", "Walk-round and grease" if first.segment_id is None else "Wait"
        )

    def _work(self, legs: list[Leg], start: str, end: str) -> DayLine:
        worked = [leg for leg in legs if leg.kind == "work"]
        stage = self.stages[str(worked[0].stage_id)]
        numbers = [leg.pass_number for leg in worked if leg.pass_number is not None]
        passes = span(numbers[0], numbers[-1]) if numbers else stage.name
        bound = heading(self.segments[stage.segment_id].line)
        ways = list(dict.fromkeys(bound if leg.is_forward else _TURNED[bound] for leg in worked))
        way = " then ".join(ways) if len(numbers) <= len(ways) else f"by turns {' and '.join(ways)}"
        names = dict.fromkeys(_operation(stage, number) for number in numbers)
        return DayLine(
            start,
            end,
            "work",
            f"{passes} of {stage.n_passes}, {way}: {'; '.join(filter(None, names))}",
            self._place(stage),
            stage.name,
            self._no(stage),
        )

    def _help(self, booking: SupportBooking) -> DayLine:
        stage, kind = self.stages[booking.stage_id], self._kind(booking.machine_id)
        lead = self.leads.get((booking.day, booking.stage_id))
        with_whom = ""
        if lead is not None:
            person = self.people.get(lead.operator_id, lead.operator_id)
            with_whom = f"with {person}, {self._name(lead.machine_id)}"
        n_alike = max(1, self.n_alike.get((booking.day, booking.stage_id, kind), 1))
        return DayLine(
            clock(booking.start_min),
            clock(booking.end_min),
            "work",
            _task(stage, kind, n_alike, self.cards.get(stage.id)),
            self._place(stage),
            "; ".join(filter(None, (stage.name, with_whom))),
            self._no(stage),
        )

    def _place(self, stage: Stage) -> str:
        route = self.segments[stage.segment_id].route
        return f"{route}, {metres(stage.from_m)} to {metres(stage.to_m)}"

    def _roads(self, legs: Iterable[Leg]) -> str:
        names = [self.segments[leg.segment_id].route for leg in legs if leg.segment_id is not None]
        return ", ".join(dict.fromkeys(names))

    def _no(self, stage: Stage) -> int | None:
        card = self.cards.get(stage.id)
        return card.number if card else None

    def _kind(self, machine_id: str) -> str:
        machine: Machine | None = self.machines.get(machine_id)
        return machine.kind if machine else ""

    def _name(self, machine_id: str) -> str:
        machine = self.machines.get(machine_id)
        return machine.name if machine else machine_id


def _runs(legs: Sequence[Leg]) -> Iterator[list[Leg]]:
    """Drives together, and passes of one stage with the turns between them."""
    run: list[Leg] = []
    for leg in legs:
        if run and _goes_on(run, leg):
            run.append(leg)
            continue
        if run:
            yield run
        run = [leg]
    if run:
        yield run


def _goes_on(run: list[Leg], leg: Leg) -> bool:
    first = run[0]
    if leg.kind == "turn":
        return first.kind in ("travel", "work", "turn")
    if leg.kind == "work" and first.kind == "work":
        return leg.stage_id == first.stage_id
    return leg.kind == first.kind == "travel"


def _operation(stage: Stage, number: int) -> str:
    """What a pass does."""
    done = 0
    for each in stage.operations:
        done += each.n_passes
        if number <= done:
            return each.name
    return ""


def _task(stage: Stage, kind: str, n_alike: int, card: JobCard | None) -> str:
    """What a helping machine brings to a stage, its own share of it."""
    amount = {row.name: row for row in stage.quantities}
    if card is not None:
        amount |= {row.name: row for row in card.quantities}
    each = "" if n_alike == 1 else f", {n_alike} trucks share it"
    if kind == "haul_truck" and "loads" in amount:
        loads = math.ceil(amount["loads"].value / n_alike - 1e-9)
        gravel = amount.get("loose gravel")
        told = f"; {cubic_metres(gravel.value)} loose in all" if gravel else ""
        source = f", from {gravel.note}" if gravel and gravel.note else ""
        whole = "" if n_alike == 1 else f" of {amount['loads'].value:.0f} ({n_alike} trucks share)"
        return f"Haul {loads}{whole} loads{told}{source}"
    if kind == "haul_truck" and "loads of spoil" in amount:
        loads = math.ceil(amount["loads of spoil"].value / n_alike - 1e-9)
        return f"Haul away {loads} loads of spoil{each}"
    if kind == "haul_truck":
        return "Haul for the grader"
    if kind == "water_truck":
        if "dust control solution" in amount:
            return f"Spray {litres(amount['dust control solution'].value)} of solution{each}"
        row = amount.get("water") or amount.get("water, if dry")
        if row is None or row.value <= 0:
            return "Stand by with water"
        tanks = f" ({row.note})" if row.note else ""
        return f"Water {litres(row.value)} in all{tanks}{each}"
    if kind == "roller":
        step = next((step for step in stage.steps if step.startswith("Roll ")), "")
        return step or "Roll behind the grader, edges first"
    return f"Help: {kind.replace('_', ' ')}"
