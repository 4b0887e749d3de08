"""Roads that rest after dust control: what waits there, until when, and why."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from crossfall.judgement.needs import judge_roads
from crossfall.judgement.rules import CODE, TREATMENTS
from crossfall.judgement.wording import rest_sentence
from crossfall.model import District, Treatment


@dataclass(frozen=True, slots=True)
class RestingRoad:
    """One segment on which work waits for the end of its rest."""

    segment_id: str
    held_back: Treatment
    """What the road would be called for; nothing is lost, it comes back with the day."""
    until: date
    """The last day of the rest."""
    text: str


def resting_roads(district: District, *, today: date) -> tuple[RestingRoad, ...]:
    """Roads whose work is held back by a rest today, the first to end first.

    A rest that cannot be kept is ended by a person, with the reason, where dust control is kept.
    """
    if not district.dust:
        return ()
    judged = judge_roads(district, today)
    found = []
    for row, (code, until) in enumerate(
        zip(judged.judgement.held_back.tolist(), judged.rest_until.tolist(), strict=True)
    ):
        if code == CODE[Treatment.NONE]:
            continue
        held, day = TREATMENTS[code], date.fromordinal(until)
        segment_id = judged.belief.segments[row].id
        found.append(RestingRoad(segment_id, held, day, rest_sentence(held, day)))
    return tuple(sorted(found, key=lambda each: (each.until, each.segment_id)))
