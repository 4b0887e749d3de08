"""What stands between a card and the crew.

Leave to dig, an engineer's word, a road that rests or is washed out, and another card that orders
the same road or the same machine.

A draft says on its face which permission is in hand and which is not. Before it is issued it is
held against the permissions once more, and every obstacle has to be out of the way.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Literal

from crossfall.design.clearances import in_hand
from crossfall.judgement.hazards import hazard_label, stops_work
from crossfall.model import (
    CardStep,
    Clearance,
    DustApplication,
    Hazard,
    Job,
    JobCard,
    PointFeature,
    Stage,
    Treatment,
)
from crossfall.model.policy.permission import PermissionPractice

_MISSING, _HELD = "clearance is on file: get it, or do not cut", "clearance with you"
_BLADE_UP = frozenset({Treatment.CULVERT_CLEARING, Treatment.DUST_CONTROL})


@dataclass(frozen=True, slots=True)
class Obstacle:
    """One reason why a card cannot be issued yet, and what would take it away."""

    kind: Literal["engineer", "clearance", "rest", "hazard", "ordered"]
    text: str


@dataclass(frozen=True, slots=True)
class LiveOrder:
    """What a card that is issued and not closed keeps a road and a machine busy with."""

    number: int
    plan_id: str
    segment_id: str
    from_m: float
    to_m: float
    treatment: Treatment
    machine: str
    day: date
    start_min: float
    """Minutes after midnight."""
    minutes: float
    is_as_planned: bool = True
    """At the hour that its plan says; the stages of one plan may take turns within a day."""


def leave_steps(
    stage: Stage,
    features: Sequence[PointFeature],
    clearances: Sequence[Clearance],
    day: date,
    practice: PermissionPractice | None = None,
) -> tuple[CardStep, ...]:
    """One line for each clearance that the stage needs: its number, or that there is none."""
    steps = []
    for kind, clearance in in_hand(stage, features, clearances, day, practice).items():
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
    practice: PermissionPractice | None = None,
) -> JobCard:
    """A draft whose lines on permissions say what is on file now, where they stood before."""
    is_leave = [step.text.endswith((_MISSING, _HELD)) for step in card.steps]
    rest = tuple(step for step, is_one in zip(card.steps, is_leave, strict=True) if not is_one)
    at = is_leave.index(True) if any(is_leave) else _first_work(rest)
    lines = leave_steps(stage, features, clearances, card.day, practice)
    return replace(card, steps=(*rest[:at], *lines, *rest[at:]))


def obstacles(
    card: JobCard,
    job: Job,
    stage: Stage,
    *,
    features: Sequence[PointFeature],
    clearances: Sequence[Clearance],
    dust: Sequence[DustApplication] = (),
    hazards: Sequence[Hazard] = (),
    own: LiveOrder | None = None,
    orders: Sequence[LiveOrder] = (),
    confirmed_by: str = "",
    practice: PermissionPractice | None = None,
) -> tuple[Obstacle, ...]:
    """Everything that stands against issuing a card; empty when it may go out.

    Parameters
    ----------
    confirmed_by : str
        The named person who has confirmed what asks for an engineer.
    hazards
        Dangers on the card's segment; a washout or a collapsed culvert keeps crews off.
    own, orders
        What the card itself orders, and what crews have in hand on its segment or its machine.
    """
    found = []
    if job.needs_engineer and not confirmed_by.strip():
        found.append(
            Obstacle("engineer", "an engineer has to confirm it; give the name of who has")
        )
    held = in_hand(stage, features, clearances, card.day, practice)
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
    found += [
        Obstacle(
            "hazard",
            f"{hazard_label(each.kind).lower()} at {each.at_m:,.0f}\N{NO-BREAK SPACE}m is not"
            f" repaired ({each.id}); no crew goes there before",
        )
        for each in hazards
        if each.segment_id == stage.segment_id and stops_work(each, card.day)
    ]
    if own is not None:
        found += [Obstacle("ordered", told) for other in orders if (told := _twice(own, other))]
    return tuple(found)


def clock_minutes(clock: str) -> float:
    """Minutes after midnight of a card's start.

    Examples
    --------
    >>> clock_minutes("07:30")
    450.0
    """
    hours, _, minutes = clock.partition(":")
    return 60.0 * float(hours) + float(minutes or 0)


def _twice(own: LiveOrder, other: LiveOrder) -> str:
    """Why a card would order again what another one orders already; empty when it does not."""
    if other.number == own.number:
        return ""
    # One plan's own cards are stages of one piece of work, and its checker has seen them
    is_same_work = (
        other.plan_id != own.plan_id
        and (other.segment_id, other.treatment) == (own.segment_id, own.treatment)
        and min(own.to_m, other.to_m) > max(own.from_m, other.from_m)
    )
    if is_same_work:
        return (
            f"card {other.number} of {other.day.isoformat()} is issued and orders the same work"
            " there; withdraw or close it first"
        )
    is_one_plan = other.plan_id == own.plan_id and other.is_as_planned and own.is_as_planned
    is_same_time = (
        not is_one_plan
        and (other.machine, other.day) == (own.machine, own.day)
        and own.start_min < other.start_min + other.minutes
        and other.start_min < own.start_min + own.minutes
    )
    if is_same_time:
        return (
            f"card {other.number} is issued to {own.machine} for the same hours of"
            f" {own.day.isoformat()}; withdraw it first, or write this one anew with another start"
        )
    return ""


def _first_work(steps: Sequence[CardStep]) -> int:
    """Behind the why and the directions, before anything is done."""
    heads = ("Why: ", "Each pass on its own side", "Note from ")
    return next(
        (at for at, step in enumerate(steps) if not step.text.startswith(heads)), len(steps)
    )
