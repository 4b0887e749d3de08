"""The books: event codes with what they gather, and what somebody lets stay open overnight."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db import transaction

from crossfall.errors import InputError
from crossfall_app.store import audit, models

_CODE = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,39}")
KINDS = ("record", "hazard")


@dataclass(frozen=True, slots=True)
class Event:
    """An event code and the keys of what is under it."""

    code: str
    name: str
    first_day: date
    last_day: date | None
    note: str
    records: frozenset[str]
    hazards: frozenset[str]


@dataclass(frozen=True, slots=True)
class Approval:
    """Who let something stay open, until when and how it is marked."""

    record_id: str
    kind: str
    approved_by: str
    until: date
    at: datetime
    note: str


def open_event(
    code: str, name: str, first_day: date, *, last_day: date | None = None, note: str = "", by: str
) -> None:
    """Begin an event code.

    Raises
    ------
    InputError
        If the code is none or taken, the name is empty, or it ends before it begins.
    """
    code, name = code.strip(), " ".join(name.split())
    if not _CODE.fullmatch(code):
        raise InputError(f"code is {code!r}; expected letters, digits, dots and dashes, up to 40")
    if not name:
        raise InputError("name is empty; say what happened")
    if last_day is not None and last_day < first_day:
        raise InputError(f"the event ends on {last_day}, before it begins on {first_day}")
    with transaction.atomic():
        # Two who open the same code at once go one after the other
        list(models.Agency.objects.select_for_update().values_list("pk"))
        if models.Event.objects.filter(code=code).exists():
            raise InputError(f"event code {code!r} is there already")
        models.Event.objects.create(
            code=code, name=name, first_day=first_day, last_day=last_day, note=note, created_by=by
        )
        audit.note("open", "event", code, who=by, after={"name": name, "from": f"{first_day}"})


def put_under(code: str, kind: str, keys: Iterable[str], *, by: str, is_in: bool = True) -> int:
    """Put records or dangers under an event code, or take them out; returns how many changed."""
    if kind not in KINDS:
        raise InputError(f"kind is {kind!r}; expected {' or '.join(KINDS)}")
    with transaction.atomic():
        event = models.Event.objects.filter(code=code).first()
        if event is None:
            raise InputError(f"event code {code!r} is unknown; open it first")
        table = models.WorkRecord if kind == "record" else models.Hazard
        wanted = list(dict.fromkeys(keys))
        known = set(table.objects.filter(key__in=wanted).values_list("key", flat=True))
        unknown = [key for key in wanted if key not in known]
        if unknown:
            raise InputError(f"{kind} {unknown[0]!r} is unknown")
        now = _keys(event, kind)
        changed = [key for key in wanted if (key in now) != is_in]
        models.EventItem.objects.bulk_create(
            [
                models.EventItem(event=event, kind=kind, key=key, is_in=is_in, created_by=by)
                for key in changed
            ]
        )
        if changed:
            action = "gather" if is_in else "take out"
            audit.note(action, "event", code, who=by, after={kind: changed})
    return len(changed)


def list_events() -> tuple[Event, ...]:
    """All event codes, the latest first."""
    rows = models.Event.objects.order_by("-first_day", "code").prefetch_related("items")
    return tuple(_event(row) for row in rows)


def load_event(code: str) -> Event:
    """One event code.

    Raises
    ------
    InputError
        If it is unknown.
    """
    row = models.Event.objects.filter(code=code).first()
    if row is None:
        raise InputError(f"event code {code!r} is unknown")
    return _event(row)


def approve_end(
    record_id: str,
    kind: str,
    *,
    approved_by: str,
    today: date,
    is_delineated: bool,
    is_height_limited: bool,
    note: str = "",
    by: str,
) -> None:
    """Let a windrow or an open culvert stay until tomorrow, in one person's name.

    Raises
    ------
    InputError
        If it is not delineated or not held low, nobody is named, or the record is unknown.
    """
    if not (is_delineated and is_height_limited):
        raise InputError(
            "nothing stays open overnight unless it is delineated and its height is limited;"
            " close it, or close the road"
        )
    if not approved_by.strip():
        raise InputError("nobody is named; a person answers for what stays open")
    with transaction.atomic():
        if not models.WorkRecord.objects.filter(key=record_id).exists():
            raise InputError(f"record {record_id!r} is unknown")
        until = today + timedelta(days=1)
        models.EndApproval.objects.create(
            record_key=record_id,
            kind=kind,
            approved_by=approved_by.strip(),
            until=until,
            is_delineated=True,
            is_height_limited=True,
            note=note,
            created_by=by,
        )
        after = {"kind": kind, "approved_by": approved_by.strip(), "until": f"{until}"}
        audit.note("approve", "workrecord", record_id, who=by, after=after)


def end_approvals() -> dict[tuple[str, str], Approval]:
    """The last approval of each thing left open, by record and kind."""
    return {
        (row.record_key, row.kind): Approval(
            row.record_key, row.kind, row.approved_by, row.until, row.created_at, row.note
        )
        for row in models.EndApproval.objects.order_by("pk")
    }


def _event(row: models.Event) -> Event:
    return Event(
        row.code,
        row.name,
        row.first_day,
        row.last_day,
        row.note,
        frozenset(_keys(row, "record")),
        frozenset(_keys(row, "hazard")),
    )


def _keys(event: models.Event, kind: str) -> set[str]:
    found: dict[str, bool] = {}
    for item in sorted(event.items.all(), key=lambda item: item.pk):
        if item.kind == kind:
            found[item.key] = item.is_in
    return {key for key, is_in in found.items() if is_in}
