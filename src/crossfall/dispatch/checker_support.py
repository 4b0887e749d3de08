"""Where each supporting machine is and when: the checker's own timetable of the bookings.

A water truck, a roller or a haul truck is bound to a stage from its first pass to its last, and
for the hours it is booked if those are longer. It comes from its own yard within its driver's
shift, drives at its own speed on roads that bear it, and is home at the end. It is where the grader
begins when the first pass begins, and where the grader ends when the last one ends.
"""

from __future__ import annotations

import heapq
import math
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date

from crossfall.dispatch.checker_facts import Facts
from crossfall.dispatch.standing import Since
from crossfall.model import (
    CrewCalendar,
    Job,
    Leg,
    Machine,
    Plan,
    Segment,
    Stage,
    SupportBooking,
    Violation,
)

_SLACK_MIN = 0.01
_END_M = 1.01
"""So near to its end a place on a road is the end."""

Known = dict[str, tuple[Job, Stage]]


@dataclass(frozen=True, slots=True)
class _Spot:
    """A place on a road."""

    segment: Segment
    at_m: float


@dataclass(frozen=True, slots=True)
class _Span:
    """When and where a stage's first pass begins and its last one ends."""

    first: Leg
    last: Leg


def check_timetable(
    plan: Plan,
    known: Known,
    facts: Facts,
    since: Since | None,
    calendar: CrewCalendar | None = None,
) -> Iterator[Violation]:
    """No supporting machine is in two places at once, and each can be where it is promised."""
    spans = _spans(plan)
    days: dict[tuple[str, date], list[SupportBooking]] = {}
    for booking in plan.bookings:
        span = spans.get((booking.stage_id, booking.day))
        if booking.stage_id not in known or span is None:
            # Said already: it is booked for work that is not done that day
            continue
        first = span.first.start_min
        asked = max(span.last.end_min, first + 60 * booking.hours)
        if booking.start_min > first + _SLACK_MIN or booking.end_min < asked - _SLACK_MIN:
            yield Violation(
                "support",
                booking.stage_id,
                f"{booking.machine_id} is there {booking.start_min:.1f} to {booking.end_min:.1f},"
                f" the work needs it {first:.1f} to {asked:.1f}",
            )
        if booking.machine_id in facts.machines:
            days.setdefault((booking.machine_id, booking.day), []).append(booking)
    roads = Ways(facts)
    for (machine_id, day), bookings in days.items():
        machine = facts.machines[machine_id]
        is_under_way = since is not None and since.day == day
        for text in _one_day(machine, day, bookings, spans, roads, is_under_way, calendar):
            yield Violation("support", f"{machine_id} {day}", text)


def _spans(plan: Plan) -> dict[tuple[str, date], _Span]:
    """First and last pass of every stage, by day."""
    spans: dict[tuple[str, date], _Span] = {}
    for itinerary in plan.itineraries:
        for leg in itinerary.legs:
            if leg.kind == "work" and leg.stage_id is not None:
                key = (leg.stage_id, itinerary.day)
                own = spans.get(key, _Span(leg, leg))
                first = leg if leg.start_min < own.first.start_min else own.first
                last = leg if leg.end_min > own.last.end_min else own.last
                spans[key] = _Span(first, last)
    return spans


def _one_day(
    machine: Machine,
    day: date,
    bookings: list[SupportBooking],
    spans: dict[tuple[str, date], _Span],
    roads: Ways,
    is_under_way: bool,
    calendar: CrewCalendar | None,
) -> Iterator[str]:
    """One machine's bookings in order, with the drives between them."""
    facts = roads.facts
    bookings = sorted(bookings, key=lambda each: (each.start_min, each.end_min))
    begins: list[_Spot] = []
    ends: list[_Spot] = []
    for booking in bookings:
        span = spans[booking.stage_id, day]
        segment = facts.segments.get(span.first.segment_id or "")
        if segment is None or span.last.segment_id != segment.id:
            # Said already: it is worked on a road that is not its own
            return
        begins.append(_Spot(segment, span.first.from_m or 0.0))
        ends.append(_Spot(segment, span.last.to_m or 0.0))
        if machine.mass_t > facts.limits_t[segment.id]:
            yield f"{machine.mass_t:g} t over {segment.id}"
    for k in range(1, len(bookings)):
        before, after = bookings[k - 1], bookings[k]
        drive = roads.apart_min(machine, ends[k - 1], begins[k])
        if after.start_min < before.end_min + drive - _SLACK_MIN:
            yield (
                f"it is with {before.stage_id} until {before.end_min:.1f} and {drive:.1f} min"
                f" away, promised to {after.stage_id} from {after.start_min:.1f}"
            )
    homes = facts.home_nodes.get(machine.id, frozenset())
    out = back = 0.0
    if homes:
        back = min(roads.home_min(machine, ends[-1], home) for home in homes)
        # In the middle of a day it is out on the road already
        if not is_under_way:
            out = min(roads.out_min(machine, home, begins[0]) for home in homes)
    leaves, returns = bookings[0].start_min - out, bookings[-1].end_min + back
    shifts = _shifts(machine, day, facts, calendar)
    if not any(
        leaves >= start - _SLACK_MIN and returns <= end + _SLACK_MIN for start, end in shifts
    ):
        yield f"it would be out from {leaves:.1f} to {returns:.1f}; its driver is not"


