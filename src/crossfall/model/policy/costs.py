"""Rates with currency, year and source.

Every default is recalled, in United States dollars of about 2022, and stands only until the
agency enters its own. Machine rates leave the operator out; the operator is a line of its own.
"""

# ruff: noqa: RUF009 - setting() makes a dataclass field, which ruff cannot see

from __future__ import annotations

from dataclasses import dataclass

from crossfall.model.common import CostRange, Money, Rate
from crossfall.model.policy.setting import setting

_SOURCE = "recalled range of about 2022; replace with your own"


@dataclass(frozen=True, slots=True)
class RateRange:
    """A rate as it should be spoken: the likely one, with a low and a high beside it."""

    likely: Rate
    low_minor: int
    high_minor: int

    def cost(self, quantity: float) -> CostRange:
        """Money for ``quantity`` of the unit the rate is given in.

        Examples
        --------
        >>> CostsPolicy().grader.cost(2.0).high.major
        240.0
        """
        likely = self.likely.cost(quantity)
        currency, year = likely.currency, likely.year
        return CostRange(
            Money(round(self.low_minor * quantity), currency, year),
            likely,
            Money(round(self.high_minor * quantity), currency, year),
        )


def _hourly(name: str, low: int, high: int) -> RateRange:
    """A rate an hour, from whole units of money; the likely one stands midway."""
    rate = Rate(name, (low + high) * 50, "h", "USD", 2022, _SOURCE)
    return RateRange(rate, low * 100, high * 100)


def _each(name: str, per: str, low: int, likely: int, high: int) -> RateRange:
    """A rate for one ``per``, from minor units."""
    return RateRange(Rate(name, likely, per, "USD", 2022, _SOURCE), low, high)  # type: ignore[arg-type]


@dataclass(frozen=True, slots=True)
class CostsPolicy:
    """Rates with currency, year and source."""

    grader: RateRange = setting(
        factory=lambda: _hourly("grader", 70, 120),
        unit="money/h",
        doc="Grader, owned.",
        evidence="recalled",
    )
    operator: RateRange = setting(
        factory=lambda: _hourly("operator", 35, 60),
        unit="money/h",
        doc="A person, loaded.",
        evidence="recalled",
    )
    haul_truck: RateRange = setting(
        factory=lambda: _hourly("haul truck", 50, 90),
        unit="money/h",
        doc="Dump truck.",
        evidence="recalled",
    )
    water_truck: RateRange = setting(
        factory=lambda: _hourly("water truck", 40, 80),
        unit="money/h",
        doc="Water truck.",
        evidence="recalled",
    )
    roller: RateRange = setting(
        factory=lambda: _hourly("roller", 35, 60),
        unit="money/h",
        doc="Roller.",
        evidence="recalled",
    )
    loader: RateRange = setting(
        factory=lambda: _hourly("loader", 50, 90), unit="money/h", doc="Loader at the pit."
    )
    excavator: RateRange = setting(
        factory=lambda: _hourly("excavator", 60, 120), unit="money/h", doc="Excavator."
    )
    gravel: RateRange = setting(
        factory=lambda: _each("surface gravel", "m3", 1000, 1700, 2500),
        unit="money/m3",
        doc="Loose, at the gate, where no pit is known.",
        evidence="recalled",
    )
    water: RateRange = setting(
        factory=lambda: _each("water", "m3", 0, 100, 300), unit="money/m3", doc="Water at the tap."
    )
    dust_solution: RateRange = setting(
        factory=lambda: _each("dust control solution", "L", 15, 25, 40),
        unit="money/L",
        doc="Delivered, sprayed.",
    )
    gate_price_low: float = setting(
        0.95, unit="-", doc="Low end of a pit's own price.", low=0.5, high=1.0
    )
    gate_price_high: float = setting(
        1.10, unit="-", doc="High end of a pit's own price.", low=1.0, high=2.0
    )
    hours_low: float = setting(
        0.85, unit="-", doc="Hours of a job that goes well, of the likely ones.", low=0.5, high=1.0
    )
    hours_high: float = setting(
        1.30, unit="-", doc="Hours of a job that goes badly.", low=1.0, high=3.0
    )
    mobilisation_h: float = setting(
        0.5, unit="h", doc="Hours of each machine to come and go, for each stage.", low=0.0, high=8
    )
