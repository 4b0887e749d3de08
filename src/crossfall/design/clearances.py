"""Leave that must be in hand before a stage is worked, and what is still missing.

A ditch, a shoulder or a culvert is not cut before everything buried is located; nothing is done
at a crossing without the railway's leave, nor in a stream without its permit.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from crossfall.model import (
    Clearance,
    ClearanceKind,
    Job,
    Network,
    PointFeature,
    Stage,
    Treatment,
)

_DIGS = frozenset(
    {
        Treatment.DITCH_CLEANING,
        Treatment.SHOULDER_PULLING,
        Treatment.SECONDARY_DITCH_REMOVAL,
        Treatment.CULVERT_CLEARING,
    }
)
_BY_FEATURE: dict[str, tuple[ClearanceKind, bool]] = {
    "rail_crossing": ("rail", False),
    "stream": ("stream", True),
    "ford": ("stream", True),
    "pipeline": ("utilities", False),
}
"""Kind of leave, and whether only digging asks for it."""


def clearances_needed(stage: Stage, features: Sequence[PointFeature]) -> tuple[ClearanceKind, ...]:
    """Kinds of leave that a stage needs, for what it does and for what stands along it."""
    found: list[ClearanceKind] = []
    is_digging = stage.treatment in _DIGS
    if is_digging and stage.task != "hand_work":
        found.append("utilities")
    for feature in features:
        if feature.at_m is None or not stage.from_m <= feature.at_m <= stage.to_m:
            continue
        kind, only_digging = _BY_FEATURE.get(feature.kind, (None, False))
        if kind is None or (only_digging and not is_digging) or stage.task == "light_blading":
            continue
        found.append(kind)
    return tuple(dict.fromkeys(found))


def in_hand(
    stage: Stage,
    features: Sequence[PointFeature],
    clearances: Sequence[Clearance],
    day: date,
) -> dict[ClearanceKind, Clearance | None]:
    """For each kind that the stage needs, the leave that covers it that day; None is missing."""
    here = [each for each in clearances if each.segment_id == stage.segment_id]
    return {
        kind: next(
            (
                each
                for each in here
                if each.kind == kind and each.holds(day, stage.from_m, stage.to_m)
            ),
            None,
        )
        for kind in clearances_needed(stage, features)
    }


def waiting_for_leave(
    jobs: Sequence[Job], network: Network, clearances: Sequence[Clearance], days: Sequence[date]
) -> dict[str, str]:
    """Jobs that cannot be scheduled on any of some days because leave is missing, and which.

    A job waits when one of its stages has no day on which every kind that it needs is in hand.

    Returns
    -------
    dict
        Job id to a sentence fit for a public record.
    """
    held: dict[str, list[Clearance]] = {}
    for each in clearances:
        held.setdefault(each.segment_id, []).append(each)
    waiting = {}
    for job in jobs:
        features = network.features_by_segment.get(job.segment_id, ())
        missing: dict[ClearanceKind, None] = {}
        for stage in job.stages:
            kinds = clearances_needed(stage, features)
            here = held.get(stage.segment_id, [])
            if kinds and not any(_all_in_hand(stage, kinds, here, day) for day in days):
                missing |= dict.fromkeys(kinds)
        if missing:
            names = " and ".join(kind.replace("_", " ") for kind in missing)
            waiting[job.id] = f"waits for a {names} clearance to be on file"
    return waiting


def _all_in_hand(
    stage: Stage, kinds: Sequence[ClearanceKind], here: Sequence[Clearance], day: date
) -> bool:
    return all(
        any(each.kind == kind and each.holds(day, stage.from_m, stage.to_m) for each in here)
        for kind in kinds
    )
