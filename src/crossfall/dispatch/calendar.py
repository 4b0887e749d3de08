"""What the week is planned around: reserved hours, other work, barred hours, and habits.

Reserved hours leave a machine the longer part of its day. Work that only takes hours goes to the
day on which the roads need its machine least. In barred hours no blade is down on a road. Home
beats and roads that have waited long only pull: they change what the search prefers, not what a
plan is worth.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import TYPE_CHECKING

import numpy as np

from crossfall.dispatch.daylight import last_light
from crossfall.errors import InputError
from crossfall.model import CrewCalendar, Fleet, Network, OtherWork, Reservation, Stage
from crossfall.model.calendar import days_between, free_stretches
from crossfall.model.policy import DispatchPolicy

if TYPE_CHECKING:
    from crossfall.dispatch.shifts import Shift
    from crossfall.dispatch.stages import Floats


@dataclass(frozen=True, slots=True)
class Ban:
    """Hours of one day of the plan in which a stage may not be worked [min after midnight]."""

    day_index: int
    start_min: float
    end_min: float
    reason: str


def check_calendar(calendar: CrewCalendar | None, fleet: Fleet) -> None:
    """Refuse reservations and other work of machines or people that are not there.

    Raises
    ------
    InputError
        With the entry that cannot be true.
    """
    if calendar is None:
        return
    machines = {machine.id for machine in fleet.machines}
    people = {operator.id for operator in fleet.operators}
    for each in calendar.reservations:
        if each.machine_id is not None and each.machine_id not in machines:
            raise InputError(f"reservation {each.id} names unknown machine {each.machine_id!r}")
        if each.operator_id is not None and each.operator_id not in people:
            raise InputError(f"reservation {each.id} names unknown operator {each.operator_id!r}")
    for work in calendar.other_work:
        for who in work.who:
            if who not in machines | people:
                raise InputError(
                    f"other work {work.id} names {who!r}, neither a machine nor an operator"
                )


def bans_of(
    stages: Sequence[Stage], calendar: CrewCalendar | None, first_day: date, n_days: int
) -> tuple[tuple[Ban, ...], ...]:
    """For each stage the hours of the plan's days in which no blade may be down on its road."""
    if calendar is None or not calendar.bans:
        return ((),) * len(stages)
    days = [first_day + timedelta(days=d) for d in range(n_days)]
    found: dict[str, tuple[Ban, ...]] = {}
    for segment_id in {stage.segment_id for stage in stages}:
        found[segment_id] = tuple(
            Ban(d, each.start_min, each.end_min, each.reason)
            for each in calendar.bans
            for d, day in enumerate(days)
            if each.holds(segment_id, day)
        )
    return tuple(found[stage.segment_id] for stage in stages)


def preference_pull(
    stages: Sequence[Stage],
    shifts: Sequence[Shift],
    network: Network,
    policy: DispatchPolicy,
    overdue: Collection[str],
) -> Floats:
    """What home beats and long waits are worth to the search alone: shape (stage, shift) [h]."""
    pull = np.zeros((len(stages), len(shifts)))
    district = np.array([network.segment_by_id[s.segment_id].district for s in stages], dtype=str)
    work_h = np.array([stage.work_min / 60 for stage in stages])
    late = np.array([stage.segment_id in overdue for stage in stages], dtype=bool)
    for h, shift in enumerate(shifts):
        home = shift.operator.home_district
        if home and policy.off_beat_price > 0:
            is_away = (district != "") & (district != home)
            pull[:, h] -= np.where(is_away, policy.off_beat_price * work_h, 0.0)
    # Once a job, not once a stage: it is the road that has waited
    n_stages: dict[str, int] = {}
    for stage in stages:
        n_stages[stage.job_id] = n_stages.get(stage.job_id, 0) + 1
    share = np.array([1.0 / n_stages[stage.job_id] for stage in stages])
    pull += np.where(late, policy.overdue_worth_h * share, 0.0)[:, None]
    return pull


@dataclass(frozen=True)
class Placed:
    """The calendar with the other work given hours, and what found no room."""

    calendar: CrewCalendar
    no_room: tuple[OtherWork, ...] = ()

    @property
    def note(self) -> str:
        """A sentence for the plan; empty when everything found its hours."""
        told = [
            f"{work.note or work.kind} ({work.hours:g} h by {work.last_day:%a} {work.last_day.day})"
            for work in self.no_room
        ]
        return f"No room this week for {', '.join(told)}." if told else ""


def place_other_work(
    calendar: CrewCalendar,
    fleet: Fleet,
    network: Network,
    policy: DispatchPolicy,
    *,
    first_day: date,
    n_days: int,
    busy: Sequence[float],
) -> Placed:
    """Give every piece of other work hours of one day, at the end of whoever's shift it takes.

    ``busy`` says for each day of the plan how much the roads ask for. Longest work first; each goes
    where it fits on the quietest day, of those who can do it to whom has most hours left.
    """
    light = last_light(network, policy)
    last_day = first_day + timedelta(days=n_days - 1)
    no_room: list[OtherWork] = []
    for work in sorted(calendar.other_work, key=lambda each: (-each.hours, each.id)):
        if work.first_day > last_day or work.last_day < first_day:
            continue
        options: list[tuple[float, float, Reservation]] = []
        for day in days_between(max(first_day, work.first_day), min(last_day, work.last_day)):
            if day.weekday() not in policy.work_weekdays:
                continue
            for who in work.who:
                left = _longest(fleet, calendar, who, day, light(day), policy)
                if left is not None and left[1] - left[0] >= 60 * work.hours:
                    rest = left[1] - left[0] - 60 * work.hours
                    held = _reserved(work, who, day, left, fleet)
                    options.append((busy[(day - first_day).days], -rest, held))
        if options:
            best = min(options, key=lambda each: (each[0], each[1], each[2].day))[2]
            calendar = replace(calendar, reservations=(*calendar.reservations, best))
        elif work.last_day <= last_day:
            no_room.append(work)
    return Placed(calendar, tuple(no_room))


def _longest(
    fleet: Fleet,
    calendar: CrewCalendar,
    who: str,
    day: date,
    dusk: float,
    policy: DispatchPolicy,
) -> tuple[float, float] | None:
    """The longest stretch that a machine (with somebody to run it) or a person has free."""
    best: tuple[float, float] | None = None
    for each in fleet.operators:
        if who not in (each.machine_id, each.id) or day in each.off_days:
            continue
        machine = next((m for m in fleet.machines if m.id == each.machine_id), None)
        if machine is None or not machine.is_available:
            continue
        taken = [
            (r.start_min, r.end_min)
            for r in calendar.reservations
            if r.holds(each.machine_id, each.id, day)
        ]
        end = min((each.shift_start_h + each.shift_h) * 60, dusk)
        begin = each.shift_start_h * 60 + policy.pretrip_min
        for stretch in free_stretches(begin, end, taken):
            if best is None or stretch[1] - stretch[0] > best[1] - best[0]:
                best = stretch
    return best


def _reserved(
    work: OtherWork, who: str, day: date, left: tuple[float, float], fleet: Fleet
) -> Reservation:
    is_machine = any(machine.id == who for machine in fleet.machines)
    return Reservation(
        id=f"{work.id}-{day:%Y%m%d}",
        day=day,
        start_min=left[1] - 60 * work.hours,
        end_min=left[1],
        kind=work.kind,
        machine_id=who if is_machine else None,
        operator_id=None if is_machine else who,
        note=work.note,
    )
