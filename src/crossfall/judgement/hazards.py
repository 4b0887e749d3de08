"""Hazards: secured or closed at once, never weighed against other work.

A washout or a collapsed culvert takes its road out of routine planning: what it needs is a
barricade, not a benefit. A missing sign or an obstruction is as urgent, but the road can still be
graded once it is safe.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from typing import get_args

from crossfall.errors import InputError
from crossfall.model import District, Hazard, Network
from crossfall.model.condition import HazardKind
from crossfall.network.spots import spot_on

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


def report_hazard(
    network: Network,
    *,
    kind: str,
    road: str,
    at_m: float | None,
    noticed_at: datetime,
    by: str,
    note: str = "",
    now: datetime,
    taken: Iterable[str] = (),
) -> Hazard:
    """A hazard as somebody reports it, with a key of its own beside those ``taken``.

    Raises
    ------
    InputError
        If the kind or the road is unknown, nobody reports it, or it is noticed after ``now``.
    """
    if kind not in get_args(HazardKind):
        raise InputError(f"kind is {kind!r}; expected {', '.join(get_args(HazardKind))}")
    if not by.strip():
        raise InputError("by is empty; say who noticed it")
    if noticed_at > now:
        raise InputError(f"noticed_at is {noticed_at:%Y-%m-%d %H:%M}, after now")
    spot = spot_on(network, road, at_m)
    return Hazard(
        id=_free_key(f"HZ-{noticed_at:%Y%m%d}", taken),
        segment_id=spot.segment_id,
        at_m=round(spot.at_m, 1),
        kind=kind,  # type: ignore[arg-type]
        noticed_at=noticed_at,
        note=note.strip(),
        noticed_by=by.strip(),
    )


def open_hazards(district: District, *, today: date) -> tuple[HazardNotice, ...]:
    """Hazards not repaired by ``today``, unsecured ones first, then by when they were noticed."""
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


def hazard_label(kind: HazardKind) -> str:
    """The words for a kind.

    Examples
    --------
    >>> hazard_label("culvert_collapse")
    'Collapsed culvert'
    """
    return _WORDS[kind]


def closed_by_hazard(district: District, *, today: date) -> frozenset[str]:
    """Ids of segments that get no routine need until their washout or culvert is repaired."""
    return frozenset(hazard.segment_id for hazard in district.hazards if stops_work(hazard, today))


def stops_work(hazard: Hazard, day: date) -> bool:
    """Whether a washout or a collapsed culvert keeps crews off its road on a day."""
    return hazard.kind in _ROAD_IS_GONE and _is_open(hazard, day)


def _is_open(hazard: Hazard, today: date) -> bool:
    # Whatever the date it bears: a danger that nobody repaired is never left off the list
    return hazard.repaired_at is None or hazard.repaired_at.date() > today


def _free_key(stem: str, taken: Iterable[str]) -> str:
    known = set(taken)
    number = 1
    while f"{stem}-{number}" in known:
        number += 1
    return f"{stem}-{number}"
