"""The ledger of work: what each piece cost, sums by road, treatment and month, and a day's sheet.

A cost that was booked with the work counts as it is. Work without one is priced from the agency's
rates and says so, so that nobody takes one for the other.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Literal

from crossfall.errors import InputError
from crossfall.model import Money, Network, WorkRecord
from crossfall.model.policy import CostsPolicy
from crossfall.units import convert

By = Literal["road", "treatment", "month", "district"]
HowPriced = Literal["booked", "priced"]


@dataclass(frozen=True, slots=True)
class WorkLine:
    """One piece of work with what it cost."""

    record: WorkRecord
    route: str
    district: str
    machine: str
    """Name of the machine, as far as a card says; empty otherwise."""
    labour: Money
    equipment: Money
    material: Money
    cost: Money
    how: HowPriced


@dataclass(frozen=True, slots=True)
class Total:
    """Work taken together."""

    key: str
    n: int
    hours: float
    length_m: float
    gravel_m3: float
    cost: Money
    n_priced: int
    """How many of them were priced from rates."""


def work_lines(
    records: Iterable[WorkRecord],
    network: Network,
    costs: CostsPolicy,
    *,
    machine_of: Mapping[str, str] | None = None,
    first_day: date | None = None,
    last_day: date | None = None,
) -> tuple[WorkLine, ...]:
    """Work of a span of days, the latest first; superseded records do not count.

    ``machine_of`` names the machine of each card.

    Raises
    ------
    InputError
        If the span ends before it begins.
    """
    if first_day and last_day and last_day < first_day:
        raise InputError(f"the span ends on {last_day}, before it begins on {first_day}")
    known = tuple(records)
    gone = {record.supersedes for record in known if record.supersedes}
    lines = [
        _line(record, network, costs, machine_of or {})
        for record in known
        if record.id not in gone
        and (first_day is None or record.done_on >= first_day)
        and (last_day is None or record.done_on <= last_day)
    ]
    return tuple(
        sorted(lines, key=lambda line: (line.record.done_on, line.record.id), reverse=True)
    )


def totals(lines: Iterable[WorkLine], by: By) -> tuple[Total, ...]:
    """Sums by road, treatment, month or district; the dearest first, months in order.

    Raises
    ------
    InputError
        If costs are in several currencies, which nobody may add.
    """
    name = _NAMES[by]
    groups: dict[str, list[WorkLine]] = {}
    for line in lines:
        groups.setdefault(name(line), []).append(line)
    found = [_total(key, members) for key, members in groups.items()]
    if by == "month":
        return tuple(sorted(found, key=lambda each: each.key))
    return tuple(sorted(found, key=lambda each: (-each.cost.minor, each.key)))


def grand_total(lines: Iterable[WorkLine]) -> Total:
    """All of it."""
    return _total("", list(lines))


def _line(
    record: WorkRecord, network: Network, costs: CostsPolicy, machine_of: Mapping[str, str]
) -> WorkLine:
    segment = network.segment_by_id.get(record.segment_id)
    labour = costs.operator.likely.cost(record.hours)
    equipment = costs.grader.likely.cost(record.hours)
    gravel = costs.gravel.likely.cost(max(0.0, record.loose_gravel_m3))
    water = costs.water.likely.cost(convert(max(0.0, record.water_l), "L", "m3"))
    material = Money(gravel.minor + water.minor, gravel.currency, gravel.year)
    priced = Money(labour.minor + equipment.minor + material.minor, labour.currency, labour.year)
    return WorkLine(
        record,
        segment.route if segment else record.segment_id,
        segment.district if segment else "",
        machine_of.get(record.card_id or "", ""),
        labour,
        equipment,
        material,
        record.cost or priced,
        "booked" if record.cost is not None else "priced",
    )


def _total(key: str, lines: list[WorkLine]) -> Total:
    currencies = {line.cost.currency for line in lines}
    if len(currencies) > 1:
        raise InputError(f"costs are in {', '.join(sorted(currencies))}, which cannot be added")
    year = max((line.cost.year for line in lines), default=0)
    return Total(
        key,
        len(lines),
        sum(line.record.hours for line in lines),
        sum(
            (line.record.to_m or 0.0) - (line.record.from_m or 0.0)
            for line in lines
            if line.record.to_m is not None
        ),
        sum(line.record.loose_gravel_m3 for line in lines),
        Money(
            sum(line.cost.minor for line in lines),
            currencies.pop() if currencies else "USD",
            year,
        ),
        sum(line.how == "priced" for line in lines),
    )


_NAMES: dict[By, Callable[[WorkLine], str]] = {
    "road": lambda line: line.route,
    "treatment": lambda line: line.record.treatment.label,
    "month": lambda line: f"{line.record.done_on:%Y-%m}",
    "district": lambda line: line.district or "no district",
}
