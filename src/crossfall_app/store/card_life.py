"""The life of a card: drafted, issued by name, withdrawn with a reason, written anew, closed.

The text of an issued card never changes. What was wrong with it is withdrawn, and the next version
of the same number takes its place.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from typing import Any

from django.db import transaction
from django.utils import timezone

from crossfall import model as nouns
from crossfall.cards import Obstacle, obstacles, with_leave
from crossfall.errors import InputError
from crossfall.model.policy.permission import PermissionPractice
from crossfall_app.store import audit, convert, models
from crossfall_app.store.live_orders import orders_beside, plan_times

CARD_STATUSES = ("draft", "issued", "withdrawn", "closed")
_MOVES = {
    ("draft", "issued"),
    ("draft", "withdrawn"),
    ("issued", "withdrawn"),
    ("issued", "closed"),
}


@dataclass(frozen=True, slots=True)
class CardLine:
    """One version of a card in its history."""

    version: int
    status: str
    made_at: datetime
    approved_by: str
    approved_at: datetime | None
    withdrawn_because: str
    seal: str


def list_cards(
    *, plan_id: str | None = None, day: date | None = None, status: str | None = None
) -> tuple[nouns.JobCard, ...]:
    """Cards by number; all of them, or those of one plan, day or status."""
    rows = models.JobCard.objects.order_by("number", "version")
    if plan_id is not None:
        rows = rows.filter(plan__key=plan_id)
    if day is not None:
        rows = rows.filter(day=day)
    if status is not None:
        if status not in CARD_STATUSES:
            raise InputError(f"status is {status!r}; expected {', '.join(CARD_STATUSES)}")
        rows = rows.filter(status=status)
    return tuple(convert.card_to_noun(row) for row in rows)


def load_card(number: int, version: int | None = None) -> nouns.JobCard:
    """One card: its newest version, or the one that is asked for."""
    rows = models.JobCard.objects.filter(number=number).order_by("-version")
    row = (rows if version is None else rows.filter(version=version)).first()
    if row is None:
        told = "" if version is None else f", version {version}"
        raise InputError(f"card {number}{told} is unknown")
    return convert.card_to_noun(row)


def card_history(number: int) -> tuple[CardLine, ...]:
    """All versions of one card, the newest first."""
    rows = models.JobCard.objects.filter(number=number).order_by("-version")
    cards = [convert.card_to_noun(row) for row in rows]
    return tuple(
        CardLine(
            each.version,
            each.status,
            each.made_at,
            each.approved_by,
            each.approved_at,
            each.withdrawn_because,
            each.seal,
        )
        for each in cards
    )


def card_obstacles(number: int) -> tuple[Obstacle, ...]:
    """What stands against issuing the newest version of a card now."""
    row = _row(number)
    return _obstacles(row, convert.card_to_noun(row), "")


def card_stretch(number: int) -> tuple[str, float, float]:
    """Segment, and from where to where on it, that a card's work covers [m]."""
    row = _row(number)
    card = convert.card_to_noun(row)
    _, stage = _work(row, card)
    if stage is None:
        return card.segment_id, card.from_m, card.to_m
    return stage.segment_id, stage.from_m, stage.to_m


def stage_of_card(number: int) -> nouns.Stage:
    """The stage that the newest version of a card orders."""
    row = _row(number)
    _, stage = _work(row, convert.card_to_noun(row))
    if stage is None:
        raise InputError(f"the work that card {number} was written from is not in the store")
    return stage


def machine_of_cards() -> dict[str, str]:
    """The name of the machine that each card was written for, by the card's id."""
    return dict(models.JobCard.objects.values_list("key", "machine"))


def held_up(cards: Iterable[nouns.JobCard]) -> dict[int, tuple[Obstacle, ...]]:
    """Of some drafts, by number, those that cannot be issued now, and why; asked all at once."""
    drafts = [card for card in cards if card.status == "draft"]
    segments = {card.segment_id for card in drafts}
    plans = {card.plan_id for card in drafts}
    keys = models.Plan.objects.filter(key__in=plans).values_list("key", "pk")
    times = {key: plan_times(pk) for key, pk in keys}
    features, clearances, dust, hazards = (
        _by_segment(mapping, segments)
        for mapping in (convert.FEATURE, convert.CLEARANCE, convert.DUST, convert.HAZARD)
    )
    practice = _practice()
    orders = orders_beside(drafts)
    held = {}
    for card in drafts:
        job = times[card.plan_id].jobs.get(card.job_id) if card.plan_id in times else None
        stage = next((s for s in (job.stages if job else ()) if s.id == card.stage_id), None)
        if job is None or stage is None:
            continue
        against = obstacles(
            card,
            job,
            stage,
            features=features.get(card.segment_id, ()),
            clearances=clearances.get(card.segment_id, ()),
            dust=dust.get(card.segment_id, ()),
            hazards=hazards.get(card.segment_id, ()),
            own=times[card.plan_id].order(card),
            orders=orders,
            practice=practice,
        )
        if against:
            held[card.number] = against
    return held


