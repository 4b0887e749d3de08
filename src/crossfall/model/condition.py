"""What somebody saw or measured on the road, and when."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from typing import Literal

from crossfall.model.common import Method, Side

Felt = Literal["too_wet", "just_right", "dust"]


@dataclass(frozen=True, slots=True)
class Condition:
    """One look at one segment. Sub-scores run from 5 (excellent) to 1 (failed).

    The five sub-scores are the ones a windshield survey gives; measured values
    are optional and, when present, weigh more than the score.
    """

    segment_id: str
    observed_on: date
    crown: float
    drainage: float
    gravel: float
    deformation: float
    """Washboard, potholes and ruts together."""
    defects: float
    """Dust and loose aggregate together."""
    method: Method = "default"
    observer: str = ""
    last_bladed_on: date | None = None
    crossfall_pct: float | None = None
    gravel_mm: float | None = None
    corrugation_mm: float | None = None
    """Trough to crest [mm]."""
    corrugation_spacing_m: float | None = None
    pothole_mm: float | None = None
    pothole_count_per_km: float | None = None
    rut_mm: float | None = None
    loose_mm: float | None = None
    has_secondary_ditch: bool = False
    has_high_shoulder: bool = False
    is_ditch_blocked: bool = False
    is_culvert_blocked: bool = False
    windrow_side: Side | None = None
    note: str = ""


@dataclass(frozen=True, slots=True)
class Observation:
    """How a surface felt, or what a gauge caught, at one place and time."""

    id: str
    observed_on: date
    lon: float
    lat: float
    felt: Felt | None = None
    rain_mm: float | None = None
    segment_id: str | None = None
    observer: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True)
class Hazard:
    """A danger that is secured or closed at once; never weighed against other work."""

    id: str
    segment_id: str
    at_m: float
    kind: Literal["washout", "culvert_collapse", "sign_missing", "obstruction", "other"]
    noticed_at: datetime
    barricaded_at: datetime | None = None
    repaired_at: datetime | None = None
    note: str = ""

    @property
    def is_open(self) -> bool:
        return self.repaired_at is None


@dataclass(frozen=True, slots=True)
class Request:
    """A resident's complaint, tied to a segment once it is matched."""

    id: str
    received_on: date
    text: str
    lon: float | None = None
    lat: float | None = None
    segment_id: str | None = None
    status: Literal["open", "closed"] = "open"
