"""What opened and what closed from one day to another: where a kind of work became a go, or not."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

from crossfall.errors import InputError
from crossfall.judgement.gate import TASKS, GateTable, judge_gates
from crossfall.judgement.state import surface_state
from crossfall.model import District
from crossfall.model.need import Task


@dataclass(frozen=True, slots=True)
class Turned:
    """One kind of work: the segments where it may be done now, and where no longer."""

    task: Task
    opened: tuple[str, ...]
    closed: tuple[str, ...]


def turned_between(gates: GateTable, before: date, after: date) -> tuple[Turned, ...]:
    """For every kind of work, what changed between two days that the gates cover.

    As it is or with water counts as open.

    Raises
    ------
    InputError
        If the gates do not cover a day.
    """
    at = [(day - gates.first_day).days for day in (before, after)]
    for day, n in zip((before, after), at, strict=True):
        if not 0 <= n < gates.n_days:
            raise InputError(f"day is {day}; the gates cover {gates.n_days} from {gates.first_day}")
    found = []
    for task in TASKS:
        was, now = (gates.allowed(task)[:, n] for n in at)
        ids = gates.segment_ids
        found.append(
            Turned(
                task,
                tuple(ids[i] for i in (now & ~was).nonzero()[0]),
                tuple(ids[i] for i in (was & ~now).nonzero()[0]),
            )
        )
    return tuple(found)


def turned_since_yesterday(district: District, *, today: date, seed: int = 0) -> tuple[Turned, ...]:
    """What opened and closed since yesterday, both as they are known now; empty without weather."""
    yesterday = today - timedelta(days=1)
    try:
        state = surface_state(district, first_day=yesterday, n_days=2, seed=seed)
    except InputError:
        return ()
    gates = judge_gates(state, district.fleet, district.policy)
    return turned_between(gates, yesterday, today)
