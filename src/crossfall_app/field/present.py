"""Rows of the field pages, in the agency's words."""

from __future__ import annotations

from collections.abc import Iterable
from contextlib import suppress
from datetime import date, datetime, timedelta
from typing import Any

from django.utils import timezone

from crossfall.model import FieldFact
from crossfall.records.field_facts import EDITS
from crossfall.records.field_sync import Clash
from crossfall.records.lone_worker import Worker
from crossfall_app.field.approve import Waiting
from crossfall_app.field.models import Device, Fact
from crossfall_app.store import models as store
from crossfall_app.store import repository
from crossfall_app.web.present.measures import Measures, day_name, moment

_SHIFTS_SHOWN = 14


def people_rows(workers: Iterable[Worker], *, now: datetime, today: date) -> list[dict[str, Any]]:
    """Everybody who is out, with the next sign of life that is due."""
    limits = repository.load_policy().cab
    names = dict(store.Machine.objects.values_list("pk", "name"))
    rows = []
    for each in workers:
        late = each.minutes_late(now)
        rows.append(
            {
                "who": each.who,
                "machine": names.get(each.machine_id, each.machine_id),
                "machine_id": each.machine_id,
                "is_alone": each.is_alone,
                "heard": f"{_clock(each.heard_at)} by {each.heard_by}",
                "back": _clock(each.expected_back) if each.expected_back else "not said",
                "due": _clock(each.due_at),
                "is_overdue": late > limits.overdue_min,
                "late": f"{late:.0f} min" if late < 120 else f"{late / 60:.1f} h",
                "place": "" if each.lon is None else f"{each.lat:.5f}, {each.lon:.5f}",
            }
        )
    return rows


def overdue_rows(workers: Iterable[Worker], *, now: datetime) -> list[dict[str, Any]]:
    """Those who are overdue, as the morning page says it."""
    return [
        row
        for row in people_rows(workers, now=now, today=timezone.localtime(now).date())
        if row["is_overdue"]
    ]


def waiting_rows(
    waiting: Iterable[Waiting], measures: Measures, today: date
) -> list[dict[str, Any]]:
    """Cards that wait for the foreman."""
    return [
        {
            "number": each.card.number,
            "title": each.card.title,
            "machine": each.card.machine,
            "status": each.card.status,
            "day": day_name(each.day, today),
            "summary": measures.words(each.report.summary()),
            "notes": each.report.notes,
            "doubts": [measures.words(doubt) for doubt in each.doubts],
            "photos": each.photos,
            "n_to_come": each.n_photos_to_come,
            "is_more": each.is_more,
            "is_told": each.report.is_told,
            "by": each.report.by,
            "from": _clock(each.report.first_at),
            "to": _clock(each.report.last_at),
        }
        for each in waiting
    ]


def clash_rows(clashes: Iterable[Clash]) -> list[dict[str, Any]]:
    """Edits that contradict one another, both sides."""
    return [
        {
            "what": EDITS.get(each.target.rpartition("/")[2], each.target),
            "about": "/".join(each.target.split("/")[1:-1]),
            "first": _side(each.first),
            "second": _side(each.second),
        }
        for each in clashes
    ]


def change_rows(changes: Iterable[FieldFact]) -> list[dict[str, str]]:
    """What holds of what was changed about a card."""
    return [
        {"what": EDITS[str(each.payload["target"]).rpartition("/")[2]], **_side(each)}
        for each in changes
    ]


def phone_rows(devices: Iterable[Device], *, now: datetime, today: date) -> list[dict[str, Any]]:
    """Paired phones and how they are."""
    skew_told = repository.load_policy().cab.skew_told_s
    rows = []
    for each in devices:
        gone = _missing(each)
        rows.append(
            {
                "key": each.key,
                "name": each.name,
                "machine": each.machine.name,
                "paired": f"{moment(each.paired_at, today)} by {each.paired_by}",
                "heard": moment(each.seen_at, today) if each.seen_at else "never",
                "waiting": each.waiting,
                "missing": gone,
                "clock": f"{each.skew_s / 60:+.0f} min" if abs(each.skew_s) > skew_told else "",
                "revoked": moment(each.revoked_at, today) if each.revoked_at else "",
            }
        )
    return rows


def shift_links(today: date) -> list[dict[str, Any]]:
    """Machine-days that something was told of, the newest first."""
    names = dict(store.Machine.objects.values_list("pk", "name"))
    since = today - timedelta(days=30)
    pairs = (
        Fact.objects.filter(day__gte=since)
        .exclude(machine_key="")
        .values_list("day", "machine_key")
        .distinct()
        .order_by("-day", "machine_key")[:_SHIFTS_SHOWN]
    )
    return [
        {
            "day": day_name(day, today),
            "iso": day.isoformat(),
            "machine": names.get(key, key),
            "machine_id": key,
        }
        for day, key in pairs
    ]


def _missing(device: Device) -> int:
    """Facts that the phone counted and that never came: gaps in its sequence."""
    numbers = set(device.facts.values_list("sequence", flat=True))
    return max(numbers, default=0) - len(numbers)


def _side(fact: Any) -> dict[str, str]:
    value = str(fact.payload["value"])
    with suppress(ValueError):
        value = _clock(datetime.fromisoformat(value))
    return {"id": fact.id, "value": value, "by": fact.by, "at": _clock(fact.at)}


def _clock(at: datetime) -> str:
    return f"{timezone.localtime(at):%H:%M}"
