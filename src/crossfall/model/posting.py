"""A seasonal load limit, as it is posted: where, how much, by whom, from when to when."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from crossfall.errors import InputError


@dataclass(frozen=True, slots=True)
class LoadPosting:
    """A load limit that a named authority has signed. Without a signature there is none.

    Raises
    ------
    InputError
        If nobody signed it, the limit is not above 0, or it comes down before it goes up.
    """

    id: str
    segment_ids: tuple[str, ...]
    axle_t: float
    """Heaviest axle let on [t]."""
    authority: str
    """The body that may post: ``Osier Valley District board``."""
    signed_by: str
    up_at: datetime
    down_at: datetime | None = None
    """None while it is still up."""
    reason: str = ""

    def __post_init__(self) -> None:
        if not self.authority.strip() or not self.signed_by.strip():
            raise InputError(
                f"posting {self.id} has no authority or no signature; a load limit is advice until"
                " a named person of the posting authority signs it"
            )
        if not self.axle_t > 0:
            raise InputError(f"posting {self.id} has axle_t {self.axle_t:g}; expected above 0")
        if self.down_at is not None and self.down_at <= self.up_at:
            raise InputError(f"posting {self.id} comes down at {self.down_at}, before it goes up")

    def is_up_on(self, day: date) -> bool:
        """Whether it holds at any time of a day."""
        return self.up_at.date() <= day and (self.down_at is None or day <= self.down_at.date())
