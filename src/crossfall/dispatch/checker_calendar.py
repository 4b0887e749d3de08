"""Nobody is double-booked, and no blade is down in barred hours: the checker's own look."""

from __future__ import annotations

from collections.abc import Iterator

from crossfall.dispatch.checker_facts import Facts
from crossfall.model import CrewCalendar, Itinerary, Job, Plan, Stage, Violation

_SLACK_MIN = 0.01

Known = dict[str, tuple[Job, Stage]]


def check_calendar(
    plan: Plan, known: Known, calendar: CrewCalendar | None, facts: Facts
) -> Iterator[Violation]:
    """Reservations of machine or operator, other work among them, and hours barred on roads."""
    if calendar is None:
        return
    held = {each.id: each for each in (*calendar.reservations, *plan.reserved)}.values()
    for itinerary in plan.itineraries:
        where = f"{itinerary.machine_id} {itinerary.day}"
        if not itinerary.legs:
            continue
        begin, end = itinerary.legs[0].start_min, itinerary.legs[-1].end_min
        for each in held:
            if not each.holds(itinerary.machine_id, itinerary.operator_id, itinerary.day):
                continue
            if begin < each.end_min - _SLACK_MIN and end > each.start_min + _SLACK_MIN:
                told = f"out from {begin:.1f} to {end:.1f}, reserved for {each.kind}"
                yield Violation("reserved", where, f"{told} {each.start_min:g}-{each.end_min:g}")
        yield from _barred(itinerary, known, calendar)
    yield from _other_work(plan, calendar, facts)


def _barred(itinerary: Itinerary, known: Known, calendar: CrewCalendar) -> Iterator[Violation]:
    for leg in itinerary.legs:
        if leg.kind != "work" or leg.segment_id is None:
            continue
        for ban in calendar.bans:
            is_over = leg.end_min <= ban.start_min + _SLACK_MIN
            is_over = is_over or leg.start_min >= ban.end_min - _SLACK_MIN
            if ban.holds(leg.segment_id, itinerary.day) and not is_over:
                told = f"worked {leg.start_min:.1f} to {leg.end_min:.1f}: {ban.reason}"
                yield Violation("barred", str(leg.stage_id), told)


def _other_work(plan: Plan, calendar: CrewCalendar, facts: Facts) -> Iterator[Violation]:
    """Work that only takes hours got all of them, of somebody who can do it and is there."""
    for work in calendar.other_work:
        for held in plan.reserved:
            if not held.id.startswith(f"{work.id}-"):
                continue
            who = held.machine_id or held.operator_id
            hours = (held.end_min - held.start_min) / 60
            is_there = any(
                held.day not in o.off_days and who in (o.id, o.machine_id)
                for o in facts.operators.values()
            )
            if who not in work.who or not is_there:
                yield Violation("other work", work.id, f"{who} does not do it on {held.day}")
            if not work.first_day <= held.day <= work.last_day or hours < work.hours - 1e-6:
                yield Violation("other work", work.id, f"{hours:.2f} h on {held.day}")
