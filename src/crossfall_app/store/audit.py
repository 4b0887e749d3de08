"""The audit: who changed what, each line sealed into the next.

A line that is altered or taken out later breaks the chain, and ``crossfall doctor`` says where.
Call :func:`note` inside the transaction that makes the change.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC
from typing import Any

from django.db import transaction
from django.utils import timezone

from crossfall_app.store import models
from crossfall_app.store.convert import seal
from crossfall_app.store.fields import canonical_json


@dataclass(frozen=True, slots=True)
class Change:
    """One change to one row; ``before`` is None for a new one."""

    action: str
    table: str
    row: str = ""
    before: Any = None
    after: Any = None


def note(
    action: str, table: str, row: str = "", *, who: str, before: Any = None, after: Any = None
) -> None:
    """Write one line."""
    note_all([Change(action, table, row, before, after)], who=who)


def note_all(changes: Iterable[Change], *, who: str) -> None:
    """Write one line for each change, in order."""
    now = timezone.now()
    with transaction.atomic():
        # The agency's row is the lock that puts two writers one after the other
        list(models.Agency.objects.select_for_update().values_list("pk"))
        last = models.Audit.objects.order_by("-pk").values_list("hash", flat=True).first() or ""
        lines = []
        for change in changes:
            line = models.Audit(
                at=now,
                who=who,
                action=change.action,
                table=change.table,
                row=change.row,
                before=change.before,
                after=change.after,
                previous_hash=last,
            )
            line.hash = last = _hash(line)
            lines.append(line)
        models.Audit.objects.bulk_create(lines)


def first_break() -> int | None:
    """The number of the first line that does not fit the chain; None when all fit."""
    last = ""
    for line in models.Audit.objects.order_by("pk").iterator():
        if line.previous_hash != last or line.hash != _hash(line):
            return int(line.pk)
        last = line.hash
    return None


def _hash(line: models.Audit) -> str:
    # Figures are compared as text, for a database may give 5 back as 5.0
    at = line.at.astimezone(UTC).isoformat()
    told = [at, line.who, line.action, line.table, line.row]
    told += [_plain(line.before), _plain(line.after)]
    return seal(line.previous_hash + canonical_json(told))


def _plain(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _plain(each) for key, each in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(each) for each in value]
    if isinstance(value, float | int) and not isinstance(value, bool):
        return format(float(value), ".12g")
    return value
