"""What was really done, and what was left. Facts are added and superseded, never overwritten."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from crossfall.model.common import Money, Side
from crossfall.model.need import Treatment


@dataclass(frozen=True, slots=True)
class WorkRecord:
    """Work on one segment on one day."""

    id: str
    segment_id: str
    done_on: date
    treatment: Treatment
    n_passes: int
    hours: float
    by: str
    card_id: str | None = None
    from_m: float | None = None
    to_m: float | None = None
    is_finished: bool = True
    windrow_side: Side | None = None
    """Side a windrow was left on; None when none was left."""
    is_windrow_in_travelled_way: bool = False
    is_culvert_open: bool = False
    loose_gravel_m3: float = 0.0
    n_loads: int = 0
    water_l: float = 0.0
    cost: Money | None = None
    note: str = ""
    supersedes: str | None = None
    agreement_id: str | None = None
    """The haul agreement whose company pays for it; None when the agency does."""
