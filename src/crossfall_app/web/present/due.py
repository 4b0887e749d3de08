"""What is due and overdue this morning, whatever it is, the most late first."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from crossfall.judgement import LoadAdvisory
from crossfall.judgement.turned import Turned
from crossfall.model import District, JobCard
from crossfall.records import OpenEnd
from crossfall_app.web.present.gravel import edge_rows
from crossfall_app.web.present.measures import Measures, day_name
from crossfall_app.web.present.words import TASK_LABEL

_KIND = {
    "windrow": "Windrow left",
    "culvert": "Culvert open",
    "unfinished": "Work not finished",
}
_LIMIT = {"put_up": "Put the load limit up", "take_down": "Take the load limit down"}
_MOST_ROUTES = 4
_TASKS = ("light_blading", "cutting", "hauling")


@dataclass(frozen=True, slots=True)
class DueLine:
    """One thing to see to."""

    kind: str
    text: str
    due: str
    late: str
    is_late: bool
    page: str
    """Name of the page it is done on, and what of it."""
    key: str
    road: str = ""


def due_lines(
    district: District,
    open_ends: Iterable[OpenEnd],
    limits: Iterable[LoadAdvisory],
    drafts: Iterable[JobCard],
    machine_of: Mapping[str, str],
    measures: Measures,
    today: date,
) -> tuple[DueLine, ...]:
    """Open ends, cards to issue, load limits, edges and requests in one list."""
    segments = district.network.segment_by_id
    rows: list[tuple[int, date, DueLine]] = []
    for end in open_ends:
        urgent = end.is_in_travelled_way or end.is_overdue(today)
        segment = segments.get(end.segment_id)
        line = DueLine(
            _KIND.get(end.kind, end.kind.replace("_", " ").capitalize()),
            measures.words(end.text),
            day_name(end.due, today),
            _late(end.due, today),
            urgent,
            "road",
            end.segment_id,
            segment.route if segment else end.segment_id,
        )
        rows.append((0 if end.is_in_travelled_way else 1 if urgent else 3, end.due, line))
    n_drafts = sum(card.day == today and card.status == "draft" for card in drafts)
    if n_drafts:
        are = "card waits" if n_drafts == 1 else "cards wait"
        text = f"{n_drafts} {are} for a name before the crews go"
        line = DueLine("Today's cards", text, "Today", "", True, "cards", today.isoformat())
        rows.append((2, today, line))
    for each in limits:
        if each.advice in _LIMIT:
            on = each.on or today
            line = DueLine(
                _LIMIT[each.advice],
                measures.words(each.reason),
                day_name(on, today),
                _late(on, today),
                on <= today,
                "moisture",
                "limits",
            )
            rows.append((2 if on <= today else 3, on, line))
    for edge in edge_rows(district, machine_of, today, measures):
        if edge["is_due"]:
            text = f"{edge['name']}: {edge['edge']} edge, {edge['worn']} worn"
            line = DueLine(
                "Cutting edge", text, edge["change"] or "Soon", "", False, "gravel", "edges"
            )
            rows.append((3, today, line))
    for request in district.requests:
        if request.status == "open" and not request.merged_into:
            route = segments[request.segment_id].route if request.segment_id in segments else ""
            line = DueLine(
                "Request",
                request.text,
                day_name(request.received_on, today),
                _waits(request.received_on, today),
                False,
                "ledger",
                "requests",
                route,
            )
            rows.append((4, request.received_on, line))
    return tuple(line for _, _, line in sorted(rows, key=lambda each: each[:2]))


def turned_rows(turned: Iterable[Turned], district: District) -> list[dict[str, Any]]:
    """What opened or closed since yesterday, by kind of work, in roads and not in stretches."""
    segments = district.network.segment_by_id
    rows = []
    for each in turned:
        if each.task not in _TASKS or not (each.opened or each.closed):
            continue
        rows.append(
            {
                "label": TASK_LABEL[each.task],
                "opened": _routes(each.opened, segments),
                "n_opened": len(each.opened),
                "closed": _routes(each.closed, segments),
                "n_closed": len(each.closed),
            }
        )
    return rows


def _routes(segment_ids: tuple[str, ...], segments: Mapping[str, Any]) -> str:
    routes = list(dict.fromkeys(segments[each].route for each in segment_ids if each in segments))
    more = f" and {len(routes) - _MOST_ROUTES} more" if len(routes) > _MOST_ROUTES else ""
    return ", ".join(routes[:_MOST_ROUTES]) + more


def _late(due: date, today: date) -> str:
    days = (today - due).days
    if days <= 0:
        return ""
    return "1 day late" if days == 1 else f"{days} days late"


def _waits(since: date, today: date) -> str:
    days = (today - since).days
    return f"waits {days} day{'' if days == 1 else 's'}" if days > 0 else ""
