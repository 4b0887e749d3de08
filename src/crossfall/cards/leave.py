"""What stands between a card and the crew: leave to dig, an engineer's word, a road that rests.

A draft says on its face which permission is in hand and which is not. Before it is issued it is
held against the permissions once more, and every obstacle has to be out of the way.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Literal

from crossfall.design.clearances import in_hand
from crossfall.model import (
    CardStep,
    Clearance,
    DustApplication,
    Job,
    JobCard,
    PointFeature,
    Stage,
    Treatment,
)

_MISSING, _HELD = "clearance is on file: get it, or do not cut", "clearance with you"
_BLADE_UP = frozenset({Treatment.CULVERT_CLEARING, Treatment.DUST_CONTROL})


@dataclass(frozen=True, slots=True)
class Obstacle:
    """One reason why a card cannot be issued yet, and what would take it away."""

    kind: Literal["engineer", "clearance", "rest"]
    text: str


def leave_steps(
    stage: Stage,
    features: Sequence[PointFeature],
    clearances: Sequence[Clearance],
    day: date,
) -> tuple[CardStep, ...]:
    """One line for each clearance that the stage needs: its number, or that there is none."""
    steps = []
    for kind, clearance in in_hand(stage, features, clearances, day).items():
        what = kind.replace("_", " ")
        if clearance is None:
            steps.append(CardStep(f"No {what} {_MISSING}", "no. ____"))
        else:
            until = f"{clearance.expires_on.day} {clearance.expires_on:%b}"
            steps.append(
                CardStep(f"Have the {what} {_HELD}", f"{clearance.reference}, until {until}")
            )
    return tuple(steps)


def with_leave(
    card: JobCard,
    stage: Stage,
    features: Sequence[PointFeature],
    clearances: Sequence[Clearance],
) -> JobCard:
    """A draft whose lines on permissions say what is on file now, where they stood before."""
    is_leave = [step.text.endswith((_MISSING, _HELD)) for step in card.steps]
    rest = tuple(step for step, is_one in zip(card.steps, is_leave, strict=True) if not is_one)
    at = is_leave.index(True) if any(is_leave) else _first_work(rest)
    lines = leave_steps(stage, features, clearances, card.day)
    return replace(card, steps=(*rest[:at], *lines, *rest[at:]))


def obstacles(
    card: JobCard,
    job: Job,
    stage: Stage,
    *,
    features: Sequence[PointFeature],
    clearances: Sequence[Clearance],
    dust: Sequence[DustApplication] = (),
    confirmed_by: str = "",
) -> tuple[Obstacle, ...]:
    """Everything that stands against issuing a card; empty when it may go out.

    Parameters
    ----------
    confirmed_by : str
        The named person who has confirmed what asks for an engineer.
    """
    found = []
    if job.needs_engineer and not confirmed_by.strip():
        found.append(
            Obstacle("engineer", "an engineer has to confirm it; give the name of who has")
        )
    held = in_hand(stage, features, clearances, card.day)
    for kind, clearance in held.items():
        if clearance is None:
            what = kind.replace("_", " ")
            found.append(
                Obstacle(
                    "clearance",
                    f"no {what} clearance that holds on {card.day.isoformat()} covers"
                    f" {stage.from_m:,.0f} to {stage.to_m:,.0f}\N{NO-BREAK SPACE}m; put it on file",
                )
            )
    resting = [
        each.no_blade_until
        for each in dust
        if each.segment_id == card.segment_id
        and stage.treatment not in _BLADE_UP
        and each.rests(card.day, stage.from_m, stage.to_m)
    ]
    if resting:
        until = max(resting).isoformat()
        found.append(Obstacle("rest", f"dust control rests there until {until}; no blade before"))
    return tuple(found)


def _first_work(steps: Sequence[CardStep]) -> int:
    """Behind the why and the directions, before anything is done."""
    heads = ("Why: ", "Each pass on its own side", "Note from ")
    return next(
        (at for at, step in enumerate(steps) if not step.text.startswith(heads)), len(steps)
    )