def _shifts(
    machine: Machine, day: date, facts: Facts, calendar: CrewCalendar | None
) -> list[tuple[float, float]]:
    """When each of the machine's drivers on duty can be out of the yard that day."""
    dusk = facts.last_light_min(day)
    found: list[tuple[float, float]] = []
    for operator in facts.operators.values():
        if operator.machine_id != machine.id or day in operator.off_days:
            continue
        end = min((operator.shift_start_h + operator.shift_h) * 60, dusk)
        pieces = [(operator.shift_start_h * 60, end)]
        for held in calendar.reservations if calendar else ():
            if held.holds(machine.id, operator.id, day):
                pieces = [
                    piece
                    for a, b in pieces
                    for piece in ((a, min(b, held.start_min)), (max(a, held.end_min), b))
                    if piece[0] < piece[1]
                ]
        found += [(a + facts.policy.pretrip_min, b) for a, b in pieces]
    return found


@dataclass
class Ways:
    """Shortest drives of supporting machines, by Dijkstra's method from node to node."""

    facts: Facts
    found: dict[tuple[str, float, str], dict[str, float]] = field(default_factory=dict)
    out_of: dict[str, list[tuple[str, Segment]]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        for segment in self.facts.segments.values():
            self.out_of.setdefault(segment.from_node, []).append((segment.to_node, segment))
            if not segment.is_oneway:
                self.out_of.setdefault(segment.to_node, []).append((segment.from_node, segment))

    def apart_min(self, machine: Machine, leaves: _Spot, comes: _Spot) -> float:
        """Shortest drive from one place on a road to another [min]."""
        least = min(
            away + self._from(machine, a).get(b, math.inf) + near
            for a, away in self._out_of(machine, leaves)
            for b, near in self._into(machine, comes)
        )
        is_ahead = comes.at_m >= leaves.at_m or not leaves.segment.is_oneway
        if comes.segment.id == leaves.segment.id and is_ahead:
            least = min(least, self._along(machine, leaves.segment, leaves.at_m - comes.at_m))
        return least

    def out_min(self, machine: Machine, home: str, comes: _Spot) -> float:
        """Shortest drive from a node [min]."""
        way = self._from(machine, home)
        return min(way.get(b, math.inf) + near for b, near in self._into(machine, comes))

    def home_min(self, machine: Machine, leaves: _Spot, home: str) -> float:
        """Shortest drive to a node [min]."""
        return min(
            away + self._from(machine, a).get(home, math.inf)
            for a, away in self._out_of(machine, leaves)
        )

    def between_min(self, machine: Machine, from_node: str, to_node: str) -> float:
        """Shortest drive from node to node [min]."""
        return self._from(machine, from_node).get(to_node, math.inf)

    def _along(self, machine: Machine, segment: Segment, metres: float) -> float:
        return abs(metres) * 0.06 / min(machine.travel_km_h, segment.travel_km_h)

    def _out_of(self, machine: Machine, spot: _Spot) -> list[tuple[str, float]]:
        """Ends of its road that can be reached from a place, with the minutes."""
        segment = spot.segment
        found = [(segment.to_node, self._along(machine, segment, segment.length_m - spot.at_m))]
        if not segment.is_oneway or spot.at_m <= _END_M:
            found.append((segment.from_node, self._along(machine, segment, spot.at_m)))
        return found

    def _into(self, machine: Machine, spot: _Spot) -> list[tuple[str, float]]:
        """Ends of its road that a place can be reached from, with the minutes."""
        segment = spot.segment
        found = [(segment.from_node, self._along(machine, segment, spot.at_m))]
        if not segment.is_oneway or spot.at_m >= segment.length_m - _END_M:
            away = self._along(machine, segment, segment.length_m - spot.at_m)
            found.append((segment.to_node, away))
        return found

    def _from(self, machine: Machine, node: str) -> dict[str, float]:
        key = (machine.id, machine.travel_km_h, node)
        if key not in self.found:
            self.found[key] = self._spread(machine, node)
        return self.found[key]

    def _spread(self, machine: Machine, source: str) -> dict[str, float]:
        least: dict[str, float] = {}
        queue = [(0.0, source)]
        while queue:
            minutes, node = heapq.heappop(queue)
            if node in least:
                continue
            least[node] = minutes
            for ahead, segment in self.out_of.get(node, ()):
                if ahead not in least and machine.mass_t <= self.facts.limits_t[segment.id]:
                    km_h = min(machine.travel_km_h, segment.travel_km_h)
                    heapq.heappush(queue, (minutes + segment.length_m * 0.06 / km_h, ahead))
        return least
