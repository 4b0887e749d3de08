"""What somebody saw or measured on the road, and when."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from typing import Literal

from crossfall.model.common import Method, Side

Felt = Literal["too_wet", "just_right", "dust"]
Dust = Literal["none", "low", "medium", "high"]
Ditch = Literal["clear", "shallow", "blocked", "none"]
"""``none`` says that there is no ditch where one is needed."""
Shoulder = Literal["even", "high", "low", "eroded"]
"""Against the edge of the surface: ``high`` holds water on the road, ``low`` drops off."""
HazardKind = Literal["washout", "culvert_collapse", "sign_missing", "obstruction", "other"]


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
    from_m: float | None = None
    """Where the look begins, metres from the segment's start; None is the start [m]."""
    to_m: float | None = None
    """Where it ends; None is the segment's end [m]."""
    side: Side = "both"
    photos: tuple[str, ...] = ()
    """Names of pictures in the workspace's photo folder: the hash of what is in them."""
    dust: Dust | None = None
    """Dust behind a car at the usual speed."""
    pothole_width_mm: float | None = None
    ditch: Ditch | None = None
    shoulder: Shoulder | None = None
    iri_m_km: float | None = None
    """International Roughness Index of a measured profile [m/km]."""
    driven_km_h: float | None = None
    """Speed at which washboard was traced from a vehicle, for which its depth holds [km/h]."""


@dataclass(frozen=True, slots=True)
class Observation:
    """How a surface felt, or what a gauge caught, at one place and time.

    Nothing is overwritten: an observation that names a report in ``supersedes`` corrects it, and
    one that says neither ``felt`` nor ``rain_mm`` besides takes it back.
    """

    id: str
    observed_on: date
    lon: float
    lat: float
    felt: Felt | None = None
    rain_mm: float | None = None
    segment_id: str | None = None
    observer: str = ""
    note: str = ""
    supersedes: str = ""
    """The report this one corrects: the id of one observation, or the part before its last dash
    for all that were told in one breath."""


@dataclass(frozen=True, slots=True)
class Hazard:
    """A danger that is secured or closed at once; never weighed against other work."""

    id: str
    segment_id: str
    at_m: float
    kind: HazardKind
    noticed_at: datetime
    barricaded_at: datetime | None = None
    repaired_at: datetime | None = None
    note: str = ""
    noticed_by: str = ""
    barricaded_by: str = ""
    repaired_by: str = ""

    @property
    def is_open(self) -> bool:
        return self.repaired_at is None


@dataclass(frozen=True, slots=True)
class Request:
    """A resident's complaint, tied to a segment once it is matched.

    Who complained is not kept: names, numbers and addresses of people stay where the complaint
    was taken.
    """

    id: str
    received_on: date
    text: str
    lon: float | None = None
    lat: float | None = None
    segment_id: str | None = None
    status: Literal["open", "closed"] = "open"
    requested_at: datetime | None = None
    road: str = ""
    """The road or address as the resident gave it."""
    at_m: float | None = None
    """Where on the segment it was matched, metres from its start [m]."""
    distance_m: float | None = None
    """How far the resident's place lies from the segment; None when matched by name [m]."""
    merged_into: str | None = None
    """An earlier request about the same thing; both are answered together."""
    source: str = ""
    """File or system and the request's own key there."""
    closed_on: date | None = None
    record_id: str | None = None
    """The work record that closed it."""
    reply: str = ""
    """What was said to the resident, as it was approved; drafts are never kept."""
    reply_approved_by: str = ""
    reply_approved_at: datetime | None = None
