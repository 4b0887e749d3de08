"""The foreman's side: what came in, taken over into the records or set aside, and clashes settled.

Nothing a cab tells becomes a work record, a look or an observation before a person says so;
dangers are the exception and stand in the register at once. Taking over goes the same road as
typing in a paper card, so both leave the same record.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any
from uuid import uuid4

from django.db import transaction
from django.utils import timezone

from crossfall.errors import InputError
from crossfall.model import FieldFact, FittedEdge, JobCard, WorkRecord
from crossfall.records.field_day import (
    CardReport,
    card_reports,
    looks_of_facts,
    observations_of_facts,
)
from crossfall.records.field_sync import Clash, edits_in_force, standing
from crossfall.records.lone_worker import Worker, workers_out
from crossfall.records.lone_worker import overdue_workers as overdue_among
from crossfall_app.field.intake import facts_of, noun_of, take_in
from crossfall_app.field.models import Decision, Device, Fact, Photo
from crossfall_app.field.pairing import office_device
from crossfall_app.store import audit, convert, repository
from crossfall_app.store import models as store
from crossfall_app.store.closing import record_card

_LONE_DAYS = 3
_IN_THE_REGISTER = ("sign_missing", "rock", "culvert")


@dataclass(frozen=True, slots=True)
class Waiting:
    """What came in about one card on one day and nobody decided on."""

    card: JobCard
    day: date
    report: CardReport
    doubts: tuple[str, ...]
    photos: tuple[str, ...]
    n_photos_to_come: int
    is_more: bool
    """Part of this card was taken over already: this came later."""


def waiting_cards() -> tuple[Waiting, ...]:
    """Cards with facts that wait for the foreman, the oldest first."""
    rows = list(_undecided().filter(card_key__isnull=False).select_related("device"))
    groups: dict[tuple[str, date], list[Fact]] = {}
    for row in sorted(rows, key=lambda row: row.number):
        groups.setdefault((row.card_key, row.day), []).append(row)
    cards = _cards({key for key, _ in groups})
    undone = _undos()
    found = []
    for (key, day), told in groups.items():
        reports = card_reports([*(noun_of(row) for row in told), *undone])
        if key not in cards or not reports:
            continue
        photos = Photo.objects.filter(fact__in=[row.pk for row in told])
        found.append(
            Waiting(
                card=cards[key],
                day=day,
                report=reports[0],
                doubts=tuple(dict.fromkeys(each for row in told for each in row.doubts)),
                photos=tuple(photos.exclude(name="").values_list("name", flat=True)),
                n_photos_to_come=photos.filter(name="", refused="").count(),
                is_more=Decision.objects.filter(
                    fact__card_key=key, fact__day=day, kind="taken_over"
                ).exists(),
            )
        )
    return tuple(sorted(found, key=lambda each: (each.day, each.report.first_at)))


def waiting_of(number: int) -> Waiting | None:
    """What waits about one card."""
    return next((each for each in waiting_cards() if each.card.number == number), None)


def other_facts() -> tuple[FieldFact, ...]:
    """Facts about no card that wait: notes, photos, edges."""
    kinds = ("note", "photo", "edge")
    rows = _undecided().filter(card_key__isnull=True, kind__in=kinds)
    return standing([*facts_of(rows), *_undos()])


def late_undos() -> tuple[tuple[FieldFact, FieldFact], ...]:
    """Facts that were undone after they had been taken over, or that put a danger into the
    register: each with its undo. What was made of them is for the foreman to put right."""
    undos = {fact.payload["of"]: fact for fact in facts_of(_unread_undos())}
    if not undos:
        return ()
    rows = Fact.objects.filter(key__in=undos)
    taken = rows.filter(decision__kind="taken_over") | rows.filter(kind__in=_IN_THE_REGISTER)
    gone = {fact.id for fact in facts_of(rows)} - {
        fact.id for fact in standing([*facts_of(rows), *undos.values()])
    }
    return tuple((fact, undos[fact.id]) for fact in facts_of(taken) if fact.id in gone)


def take_over(number: int, *, by: str, actuals: dict[str, Any]) -> WorkRecord:
    """Make a record of a card from the foreman's form, and take over what the cab told with it.

    ``actuals`` are those of :func:`crossfall.records.close_card`, ``by_whom`` for who did it; the
    same form serves a paper card, about which nothing was told.

    Raises
    ------
    InputError
        If the record cannot be so; nothing is kept then.
    """
    given = dict(actuals)
    waiting = waiting_of(number)
    with transaction.atomic():
        record = record_card(number, by=given.pop("by_whom"), entered_by=by, **given)
        if waiting is not None:
            _take_over_facts(waiting, by, record.id)
    return record


def take_over_others(*, by: str) -> int:
    """Take over what was told about no card: edges are fitted, notes, photos and undos are read."""
    facts = other_facts()
    with transaction.atomic():
        edges = [_edge_of(fact) for fact in facts if fact.kind == "edge"]
        repository.add_edges(edges, by=by)
        undos = [undo for _, undo in late_undos()]
        _decide([*facts, *undos], "taken_over", by=by)
        audit.note("take_over", "fact", who=by, after={"facts": len(facts) + len(undos)})
    return len(facts) + len(undos)


def set_aside(number: int, *, by: str, because: str) -> int:
    """Leave what was told about a card without a record: nothing was done, or it is wrong.

    How the surface felt and what was seen on the road is taken over all the same.

    Raises
    ------
    InputError
        If nothing waits, or no reason is given.
    """
    waiting = waiting_of(number)
    if waiting is None:
        raise InputError(f"nothing waits about card {number}")
    if not because.strip():
        raise InputError("because is empty; say why this gives no record")
    with transaction.atomic():
        _take_over_facts(waiting, by, None, kind="set_aside", because=because.strip())
    return len(waiting.report.facts)


def clashes() -> tuple[Clash, ...]:
    """Edits that contradict one another and wait for the foreman."""
    return _edits_and_clashes()[1]


def changes_of(card_id: str) -> tuple[FieldFact, ...]:
    """What holds of what was changed about a card: start, passes it takes, the remark."""
    in_force, _ = _edits_and_clashes()
    return tuple(
        fact for target, fact in in_force.items() if target.rpartition("/")[0] == f"card/{card_id}"
    )


def _edits_and_clashes() -> tuple[dict[str, FieldFact], tuple[Clash, ...]]:
    edits = facts_of(Fact.objects.filter(kind="edit"))
    return edits_in_force(standing([*edits, *_undos()]), _settled())


def settle_clash(winner: str, loser: str, *, by: str) -> None:
    """Say which of two edits holds; the other stays in the history.

    Raises
    ------
    InputError
        If these two are no open clash.
    """
    pair = {winner, loser}
    if not any({each.first.id, each.second.id} == pair for each in clashes()):
        raise InputError("these two are settled already, or never contradicted one another")
    with transaction.atomic():
        lost = Fact.objects.get(key=loser)
        Decision.objects.create(fact=lost, kind="lost", at=timezone.now(), by=by, winner_key=winner)
        audit.note("settle", "fact", loser, who=by, after={"winner": winner})


def radio_report(
    machine_id: str,
    kind: str,
    *,
    by: str,
    now: datetime,
    today: date,
    who: str = "",
    note: str = "",
    expected_back: datetime | None = None,
) -> None:
    """Keep what somebody said over the radio: began, checks in, is back later, ended.

    Raises
    ------
    InputError
        If the machine is unknown or the report says nothing that is known.
    """
    if not store.Machine.objects.filter(pk=machine_id, is_current=True).exists():
        raise InputError(f"machine {machine_id!r} is not in the fleet")
    office = office_device(now=now)
    payload: dict[str, Any] = {"who": who.strip() or None, "note": note.strip() or None}
    if kind == "check_in":
        payload |= {"via": "radio"}
    elif kind == "shift_start":
        payload = {"who": who.strip() or None, "is_alone": True}
        payload |= {"expected_back": expected_back.isoformat() if expected_back else None}
    elif kind == "shift_end":
        payload = {"note": note.strip() or None}
    else:
        raise InputError(f"kind is {kind!r}; expected check_in, shift_start or shift_end")
    facts = [_office_fact(kind, payload)]
    if kind == "check_in" and expected_back is not None:
        target = f"shift/{machine_id}/expected_back"
        facts.append(_office_fact("edit", {"target": target, "value": expected_back.isoformat()}))
    for number, fact in enumerate(facts, start=Fact.objects.filter(device=office).count() + 1):
        fact |= {"sequence": number, "at": now.isoformat(), "seen": _latest()}
    office.name = by
    answer = take_in(
        office,
        {"protocol": 1, "facts": facts, "waiting": 0},
        now=now,
        today=today,
        policy=repository.load_policy().cab,
        machine=machine_id,
    )
    refused = [each["why"] for each in answer["answers"] if each["answer"] == "rejected"]
    if refused:
        raise InputError(refused[0].rstrip("."))
    audit.note("radio", "fact", machine_id, who=by, after={"kind": kind})


def people_out(*, now: datetime) -> tuple[Worker, ...]:
    """Everybody whose shift is open."""
    return workers_out(_lately(now), now=now, policy=repository.load_policy().cab)


def overdue_workers(*, now: datetime) -> tuple[Worker, ...]:
    """Those whose sign of life is missing, for the morning page and the field page."""
    return overdue_among(_lately(now), now=now, policy=repository.load_policy().cab)


def phones() -> list[Device]:
    """Paired phones, those still in use first."""
    rows = Device.objects.filter(machine__isnull=False).select_related("machine")
    return sorted(rows, key=lambda each: (each.revoked_at is not None, each.machine.name, each.pk))


def _lately(now: datetime) -> tuple[FieldFact, ...]:
    since = now - timedelta(days=_LONE_DAYS)
    return facts_of(Fact.objects.filter(at__gte=since).exclude(kind="track"))


def _take_over_facts(
    waiting: Waiting,
    by: str,
    record_key: str | None,
    *,
    kind: str = "taken_over",
    because: str = "",
) -> None:
    facts = waiting.report.facts
    cards = {waiting.card.id: waiting.card}
    district = repository.load_district()
    observations = observations_of_facts(facts, cards, district.network, waiting.day)
    repository.add_observations(observations, by=by)
    looks = looks_of_facts(facts, cards, _believed(waiting.card.segment_id), waiting.day)
    repository.add_conditions(looks, by=by, source="cab")
    repository.add_edges([_edge_of(fact) for fact in facts if fact.kind == "edge"], by=by)
    _decide(facts, kind, by=by, record_key=record_key, because=because)
    after = {"facts": len(facts), "record": record_key, "because": because}
    audit.note(kind, "fact", str(waiting.card.number), who=by, after=after)


def _believed(segment_id: str) -> Iterable[Any]:
    """What the road was last believed to be like."""
    rows = store.Condition.objects.filter(segment_id=segment_id, superseded_by__isnull=True)
    newest = rows.order_by("-observed_on", "-pk")[:1]
    found: tuple[Any, ...] = convert.CONDITION.of(
        store.Condition.objects.filter(pk__in=[each.pk for each in newest])
    )
    if found:
        return found
    week = repository.latest_week()
    known = week.conditions if week is not None else ()
    return tuple(each for each in known if each.segment_id == segment_id)


def _edge_of(fact: FieldFact) -> FittedEdge:
    row = Fact.objects.get(key=fact.id)
    last = store.FittedEdge.objects.filter(machine_id=fact.machine_id).order_by("-pk").first()
    life = fact.payload.get("life_km") or (last.life_km if last is not None else 0.0)
    if not life > 0:
        raise InputError(
            "the edge's life was not told and no earlier edge of this machine is known;"
            " fit it on the Gravel page, where its life can be said"
        )
    return FittedEdge(
        machine_id=fact.machine_id,
        name=str(fact.payload["name"]),
        fitted_on=row.day,
        life_km=float(life),
        id=f"edge-{fact.id}",
        note=str(fact.payload.get("note", "")),
    )


def _decide(
    facts: Iterable[FieldFact],
    kind: str,
    *,
    by: str,
    record_key: str | None = None,
    because: str = "",
) -> None:
    keys = [fact.id for fact in facts]
    rows = Fact.objects.filter(key__in=keys, decision__isnull=True)
    now = timezone.now()
    Decision.objects.bulk_create(
        Decision(fact=row, kind=kind, at=now, by=by, because=because, record_key=record_key)
        for row in rows
    )


def _undecided() -> Any:
    return Fact.objects.filter(decision__isnull=True).exclude(kind__in=("undo", "track", "edit"))


def _undos() -> tuple[FieldFact, ...]:
    return facts_of(Fact.objects.filter(kind="undo"))


def _unread_undos() -> Any:
    return Fact.objects.filter(kind="undo", decision__isnull=True)


def _settled() -> dict[str, str]:
    rows = Decision.objects.filter(kind="lost", winner_key__isnull=False)
    return dict(rows.values_list("fact__key", "winner_key"))


def _cards(keys: set[str]) -> dict[str, JobCard]:
    rows = store.JobCard.objects.filter(key__in=keys).order_by("version")
    return {row.key: convert.card_to_noun(row) for row in rows}


def _office_fact(kind: str, payload: dict[str, Any]) -> dict[str, Any]:
    return {"id": str(uuid4()), "kind": kind, "payload": payload, "card": None}


def _latest() -> int:
    last = Fact.objects.order_by("-number").values_list("number", flat=True).first()
    return int(last or 0)
