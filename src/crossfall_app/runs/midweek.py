"""When a day does not go as planned: what happened is said, and the rest of the week is made anew.

A machine that broke down and a person who is ill are taken out of the calendar until they are back.
Crews keep the orders they can still follow; cards that do not fit any more are named, to be taken
back by a person.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

from crossfall.dispatch.replan import Replan
from crossfall.errors import InputError
from crossfall.model import CrewCalendar, District, JobCard, Progress, Reservation, quiet
from crossfall.workflow import WeekPlan, change_week
from crossfall_app.runs.board import issued_stages
from crossfall_app.store import repository
from crossfall_app.store.repository import StoredWeek

_DAY_MIN = 24 * 60.0


@dataclass(frozen=True)
class Happened:
    """What is different from now on. Days are the last ones somebody or something is away."""

    down: tuple[tuple[str, date], ...] = ()
    """Machines that are out, each with the last day."""
    away: tuple[tuple[str, date], ...] = ()
    """Operators who are away, each with the last day."""
    rained: tuple[date, ...] = ()
    has_new_needs: bool = False
    """Whether requests and looks since the plan was made are to be designed and fitted in."""


@dataclass(frozen=True)
class Midweek:
    """The rest of the week as it would be now; nothing of it is kept yet."""

    base: StoredWeek
    district: District
    week: WeekPlan
    replan: Replan
    absences: CrewCalendar
    take_back: tuple[JobCard, ...]
    """Issued cards whose work is now elsewhere, on another day, or left out."""


def plan_rest(
    happened: Happened,
    *,
    now: datetime,
    seconds: float = 4.0,
    seed: int = 1,
    progress: Progress = quiet,
) -> Midweek:
    """Plan the rest of the latest week anew from ``now``.

    Raises
    ------
    InputError
        If there is no plan, ``now`` is not in it, or a machine or operator is unknown.
    Cancelled
        If ``progress`` raises it.
    """
    base = repository.latest_week()
    if base is None:
        raise InputError("there is no plan yet; make one with: crossfall plan")
    if not 0 <= (now.date() - base.plan.first_day).days < base.plan.n_days:
        raise InputError(
            f"{now:%Y-%m-%d} is not in the plan; expected one of the {base.plan.n_days} days from"
            f" {base.plan.first_day}"
        )
    district = repository.load_district()
    absences = _absences(happened, district, now)
    held = district.calendar.reservations + absences.reservations
    district = replace(district, calendar=replace(district.calendar, reservations=held))
    changed = change_week(
        district,
        base.plan,
        base.jobs,
        base.needs,
        base.conditions,
        now=now,
        made_at=now,
        seconds=seconds,
        rained=happened.rained,
        has_new_needs=happened.has_new_needs,
        wishes=tuple(w for w in base.plan.wishes if w.day is None or w.day >= now.date()),
        seed=seed,
        progress=progress,
    )
    take_back = _take_back(base, changed.replan)
    return Midweek(base, district, changed.week, changed.replan, absences, take_back)


def keep_rest(found: Midweek, *, by: str, note: str = "") -> StoredWeek:
    """Keep it as the plan in force; absences go into the calendar, orders that stand stay.

    Raises
    ------
    InputError
        If the plan breaks a rule.
    PlanMovedOnError
        If somebody kept another plan meanwhile.
    """
    made_at = found.week.plan.made_at
    plan = replace(
        found.week.plan,
        id=f"{found.week.plan.first_day:%Y-%m-%d}-anew-{made_at:%Y%m%dT%H%M%S}",
        note=" ".join(filter(None, (note, found.replan.summary()))),
    )
    gone = {card.stage_id for card in found.take_back}
    standing = set(issued_stages(found.base.plan)) - gone
    cards = tuple(
        replace(card, plan_id=plan.id) for card in found.week.cards if card.stage_id not in standing
    )
    kept = repository.save_week(
        replace(found.week, plan=plan, cards=cards), by=by, over=found.base.plan.id
    )
    repository.add_to_calendar(found.absences, by=by)
    return kept


def _absences(happened: Happened, district: District, now: datetime) -> CrewCalendar:
    machines = {machine.id for machine in district.fleet.machines}
    people = {operator.id for operator in district.fleet.operators}
    held: list[Reservation] = []
    for what, known, pairs in (
        ("machine", machines, happened.down),
        ("operator", people, happened.away),
    ):
        for who, last_day in pairs:
            if who not in known:
                raise InputError(f"{what} {who!r} is unknown; expected {', '.join(sorted(known))}")
            if last_day < now.date():
                raise InputError(f"{who} would be back since {last_day}; expected today or later")
            held += _each_day(what, who, last_day, now)
    return CrewCalendar(tuple(held))


def _each_day(what: str, who: str, last_day: date, now: datetime) -> list[Reservation]:
    """One reservation a day: from now on today, and all of the days after."""
    is_machine = what == "machine"
    clock = min(float(60 * now.hour + now.minute), _DAY_MIN - 1)
    held = []
    for n in range((last_day - now.date()).days + 1):
        day = now.date() + timedelta(days=n)
        held.append(
            Reservation(
                id=f"out-{who}-{day:%Y%m%d}-{now:%d%H%M}",
                day=day,
                start_min=clock if n == 0 else 0.0,
                end_min=_DAY_MIN,
                kind="shop" if is_machine else "other",
                machine_id=who if is_machine else None,
                operator_id=None if is_machine else who,
                note="broken down" if is_machine else "away",
            )
        )
    return held


def _take_back(base: StoredWeek, replan: Replan) -> tuple[JobCard, ...]:
    moved = {each.stage_id for each in replan.moves if each.kind != "added"}
    issued = issued_stages(base.plan)
    numbers = {issued[stage_id] for stage_id in moved if stage_id in issued}
    return tuple(card for card in repository.list_cards(status="issued") if card.number in numbers)
