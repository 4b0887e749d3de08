"""Leave to dig, cut or work near something that is not ours, with the day it runs out."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Literal

from crossfall.errors import InputError

ClearanceKind = Literal["utilities", "stream", "wetland", "rail", "right_of_way"]


@dataclass(frozen=True, slots=True)
class Clearance:
    """One permission, ticket or location report for a stretch of one segment.

    Raises
    ------
    InputError
        If it expires before it begins.
    """

    id: str
    kind: ClearanceKind
    segment_id: str
    reference: str
    """The ticket or permit number that a crew can read out."""
    granted_by: str
    valid_from: date
    expires_on: date
    """The last day it holds."""
    from_m: float = 0.0
    to_m: float | None = None
    """Metres from the segment's start; None runs to its end [m]."""
    note: str = ""

    def __post_init__(self) -> None:
        if self.expires_on < self.valid_from:
            raise InputError(
                f"clearance {self.id} expires on {self.expires_on}, before it begins on"
                f" {self.valid_from}"
            )

    def holds(self, day: date, from_m: float, to_m: float) -> bool:
        """Whether it covers all of a stretch on a day."""
        reaches = self.to_m is None or to_m <= self.to_m + 1e-6
        return self.valid_from <= day <= self.expires_on and self.from_m <= from_m and reaches
