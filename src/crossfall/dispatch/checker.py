"""Every plan is checked by this code before anyone sees it; it shares nothing with the search.

It starts again from the nouns: follows each machine leg by leg through the
network, re-adds the minutes, counts passes and directions, and asks the gate,
the crew list and the support bookings whether each stage was allowed. What it
finds is a list of :class:`~crossfall.model.Violation`; an empty one means the
plan holds.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from crossfall.dispatch.checker_calendar import check_calendar
from crossfall.dispatch.checker_day import check_day
from crossfall.dispatch.checker_facts import Facts
from crossfall.dispatch.checker_nights import Night, check_nights, nights_of
from crossfall.dispatch.checker_support import check_timetable
from crossfall.dispatch.standing import Since, Standing
from crossfall.judgement import GateTable
from crossfall.model import (
    CrewCalendar,
    Fleet,
    Itinerary,
    Job,
    Leg,
    Network,
    Plan,
    Policy,
    Stage,
    Violation,
)
from crossfall.model.policy import DispatchPolicy

_SLACK_MIN = 0.01
_SLACK_H = 0.01


def check_plan(
    plan: Plan,
    jobs: Sequence[Job],
    network: Network,
    fleet: Fleet,
    gates: GateTable,
    policy: Policy,
    *,
    since: Since | None = None,
    calendar: CrewCalendar | None = None,
) -> tuple[Violation, ...]:
    """Everything in the plan that breaks a rule; empty when it holds.

    Checked: one operator and one machine in one place; shift hours, walk-round, meal break and
    dusk; the path through real roads, one-way and mass limits included; speeds and turns; every
    stage whole, in one shift, pass by pass and side by side; windows, skills and attachments;
    order of stages; length of open windrow, and how long it lies; signs set up; supporting
    machines and their timetable; working weekdays; and that worth, limit and the reasons for what
    is left out are all there. ``since`` says what was done before the plan
    begins in the middle of a day, and where the machines stand; ``calendar`` what was to be planned
    around.
    """
    facts = Facts.of(network, fleet, policy.dispatch)
    known = {stage.id: (job, stage) for job in jobs for stage in job.stages}
    found: list[Violation] = []
    found += _one_place_each(plan, policy.dispatch)
    nights = nights_of(plan, facts, since)
    for itinerary in plan.itineraries:
        night = nights[itinerary.machine_id, itinerary.day]
        found += check_day(itinerary, facts, known, since, night)
    found += check_nights(plan, facts, since)
    found += _stages_whole(plan, known, since)
    found += _windows(plan, known, gates, since)
    found += _order(plan, known, since)
    found += _support(plan, known, fleet, gates, facts, since)
    found += check_timetable(plan, known, facts, since, calendar)
    found += check_calendar(plan, known, calendar, facts)
    found += _accounts(plan, jobs, gates, policy, facts, since, nights)
    found += _nobody_left_out(plan, facts, since, calendar)
    return tuple(found)


def _one_place_each(plan: Plan, policy: DispatchPolicy) -> Iterator[Violation]:
    """Nobody is in two itineraries of a day, and all days are working days of the plan."""
    last_day = plan.first_day + timedelta(days=plan.n_days - 1)
    machines = Counter((each.machine_id, each.day) for each in plan.itineraries)
    people = Counter((each.operator_id, each.day) for each in plan.itineraries)
    for what, counted in (("machine", machines), ("operator", people)):
        for (name, day), count in counted.items():
            if count > 1:
                yield Violation("one place", f"{name} {day}", f"{what} {name} goes out {count} ×")
    for each in plan.itineraries:
        if not plan.first_day <= each.day <= last_day:
            yield Violation(
                "days", _where(each), f"{each.day} is not one of the {plan.n_days} days"
            )
        if each.day.weekday() not in policy.work_weekdays:
            yield Violation("weekday", _where(each), f"nobody works on a {each.day:%A}")


def _nobody_left_out(
    plan: Plan, facts: Facts, since: Since | None, calendar: CrewCalendar | None
) -> Iterator[Violation]:
    """A machine that stands out on the road, and can be driven, has an itinerary that ends home."""
    going = {(each.machine_id, each.day) for each in plan.itineraries}
    for standing in since.standings if since else ():
        is_manned = since is not None and _can_be_driven(standing, facts, since, calendar)
        machine = facts.machines.get(standing.machine_id)
        is_home = standing.node in facts.home_nodes.get(standing.machine_id, frozenset())
        is_running = is_manned and machine is not None and machine.is_available
        if since and is_running and not is_home and (standing.machine_id, since.day) not in going:
            yield Violation("path", standing.machine_id, f"it is left standing at {standing.node}")


def _can_be_driven(
    standing: Standing, facts: Facts, since: Since, calendar: CrewCalendar | None
) -> bool:
    """Whether somebody is there for the machine, and neither is taken for something else."""
    held = calendar.reservations if calendar else ()
    return any(
        operator.machine_id == standing.machine_id
        and since.day not in operator.off_days
        and not any(
            each.holds(standing.machine_id, operator.id, since.day)
            and each.end_min > standing.clock_min
            for each in held
        )
        for operator in facts.operators.values()
    )


def _stages_whole(
    plan: Plan, known: dict[str, tuple[Job, Stage]], since: Since | None
) -> Iterator[Violation]:
    """All passes of a stage, once each and in order, in one shift, fairly on both sides."""
    passes: dict[str, list[tuple[Itinerary, Leg]]] = {}
    for itinerary in plan.itineraries:
        for leg in itinerary.legs:
            if leg.kind == "work" and leg.stage_id in known:
                passes.setdefault(str(leg.stage_id), []).append((itinerary, leg))
    for stage_id, made in passes.items():
        _, stage = known[stage_id]
        shifts = {(itinerary.machine_id, itinerary.day) for itinerary, _ in made}
        if len(shifts) > 1:
            yield Violation("one shift", stage_id, f"its passes are spread over {len(shifts)}")
        numbers = [leg.pass_number for _, leg in sorted(made, key=lambda m: m[1].start_min)]
        half = since.half(stage_id) if since else None
        first = 1 if half is None else half.n_done + 1
        expected = list(range(first, stage.n_passes + 1))
        if since and stage_id in since.done:
            yield Violation("passes", stage_id, "it was finished before the plan begins")
        if len(shifts) == 1 and numbers != expected:
            yield Violation("passes", stage_id, f"passes {numbers} were made; expected {expected}")


def _windows(
    plan: Plan, known: dict[str, tuple[Job, Stage]], gates: GateTable, since: Since | None
) -> Iterator[Violation]:
    """The surface is fit on the day; what lies half done is closed today whatever the surface."""
    for itinerary, stage in _worked(plan, known):
        if since and since.half(stage.id) is not None:
            if itinerary.day != since.day:
                yield Violation("window", stage.id, "half done, and not finished the same day")
            continue
        if stage.leave_days is not None and itinerary.day not in stage.leave_days:
            told = f"its permissions do not hold on {itinerary.day}"
            yield Violation("leave", stage.id, told)
        if gates.verdict(stage.segment_id, itinerary.day, stage.task).decision == "refused":
            yield Violation("window", stage.id, f"the surface is not fit on {itinerary.day}")


def _order(
    plan: Plan, known: dict[str, tuple[Job, Stage]], since: Since | None
) -> Iterator[Violation]:
    """What comes after starts no sooner than what comes before has ended."""
    begins: dict[str, tuple[date, float]] = {}
    ends: dict[str, tuple[date, float]] = {}
    for itinerary in plan.itineraries:
        for leg in itinerary.legs:
            if leg.kind == "work" and leg.stage_id is not None:
                start, end = (itinerary.day, leg.start_min), (itinerary.day, leg.end_min)
                begins[leg.stage_id] = min(begins.get(leg.stage_id, start), start)
                ends[leg.stage_id] = max(ends.get(leg.stage_id, end), end)
    for stage_id, begin in begins.items():
        for before in known[stage_id][1].after if stage_id in known else ():
            if since and before in since.done:
                continue
            if before not in ends:
                yield Violation("order", stage_id, f"{before} must come first and is not done")
            elif ends[before][0] > begin[0] or (
                ends[before][0] == begin[0] and ends[before][1] > begin[1] + _SLACK_MIN
            ):
                yield Violation("order", stage_id, f"it starts before {before} is finished")


@dataclass(frozen=True, slots=True)
class _Asked:
    kind: str
    n: int
    hours: float


def _support(
    plan: Plan,
    known: dict[str, tuple[Job, Stage]],
    fleet: Fleet,
    gates: GateTable,
    facts: Facts,
    since: Since | None,
) -> Iterator[Violation]:
    """Each stage has the machines it needs, and no machine is promised more than its hours."""
    kind = {machine.id: machine.kind for machine in fleet.machines if machine.is_available}
    day_of = {stage.id: itinerary.day for itinerary, stage in _worked(plan, known)}
    promised: dict[tuple[str, date], float] = {}
    booked: dict[str, list[tuple[str, float]]] = {}
    for booking in plan.bookings:
        key = (booking.machine_id, booking.day)
        promised[key] = promised.get(key, 0.0) + booking.hours
        booked.setdefault(booking.stage_id, []).append((booking.machine_id, booking.hours))
        if day_of.get(booking.stage_id) != booking.day:
            yield Violation(
                "support", booking.stage_id, f"{booking.machine_id} is booked on {booking.day}"
            )
    for (machine_id, day), hours in promised.items():
        most = facts.manned_h(machine_id, day) if machine_id in kind else 0.0
        if hours > most + _SLACK_H:
            yield Violation(
                "support", f"{machine_id} {day}", f"{hours:.2f} h promised of {most:.2f} h"
            )
    for itinerary, stage in _worked(plan, known):
        half = since.half(stage.id) if since else None
        left = sum(stage.pass_minutes[half.n_done if half else 0 :]) / stage.work_min
        asked = [_Asked(s.kind, s.n_machines, s.hours * left) for s in stage.support if s.hours > 0]
        verdict = gates.verdict(stage.segment_id, itinerary.day, stage.task)
        has_water = any(each.kind == "water_truck" and each.n > 0 for each in asked)
        if verdict.decision == "if_watered" and not has_water and half is None:
            share = facts.policy.water_truck_share
            asked.append(_Asked("water_truck", 1, stage.work_min / 60 * share))
        for each in asked:
            enough = {
                machine_id
                for machine_id, hours in booked.get(stage.id, [])
                if kind.get(machine_id) == each.kind and hours >= each.hours - _SLACK_H
            }
            if each.kind != "grader" and len(enough) < each.n:
                yield Violation(
                    "support",
                    stage.id,
                    f"{len(enough)} of {each.n} {each.kind} for {each.hours:.2f} h",
                )


def _accounts(
    plan: Plan,
    jobs: Sequence[Job],
    gates: GateTable,
    policy: Policy,
    facts: Facts,
    since: Since | None,
    nights: dict[tuple[str, date], Night],
) -> Iterator[Violation]:
    """Served and left out add up to all jobs, each with a reason; worth and limit are right."""
    days = {
        leg.stage_id: itinerary.day
        for itinerary in plan.itineraries
        for leg in itinerary.legs
        if leg.kind == "work"
    }
    reasons = {each.job_id: each for each in plan.unserved}
    worth = 0.0
    for job in jobs:
        now = [stage for stage in job.stages if stage.id in days]
        earlier = sum(stage.id in since.done for stage in job.stages) if since else 0
        n_done = len(now) + earlier
        for stage in now:
            row, at = gates.index(stage.segment_id), (days[stage.id] - gates.first_day).days
            fit = float(gates.worth(stage.task)[row, at])
            worth += job.benefit_h * stage.work_min / (60 * job.work_h) * fit
        if now and job.needs_engineer:
            yield Violation("engineer", job.id, "work is planned before the engineer confirmed it")
        is_whole = bool(job.stages) and n_done == len(job.stages)
        if is_whole != (job.id in plan.served):
            yield Violation("accounts", job.id, "served does not agree with the stages done")
        if not is_whole and (job.id not in reasons or not reasons[job.id].reason.strip()):
            yield Violation("accounts", job.id, "left out without a reason")
        if is_whole and job.id in reasons:
            yield Violation("accounts", job.id, "served, and listed as left out")
        if job.id in reasons and reasons[job.id].n_stages_done != n_done:
            yield Violation("accounts", job.id, f"{n_done} stages are done, not as listed")
    # Walk-round and meal come with the shift; waiting for signs belongs to the work
    out_h = sum(
        (leg.end_min - leg.start_min) / 60
        for each in plan.itineraries
        for leg in each.legs
        if leg.kind in ("travel", "work", "turn")
        or (leg.kind == "wait" and leg.stage_id is not None)
    )
    out_h += sum(night.before_min + night.after_min for night in nights.values()) / 60
    worth -= policy.dispatch.hour_price * out_h
    worth -= policy.dispatch.overtime_price * _overtime_h(plan, facts, nights)
    if abs(worth - plan.benefit_h) > 1e-3 * max(1.0, abs(worth)):
        yield Violation("accounts", plan.id, f"worth {plan.benefit_h:.3f} h; adds to {worth:.3f} h")
    if plan.benefit_h > plan.benefit_bound_h + 1e-6:
        yield Violation("accounts", plan.id, "the plan is worth more than the limit it gives")


def _overtime_h(plan: Plan, facts: Facts, nights: dict[tuple[str, date], Night]) -> float:
    """Hours that itineraries end after the operators' own [h]."""
    over = 0.0
    for each in plan.itineraries:
        operator = facts.operators.get(each.operator_id)
        if operator is not None and each.legs:
            regular = (operator.shift_start_h + operator.shift_h) * 60
            ends = each.legs[-1].end_min + nights[each.machine_id, each.day].after_min
            over += max(0.0, ends - regular) / 60
    return over


def _worked(plan: Plan, known: dict[str, tuple[Job, Stage]]) -> Iterator[tuple[Itinerary, Stage]]:
    """Each itinerary with each stage it works on."""
    for itinerary in plan.itineraries:
        worked = dict.fromkeys(leg.stage_id for leg in itinerary.legs if leg.kind == "work")
        for stage_id in worked:
            if stage_id in known:
                yield itinerary, known[str(stage_id)][1]


def _where(itinerary: Itinerary) -> str:
    return f"{itinerary.machine_id} {itinerary.day}"
