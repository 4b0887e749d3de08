"""Dust control on a road: until when no blade may touch it, and who paid."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from crossfall.errors import InputError
from crossfall.model.need import Treatment

BLADE_UP = frozenset({Treatment.CULVERT_CLEARING, Treatment.DUST_CONTROL})
"""Work that a resting road may have: it touches no crust."""


@dataclass(frozen=True, slots=True)
class DustApplication:
    """One application of a dust palliative on a stretch of one segment.

    Raises
    ------
    InputError
        If the rest ends before the day of the application, or nobody is named as payer.
    """

    id: str
    segment_id: str
    applied_on: date
    product: str
    rate_l_m2: float
    """Solution on the surface [L/m²]."""
    no_blade_until: date
    """Last day of its rest: blading breaks the crust that was paid for."""
    paid_by: str
    """Who paid: ``the district``, or the resident who asked."""
    from_m: float = 0.0
    to_m: float | None = None
    """Metres from the segment's start; None runs to its end [m]."""
    note: str = ""

    def __post_init__(self) -> None:
        if self.no_blade_until < self.applied_on:
            raise InputError(
                f"dust control {self.id} rests until {self.no_blade_until}, before it was applied"
                f" on {self.applied_on}"
            )
        if not self.paid_by.strip():
            raise InputError(f"dust control {self.id} does not say who paid; name them")

    def rests(self, day: date, from_m: float = 0.0, to_m: float | None = None) -> bool:
        """Whether a stretch of its segment must not be bladed that day.

        Examples
        --------
        >>> done = DustApplication("d", "s", date(2026, 6, 1), "brine", 1.4, date(2026, 8, 1),
        ...                        "the district", 200.0, 600.0)
        >>> done.rests(date(2026, 7, 1), 0.0, 300.0), done.rests(date(2026, 7, 1), 700.0)
        (True, False)
        """
        is_in_time = self.applied_on <= day <= self.no_blade_until
        begins_before_end = self.to_m is None or from_m < self.to_m
        ends_behind_start = to_m is None or to_m > self.from_m
        return is_in_time and begins_before_end and ends_behind_start


def no_blade_until(applications: Iterable[DustApplication], day: date) -> dict[str, date]:
    """For each segment that rests on ``day``, the last day of its rest.

    Examples
    --------
    >>> done = DustApplication("d", "s", date(2026, 6, 1), "brine", 1.4, date(2026, 8, 1),
    ...                        "A. Resident")
    >>> no_blade_until([done], date(2026, 7, 1))
    {'s': datetime.date(2026, 8, 1)}
    >>> no_blade_until([done], date(2026, 8, 2))
    {}
    """
    found: dict[str, date] = {}
    for each in applications:
        if each.rests(day):
            found[each.segment_id] = max(
                each.no_blade_until, found.get(each.segment_id, each.no_blade_until)
            )
    return found
