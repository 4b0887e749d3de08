"""Leave to dig and to cross, as an agency has it in spring: some held, some run out, some missing.

One road's base has failed besides, so that an engineer has something to sign. Every ticket and
every name is invented.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import date, timedelta

from crossfall.demo.recipe import INVENTED
from crossfall.model import Clearance, ClearanceKind, Condition, Network, Segment

_FAILED_AT = 5
_HELD_OF, _EXPIRED_AT, _LATE_AT = 5, 3, 4
"""Of five roads that want digging three have their tickets; one ran out, one begins later."""
_GIVER: dict[ClearanceKind, str] = {
    "utilities": "Valley Locating Centre (invented)",
    "stream": "Osier Valley Water Board (invented)",
    "rail": "Osier Valley Railway (invented)",
}
_NEAR: dict[str, ClearanceKind] = {
    "stream": "stream",
    "ford": "stream",
    "rail_crossing": "rail",
    "pipeline": "utilities",
}


def with_a_failed_base(conditions: tuple[Condition, ...]) -> tuple[Condition, ...]:
    """The survey with one road, the sixth that was looked at, deeply rutted and broken."""
    return tuple(
        replace(seen, deformation=1.0, rut_mm=160.0, pothole_mm=120.0)
        if number == _FAILED_AT
        else seen
        for number, seen in enumerate(conditions)
    )


def clearances(
    network: Network, conditions: tuple[Condition, ...], *, today: date
) -> tuple[Clearance, ...]:
    """Tickets for roads whose ditches, shoulders or culverts want work."""
    segments = network.segment_by_id
    wants = [segments[each.segment_id] for each in conditions if _wants_digging(each)]
    found: list[Clearance] = []
    for number, segment in enumerate(wants):
        turn = number % _HELD_OF
        begins, ends = today - timedelta(days=2), today + timedelta(days=26)
        if turn == _EXPIRED_AT:
            begins, ends = today - timedelta(days=33), today - timedelta(days=5)
        elif turn == _LATE_AT:
            begins, ends = today + timedelta(days=9), today + timedelta(days=37)
        for kind in _kinds(network, segment):
            found.append(_ticket(len(found) + 1, kind, segment, begins, ends))
    return tuple(found)


def rail_agreements(network: Network, *, today: date) -> tuple[Clearance, ...]:
    """A yearly agreement for most of the crossings; one has run out."""
    crossed = dict.fromkeys(
        each.segment_id for each in network.features if each.kind == "rail_crossing"
    )
    found = []
    for number, segment_id in enumerate(key for key in crossed if key is not None):
        begins = today - timedelta(days=120 + (260 if number % _HELD_OF == _EXPIRED_AT else 0))
        ends = begins + timedelta(days=365)
        segment = network.segment_by_id[segment_id]
        found.append(
            replace(_ticket(900 + number, "rail", segment, begins, ends), id=f"rail-{number:02d}")
        )
    return tuple(found)


def _wants_digging(seen: Condition) -> bool:
    return (
        seen.is_ditch_blocked
        or seen.is_culvert_blocked
        or seen.has_secondary_ditch
        or seen.has_high_shoulder
    )


def _kinds(network: Network, segment: Segment) -> Iterator[ClearanceKind]:
    near = {_NEAR.get(each.kind) for each in network.features_by_segment.get(segment.id, ())}
    yield "utilities"
    if "stream" in near:
        yield "stream"


def _ticket(
    number: int, kind: ClearanceKind, segment: Segment, begins: date, ends: date
) -> Clearance:
    return Clearance(
        id=f"leave-{number:03d}",
        kind=kind,
        segment_id=segment.id,
        reference=f"{begins:%y%m}-{1000 + 7 * number}",
        granted_by=_GIVER[kind],
        valid_from=begins,
        expires_on=ends,
        note=INVENTED,
    )
