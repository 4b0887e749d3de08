"""What a segment needs, and why."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Literal

from crossfall.model.common import Evidence


class Treatment(StrEnum):
    """What is done to a road. Stored as the value; shown by :attr:`label`."""

    NONE = "none"
    BLADING = "blading"
    RESHAPING = "reshaping"
    SCARIFY_REMIX = "scarify_remix"
    REGRAVELLING = "regravelling"
    SPOT_GRAVEL = "spot_gravel"
    SHOULDER_PULLING = "shoulder_pulling"
    SECONDARY_DITCH_REMOVAL = "secondary_ditch_removal"
    DITCH_CLEANING = "ditch_cleaning"
    CULVERT_CLEARING = "culvert_clearing"
    DUST_CONTROL = "dust_control"
    WINDROW_PICKUP = "windrow_pickup"
    ENGINEER = "engineer"

    @property
    def label(self) -> str:
        """The words a foreman uses."""
        return _LABELS[self]


_LABELS = {
    Treatment.NONE: "Leave alone",
    Treatment.BLADING: "Light blading",
    Treatment.RESHAPING: "Reshape",
    Treatment.SCARIFY_REMIX: "Scarify and remix",
    Treatment.REGRAVELLING: "Regravel",
    Treatment.SPOT_GRAVEL: "Spot gravel",
    Treatment.SHOULDER_PULLING: "Pull shoulders",
    Treatment.SECONDARY_DITCH_REMOVAL: "Remove secondary ditch",
    Treatment.DITCH_CLEANING: "Clean ditch",
    Treatment.CULVERT_CLEARING: "Clear culvert",
    Treatment.DUST_CONTROL: "Dust control",
    Treatment.WINDROW_PICKUP: "Pick up windrow",
    Treatment.ENGINEER: "Ask the engineer",
}

Task = Literal["light_blading", "cutting", "hauling", "hand_work", "emergency"]
"""What work does to a road; the moisture gate judges by this, not by the treatment's name."""


@dataclass(frozen=True, slots=True)
class Reason:
    """One sentence of the why, with the rule it comes from."""

    rule: str
    text: str
    evidence: Evidence
    source: str = ""
    """Document and page when ``evidence`` is published, else empty."""


@dataclass(frozen=True, slots=True)
class BenefitPart:
    """One share of a job's worth, in grader-hours that would be well spent on it."""

    name: str
    hours: float


@dataclass(frozen=True, slots=True)
class Need:
    """One primary treatment for one segment, what must come first, and what it is worth."""

    id: str
    segment_id: str
    treatment: Treatment
    cause: str
    """In a foreman's words: ``washboard from dry, loose gravel``."""
    reasons: tuple[Reason, ...]
    urgency: float
    """0 (can wait a season) to 1 (this week)."""
    benefit: tuple[BenefitPart, ...]
    prerequisites: tuple[Treatment, ...] = ()
    """In the order they must be done."""
    assumed: tuple[str, ...] = ()
    """Everything this rests on that nobody measured."""
    policy_version: str = ""
    follow_ups: tuple[Treatment, ...] = ()
    """Further work the road is called for that comes after, in order."""
    estimated_h: float = 0.0
    """Usual hours of all of this work, before design; to compare needs, not to book hours [h]."""

    @property
    def benefit_h(self) -> float:
        """Worth of the job, grader-hours equivalent [h]."""
        return sum(part.hours for part in self.benefit)
