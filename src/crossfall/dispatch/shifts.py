"""Who goes out when: one shift for each grader and day with somebody to drive it.

A machine without its operator that day stays in the yard. The minutes that
work can use are the operator's hours less the walk-round, the meal break and
whatever would run past the last light.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

from crossfall.dispatch.daylight import last_light
from crossfall.dispatch.standing import Since, Standing
from crossfall.errors import InputError
from crossfall.model import Fleet, Machine, Network, Operator, Stage
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
    pretrip_min: float
    break_min: float
    """0 when the shift is too short for a meal break, or it has been taken."""
    standing: Standing | None = None
    """Where the machine is when it is out already; None starts from the yard."""

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
) -> tuple[Shift, ...]:
    """Every shift that could go out, by day and machine.

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
            operator = on_duty(fleet, machine, day)
            if operator is None:
                continue
            start = operator.shift_start_h * 60
            end = min(start + operator.shift_h * 60, dusk)
            has_break = operator.shift_h > policy.break_over_h
            shift = Shift(
                machine,
                operator,
                day,
                day_index,
                start,
                end,
                policy.pretrip_min,
                policy.break_min if has_break else 0.0,
            )
            if since is not None and day == since.day:
                shift = _rest_of_day(shift, since)
            if shift.usable_min > 0:
                shifts.append(shift)
    return tuple(shifts)


def _rest_of_day(shift: Shift, since: Since) -> Shift:
    """What is left of a shift that is under way, or that can begin no sooner than now."""
    standing = since.standing(shift.machine.id, shift.day)
    if standing is None:
        return replace(shift, start_min=max(shift.start_min, since.clock_min))
    return replace(
        shift,
        start_min=standing.clock_min,
        pretrip_min=0.0,
        break_min=0.0 if standing.has_eaten else shift.break_min,
        standing=standing,
    )


def on_duty(fleet: Fleet, machine: Machine, day: date) -> Operator | None:
    """Who runs ``machine`` that day: the most experienced of those assigned and not off."""
    present = [o for o in fleet.operators if o.machine_id == machine.id and day not in o.off_days]
    return max(
        present,
        key=lambda o: (not o.is_trainee, len(o.skills), o.shift_h, o.id),
        default=None,
    )


def may_do(operator: Operator, stage: Stage, policy: DispatchPolicy) -> bool:
    """Whether the operator has the skill, and is not a trainee sent out alone."""
    asked = policy.skill_for.get(stage.treatment, stage.treatment)
    has_skill = stage.treatment in operator.skills or asked in operator.skills
    return has_skill and not (operator.is_trainee and stage.treatment in policy.trainee_not_alone)


def support_hours(fleet: Fleet, days: Sequence[date]) -> dict[str, list[float]]:
    """Hours that each supporting machine is manned, by machine id and day [h]."""
    hours: dict[str, list[float]] = {}
    for machine in fleet.machines:
        if machine.kind == "grader" or not machine.is_available:
            continue
        drivers = [on_duty(fleet, machine, day) for day in days]
        hours[machine.id] = [0.0 if driver is None else driver.shift_h for driver in drivers]
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
