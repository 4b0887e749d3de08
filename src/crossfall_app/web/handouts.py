"""Bundles to hand out: everything under an event code, or everything about a road, as one ZIP.

Tables are plain CSV, photos come as they are, and a manifest names every file with its SHA-256, so
that whoever receives the bundle can check that it is whole.
"""

from __future__ import annotations

import csv
import hashlib
import io
import zipfile
from collections.abc import Iterable
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

from crossfall.model import Condition, District, JobCard
from crossfall.records.ledger import WorkLine
from crossfall.report import cards_pdf
from crossfall_app.store import models
from crossfall_app.store.books import Event
from crossfall_app.store.inspections import photo_file
from crossfall_app.web.pages import harmless
from crossfall_app.web.present.books import WORK_HEADS, work_file

_BEFORE = timedelta(days=730)
_CAUTION = (
    "Compiled from the agency's own records. Amounts marked 'priced' come from the agency's rates,"
    " not from invoices; the programme that pays decides which rates and proofs it takes."
)


class Bundle:
    """A ZIP in the making."""

    def __init__(self, title: str, made_at: datetime, invented: bool) -> None:
        self._buffer = io.BytesIO()
        self._zip = zipfile.ZipFile(self._buffer, "w", zipfile.ZIP_DEFLATED)
        self._lines = [title, f"made at {made_at.isoformat(timespec='seconds')}", _CAUTION]
        if invented:
            self._lines.append("EVERYTHING IN HERE IS INVENTED.")
        self._sums: list[str] = []

    def table(self, name: str, heads: Iterable[str], rows: Iterable[Iterable[Any]]) -> None:
        """Add a CSV; text that a spreadsheet would take for a formula is made harmless."""
        text = io.StringIO()
        write = csv.writer(text, lineterminator="\r\n")
        write.writerow(heads)
        write.writerows([harmless(cell) for cell in row] for row in rows)
        self.file(name, text.getvalue().encode("utf-8"))

    def file(self, name: str, content: bytes) -> None:
        """Add a file as it is."""
        self._zip.writestr(name, content)
        self._sums.append(f"{hashlib.sha256(content).hexdigest()}  {name}")

    def photos(self, folder: str, names: Iterable[str], where: Path) -> int:
        """Add photos that are there; returns how many."""
        n = 0
        for name in dict.fromkeys(names):
            found = photo_file(name, where)
            if found is not None:
                self.file(f"{folder}/{name}", found[0].read_bytes())
                n += 1
        return n

    def close(self) -> bytes:
        """The ZIP with its manifest."""
        manifest = "\n".join([*self._lines, "", "SHA-256", *self._sums, ""])
        self._zip.writestr("manifest.txt", manifest)
        self._zip.close()
        return self._buffer.getvalue()


def event_bundle(
    event: Event,
    lines: tuple[WorkLine, ...],
    district: District,
    photos: Path,
    made_at: datetime,
) -> bytes:
    """Labour, equipment, materials and photos before and after, for those who pay for disasters."""
    mine = tuple(line for line in lines if line.record.id in event.records)
    bundle = Bundle(f"Event {event.code}: {event.name}", made_at, district.is_invented)
    bundle.table(
        "labour.csv",
        ("person", "day", "road", "work", "hours", "amount", "currency", "price_year", "record"),
        (
            (
                line.record.by, line.record.done_on, line.route, line.record.treatment.label,
                line.record.hours, line.labour.minor / 100, line.labour.currency,
                line.labour.year, line.record.id,
            )
            for line in mine
        ),
    )  # fmt: skip
    bundle.table(
        "equipment.csv",
        ("machine", "kind", "day", "road", "hours", "amount", "currency", "price_year", "record"),
        (
            (
                line.machine or "not recorded", "grader", line.record.done_on, line.route,
                line.record.hours, line.equipment.minor / 100, line.equipment.currency,
                line.equipment.year, line.record.id,
            )
            for line in mine
        ),
    )  # fmt: skip
    bundle.table(
        "materials.csv",
        ("day", "road", "loads", "loose_gravel_m3", "water_l", "amount", "currency", "price_year",
         "record"),
        (
            (
                line.record.done_on, line.route, line.record.n_loads, line.record.loose_gravel_m3,
                line.record.water_l, line.material.minor / 100, line.material.currency,
                line.material.year, line.record.id,
            )
            for line in mine
            if line.record.n_loads or line.record.loose_gravel_m3 or line.record.water_l
        ),
    )  # fmt: skip
    bundle.table("work.csv", WORK_HEADS, work_file(mine))
    hazards = [each for each in district.hazards if each.id in event.hazards]
    bundle.table(
        "dangers.csv",
        ("danger", "kind", "segment", "at_m", "noticed", "barricaded", "repaired", "note"),
        (
            (each.id, each.kind, each.segment_id, each.at_m, each.noticed_at,
             each.barricaded_at or "", each.repaired_at or "", each.note)
            for each in hazards
        ),
    )  # fmt: skip
    touched = {line.record.segment_id for line in mine} | {each.segment_id for each in hazards}
    before, after = _before_and_after(district.conditions, touched, event.first_day)
    shown = [("before", before), ("after", after)]
    bundle.table(
        "photos.csv",
        ("when", "day", "segment", "photo", "observer"),
        (
            (when, look.observed_on, look.segment_id, name, look.observer)
            for when, looks in shown
            for look in looks
            for name in look.photos
        ),
    )
    for when, looks in shown:
        bundle.photos(f"photos/{when}", (name for look in looks for name in look.photos), photos)
    return bundle.close()


