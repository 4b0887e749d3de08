"""Who goes out when: one shift for each grader and day with somebody to drive it.

A machine without its operator that day stays in the yard. The minutes that
work can use are the operator's hours less the walk-round, the meal break and
whatever would run past the last light.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from crossfall.dispatch.daylight import last_light
from crossfall.dispatch.standing import Since, Standing
from crossfall.errors import InputError
from crossfall.model import CrewCalendar, Fleet, Machine, Network, Operator, Stage
from crossfall.model.calendar import free_stretches
from crossfall.model.policy import DispatchPolicy


@dataclass(frozen=True, slots=True)
class Shift:
    """One grader's day with one operator. Clock times are minutes after midnight."""

    machine: Machine
    operator: Operator
    day: date
    day_index: int
    start_min: float
    end_min: float
    """No later than this the machine is home."""
    regular_min: float
    """Later than this it is overtime."""
    pretrip_min: float
    break_min: float
    """0 when the shift is too short for a meal break, or it has been taken."""
    standing: Standing | None = None
    """Where the machine is when it is out already; None starts from the yard."""
    start_node: str | None = None
    """Where it has stood overnight; None for the yard."""
    end_node: str | None = None
    """Where it will stand overnight; None for the yard."""
    ride_min: float = 0.0
    """Of the operator's day in the pickup, to and from a machine that stands out [min]."""

    @property
    def usable_min(self) -> float:
        """Minutes for travel, turns and work [min]."""
        return self.end_min - self.start_min - self.pretrip_min - self.break_min


def open_shifts(
    fleet: Fleet,
    network: Network,
    policy: DispatchPolicy,
    *,
    first_day: date,
    n_days: int,
    since: Since | None = None,
    calendar: CrewCalendar | None = None,
) -> tuple[Shift, ...]:
    """Every shift that could go out, by day and machine.

    Where ``calendar`` reserves hours in the middle of a day, the longer part of it is left.

    Raises
    ------
    InputError
        If there is no grader, no grader has an operator, or an operator's hours are not possible.
    """
    _check_fleet(fleet)
    for weekday in policy.work_weekdays:
        if weekday not in range(7):
            raise InputError(
                f"policy dispatch.work_weekdays holds {weekday}; expected 0 (Monday) to 6 (Sunday)"
            )
    light_until = last_light(network, policy)
    shifts: list[Shift] = []
    for day_index in range(n_days):
        day = first_day + timedelta(days=day_index)
        if day.weekday() not in policy.work_weekdays:
            continue
        dusk = light_until(day)
        for machine in fleet.graders:
            standing = since.standing(machine.id, day) if since else None
            from_min = since.clock_min if since is not None and day == since.day else 0.0
            found = on_duty(
                fleet,
                machine,
                day,
                dusk=dusk,
                calendar=calendar,
                from_min=standing.clock_min if standing else from_min,
                is_out=standing is not None and standing.came is not None,
                has_overtime=policy.is_overtime_planned,
            )
            if found is None:
                continue
            shift = _shift(found, machine, day, day_index, policy, standing)
            if shift.usable_min > 0:
                shifts.append(shift)
    return tuple(shifts)


def _shift(
    found: OnDuty,
    machine: Machine,
    day: date,
    day_index: int,
    policy: DispatchPolicy,
    standing: Standing | None,
) -> Shift:
    """The shift of whoever is on duty; a machine that is out already needs no walk-round."""
    operator = found.operator
    begins = operator.shift_start_h * 60
    is_past_meal = found.end_min > begins + policy.break_latest_h * 60
    has_break = operator.shift_h > policy.break_over_h and is_past_meal
    has_eaten = standing is not None and standing.has_eaten
    return Shift(
        machine,
        operator,
        day,
        day_index,
        found.start_min,
        found.end_min,
        min(found.end_min, begins + operator.shift_h * 60),
        policy.pretrip_min if standing is None else 0.0,
        policy.break_min if has_break and not has_eaten else 0.0,
        standing,
    )


