"""The order of passes when the grader works two roads in turn.

A grader that would drive back empty takes a pass of the neighbouring road on the way. Each card
then says which passes come between its own, and where.
"""

from __future__ import annotations

from collections.abc import Mapping
from itertools import groupby

from crossfall.design.words import span
from crossfall.model import CardStep, Itinerary, Stage

_MOST_PARTS = 8


def in_turn(itinerary: Itinerary, stage: Stage, names: Mapping[str, str]) -> tuple[CardStep, ...]:
    """One step with the order, or none where the stage's passes follow each other.

    Parameters
    ----------
    names : mapping of stage id to road and stage
        How another stage is called.
    """
    passes = [
        (leg.stage_id, leg.pass_number)
        for leg in itinerary.legs
        if leg.kind == "work" and leg.stage_id is not None and leg.pass_number is not None
    ]
    own = [at for at, (stage_id, _) in enumerate(passes) if stage_id == stage.id]
    if not own:
        return ()
    between = passes[own[0] : own[-1] + 1]
    others = dict.fromkeys(stage_id for stage_id, _ in between if stage_id != stage.id)
    if not others:
        return ()
    letters = dict(zip(others, "ABCDEFGH", strict=False))
    parts = []
    for stage_id, run in groupby(between, key=lambda each: each[0]):
        numbers = [number for _, number in run]
        told = span(numbers[0], numbers[-1]).lower()
        parts.append(
            f"{told} here"
            if stage_id == stage.id
            else f"{told} on {letters.get(stage_id, 'others')}"
        )
    more = ", and so on by the day sheet" if len(parts) > _MOST_PARTS else ""
    where = "; ".join(f"{letters.get(each, '?')} is {names.get(each, each)}" for each in others)
    order = ", then ".join(parts[:_MOST_PARTS])
    return (CardStep(f"In turn with another road: {where}", f"{order}{more}"),)
