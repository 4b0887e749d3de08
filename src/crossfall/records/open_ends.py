"""What was left open: windrows, culverts, work begun and not finished, and until when.

A windrow or an open culvert in the travelled way is due the same day. Later work that deals with
it closes it: any finished grading closes a windrow on its segment, clearing closes a culvert, and
the same treatment, finished, closes what was begun.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Literal

from crossfall.judgement.restore import GRADER_WORK
from crossfall.model import Side, Treatment, WorkRecord
from crossfall.model.policy.records import RecordsPolicy

OpenKind = Literal["windrow", "culvert", "unfinished"]


@dataclass(frozen=True, slots=True)
class OpenEnd:
    """Something left open on a road."""

    kind: OpenKind
    segment_id: str
    record_id: str
    since: date
    due: date
    is_in_travelled_way: bool
    side: Side | None
    text: str

    def is_overdue(self, today: date) -> bool:
        """Whether it should have been closed before today."""
        return today > self.due


def open_ends(
    records: Iterable[WorkRecord], policy: RecordsPolicy | None = None
) -> tuple[OpenEnd, ...]:
    """What the records leave open, soonest due first; superseded records do not count."""
    days = policy or RecordsPolicy()
    known = tuple(records)
    superseded = {record.supersedes for record in known if record.supersedes}
    in_order = sorted(
        (record for record in known if record.id not in superseded),
        key=lambda record: (record.done_on, record.id),
    )
    still_open: dict[tuple[str, str], OpenEnd] = {}
    for record in in_order:
        for key in _closed_by(record):
            still_open.pop(key, None)
        for end in _left_by(record, days):
            kind = f"unfinished {record.treatment}" if end.kind == "unfinished" else end.kind
            still_open[record.segment_id, kind] = end
    return tuple(sorted(still_open.values(), key=lambda end: (end.due, end.segment_id)))


def _closed_by(record: WorkRecord) -> list[tuple[str, str]]:
    closed = []
    if record.is_finished and record.treatment in (*GRADER_WORK, Treatment.WINDROW_PICKUP):
        closed.append((record.segment_id, "windrow"))
    if record.is_finished and record.treatment is Treatment.CULVERT_CLEARING:
        closed.append((record.segment_id, "culvert"))
    if record.is_finished:
        closed.append((record.segment_id, f"unfinished {record.treatment}"))
    return closed


def _left_by(record: WorkRecord, days: RecordsPolicy) -> list[OpenEnd]:
    left = []
    if record.windrow_side is not None:
        in_way = record.is_windrow_in_travelled_way
        n_days = days.travelled_way_days if in_way else days.windrow_days
        where = "in the travelled way" if in_way else "along the road"
        left.append(
            _end(
                record,
                "windrow",
                n_days,
                in_way,
                f"Windrow left {where}, {record.windrow_side}: pick it up",
            )
        )
    if record.is_culvert_open:
        left.append(_end(record, "culvert", days.culvert_days, True, "Culvert left open: close it"))
    if not record.is_finished and record.treatment is not Treatment.NONE:
        left.append(
            _end(
                record,
                "unfinished",
                days.unfinished_days,
                False,
                f"{record.treatment.label} begun and not finished: finish it",
            )
        )
    return left


def _end(record: WorkRecord, kind: OpenKind, n_days: int, is_in_way: bool, words: str) -> OpenEnd:
    due = record.done_on + timedelta(days=n_days)
    when = "the same day" if n_days == 0 else f"by {due:%a} {due.day} {due:%b %Y}"
    return OpenEnd(
        kind,
        record.segment_id,
        record.id,
        record.done_on,
        due,
        is_in_way,
        record.windrow_side if kind == "windrow" else None,
        f"{words} {when}.",
    )
