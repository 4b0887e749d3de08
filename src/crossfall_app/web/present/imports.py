"""What waits to be accepted, as the import page lists it."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from typing import Any

from crossfall.io.network import NetworkDiff
from crossfall.model import Machine, Network, PointFeature
from crossfall.records.from_tracks import ProposedWork
from crossfall.report.import_map import MOST_MARKS, import_key
from crossfall_app.store import models
from crossfall_app.store.incoming_roads import kinds_of
from crossfall_app.web.present.measures import Measures, day_name

_MOST_LISTED = 60
KIND_WORDS = {"network": "Roads", "track": "Track", "request": "Request"}
STATUS_WORDS = {
    "staged": "waits",
    "accepted": "accepted",
    "dropped": "refused",
    "purged": "purged unread",
}


def stage_lines(rows: Iterable[models.ImportStage]) -> list[dict[str, Any]]:
    """One line for each import, newest first."""
    return [
        {
            "id": row.pk,
            "kind": KIND_WORDS.get(row.kind, row.kind),
            "is_track": row.kind == "track",
            "is_request": row.kind == "request",
            "file": row.file_name,
            "by": row.created_by,
            "at": row.created_at,
            "status": STATUS_WORDS.get(row.status, row.status),
            "is_open": row.status == "staged",
            "said": row.report.get("text", "") if row.kind == "request" else "",
        }
        for row in rows
    ]


def difference(diff: NetworkDiff, units: Measures) -> list[dict[str, Any]]:
    """Lists of what comes, changes and goes, each with how many are not listed."""
    gone = {each.parent_id for each in diff.lineage}
    lists = (
        (
            "Comes new",
            [f"{s.route}, {units.show(s.length_m, 'm')} ({s.id})" for s in diff.added],
        ),
        ("Stays and changes", [units.words(str(change)) for change in diff.changed]),
        (
            "Is gone from the file",
            [
                f"{s.route}, {units.show(s.length_m, 'm')} ({s.id})"
                + ("; its road is there under another id" if s.id in gone else "")
                for s in diff.vanished
            ],
        ),
        ("Places that come new", [_place(each) for each in diff.features_added]),
        ("Places that are gone", [_place(each) for each in diff.features_vanished]),
    )
    return [
        {"title": title, "n": len(rows), "rows": rows[:_MOST_LISTED],
         "n_more": max(0, len(rows) - _MOST_LISTED)}
        for title, rows in lists
        if rows
    ]  # fmt: skip


def key_of(diff: NetworkDiff) -> list[dict[str, str]]:
    """The key of the map."""
    return import_key(kinds_of(diff))


def marks_of(report: dict[str, Any], units: Measures) -> list[dict[str, Any]]:
    """The numbered places to look at, by kind."""
    by_kind: dict[str, list[dict[str, Any]]] = {}
    for number, (kind, lon, lat, text) in enumerate(report.get("marks", [])[:MOST_MARKS], start=1):
        by_kind.setdefault(kind, []).append(
            {"number": number, "text": units.words(text), "place": f"{lat:.5f}, {lon:.5f}"}
        )
    return [{"kind": kind, "rows": rows} for kind, rows in by_kind.items()]


def work_rows(
    work: Iterable[ProposedWork], network: Network, today: date, units: Measures
) -> list[dict[str, Any]]:
    """One line for each segment and day that a track worked."""
    rows = []
    for number, each in enumerate(work):
        speed = ""
        if each.speed_km_h is not None:
            speed = units.words(
                f"{each.speed_km_h:.1f} ± {max(each.speed_error_km_h or 0.0, 0.1):.1f} km/h"
            )
        rows.append(
            {
                "number": number,
                "day": day_name(each.day, today),
                "road": each.road,
                "segment_id": each.segment_id if each.segment_id in network.segment_by_id else "",
                "along": each.n_forward,
                "against": each.n_backward,
                "ordered": each.planned_passes,
                "covered": units.show(each.covered_m, "m"),
                "stretch": f"{units.show(each.from_m, 'm')} to {units.show(each.to_m, 'm')}",
                "hours": f"{each.hours:.1f}",
                "speed": speed,
                "is_fast": each.n_fast > 0,
                "is_inferred": each.blade == "inferred",
                "would": each.would,
                "doubts": [units.words(doubt) for doubt in each.doubts],
            }
        )
    return rows


def machine_choices(machines: Iterable[Machine]) -> list[tuple[str, str]]:
    """Machines that a track may be of."""
    return [(machine.id, machine.name) for machine in machines]


def _place(feature: PointFeature) -> str:
    return f"{feature.kind.replace('_', ' ')} {feature.name}".strip()
