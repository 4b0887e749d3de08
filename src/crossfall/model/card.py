"""A job card: the order a crew gets on paper and on screen. Once issued it never changes."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Literal

from crossfall.model.common import CostRange
from crossfall.model.job import Quantity, Stake


@dataclass(frozen=True, slots=True)
class Caution:
    """Something that can hurt somebody, and what to do about it."""

    key: str
    text: str
    at: str = ""
    """Where along the job, when it is at one place: ``at 420 m``."""


@dataclass(frozen=True, slots=True)
class CardStep:
    """One thing to do, with a box to tick."""

    text: str
    detail: str = ""


@dataclass(frozen=True, slots=True)
class SketchFeature:
    """A point drawn on the sketch map."""

    kind: str
    lon: float
    lat: float
    label: str = ""


@dataclass(frozen=True, slots=True)
class Sketch:
    """What the map on the card shows: the job's line in its neighbourhood."""

    line: tuple[tuple[float, float], ...]
    nearby: tuple[tuple[tuple[float, float], ...], ...]
    features: tuple[SketchFeature, ...]
    water: tuple[tuple[tuple[float, float], ...], ...] = ()
    """Creeks and rivers behind the roads."""
    rail: tuple[tuple[tuple[float, float], ...], ...] = ()


@dataclass(frozen=True, slots=True)
class JobCard:
    """One stage of work for one machine and one day."""

    id: str
    number: int
    version: int
    status: Literal["draft", "issued", "withdrawn", "closed"]
    made_at: datetime
    plan_id: str
    job_id: str
    stage_id: str
    segment_id: str
    day: date
    machine: str
    operator: str
    title: str
    """Treatment and road: ``Reshape Osier Creek Road``."""
    where: str
    """From–to in the agency's words and metres."""
    start_clock: str
    moisture: str
    """The surface state the work is planned for, and the figures behind it."""
    steps: tuple[CardStep, ...]
    quantities: tuple[Quantity, ...]
    stakes: tuple[Stake, ...]
    cautions: tuple[Caution, ...]
    end_state: str
    checks: tuple[str, ...]
    cost: CostRange
    sketch: Sketch
    assumed: tuple[str, ...] = ()
    policy_version: str = ""
    is_invented: bool = False
    from_m: float = 0.0
    """Where the stage begins, metres from the segment's start: chainages on the card count from
    there [m]."""
    to_m: float = 0.0
    """Where it ends [m]."""
    approved_by: str = ""
    """Who issued it, by name; like the status this stands beside the frozen text, not in it."""
    approved_at: datetime | None = None
    confirmed_by: str = ""
    """Who confirmed what asks for an engineer."""
    withdrawn_because: str = ""
    seal: str = field(default="", compare=False)
    """SHA-256 of the frozen text, once it is in the store."""
