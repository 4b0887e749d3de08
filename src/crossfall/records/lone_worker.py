"""Who is out alone, when they are expected back, and who has been silent for too long.

A worker out of signal cannot call; what counts is the time they named before they went, and the
last sign of life: any fact that came in, or a radio report that the foreman typed. Silence raises
a question on the morning page; it is answered by people, with the agency's own emergency plan.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta

from crossfall.model import FieldFact
from crossfall.model.policy.cab import CabPolicy
from crossfall.records.field_sync import edits_in_force, standing


@dataclass(frozen=True, slots=True)
class Worker:
    """Somebody whose shift is open."""

    machine_id: str
    who: str
    is_alone: bool
    began_at: datetime
    heard_at: datetime
    heard_by: str
    """``phone`` or ``radio``."""
    expected_back: datetime | None
    due_at: datetime
    """When the next sign of life is due: expected back, or the next check-in of a lone worker."""
    lon: float | None = None
    lat: float | None = None

    def minutes_late(self, now: datetime) -> float:
        """How long the sign of life is missing [min]; negative before it is due."""
        return (now - self.due_at).total_seconds() / 60


def workers_out(
    facts: Iterable[FieldFact], *, now: datetime, policy: CabPolicy | None = None
) -> tuple[Worker, ...]:
    """Everybody whose shift was begun and not ended, the most pressing first.

    A fact counts when it came from the machine's own phone or as a radio report about it; a later
    ``shift_end`` closes the shift. Facts told after ``now`` are not looked at.
    """
    limits = policy or CabPolicy()
    by_machine: dict[str, list[FieldFact]] = {}
    known = [fact for fact in facts if fact.at <= now]
    left = standing(known)
    for fact in left:
        by_machine.setdefault(fact.machine_id, []).append(fact)
    in_force, _ = edits_in_force(left)
    out = []
    for machine_id, told in by_machine.items():
        worker = _worker(machine_id, told, in_force, limits)
        if worker is not None:
            out.append(worker)
    return tuple(sorted(out, key=lambda each: (each.due_at, each.machine_id)))


def overdue_workers(
    facts: Iterable[FieldFact], *, now: datetime, policy: CabPolicy | None = None
) -> tuple[Worker, ...]:
    """Those of :func:`workers_out` whose sign of life is missing, grace included."""
    limits = policy or CabPolicy()
    out = workers_out(facts, now=now, policy=limits)
    return tuple(each for each in out if each.minutes_late(now) > limits.overdue_min)


def _worker(
    machine_id: str, told: list[FieldFact], in_force: dict[str, FieldFact], limits: CabPolicy
) -> Worker | None:
    start: FieldFact | None = None
    heard: list[FieldFact] = []
    for fact in told:
        if fact.kind == "shift_end":
            start, heard = None, []
            continue
        if fact.kind == "shift_start":
            start, heard = fact, []
        elif start is None and fact.kind != "edit":
            # Whoever works or calls in without having begun a shift is out all the same
            start = fact
        heard.append(fact)
    if start is None:
        return None
    last = heard[-1]
    expected = _expected(machine_id, start, in_force)
    is_alone = bool(start.payload.get("is_alone", True))
    due = last.at + timedelta(hours=limits.check_in_h) if is_alone else None
    due_at = min(each for each in (expected, due, _far(start)) if each is not None)
    placed = [fact for fact in heard if "lon" in fact.payload and "lat" in fact.payload]
    where = placed[-1].payload if placed else {}
    return Worker(
        machine_id=machine_id,
        who=str(start.payload.get("who") or start.by),
        is_alone=is_alone,
        began_at=start.at,
        heard_at=last.at,
        heard_by=str(last.payload.get("via", "phone")),
        expected_back=expected,
        due_at=due_at,
        lon=where.get("lon"),
        lat=where.get("lat"),
    )


def _expected(machine_id: str, start: FieldFact, in_force: dict[str, FieldFact]) -> datetime | None:
    edit = in_force.get(f"shift/{machine_id}/expected_back")
    if edit is not None and edit.at >= start.at:
        return datetime.fromisoformat(str(edit.payload["value"]))
    said = start.payload.get("expected_back")
    return datetime.fromisoformat(str(said)) if said else None


def _far(start: FieldFact) -> datetime:
    """Nobody's shift goes on for longer than a day without a question."""
    return start.at + timedelta(days=1)