def road_bundle(
    route: str,
    segment_ids: frozenset[str],
    lines: tuple[WorkLine, ...],
    cards: tuple[JobCard, ...],
    district: District,
    first_day: date,
    last_day: date,
    photos: Path,
    made_at: datetime,
    *,
    paper: Any,
    units: Any,
) -> bytes:
    """Everything on record about one road in a span of days, to answer a records request."""
    title = f"Records of {route}, {first_day} to {last_day}"
    bundle = Bundle(title, made_at, district.is_invented)

    def in_span(day: date) -> bool:
        return first_day <= day <= last_day

    mine = [line for line in lines if line.record.segment_id in segment_ids]
    bundle.table("work.csv", WORK_HEADS, work_file(mine))
    looks = [
        each
        for each in district.conditions
        if each.segment_id in segment_ids and in_span(each.observed_on)
    ]
    bundle.table(
        "inspections.csv",
        ("day", "segment", "crown", "drainage", "gravel", "deformation", "defects", "method",
         "observer", "note", "photos"),
        (
            (each.observed_on, each.segment_id, each.crown, each.drainage, each.gravel,
             each.deformation, each.defects, each.method, each.observer, each.note,
             " ".join(each.photos))
            for each in looks
        ),
    )  # fmt: skip
    bundle.table(
        "dangers.csv",
        ("danger", "kind", "segment", "at_m", "noticed", "barricaded", "repaired", "note"),
        (
            (each.id, each.kind, each.segment_id, each.at_m, each.noticed_at,
             each.barricaded_at or "", each.repaired_at or "", each.note)
            for each in district.hazards
            if each.segment_id in segment_ids and in_span(each.noticed_at.date())
        ),
    )  # fmt: skip
    bundle.table(
        "requests.csv",
        ("request", "received", "segment", "text", "status"),
        (
            (each.id, each.received_on, each.segment_id or "", each.text, each.status)
            for each in district.requests
            if each.segment_id in segment_ids and in_span(each.received_on)
        ),
    )
    bundle.table(
        "left_out.csv",
        ("plan", "made", "segment", "reason", "would_change"),
        _left_out(segment_ids, first_day, last_day),
    )
    ours = tuple(each for each in cards if each.segment_id in segment_ids and in_span(each.day))
    bundle.table(
        "cards.csv",
        ("card", "version", "day", "status", "title", "machine", "approved_by", "approved_at",
         "withdrawn_because", "sha256"),
        (
            (each.number, each.version, each.day, each.status, each.title, each.machine,
             each.approved_by, each.approved_at or "", each.withdrawn_because, each.seal)
            for each in ours
        ),
    )  # fmt: skip
    if ours:
        bundle.file("cards.pdf", cards_pdf(ours, paper=paper, units=units))
    bundle.photos("photos", (name for look in looks for name in look.photos), photos)
    return bundle.close()


def _before_and_after(
    conditions: Iterable[Condition], segments: set[str], first_day: date
) -> tuple[list[Condition], list[Condition]]:
    """Looks with photos: the last of each road before an event, and all since."""
    before: dict[str, Condition] = {}
    after = []
    for look in sorted(conditions, key=lambda each: each.observed_on):
        if look.segment_id not in segments or not look.photos:
            continue
        if look.observed_on >= first_day:
            after.append(look)
        elif look.observed_on >= first_day - _BEFORE:
            before[look.segment_id] = look
    return list(before.values()), after


def _left_out(segment_ids: frozenset[str], first_day: date, last_day: date) -> list[list[Any]]:
    rows: list[list[Any]] = []
    plans = models.Plan.objects.filter(first_day__gte=first_day, first_day__lte=last_day)
    for key, made_at, unserved in plans.order_by("pk").values_list("key", "made_at", "unserved"):
        rows += [
            [key, made_at.isoformat(), each["segment_id"], each["reason"], each["would_change"]]
            for each in unserved
            if each["segment_id"] in segment_ids
        ]
    return rows
