"""Which cautions a stage triggers, by what it does and by what stands beside the road.

Only the keys live here; their words, and where along the job they apply, are the card's.
"""

from __future__ import annotations

from collections.abc import Sequence

from crossfall.design.clearances import DIGS, clearances_needed
from crossfall.model import PointFeature, Stage, Treatment
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
    if "utilities" in clearances_needed(stage, features, practice):
        found.append("utilities")
    elif stage.task == "cutting":
        found.append("utilities_shallow")
    if stage.treatment in {Treatment.DITCH_CLEANING, Treatment.CULVERT_CLEARING}:
        found.append("trench")
    if stage.treatment == Treatment.CULVERT_CLEARING:
        found.append("open_culvert")
    if stage.task == "hauling" or any(each.kind == "haul_truck" for each in stage.support):
        found.extend(("backing_trucks", "raised_beds", "pit_rules"))
    if stage.treatment in DIGS:
        found.append("soft_shoulder")
    if stage.treatment == Treatment.DUST_CONTROL:
        found.append("spray")
    if stage.operations and stage.task != "hand_work":
        found.extend(("open_windrow", "turning"))
    found.append("lightning")
    return tuple(dict.fromkeys((*found, *ALWAYS)))
