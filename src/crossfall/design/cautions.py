"""Which cautions a stage triggers, by what it does and by what stands beside the road.

Only the keys live here; their words, and where along the job they apply, are the card's.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache

from crossfall.design.clearances import DIGS, clearances_needed
from crossfall.model import PointFeature, Stage, Treatment
from crossfall.model.need import Task
from crossfall.model.policy.permission import PermissionPractice

ALWAYS = ("local_codes", "work_zone", "with_traffic", "seat_belt", "alone_and_phone")
"""Said on every card."""

_BY_FEATURE = {
    "rail_crossing": "rail",
    "bridge": "bridge_deck",
    "culvert": "culvert_ends",
    "cattle_guard": "cattle_guard",
    "stream": "water_near",
    "ford": "water_near",
    "wetland": "water_near",
    "right_of_way": "right_of_way",
    "well": "water_near",
    "pipeline": "pipeline",
    "overhead_line": "overhead_line",
    "survey_monument": "survey_monument",
    "driveway": "driveways",
}


def caution_keys(
    stage: Stage,
    features: Sequence[PointFeature],
    practice: PermissionPractice | None = None,
) -> tuple[str, ...]:
    """Keys of the cautions for one stage, the most particular first.

    Parameters
    ----------
    features : sequence of PointFeature
        Along the stage's segment; those outside the stage's length are passed over.
    """
    found: list[str] = []
    for feature in features:
        if feature.at_m is None or not stage.from_m <= feature.at_m <= stage.to_m:
            continue
        key = _BY_FEATURE.get(feature.kind)
        if key is not None:
            found.append(key)
    asks = "utilities" in clearances_needed(stage, features, practice)
    has_trucks = stage.task == "hauling" or any(s.kind == "haul_truck" for s in stage.support)
    found.extend(_of_work(stage.treatment, stage.task, has_trucks, bool(stage.operations), asks))
    return tuple(dict.fromkeys(found))


@cache
def _of_work(
    treatment: Treatment, task: Task, has_trucks: bool, has_passes: bool, asks_utilities: bool
) -> tuple[str, ...]:
    """What the work itself triggers, whatever stands beside the road."""
    found: list[str] = []
    if asks_utilities:
        found.append("utilities")
    elif task == "cutting":
        found.append("utilities_shallow")
    if treatment in {Treatment.DITCH_CLEANING, Treatment.CULVERT_CLEARING}:
        found.append("trench")
    if treatment == Treatment.CULVERT_CLEARING:
        found.append("open_culvert")
    if has_trucks:
        found.extend(("backing_trucks", "raised_beds"))
    if task == "hauling":
        found.append("pit_rules")
    if treatment in DIGS:
        found.append("soft_shoulder")
    if treatment == Treatment.DUST_CONTROL:
        found.append("spray")
    if has_passes and task != "hand_work":
        found.extend(("open_windrow", "turning"))
    found.append("lightning")
    return (*found, *ALWAYS)
