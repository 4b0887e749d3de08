"""Work that is let: bid items, scale tickets against loads, depth checks, hold points.

What was delivered is told from what was ordered by the tickets, and what was built from what was
paid for by the holes that were dug.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from crossfall.errors import InputError
from crossfall.formulas.given import at_least, positive
from crossfall.model import BidItem, Contract, HoldPoint, Job, ScaleTicket
from crossfall.model.policy.specifications import ContractPractice

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


def contract_for(
    job: Job, *, contract_id: str, title: str, contractor: str, moisture_pct: float = 0.0
) -> Contract:
    """A contract for a designed job: its quantities as bid items, its hold points in order.

    Raises
    ------
    InputError
        If nobody is named as contractor, or the job has no stage.
    """
    if not contractor.strip():
        raise InputError("contractor is empty; name who does the work")
    if not job.stages:
        raise InputError(f"job {job.id} has no stage that could be let")
    sums = {row.name: row.value for row in job.quantities}
    # Each lift is laid in parts; those that begin at the start count each lift once
    depth_mm = sum(
        row.value
        for stage in job.stages
        if stage.from_m == 0
        for row in stage.quantities
        if row.name == "compacted lift"
    )
    return Contract(
        id=contract_id,
        segment_id=job.segment_id,
        title=title,
        contractor=contractor.strip(),
        ordered_loads=round(sums.get("loads", 0.0)),
        ordered_dry_t=sums.get("gravel, dry mass", 0.0),
        wanted_mm=depth_mm,
        items=bid_items(job),
        hold_points=tuple(HoldPoint(name) for name in HOLD_POINTS),
        moisture_pct=at_least("moisture_pct", moisture_pct, 0.0),
    )


def state_of(contract: Contract, practice: ContractPractice | None = None) -> Reconciliation | None:
    """Tickets and holes of a contract against its order; None where no gravel was ordered."""
    if not (contract.ordered_dry_t > 0 and contract.wanted_mm > 0):
        return None
    return reconcile(
        contract.tickets,
        ordered_loads=contract.ordered_loads,
        ordered_dry_t=contract.ordered_dry_t,
        moisture_pct=contract.moisture_pct,
        depths_mm=contract.depths_mm,
        wanted_mm=contract.wanted_mm,
        practice=practice,
    )


def reconcile(
    tickets: Sequence[ScaleTicket],
    *,
    ordered_loads: int,
    ordered_dry_t: float,
    moisture_pct: float,
    depths_mm: Sequence[float],
    wanted_mm: float,
    practice: ContractPractice | None = None,
) -> Reconciliation:
    """Hold tickets and depth checks against the order.

    Parameters
    ----------
    moisture_pct : float
        Water in the gravel as weighed, by dry mass; it is not paid for. [%]
    depths_mm : sequence of float
        Compacted depths dug. [mm]
    practice : ContractPractice, optional
        How much may fall short, and how many holes are wanted.

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
    practice = practice or ContractPractice()
    tolerance, least_holes = practice.tolerance, practice.least_holes
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
    if len(tickets) < ordered_loads:
        remarks.append(f"{ordered_loads - len(tickets)} loads are missing")
    elif len(tickets) > ordered_loads:
        remarks.append(f"{len(tickets) - ordered_loads} loads more than were ordered")
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
