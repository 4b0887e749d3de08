"""Words that several nouns share: how a figure is known, money, rates, progress."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, Protocol

from crossfall.errors import InputError

Method = Literal["measured", "computed", "estimated", "default"]
"""How a quantity is known. ``default`` is a setting of ours, never a fact about the road."""

Evidence = Literal["published", "common practice", "recalled", "default"]
"""What a rule or a coefficient rests on."""

Side = Literal["left", "right", "both"]
"""Side of the road, facing increasing measure."""


class Progress(Protocol):
    """Called now and then during long work; raise :class:`~crossfall.errors.Cancelled` to stop.

    ``fraction`` runs from 0 to 1 and never falls; ``message`` is for a person.
    """

    def __call__(self, fraction: float, message: str) -> None: ...


def quiet(fraction: float, message: str) -> None:
    """A progress that tells nobody."""


@dataclass(frozen=True, slots=True)
class Money:
    """An amount in whole minor units (cents) of one currency, at one year's prices.

    Examples
    --------
    >>> Money(12_50, "USD", 2026) + Money(50, "USD", 2026)
    Money(minor=1300, currency='USD', year=2026)
    >>> Money(1, "USD", 2026) + Money(1, "CAD", 2026)
    Traceback (most recent call last):
    ...
    crossfall.errors.InputError: cannot add USD 2026 and CAD 2026; convert one of them first
    """

    minor: int
    currency: str
    year: int

    def __add__(self, other: Money) -> Money:
        if (self.currency, self.year) != (other.currency, other.year):
            raise InputError(
                f"cannot add {self.currency} {self.year} and {other.currency} {other.year};"
                " convert one of them first"
            )
        return Money(self.minor + other.minor, self.currency, self.year)

    def times(self, factor: float) -> Money:
        """Scale and round to whole minor units."""
        return Money(round(self.minor * factor), self.currency, self.year)

    @property
    def major(self) -> float:
        """The amount in whole currency units, for showing only."""
        return self.minor / 100


@dataclass(frozen=True, slots=True)
class Rate:
    """What one unit of something costs, and where the figure comes from."""

    name: str
    """What is paid for: ``grader``, ``operator``, ``surface gravel``."""
    minor: int
    """Whole minor units of money for one ``per``."""
    per: Literal["h", "m3", "t", "km", "t_km", "L", "each"]
    currency: str
    year: int
    source: str
    includes_operator: bool = False
    method: Method = "default"

    def cost(self, quantity: float) -> Money:
        """Money for ``quantity`` of the unit the rate is given in.

        Examples
        --------
        >>> Rate("grader", 9500, "h", "USD", 2026, "invented").cost(2.5).major
        237.5
        """
        if not quantity >= 0:
            raise InputError(f"quantity of {self.name} is {quantity:g} {self.per}; expected >= 0")
        return Money(round(self.minor * quantity), self.currency, self.year)


@dataclass(frozen=True, slots=True)
class CostRange:
    """A cost as it should be spoken: low, likely and high, never one bare figure."""

    low: Money
    likely: Money
    high: Money

    def __add__(self, other: CostRange) -> CostRange:
        return CostRange(self.low + other.low, self.likely + other.likely, self.high + other.high)
