"""Hazards: secured or closed at once, never weighed against other work.

A washout or a collapsed culvert takes its road out of routine planning: what it needs is a
barricade, not a benefit. A missing sign or an obstruction is as urgent, but the road can still be
graded once it is safe.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from crossfall.model import District, Hazard

_ROAD_IS_GONE = frozenset({"washout", "culvert_collapse"})

_WORDS = {
    "washout": "Washout",
    "culvert_collapse": "Collapsed culvert",
    "sign_missing": "Stop or warning sign missing",
    "obstruction": "Obstruction on the road",
    "other": "Hazard",
}


@dataclass(frozen=True, slots=True)
class HazardNotice:
    """An open hazard as the morning page lists it, before anything else."""

    hazard: Hazard
    is_secured: bool
    stops_routine_work: bool
    text: str


def open_hazards(district: District, *, today: date) -> tuple[HazardNotice, ...]:
    """Open hazards, unsecured ones first, then by when they were noticed."""
    segments = district.network.segment_by_id
    notices = []
    for hazard in district.hazards:
        if not _is_open(hazard, today):
            continue
        segment = segments.get(hazard.segment_id)
        where = segment.route if segment is not None else hazard.segment_id
        is_secured = hazard.barricaded_at is not None
        order = (
            f"barricaded {hazard.barricaded_at:%d %b %H:%M}; repair it"
            if hazard.barricaded_at is not None
            else "secure or close it now"
        )
        notices.append(
            HazardNotice(
                hazard,
                is_secured,
                hazard.kind in _ROAD_IS_GONE,
                f"{_WORDS[hazard.kind]} on {where} at {hazard.at_m:.0f} m, noticed"
                f" {hazard.noticed_at:%d %b %H:%M}: {order}.",
            )
        )
    return tuple(sorted(notices, key=lambda each: (each.is_secured, each.hazard.noticed_at)))


def closed_by_hazard(district: District, *, today: date) -> frozenset[str]:
    """Ids of segments that get no routine need until their washout or culvert is repaired."""
    return frozenset(
        hazard.segment_id
        for hazard in district.hazards
        if hazard.kind in _ROAD_IS_GONE and _is_open(hazard, today)
    )


def _is_open(hazard: Hazard, today: date) -> bool:
    if hazard.noticed_at.date() > today:
        return False
    return hazard.repaired_at is None or hazard.repaired_at.date() > today