def issue_card(
    number: int, *, approved_by: str, confirmed_by: str = "", by: str, at: datetime | None = None
) -> nouns.JobCard:
    """Issue a draft: its lines on permissions are brought up to date, and its text is frozen.

    Raises
    ------
    InputError
        If nobody is named as approving it, it is not a draft, or something stands against it; the
        message says what.
    """
    if not approved_by.strip():
        raise InputError(f"card {number}: approved_by is empty; a named person issues a card")
    with transaction.atomic():
        # Two who issue at the same moment go one after the other, so that each sees what the other
        # has ordered
        list(models.Agency.objects.select_for_update().values_list("pk"))
        row = _row(number, for_change=True)
        _refuse_move(row, "issued")
        card = convert.card_to_noun(row)
        against = _obstacles(row, card, confirmed_by)
        if against:
            told = "; ".join(each.text for each in against)
            raise InputError(f"card {number} cannot be issued: {told}")
        approved_at = at or timezone.now()
        settled = replace(
            _with_leave(row, card),
            status="issued",
            approved_by=approved_by.strip(),
            approved_at=approved_at,
            confirmed_by=confirmed_by.strip() or card.confirmed_by,
        )
        fresh = convert.card_to_row(settled)
        changed = ("status", "approved_by", "approved_at", "confirmed_by", "body", "sha256")
        for name in changed:
            setattr(row, name, getattr(fresh, name))
        row.save(update_fields=list(changed))
        after = {
            "status": "issued",
            "approved_by": settled.approved_by,
            "approved_at": approved_at.astimezone(UTC).isoformat(),
            "confirmed_by": settled.confirmed_by,
            "sha256": row.sha256,
        }
        audit.note(
            "issued", "jobcard", str(number), who=by, before={"status": "draft"}, after=after
        )
    return convert.card_to_noun(row)


def withdraw_card(number: int, *, because: str, by: str) -> nouns.JobCard:
    """Take a draft or an issued card back, and say why; crews see the reason.

    Raises
    ------
    InputError
        If no reason is given, or the card is closed or withdrawn already.
    """
    if not because.strip():
        raise InputError(f"card {number}: because is empty; say why it is withdrawn")
    return _move(number, "withdrawn", by=by, withdrawn_because=because.strip())


def next_version(
    number: int,
    *,
    by: str,
    operator: str = "",
    start_clock: str = "",
    note: str = "",
    made_at: datetime | None = None,
) -> nouns.JobCard:
    """A new draft of a withdrawn card, with another operator, start or a note to the crew.

    Another day or machine is another plan: plan the week again.

    Raises
    ------
    InputError
        If the card is not withdrawn: an issued one is withdrawn first, with its reason.
    """
    with transaction.atomic():
        row = _row(number, for_change=True)
        card = convert.card_to_noun(row)
        if card.status != "withdrawn":
            raise InputError(
                f"card {number} is {card.status}; withdraw it and say why before it is written anew"
            )
        old = tuple(step for step in card.steps if not step.text.startswith(_NOTE))
        noted = (nouns.CardStep(f"{_NOTE}{note.strip()}"),) if note.strip() else ()
        fresh = replace(
            card,
            id=f"{card.id.partition('~')[0]}~{card.version + 1}",
            version=card.version + 1,
            status="draft",
            made_at=made_at or timezone.now(),
            operator=operator.strip() or card.operator,
            start_clock=_clock(start_clock) or card.start_clock,
            steps=(*noted, *old),
            approved_by="",
            approved_at=None,
            confirmed_by=_signed(row, card),
            withdrawn_because="",
        )
        fresh = _with_leave(row, fresh)
        new = convert.card_to_row(fresh, plan=row.plan, created_by=by)
        new.save(force_insert=True)
        audit.note("add", "jobcard", str(number), who=by, after={"version": fresh.version})
    return convert.card_to_noun(new)


