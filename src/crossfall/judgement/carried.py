"""What was measured is not forgotten: a ride's roughness, and gravel measured before the last look.

A roughness that somebody brings with a look is the ride: it sets the score as a measured ride
does. A windshield look says nothing of the gravel's thickness, so that the last one measured stays,
less what has been lost since, unless gravel was placed in between.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date

from crossfall.judgement.ride import ride_score
from crossfall.model import Condition, Policy, Treatment, WorkRecord

_PLACES_GRAVEL = (Treatment.REGRAVELLING, Treatment.SPOT_GRAVEL)


def with_ride(looks: Sequence[Condition], policy: Policy) -> tuple[Condition, ...]:
    """The looks, their deformation set by the roughness where one was given."""
    return tuple(
        look
        if look.iri_m_km is None
        else replace(look, deformation=round(ride_score(look.iri_m_km, policy), 2))
        for look in looks
    )


def measured_before(
    looks: Sequence[Condition],
    latest: Mapping[int, Condition],
    row_of: Mapping[str, int],
    records: Sequence[WorkRecord],
) -> dict[int, tuple[date, float]]:
    """Day and thickness [mm] last measured, by row, where the latest look has none.

    A row is left out where gravel was placed after that day and up to the latest look.
    """
    silent = {row: look for row, look in latest.items() if look.gravel_mm is None}
    found: dict[int, tuple[date, float]] = {}
    for look in looks:
        row = row_of.get(look.segment_id)
        if row is None or row not in silent or look.gravel_mm is None:
            continue
        day = look.observed_on
        if day <= silent[row].observed_on and (row not in found or day >= found[row][0]):
            found[row] = (day, look.gravel_mm)
    if not found:
        return found
    superseded = {record.supersedes for record in records if record.supersedes}
    for record in records:
        row = row_of.get(record.segment_id)
        is_placed = record.treatment in _PLACES_GRAVEL and record.id not in superseded
        if row in found and is_placed:
            if not found[row][0] < record.done_on <= silent[row].observed_on:
                continue
            del found[row]
    return found
