"""Where each supporting machine is and when: the checker's own timetable of the bookings.

A water truck, a roller or a haul truck is bound to a stage from its first pass to its last, and
for the hours it is booked if those are longer. It comes from its own yard within its driver's
shift, drives at its own speed on roads that bear it, and is home at the end. Where on a stage it
stands when the work ends is not planned: between stages the ends that lie farthest apart count,
from and to the yard the nearer end.
"""

from __future__ import annotations

import heapq
import math
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date

from crossfall.dispatch.checker_facts import Facts
from crossfall.dispatch.standing import Since
from crossfall.model import Job, Machine, Plan, Segment, Stage, SupportBooking, Violation

_SLACK_MIN = 0.01

Known = dict[str, tuple[Job, Stage]]


def check_timetable(
    plan: Plan, known: Known, facts: Facts, since: Since | None
) -> Iterator[Violation]:
    """No supporting machine is in two places at once, and each can be where it is promised."""
    spans = _spans(plan)
    days: dict[tuple[str, date], list[SupportBooking]] = {}
    for booking in plan.bookings:
        span = spans.get((booking.stage_id, booking.day))
        if booking.stage_id not in known or span is None:
            # Said already: it is booked for work that is not done that day
            continue
        first, last = span
        asked = max(last, first + 60 * booking.hours)
        if booking.start_min > first + _SLACK_MIN or booking.end_min < asked - _SLACK_MIN:
            yield Violation(
                "support",
                booking.stage_id,
                f"{booking.machine_id} is there {booking.start_min:.1f} to {booking.end_min:.1f},"
                f" the work needs it {first:.1f} to {asked:.1f}",
            )
        if booking.machine_id in facts.machines:
            days.setdefault((booking.machine_id, booking.day), []).append(booking)
    roads = _Ways(facts)
    for (machine_id, day), bookings in days.items():
        machine = facts.machines[machine_id]
        is_under_way = since is not None and since.day == day
        for text in _one_day(machine, day, bookings, known, roads, is_under_way):
            yield Violation("support", f"{machine_id} {day}", text)


def _spans(plan: Plan) -> dict[tuple[str, date], tuple[float, float]]:
    """First pass's start and last pass's end of every stage, by day."""
    spans: dict[tuple[str, date], tuple[float, float]] = {}
    for itinerary in plan.itineraries:
        for leg in itinerary.legs:
            if leg.kind == "work" and leg.stage_id is not None:
                first, last = spans.get((leg.stage_id, itinerary.day), (math.inf, -math.inf))
                spans[leg.stage_id, itinerary.day] = (
                    min(first, leg.start_min),
                    max(last, leg.end_min),
                )
    return spans


def _one_day(
    machine: Machine,
    day: date,
    bookings: list[SupportBooking],
    known: Known,
    roads: _Ways,
    is_under_way: bool,
) -> Iterator[str]:
    """One machine's bookings in order, with the drives between them."""
    facts = roads.facts
    bookings = sorted(bookings, key=lambda each: (each.start_min, each.end_min))
    segments = [facts.segments[known[each.stage_id][1].segment_id] for each in bookings]
    for segment in segments:
        if machine.mass_t > facts.limits_t[segment.id]:
            yield f"{machine.mass_t:g} t over {segment.id}"
    for k in range(1, len(bookings)):
        before, after = bookings[k - 1], bookings[k]
        drive = roads.apart_min(machine, _ends(segments[k - 1]), _ends(segments[k]))
        if after.start_min < before.end_min + drive - _SLACK_MIN:
            yield (
                f"it is with {before.stage_id} until {before.end_min:.1f} and {drive:.1f} min"
                f" away, promised to {after.stage_id} from {after.start_min:.1f}"
            )
    homes = facts.home_nodes.get(machine.id, frozenset())
    out = back = 0.0
    if homes:
        last = _ends(segments[-1])
        back = min(roads.apart_min(machine, (end,), (home,)) for home in homes for end in last)
        # In the middle of a day it is out on the road already
        if not is_under_way:
            first = _ends(segments[0])
            out = min(roads.apart_min(machine, (home,), (end,)) for home in homes for end in first)
    begins, ends = bookings[0].start_min - out, bookings[-1].end_min + back
    shifts = _shifts(machine, day, facts)
    if not any(begins >= start - _SLACK_MIN and ends <= end + _SLACK_MIN for start, end in shifts):
        yield f"it would be out from {begins:.1f} to {ends:.1f}; its driver is not"


def _shifts(machine: Machine, day: date, facts: Facts) -> list[tuple[float, float]]:
    """When each of the machine's drivers on duty can be out of the yard that day."""
    dusk = facts.last_light_min(day)
    return [
        (
            operator.shift_start_h * 60 + facts.policy.pretrip_min,
            min((operator.shift_start_h + operator.shift_h) * 60, dusk),
        )
        for operator in facts.operators.values()
        if operator.machine_id == machine.id and day not in operator.off_days
    ]


def _ends(segment: Segment) -> tuple[str, ...]:
    return (segment.from_node, segment.to_node)


@dataclass
class _Ways:
    """Shortest drives of supporting machines, by Dijkstra's method from node to node."""

    facts: Facts
    found: dict[tuple[str, float, str], dict[str, float]] = field(default_factory=dict)
    out_of: dict[str, list[tuple[str, Segment]]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        for segment in self.facts.segments.values():
            self.out_of.setdefault(segment.from_node, []).append((segment.to_node, segment))
            if not segment.is_oneway:
                self.out_of.setdefault(segment.to_node, []).append((segment.from_node, segment))

    def apart_min(self, machine: Machine, leaves: tuple[str, ...], comes: tuple[str, ...]) -> float:
        """Drive between the ends that lie farthest apart: where it stops is not planned [min]."""
        return max(self._from(machine, a).get(b, math.inf) for a in leaves for b in comes)

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