@dataclass(frozen=True, slots=True)
class OnDuty:
    """Who runs a machine, and the hours there are for it [min after midnight]."""

    operator: Operator
    start_min: float
    end_min: float


def on_duty(
    fleet: Fleet,
    machine: Machine,
    day: date,
    *,
    dusk: float,
    calendar: CrewCalendar | None = None,
    from_min: float = 0.0,
    is_out: bool = False,
    has_overtime: bool = False,
) -> OnDuty | None:
    """Who runs ``machine`` that day: the most experienced of those assigned, there and free.

    Of the hours that reservations leave it is the longest stretch, overtime and the time before
    dusk included; the first one for a machine that is out on the road and has to come home.
    """
    best: OnDuty | None = None
    rank: tuple[bool, int, float, str] | None = None
    for each in fleet.operators:
        if each.machine_id != machine.id or day in each.off_days:
            continue
        start = max(from_min, each.shift_start_h * 60)
        longest_h = each.shift_h + (each.max_overtime_h if has_overtime else 0.0)
        end = min((each.shift_start_h + longest_h) * 60, dusk)
        taken = [
            (r.start_min, r.end_min)
            for r in (calendar.reservations if calendar else ())
            if r.holds(machine.id, each.id, day)
        ]
        stretches = free_stretches(start, end, taken)
        if not stretches:
            continue
        own = stretches[0] if is_out else max(stretches, key=lambda s: s[1] - s[0])
        its_rank = (not each.is_trainee, len(each.skills), own[1] - own[0], each.id)
        if rank is None or its_rank > rank:
            best, rank = OnDuty(each, *own), its_rank
    return best


def may_do(operator: Operator, stage: Stage, policy: DispatchPolicy) -> bool:
    """Whether the operator has the skill, and is not a trainee sent out alone."""
    asked = policy.skill_for.get(stage.treatment, stage.treatment)
    has_skill = stage.treatment in operator.skills or asked in operator.skills
    return has_skill and not (operator.is_trainee and stage.treatment in policy.trainee_not_alone)


def support_hours(
    fleet: Fleet,
    days: Sequence[date],
    light_until: Callable[[date], float],
    calendar: CrewCalendar | None = None,
) -> dict[str, list[float]]:
    """Hours that each supporting machine is manned, by machine id and day [h]."""
    hours: dict[str, list[float]] = {}
    for machine in fleet.machines:
        if machine.kind == "grader" or not machine.is_available:
            continue
        drivers = [
            on_duty(fleet, machine, day, dusk=light_until(day), calendar=calendar) for day in days
        ]
        hours[machine.id] = [
            0.0 if driver is None else (driver.end_min - driver.start_min) / 60
            for driver in drivers
        ]
    return hours


def _check_fleet(fleet: Fleet) -> None:
    if not fleet.graders:
        raise InputError(
            "the fleet has no available grader; a week needs at least one machine of kind 'grader'"
        )
    ids = {machine.id for machine in fleet.graders}
    drivers = [operator for operator in fleet.operators if operator.machine_id in ids]
    if not drivers:
        raise InputError(
            "no operator is assigned to any available grader; set machine_id of the operators"
        )
    places = {place.id for place in fleet.places}
    for machine in fleet.graders:
        if machine.home_id not in places:
            raise InputError(
                f"grader {machine.id} has home_id {machine.home_id!r}, which is not a place"
            )
    for operator in fleet.operators:
        if not 0 < operator.shift_h <= 24:
            raise InputError(
                f"operator {operator.id} has shift_h {operator.shift_h:g}; expected above 0 to 24"
            )
        if not 0 <= operator.shift_start_h < 24:
            raise InputError(
                f"operator {operator.id} has shift_start_h {operator.shift_start_h:g};"
                " expected 0 to 24 hours after midnight"
            )
