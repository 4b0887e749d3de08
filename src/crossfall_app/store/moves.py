"""What moves on in its own row: a hazard, a request, a load limit. Each move is in the audit."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, datetime
from typing import Literal

from django.db import transaction

from crossfall import model as nouns
from crossfall.errors import InputError
from crossfall.judgement.haul import ended_early
from crossfall_app.store import audit, convert, models


def take_down_posting(posting_id: str, at: datetime, *, by: str) -> nouns.LoadPosting:
    """Say when a load limit comes down; a time once given is never changed."""
    with transaction.atomic():
        row = models.LoadPosting.objects.select_for_update().filter(key=posting_id).first()
        if row is None:
            raise InputError(f"load limit {posting_id!r} is unknown")
        if row.down_at is not None:
            raise InputError(f"load limit {posting_id!r} came down already, at {row.down_at}")
        row.down_at = at
        # The noun refuses a time before it went up
        posting = convert.POSTING.to_noun(getattr(row, name) for name in convert.POSTING.names)
        row.save(update_fields=["down_at"])
        audit.note("move", "loadposting", posting_id, who=by, after={"down_at": at.isoformat()})
    return posting


def move_hazard(
    hazard_id: str, step: Literal["barricaded_at", "repaired_at"], at: datetime, *, by: str
) -> nouns.Hazard:
    """Say when a hazard was barricaded or repaired; a time once given is never changed."""
    if step not in {"barricaded_at", "repaired_at"}:
        raise InputError(f"step is {step!r}; expected barricaded_at or repaired_at")
    with transaction.atomic():
        row = models.Hazard.objects.select_for_update().filter(key=hazard_id).first()
        if row is None:
            raise InputError(f"hazard {hazard_id!r} is unknown")
        if getattr(row, step) is not None:
            raise InputError(f"hazard {hazard_id!r} has its {step} already")
        if at < row.noticed_at:
            raise InputError(f"{step} is {at}, before the hazard was noticed at {row.noticed_at}")
        author = f"{step.removesuffix('_at')}_by"
        setattr(row, step, at)
        setattr(row, author, by)
        row.save(update_fields=[step, author])
        audit.note("move", "hazard", hazard_id, who=by, after={step: at.isoformat()})
    return convert.HAZARD.to_noun(getattr(row, name) for name in convert.HAZARD.names)


def place_request(request_id: str, segment_id: str, *, by: str) -> nouns.Request:
    """Say which segment a request is about, where no match was found or the wrong one."""
    with transaction.atomic():
        row = _request(request_id)
        if row.status != "open":
            raise InputError(f"request {request_id!r} is closed; what it was about stays")
        if not models.Segment.objects.filter(id=segment_id, vanished_at__isnull=True).exists():
            raise InputError(f"segment {segment_id!r} is not on the map")
        before = row.segment_id
        row.segment_id, row.at_m, row.distance_m = segment_id, None, None
        row.save(update_fields=["segment", "at_m", "distance_m"])
        audit.note(
            "place",
            "request",
            request_id,
            who=by,
            before={"segment": before},
            after={"segment": segment_id},
        )
    return _as_noun(row)


def answer_requests(
    request_ids: Iterable[str],
    reply: str,
    *,
    approved_by: str,
    approved_at: datetime,
    closed_on: date,
    record_id: str | None,
    by: str,
) -> tuple[nouns.Request, ...]:
    """Close requests with the reply that a named person approved; all of them or none.

    Nothing is sent: the text is kept for whoever tells the resident.

    Raises
    ------
    InputError
        If nobody approved it, the reply is empty, or a request is unknown or closed already.
    """
    if not approved_by.strip():
        raise InputError("approved_by is empty; a reply is approved by a named person")
    if not reply.strip():
        raise InputError("reply is empty; say what was done")
    keys, answered = tuple(request_ids), []
    with transaction.atomic():
        for key in keys:
            row = _request(key)
            if row.status != "open":
                raise InputError(f"request {key!r} is closed already, on {row.closed_on}")
            row.status, row.reply, row.closed_on = "closed", reply.strip(), closed_on
            row.reply_approved_by, row.reply_approved_at = approved_by.strip(), approved_at
            row.record_id = record_id
            noun = _as_noun(row)
            # The noun's row is packed again, so that what no database holds is refused here
            convert.REQUEST.to_row(noun)
            row.save()
            answered.append(noun)
            after = {"approved_by": row.reply_approved_by, "record": record_id}
            audit.note("answer", "request", key, who=by, after=after)
    return tuple(answered)


def book_record(record_id: str, agreement_id: str, *, by: str) -> nouns.WorkRecord:
    """Book work to a haul agreement; work that is booked already stays where it is."""
    with transaction.atomic():
        row = models.WorkRecord.objects.select_for_update().filter(key=record_id).first()
        if row is None:
            raise InputError(f"record {record_id!r} is unknown")
        if row.agreement_key is not None:
            raise InputError(f"record {record_id!r} is booked to {row.agreement_key} already")
        agreement = models.HaulAgreement.objects.filter(key=agreement_id).first()
        if agreement is None:
            raise InputError(f"agreement {agreement_id!r} is unknown; see: crossfall haul list")
        if row.segment_id not in agreement.segment_ids:
            raise InputError(
                f"record {record_id!r} is of segment {row.segment_id}, which is not on the route of"
                f" {agreement_id}"
            )
        row.agreement_key = agreement_id
        row.save(update_fields=["agreement_key"])
        audit.note("book", "workrecord", record_id, who=by, after={"agreement": agreement_id})
    return convert.RECORD.to_noun(getattr(row, name) for name in convert.RECORD.names)


def end_agreement(
    agreement_id: str, last_day: date, *, because: str, tonnes: float | None = None, by: str
) -> nouns.HaulAgreement:
    """End a haul before its time; what was agreed stays in the audit.

    Raises
    ------
    InputError
        If it is unknown, has another last day than a later one, or no reason is given.
    """
    with transaction.atomic():
        rows = models.HaulAgreement.objects.select_for_update()
        row = rows.filter(key=agreement_id).first()
        if row is None:
            raise InputError(f"agreement {agreement_id!r} is unknown; see: crossfall haul list")
        agreed = convert.AGREEMENT.to_noun(getattr(row, name) for name in convert.AGREEMENT.names)
        ended = ended_early(agreed, last_day, because=because, tonnes=tonnes)
        before = {"last_day": agreed.last_day.isoformat(), "tonnes": agreed.tonnes}
        after = {"last_day": ended.last_day.isoformat(), "tonnes": ended.tonnes, "because": because}
        row.last_day, row.tonnes, row.note = ended.last_day, ended.tonnes, ended.note
        row.save(update_fields=["last_day", "tonnes", "note"])
        audit.note("end", "haulagreement", agreement_id, who=by, before=before, after=after)
    return ended


def _request(key: str) -> models.Request:
    row: models.Request | None = models.Request.objects.select_for_update().filter(key=key).first()
    if row is None:
        raise InputError(f"request {key!r} is unknown")
    return row


def _as_noun(row: models.Request) -> nouns.Request:
    return convert.REQUEST.to_noun(getattr(row, name) for name in convert.REQUEST.names)
