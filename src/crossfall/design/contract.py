"""Work that is let: bid items, scale tickets against loads, depth checks, hold points.

What was delivered is told from what was ordered by the tickets, and what was built from what was
paid for by the holes that were dug.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from crossfall.errors import InputError
from crossfall.formulas.given import at_least, positive
from crossfall.model import BidItem, Job, ScaleTicket

HOLD_POINTS = (
    "clearances in hand and seen",
    "base shaped, soft spots mended, before the first load",
    "first lift's depth and crown, before the next",
    "last lift's depth and crown, before signs come down",
)
"""Where work stops until a named person has looked."""


@dataclass(frozen=True, slots=True)
class Reconciliation:
    """Tickets and holes against the order."""

    ordered_loads: int
    ticketed_loads: int
    ordered_dry_t: float
    delivered_dry_t: float
    thinnest_mm: float | None
    wanted_mm: float
    remarks: tuple[str, ...]

    @property
    def is_accepted(self) -> bool:
        """Nothing stands against the signature; signing is a person's act all the same."""
        return not self.remarks

    def summary(self) -> str:
        """One line to read out."""
        said = "; ".join(self.remarks) or "nothing against acceptance"
        return (
            f"{self.ticketed_loads} of {self.ordered_loads} loads,"
            f" {self.delivered_dry_t:,.0f} of {self.ordered_dry_t:,.0f} t dry: {said}"
        )


def bid_items(job: Job) -> tuple[BidItem, ...]:
    """A job's quantities as bid items; gravel by compacted volume, so that it is paid once.

    Examples
    --------
    >>> from crossfall.model import CostRange, Money, Quantity, Treatment
    >>> nothing = Money(0, "USD", 2026)
    >>> rows = (Quantity("compacted gravel", 840.0, "m3"), Quantity("loose gravel", 1050.0, "m3"))
    >>> job = Job("j", "n", "s", Treatment.REGRAVELLING, (), 0.0, rows, CostRange(*[nothing] * 3))
    >>> [(item.name, item.quantity) for item in bid_items(job)]
    [('compacted gravel', 840.0)]
    """
    paid_once = [row for row in job.quantities if row.name not in _SAME_GRAVEL]
    return tuple(
        BidItem(number, row.name, row.value, row.unit)
        for number, row in enumerate(paid_once, start=1)
    )


def reconcile(
    tickets: Sequence[ScaleTicket],
    *,
    ordered_loads: int,
    ordered_dry_t: float,
    moisture_pct: float,
    depths_mm: Sequence[float],
    wanted_mm: float,
    tolerance: float = 0.05,
    least_holes: int = 3,
) -> Reconciliation:
    """Hold tickets and depth checks against the order.

    Parameters
    ----------
    moisture_pct : float
        Water in the gravel as weighed, by dry mass; it is not paid for. [%]
    depths_mm : sequence of float
        Compacted depths dug. [mm]
    tolerance : float
        Share by which tonnes and depth may fall short.

    Raises
    ------
    InputError
        If a ticket is doubled or a figure is not possible.

    Examples
    --------
    >>> from datetime import date
    >>> load = [ScaleTicket(str(n), date(2026, 6, 1), 10.5) for n in range(10)]
    >>> reconcile(load, ordered_loads=10, ordered_dry_t=100, moisture_pct=5,
    ...           depths_mm=[80, 82, 79], wanted_mm=80).summary()
    '10 of 10 loads, 100 of 100 t dry: nothing against acceptance'
    """
    numbers = [ticket.number for ticket in tickets]
    if len(set(numbers)) < len(numbers):
        twice = next(number for number in numbers if numbers.count(number) > 1)
        raise InputError(f"ticket {twice} is there twice; it would be paid twice")
    at_least("moisture_pct", moisture_pct, 0.0)
    positive("wanted_mm", wanted_mm)
    positive("ordered_dry_t", ordered_dry_t)
    delivered = sum(positive(f"net_t of {t.number}", t.net_t) for t in tickets)
    delivered /= 1 + moisture_pct / 100
    thinnest = min(depths_mm) if depths_mm else None
    remarks = []
    if len(tickets) != ordered_loads:
        remarks.append(f"{ordered_loads - len(tickets):+d} loads against the order")
    if delivered < ordered_dry_t * (1 - tolerance):
        remarks.append(f"{ordered_dry_t - delivered:,.0f} t dry are missing")
    if len(depths_mm) < least_holes:
        remarks.append(f"{len(depths_mm)} holes dug, {least_holes} are wanted")
    if thinnest is not None and thinnest < wanted_mm * (1 - tolerance):
        remarks.append(f"{thinnest:.0f} mm at the thinnest, {wanted_mm:.0f} mm are wanted")
    return Reconciliation(
        ordered_loads,
        len(tickets),
        ordered_dry_t,
        delivered,
        thinnest,
        wanted_mm,
        tuple(remarks),
    )


_SAME_GRAVEL = frozenset({"loose gravel", "gravel, dry mass", "loads"})
"""Other measures of gravel that is already there as compacted volume."""
