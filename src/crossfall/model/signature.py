"""An engineer's word on one design: who signed, for which work, and for how long it stands."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from crossfall.errors import InputError
from crossfall.model.need import Treatment


@dataclass(frozen=True, slots=True)
class DesignSignature:
    """A named person confirms the work on one segment, or takes an earlier word back.

    Raises
    ------
    InputError
        If nobody signs, no capacity is named, no work is confirmed, or it ends before it begins.
    """

    id: str
    segment_id: str
    treatment: Treatment
    """The work that is confirmed; where a road was sent to the engineer, what is to be done."""
    signed_by: str
    capacity: str
    """In which capacity: a licence and its number, or the office held."""
    signed_on: date
    expires_on: date | None = None
    """The last day it stands; None is until it is taken back."""
    limit_t: float | None = None
    """Heaviest loaded truck that may pass, in place of the posted limit; None keeps the limit
    [t]."""
    note: str = ""
    """What the crew has to keep to; it is printed on the card."""
    is_withdrawn: bool = False
    """Takes back what was signed before for the same work."""

    def __post_init__(self) -> None:
        for name in ("signed_by", "capacity"):
            if not getattr(self, name).strip():
                raise InputError(f"{name} is empty; a named person signs, and says in which office")
        if self.treatment in (Treatment.NONE, Treatment.ENGINEER):
            raise InputError(
                f"treatment is {self.treatment.value!r}; expected the work that may be done"
            )
        if self.expires_on is not None and self.expires_on < self.signed_on:
            raise InputError(
                f"expires_on is {self.expires_on}, before signed_on {self.signed_on}; expected"
                " the day of signing or later"
            )
        if self.limit_t is not None and not 0 < self.limit_t < 200:
            raise InputError(
                f"limit_t is {self.limit_t:g}; expected tonnes of a loaded truck, above 0 and"
                " below 200"
            )

    def stands(self, day: date) -> bool:
        """Whether it stands on a day."""
        return self.signed_on <= day and (self.expires_on is None or day <= self.expires_on)

    @property
    def words(self) -> str:
        """As it is printed: who, in which capacity, when."""
        return f"{self.signed_by}, {self.capacity}, {self.signed_on.isoformat()}"
