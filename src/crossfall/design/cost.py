"""What work costs: low, likely and high, in one currency of one year.

All rates are laid into one price book first. If two of them speak of different money, that is
found there, before anything is designed.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, fields

from crossfall.errors import InputError
from crossfall.model import CostRange, Fleet, Money, Policy, Rate
from crossfall.model.policy.costs import CostsPolicy, RateRange

Line = tuple[str, float]
"""What is paid for, and how much of it: ``("grader", 5.5)``."""


@dataclass(frozen=True, slots=True)
class PriceBook:
    """Minor units for one of each thing: (low, likely, high)."""

    currency: str
    year: int
    rows: Mapping[str, tuple[float, float, float]]
    sources: tuple[str, ...]

    def cost(self, lines: Iterable[Line]) -> CostRange:
        """Add up the lines.

        Raises
        ------
        InputError
            If a line is for something the book has no price for.
        """
        low = likely = high = 0.0
        for name, quantity in lines:
            row = self.rows.get(name)
            if row is None:
                raise InputError(
                    f"no rate is known for {name!r}; expected one of {list(self.rows)}"
                )
            low += quantity * row[0]
            likely += quantity * row[1]
            high += quantity * row[2]
        return self.money(low, likely, high)

    def money(self, low: float, likely: float, high: float) -> CostRange:
        """Minor units as money of this book's currency and year."""
        currency, year = self.currency, self.year
        return CostRange(
            Money(round(low), currency, year),
            Money(round(likely), currency, year),
            Money(round(high), currency, year),
        )


def price_book(policy: Policy, fleet: Fleet) -> PriceBook:
    """Lay out every rate that a design may use.

    Machines and people are priced by the hour, with the policy's spread of hours in the low
    and the high figure. A pit's gravel is called ``gravel:`` and its id, by the loose m³.

    Raises
    ------
    InputError
        If rates differ in currency or year.
    """
    costs, design = policy.costs, policy.design
    rows: dict[str, tuple[float, float, float]] = {}
    rates: list[Rate] = []
    for name in _ranges(costs):
        each: RateRange = getattr(costs, name)
        low, high = float(each.low_minor), float(each.high_minor)
        if each.likely.per == "h":
            low, high = low * costs.hours_low, high * costs.hours_high
        rows[name] = (low, float(each.likely.minor), high)
        rates.append(each.likely)
    for pit in fleet.pits:
        price = pit.price
        if price.per not in {"m3", "t"}:
            raise InputError(
                f"the price of pit {pit.place.name} is per {price.per}; expected per m3 or t"
            )
        by_volume = price.minor * (design.hauled_t_m3 if price.per == "t" else 1.0)
        rows[gravel_line(pit.place.id)] = (
            by_volume * costs.gate_price_low,
            by_volume,
            by_volume * costs.gate_price_high,
        )
        rates.append(price)
    _same_money(rates)
    sources = tuple(dict.fromkeys(f"{rate.source} ({rate.currency} {rate.year})" for rate in rates))
    return PriceBook(rates[0].currency, rates[0].year, rows, sources)


def gravel_line(pit_id: str | None) -> str:
    """Name of the price of one pit's gravel in the book."""
    return "gravel" if pit_id is None else f"gravel:{pit_id}"


def _ranges(costs: CostsPolicy) -> list[str]:
    return [each.name for each in fields(costs) if isinstance(getattr(costs, each.name), RateRange)]


def _same_money(rates: list[Rate]) -> None:
    first = rates[0]
    for rate in rates:
        if (rate.currency, rate.year) != (first.currency, first.year):
            raise InputError(
                f"the rate of {rate.name} is in {rate.currency} {rate.year} and that of"
                f" {first.name} in {first.currency} {first.year}; give all rates in one currency"
                " and year"
            )
