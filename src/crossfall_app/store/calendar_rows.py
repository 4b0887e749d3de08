"""The crew's calendar in the store: entered, listed, and dropped when it no longer holds."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django.db import IntegrityError, transaction

from crossfall import model as nouns
from crossfall.errors import InputError
from crossfall_app.store import audit, convert, models

_TABLES: tuple[tuple[str, convert.Mapping[Any]], ...] = (
    ("reservations", convert.RESERVATION),
    ("other_work", convert.OTHER_WORK),
    ("bans", convert.ROAD_BAN),
)


def load_calendar() -> nouns.CrewCalendar:
    """Everything entered and not dropped, in order of entry."""
    found = {
        name: mapping.of(mapping.table.objects.filter(is_dropped=False).order_by("pk"))
        for name, mapping in _TABLES
    }
    return nouns.CrewCalendar(**found)


def add_to_calendar(calendar: nouns.CrewCalendar, *, by: str) -> int:
    """Enter reservations, other work and bans; all of them or none.

    Raises
    ------
    InputError
        If a machine, person or segment is unknown, or an id is there already.
    """
    _refuse_strangers(calendar)
    n = 0
    try:
        with transaction.atomic():
            for name, mapping in _TABLES:
                rows = [mapping.to_row(each, created_by=by) for each in getattr(calendar, name)]
                mapping.table.objects.bulk_create(rows)
                n += len(rows)
                if rows:
                    audit.note("add", name, who=by, after={"rows": len(rows)})
    except IntegrityError as error:
        raise InputError("an entry of that id is in the calendar already") from error
    return n


def drop_from_calendar(key: str, *, by: str) -> None:
    """Take an entry back; it stays in the store and is planned around no more.

    Raises
    ------
    InputError
        If there is none of that id.
    """
    with transaction.atomic():
        for name, mapping in _TABLES:
            if mapping.table.objects.filter(key=key, is_dropped=False).update(is_dropped=True):
                audit.note("drop", name, who=by, after={"key": key})
                return
    raise InputError(f"the calendar has no entry {key!r}; list it with: crossfall calendar list")


def _refuse_strangers(calendar: nouns.CrewCalendar) -> None:
    machines = set(models.Machine.objects.filter(is_current=True).values_list("id", flat=True))
    people = set(models.Operator.objects.filter(is_current=True).values_list("id", flat=True))
    named: Iterable[tuple[str, set[str], str]] = (
        *((r.machine_id, machines, "machine") for r in calendar.reservations if r.machine_id),
        *((r.operator_id, people, "operator") for r in calendar.reservations if r.operator_id),
        *(
            (who, machines | people, "machine or operator")
            for work in calendar.other_work
            for who in work.who
        ),
    )
    for name, known, what in named:
        if name not in known:
            raise InputError(f"there is no {what} {name!r} in the fleet")
    roads = {segment_id for ban in calendar.bans for segment_id in ban.segment_ids}
    here = set(models.Segment.objects.filter(id__in=roads).values_list("id", flat=True))
    if roads - here:
        raise InputError(f"segment {min(roads - here)!r} is not on the map")
