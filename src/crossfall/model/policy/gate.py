"""What the surface must be like for each task, as data.

The rules are common practice on gravel roads, without a source we could cite: cutting and
reshaping only on a moist surface; in a dry spell a very light touch, nothing more, unless a water
truck is there; no hauling or cutting on a soft or thaw-weak road; hand work and rescue always.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from crossfall.model.common import Evidence
from crossfall.model.need import Task
from crossfall.model.policy.setting import setting

Permission = Literal["yes", "watered", "no"]
Surface = Literal["frozen", "too_wet", "workable", "drying", "dry", "unknown", "thaw_weak"]


@dataclass(frozen=True, slots=True)
class GateRule:
    """Whether a task may be done on a surface, and what the foreman says about it."""

    task: Task
    surface: Surface
    permission: Permission
    says: str
    evidence: Evidence = "common practice"
    source: str = ""


def default_rules() -> tuple[GateRule, ...]:
    """One rule for each task and surface; hand work and emergencies are always let through."""
    cut: Task = "cutting"
    light: Task = "light_blading"
    haul: Task = "hauling"
    rules = [
        GateRule(light, "workable", "yes", "Moist enough to lay the fines back down"),
        GateRule(light, "drying", "yes", "Drying out: a light touch still holds"),
        GateRule(light, "dry", "yes", "Dry: a very light touch only, or it all turns to dust"),
        GateRule(light, "too_wet", "no", "Too wet: the blade would smear it and leave ruts"),
        GateRule(light, "frozen", "no", "Frozen: the blade will not bite"),
        GateRule(light, "unknown", "no", "Nobody knows how wet it is: look first, then send"),
        GateRule(light, "thaw_weak", "yes", "Weak below: potholes only, light, and stay off early"),
        GateRule(cut, "workable", "yes", "Moist enough to cut and to pack again"),
        GateRule(cut, "drying", "watered", "Too dry to pack again: cut only with water"),
        GateRule(cut, "dry", "watered", "Dry: cut now and it stays loose, only with water"),
        GateRule(cut, "too_wet", "no", "Too wet to cut: it would rut and not pack"),
        GateRule(cut, "frozen", "no", "Frozen: no cutting"),
        GateRule(cut, "unknown", "no", "Nobody knows how wet it is: look before you cut"),
        GateRule(cut, "thaw_weak", "no", "Weak below from the thaw: no cutting"),
        GateRule(haul, "workable", "yes", "Firm enough for loaded trucks"),
        GateRule(haul, "drying", "yes", "Firm enough for loaded trucks"),
        GateRule(haul, "dry", "yes", "Firm enough for loaded trucks"),
        GateRule(haul, "frozen", "yes", "Frozen hard: it carries trucks"),
        GateRule(haul, "too_wet", "no", "Soft: loaded trucks would rut it"),
        GateRule(haul, "unknown", "no", "Nobody knows how soft it is: look before you haul"),
        GateRule(haul, "thaw_weak", "no", "Weak below from the thaw: no loaded trucks"),
    ]
    surfaces: tuple[Surface, ...] = (
        "frozen",
        "too_wet",
        "workable",
        "drying",
        "dry",
        "unknown",
        "thaw_weak",
    )
    for surface in surfaces:
        rules.append(
            GateRule("hand_work", surface, "yes", "Hand work needs no moisture; park off the soft")
        )
        rules.append(
            GateRule("emergency", surface, "yes", "Danger to people comes before the surface")
        )
    return tuple(rules)


def _worth_share() -> dict[Task, dict[Surface, float]]:
    """What is left of the good of a task on each surface that permits it; else all of it."""
    return {
        "light_blading": {"drying": 0.8, "dry": 0.35, "thaw_weak": 0.5},
        "cutting": {},
        "hauling": {},
        "hand_work": {},
        "emergency": {},
    }


@dataclass(frozen=True, slots=True)
class GatePolicy:
    """What the surface must be like for each task."""

    rules: tuple[GateRule, ...] = setting(
        factory=default_rules,
        unit="",
        doc="Permission and sentence for each task and surface",
        evidence="common practice",
    )
    least_chance: dict[Task, float] = setting(  # noqa: RUF009 - a factory, not a shared value
        factory=lambda: {
            "light_blading": 0.3,
            "cutting": 0.3,
            "hauling": 0.5,
            "hand_work": 0.0,
            "emergency": 0.0,
        },
        unit="1",
        doc="A task is refused below this chance of a surface that permits it",
    )
    worth_share: dict[Task, dict[Surface, float]] = setting(  # noqa: RUF009 - a factory
        factory=_worth_share,
        unit="1",
        doc="Share of a task's worth on a surface that permits it, 1 where none is given: on a dry"
        " road a light touch moves loose stone only and holds a short while",
    )
    very_light_chance: float = setting(
        0.9,
        unit="1",
        doc="Chance of a dry surface from which a verdict says that only a very light touch pays",
        low=0.0,
        high=1.0,
    )
    sure_chance: float = setting(
        0.95,
        unit="1",
        doc="From this chance on a verdict does not speak of chance",
        low=0.5,
        high=1.0,
    )
    without_water_share: float = setting(
        0.5,
        unit="1",
        doc="Where a water truck is at hand, work goes without it only if the chance without is"
        " at least this share of the chance with it",
        low=0.0,
        high=1.0,
    )
    weak_axle_t: float = setting(
        5.1,
        unit="t",
        doc="Heaviest axle let onto a thaw-weak road",
        evidence="recalled",
        source="20,000 lb single axle less 44 %, the average restriction of WSDOT WA-RD 080.2",
        low=1.0,
        high=12.0,
    )
    weak_blading_axle_t: float = setting(
        7.0, unit="t", doc="Heaviest grader axle for light blading of potholes on it", low=1.0
    )
    grader_axle_share: float = setting(
        0.36, unit="1", doc="Heaviest axle of a grader over its mass (front and tandem)"
    )
    truck_axle_share: float = setting(
        0.36, unit="1", doc="Heaviest axle of a truck over its mass with load (tandem rear)"
    )
    part_load_least: float = setting(
        0.3, unit="1", doc="Hauling under a posted limit pays from this share of a full load"
    )
    posted_axle_most_t: float = setting(
        15.0,
        unit="t",
        doc="Heaviest axle that a posted load limit can mean; more was typed in another unit",
        low=5.0,
        high=60.0,
    )
    water_tank_least_l: float = setting(
        1.0, unit="L", doc="A water truck must hold at least this to count", low=0.0
    )