def move_card(number: int, status: str, *, by: str) -> nouns.JobCard:
    """Issue, withdraw or close a card in the name of whoever asks; its text stays frozen.

    Raises
    ------
    InputError
        If that step does not follow from where the card is, or something stands against it.
    """
    if status == "issued":
        return issue_card(number, approved_by=by, by=by)
    return _move(number, status, by=by)


_NOTE = "Note from the foreman: "


def _move(number: int, status: str, *, by: str, **course: str) -> nouns.JobCard:
    with transaction.atomic():
        row = _row(number, for_change=True)
        _refuse_move(row, status)
        before = {"status": row.status}
        row.status = status
        for name, value in course.items():
            setattr(row, name, value)
        row.save(update_fields=["status", *course])
        audit.note(status, "jobcard", str(number), who=by, before=before, after=course or None)
    return convert.card_to_noun(row)


def _row(number: int, *, for_change: bool = False) -> Any:
    rows = models.JobCard.objects.filter(number=number).order_by("-version")
    if for_change:
        rows = rows.select_for_update()
    row = rows.first()
    if row is None:
        raise InputError(f"card {number} is unknown")
    return row


def _refuse_move(row: Any, status: str) -> None:
    if (row.status, status) not in _MOVES:
        raise InputError(f"card {row.number} is {row.status} and cannot become {status}")


def _obstacles(row: Any, card: nouns.JobCard, confirmed_by: str) -> tuple[Obstacle, ...]:
    job, stage = _work(row, card)
    if job is None or stage is None:
        return ()
    return obstacles(
        card,
        job,
        stage,
        features=_of_segment(convert.FEATURE, card),
        clearances=_of_segment(convert.CLEARANCE, card),
        dust=_of_segment(convert.DUST, card),
        hazards=_of_segment(convert.HAZARD, card),
        own=plan_times(row.plan_id).order(card),
        orders=orders_beside([card]),
        confirmed_by=confirmed_by,
        practice=_practice(),
    )


def _practice() -> PermissionPractice:
    """What the policy in force asks leave for."""
    row = models.Agency.objects.select_related("policy").first()
    has_own = row is not None and row.policy is not None
    policy = convert.policy_to_noun(row.policy) if has_own else nouns.Policy()
    return policy.design.permission


def _with_leave(row: Any, card: nouns.JobCard) -> nouns.JobCard:
    _, stage = _work(row, card)
    if stage is None:
        return card
    features = _of_segment(convert.FEATURE, card)
    return with_leave(card, stage, features, _of_segment(convert.CLEARANCE, card), _practice())


def _work(row: Any, card: nouns.JobCard) -> tuple[nouns.Job | None, nouns.Stage | None]:
    """The job and the stage that a card was written from."""
    jobs = convert.JOB.of(models.Job.objects.filter(plan_id=row.plan_id, key=card.job_id))
    job = jobs[0] if jobs else None
    stages = [stage for stage in (job.stages if job else ()) if stage.id == card.stage_id]
    return job, (stages[0] if stages else None)


def _signed(row: Any, card: nouns.JobCard) -> str:
    """Who signed the design that the card was written from."""
    job, _ = _work(row, card)
    return job.confirmed_by if job else ""


def _of_segment(mapping: convert.Mapping[Any], card: nouns.JobCard) -> tuple[Any, ...]:
    return mapping.of(mapping.table.objects.filter(segment_id=card.segment_id).order_by("pk"))


def _by_segment(mapping: convert.Mapping[Any], segments: set[str]) -> dict[str, tuple[Any, ...]]:
    found: dict[str, tuple[Any, ...]] = {}
    for noun in mapping.of(mapping.table.objects.filter(segment_id__in=segments).order_by("pk")):
        found[noun.segment_id] = (*found.get(noun.segment_id, ()), noun)
    return found


def _clock(text: str) -> str:
    """``7:05`` as ``07:05``; empty stays empty."""
    if not text.strip():
        return ""
    try:
        return f"{datetime.strptime(text.strip(), '%H:%M'):%H:%M}"  # noqa: DTZ007 - a clock only
    except ValueError:
        raise InputError(f"start_clock is {text!r}; expected a time such as 07:05") from None
