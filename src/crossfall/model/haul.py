"""Heavy hauling over the agency's roads by agreement, and leave to pass a posted limit."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from crossfall.errors import InputError
from crossfall.model.common import Money


@dataclass(frozen=True, slots=True)
class HaulAgreement:
    """One company's haul over some roads: when, how much, and what stands good for damage.

    Raises
    ------
    InputError
        If it names no road or one twice, ends before it begins, or its tonnes are not above 0.
    """

    id: str
    company: str
    """As people write it; nothing is looked up by it."""
    segment_ids: tuple[str, ...]
    """Segments of the route, in any order."""
    first_day: date
    last_day: date
    tonnes: float
    """Material to be moved over the whole route [t]."""
    bond: Money | None = None
    payload_t: float | None = None
    """Of one loaded truck; None takes the policy's [t]."""
    signed_by: str = ""
    """The person of the agency who agreed."""
    note: str = ""

    def __post_init__(self) -> None:
        if not self.segment_ids:
            raise InputError(f"haul agreement {self.id} names no segment; expected its route")
        if len(set(self.segment_ids)) < len(self.segment_ids):
            raise InputError(f"haul agreement {self.id} names a segment twice")
        if self.last_day < self.first_day:
            raise InputError(
                f"haul agreement {self.id} ends on {self.last_day}, before it begins on"
                f" {self.first_day}"
            )
        if not self.tonnes > 0:
            raise InputError(
                f"haul agreement {self.id} has tonnes {self.tonnes:g}; expected above 0"
            )
        if self.payload_t is not None and not self.payload_t > 0:
            raise InputError(
                f"haul agreement {self.id} has payload_t {self.payload_t:g}; expected above 0"
            )

    @property
    def n_days(self) -> int:
        """Days it runs, the first and the last counted."""
        return (self.last_day - self.first_day).days + 1


@dataclass(frozen=True, slots=True)
class LoadExemption:
    """Leave that a named person gave to pass a posted load limit; kept as a log.

    Raises
    ------
    InputError
        If nobody granted it, it names no segment, or it ends before it begins.
    """

    id: str
    segment_ids: tuple[str, ...]
    holder: str
    """Who may pass: the company or the vehicle."""
    granted_by: str
    granted_at: datetime
    first_day: date
    last_day: date
    axle_t: float | None = None
    """Heaviest axle let on all the same; None says that the limit is lifted [t]."""
    agreement_id: str | None = None
    reason: str = ""

    def __post_init__(self) -> None:
        if not self.granted_by.strip():
            raise InputError(f"exemption {self.id} was granted by nobody; name the person")
        if not self.segment_ids:
            raise InputError(f"exemption {self.id} names no segment")
        if self.last_day < self.first_day:
            raise InputError(
                f"exemption {self.id} ends on {self.last_day}, before it begins on {self.first_day}"
            )
