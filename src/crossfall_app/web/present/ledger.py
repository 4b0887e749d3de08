"""The ledger: dangers with their times, and residents' matters with drafts."""

from __future__ import annotations

from datetime import date, datetime
from typing import Any, get_args

from django.utils import timezone

from crossfall.judgement.requests import matters
from crossfall.model import District, Hazard, Request
from crossfall.model.condition import HazardKind
from crossfall.records.replies import ReplyDraft, draft_replies
from crossfall_app.web.present.measures import Measures, day_name, moment
from crossfall_app.web.present.words import HAZARD_LABEL

_MOST_CLOSED = 20


def hazard_choices(chosen: str = "") -> list[dict[str, Any]]:
    """Kinds of danger for the form."""
    return [
        {"key": kind, "label": HAZARD_LABEL[kind], "is_on": kind == chosen}
        for kind in get_args(HazardKind)
    ]


def register(
    district: District, now: datetime, measures: Measures
) -> dict[str, list[dict[str, Any]]]:
    """Dangers that are open, unsecured ones first, and those that were repaired, newest first."""
    still = sorted(
        (each for each in district.hazards if each.is_open),
        key=lambda each: (each.barricaded_at is not None, each.noticed_at),
    )
    closed = [each for each in district.hazards if each.repaired_at is not None]
    closed.sort(key=lambda each: each.repaired_at or each.noticed_at, reverse=True)
    return {
        "open": [_danger(each, district, now, measures) for each in still],
        "closed": [_danger(each, district, now, measures) for each in closed[:_MOST_CLOSED]],
    }


def residents(district: District, today: date, measures: Measures) -> dict[str, Any]:
    """Open matters, most voices first, each with its draft where work answers it."""
    drafts = {
        each.matter.head.id: each
        for each in draft_replies(
            district.requests, district.records, district.network, today=today
        )
    }
    rows = []
    for matter in matters(district.requests):
        head, draft = matter.head, drafts.get(matter.head.id)
        rows.append(
            {
                "id": head.id,
                "texts": [
                    {"text": each.text, "received": day_name(each.received_on, today)}
                    for each in matter.requests
                ],
                "n_voices": matter.n_voices,
                "segment_id": head.segment_id or "",
                "road": _road(head.segment_id, district),
                "how": _how(head, measures),
                "said": head.road,
                "draft": measures.words(draft.text) if draft else "",
                "work": _answer(draft, today) if draft else "",
            }
        )
    closed = [each for each in district.requests if each.status == "closed" and each.reply]
    closed.sort(key=lambda each: each.closed_on or each.received_on, reverse=True)
    return {
        "matters": rows,
        "n_drafts": len(drafts),
        "closed": [
            {
                "id": each.id,
                "text": each.text,
                "road": _road(each.segment_id, district),
                "reply": each.reply,
                "by": each.reply_approved_by,
                "at": moment(each.reply_approved_at) if each.reply_approved_at else "",
            }
            for each in closed[:_MOST_CLOSED]
        ],
    }


def _danger(
    hazard: Hazard, district: District, now: datetime, measures: Measures
) -> dict[str, Any]:
    return {
        "id": hazard.id,
        "kind": HAZARD_LABEL[hazard.kind],
        "segment_id": hazard.segment_id,
        "road": _road(hazard.segment_id, district),
        "at": measures.show(hazard.at_m, "m"),
        "note": hazard.note,
        "is_secured": hazard.barricaded_at is not None,
        "typed_at": f"{timezone.localtime(max(now, hazard.noticed_at)):%Y-%m-%dT%H:%M}",
        "times": [
            {"label": label, "when": moment(when), "by": by}
            for label, when, by in (
                ("Noticed", hazard.noticed_at, hazard.noticed_by),
                ("Barricaded", hazard.barricaded_at, hazard.barricaded_by),
                ("Repaired", hazard.repaired_at, hazard.repaired_by),
            )
            if when is not None
        ],
    }


def _answer(draft: ReplyDraft, today: date) -> str:
    record = draft.record
    return f"{record.treatment.label}, {day_name(record.done_on, today).lower()}, {record.by}"


def _how(request: Request, measures: Measures) -> str:
    if request.segment_id is None:
        return ""
    if request.distance_m is not None:
        return f"{measures.show(request.distance_m, 'm')} from the place that was given"
    return "by its name" if request.road else ""


def _road(segment_id: str | None, district: District) -> str:
    segment = district.network.segment_by_id.get(segment_id or "")
    return segment.route if segment is not None else ""
