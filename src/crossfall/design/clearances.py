"""Leave that must be in hand before a stage is worked, and on which days it is.

A ditch, a shoulder or a culvert is not dug before everything buried is located; nothing is done
at a crossing without the railway's leave, nor in a stream or a wetland without its permit. A stage
that asks for leave can be put only on days on which all of it holds over its whole length.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date, timedelta

from crossfall.design.water import DEPTH
from crossfall.model import (
    Clearance,
    ClearanceKind,
    Job,
    PointFeature,
    Stage,
    Treatment,
)
from crossfall.model.policy.permission import PermissionPractice

DIGS = frozenset(
    {
        Treatment.DITCH_CLEANING,
        Treatment.SHOULDER_PULLING,
        Treatment.SECONDARY_DITCH_REMOVAL,
        Treatment.CULVERT_CLEARING,
    }
)
"""Work that always cuts or digs beside or under the road."""

_NEAR_M = 1e-6
_BY_FEATURE: dict[str, tuple[ClearanceKind, bool]] = {
    "rail_crossing": ("rail", False),
    "stream": ("stream", True),
    "ford": ("stream", True),
    "wetland": ("wetland", True),
    "right_of_way": ("right_of_way", True),
    "pipeline": ("utilities", False),
}
"""Kind of leave, and whether only digging asks for it."""


def clearances_needed(
    stage: Stage,
    features: Sequence[PointFeature],
    practice: PermissionPractice | None = None,
) -> tuple[ClearanceKind, ...]:
    """Kinds of leave that a stage needs, for what it does and for what stands along it."""
    found: list[ClearanceKind] = []
    is_digging = stage.treatment in DIGS
    if is_digging or _cuts_deep(stage, practice or PermissionPractice()):
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
    practice: PermissionPractice | None = None,
) -> dict[ClearanceKind, Clearance | None]:
    """For each kind that the stage needs, the leave that covers it that day; None is missing."""
    here = [each for each in clearances if each.segment_id == stage.segment_id]
    return {
        kind: _covering(kind, stage, here, day)
        for kind in clearances_needed(stage, features, practice)
    }


def hold_for_leave(
    jobs: Sequence[Job],
    features: Mapping[str, Sequence[PointFeature]],
    clearances: Sequence[Clearance],
    *,
    first_day: date,
    n_days: int,
    practice: PermissionPractice | None = None,
) -> tuple[Job, ...]:
    """The same jobs, with the days on which the leave of each stage holds.

    Parameters
    ----------
    features : mapping of segment id to features
    clearances : sequence of Clearance
        Everything on file; what has run out counts for nothing.
    first_day, n_days
        The days that are to be planned.
    """
    held: dict[str, list[Clearance]] = {}
    for each in clearances:
        held.setdefault(each.segment_id, []).append(each)
    days = [first_day + timedelta(days=number) for number in range(n_days)]

    def bound(stage: Stage) -> Stage:
        kinds = clearances_needed(stage, features.get(stage.segment_id, ()), practice)
        if not kinds:
            # What an earlier plan found no longer holds
            return (
                stage
                if stage.leave_days is None
                else replace(stage, leave_days=None, leave_lacks=())
            )
        here = held.get(stage.segment_id, [])
        on = {
            kind: [day for day in days if _covering(kind, stage, here, day) is not None]
            for kind in kinds
        }
        together = tuple(day for day in days if all(day in each for each in on.values()))
        lacks = () if together else tuple(k for k, d in on.items() if not d) or kinds
        return replace(stage, leave_days=together, leave_lacks=lacks)

    return tuple(
        replace(job, stages=stages)
        if (stages := tuple(bound(stage) for stage in job.stages)) != job.stages
        else job
        for job in jobs
    )


def _cuts_deep(stage: Stage, practice: PermissionPractice) -> bool:
    """Whether the blade or the teeth go below what local practice lets a grader cut unasked."""
    if stage.task != "cutting":
        return False
    if practice.utilities_cut_mm == 0:
        return True
    return any(
        row.name == DEPTH and row.value > practice.utilities_cut_mm for row in stage.quantities
    )


def _covering(
    kind: ClearanceKind, stage: Stage, here: Sequence[Clearance], day: date
) -> Clearance | None:
    """Leave that covers all of a stage that day: one of its own, or several end to end."""
    holding = sorted(
        (each for each in here if each.kind == kind and each.valid_from <= day <= each.expires_on),
        key=lambda each: each.from_m,
    )
    for each in holding:
        if each.holds(day, stage.from_m, stage.to_m):
            return each
    chain: list[Clearance] = []
    reached = stage.from_m
    for each in holding:
        end = math.inf if each.to_m is None else each.to_m
        if each.from_m <= reached + _NEAR_M and end > reached:
            chain.append(each)
            reached = end
    if not chain or reached < stage.to_m - _NEAR_M:
        return None
    return replace(
        chain[0],
        reference=", ".join(each.reference for each in chain),
        valid_from=max(each.valid_from for each in chain),
        expires_on=min(each.expires_on for each in chain),
        to_m=chain[-1].to_m,
    )
