"""Figures as the agency reads them: metric or US customary, converted exactly at this door."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.utils import timezone

from crossfall.model import CostRange, Money, Quantity
from crossfall.units import convert
from crossfall_app.workspace import UnitSystem

UNKNOWN = "not known"

# For each unit the engine uses: what an agency on US units reads instead, and its short form
_US = {
    "m": "ft",
    "mm": "in",
    "km": "mi",
    "m2": "yd2",
    "ha": "acre",
    "m3": "yd3",
    "L": "gal_us",
    "kg": "lb",
    "t": "short_ton",
    "kg/m3": "lb/ft3",
    "t/m3": "lb/ft3",
    "km/h": "mph",
    "m/s": "mph",
    "degC": "degF",
    "L/m2": "gal_us/yd2",
}
_SHORT = {
    "m2": "m²",
    "m3": "m³",
    "yd2": "yd²",
    "yd3": "yd³",
    "gal_us": "US gal",
    "short_ton": "short tons",
    "kg/m3": "kg/m³",
    "t/m3": "t/m³",
    "lb/ft3": "lb/ft³",
    "degC": "°C",
    "degF": "°F",
    "L/m2": "L/m²",
    "gal_us/yd2": "US gal/yd²",
    "each": "",
}
_SIGN = {"USD": "$", "CAD": "CA$", "AUD": "A$", "NZD": "NZ$", "EUR": "€", "GBP": "£"}


@dataclass(frozen=True, slots=True)
class Measures:
    """How one agency reads figures."""

    system: UnitSystem = "metric"

    def show(self, value: float | None, unit: str, digits: int | None = None) -> str:
        """``value`` given in ``unit`` of the engine, in the agency's unit, with its name.

        Examples
        --------
        >>> Measures().show(12.34, "km")
        '12.3 km'
        >>> Measures("us").show(1609.344, "km", 0)
        '1,000 mi'
        >>> Measures("us").show(25.4, "mm")
        '1.00 in'
        >>> Measures().show(float("nan"), "mm")
        'not known'
        """
        if value is None or not math.isfinite(value):
            return UNKNOWN
        shown, name = self.value(value, unit)
        text = f"{shown:,.{_digits(shown, name) if digits is None else digits}f}"
        short = _SHORT.get(name, name)
        return f"{text} {short}".rstrip()

    def value(self, value: float, unit: str) -> tuple[float, str]:
        """The figure and the unit's own name, converted."""
        target = _US.get(unit, unit) if self.system == "us" else unit
        return (value if target == unit else convert(value, unit, target)), target

    def road(self, length_m: float) -> str:
        """A length of road, in km or miles.

        Examples
        --------
        >>> Measures().road(1609.344)
        '1.61 km'
        """
        shown = convert(length_m, "m", "km")
        return self.show(shown, "km", 2 if length_m < convert(10, "km", "m") else 1)

    def quantity(self, quantity: Quantity) -> str:
        """One line of a quantity table."""
        unit = quantity.unit
        if unit in {"each", "loads"}:
            return f"{quantity.value:,.0f} {_SHORT.get(unit, unit)}".rstrip()
        return self.show(quantity.value, unit)


def hours(value: float) -> str:
    """Hours as a crew says them.

    Examples
    --------
    >>> hours(7.26)
    '7.3 h'
    """
    return f"{value:,.1f} h"


def clock(minutes: float) -> str:
    """Minutes after midnight as a clock time.

    Examples
    --------
    >>> clock(390.4), clock(1445)
    ('06:30', '00:05 next day')
    """
    whole = round(minutes)
    days, rest = divmod(whole, 24 * 60)
    return f"{rest // 60:02d}:{rest % 60:02d}" + (" next day" if days else "")


def percent(share: float) -> str:
    """A share of one in whole percent, never 0 or 100 when it is only near.

    Examples
    --------
    >>> percent(0.004), percent(0.27), percent(0.999), percent(1.0)
    ('under 1 %', '27 %', 'over 99 %', '100 %')
    """
    if not math.isfinite(share):
        return UNKNOWN
    whole = round(100 * share)
    if share > 0 and whole == 0:
        return "under 1 %"
    if share < 1 and whole == 100:
        return "over 99 %"
    return f"{whole} %"


def money(amount: Money) -> str:
    """Whole currency units.

    Examples
    --------
    >>> money(Money(123456789, "USD", 2026))
    '$1,234,568'
    """
    sign = _SIGN.get(amount.currency)
    whole = f"{amount.major:,.0f}"
    return f"{sign}{whole}" if sign else f"{amount.currency} {whole}"


def money_range(cost: CostRange) -> str:
    """Low to high, around the likely figure."""
    return f"{money(cost.low)} to {money(cost.high)}"


def day_name(day: date, today: date | None = None) -> str:
    """Weekday and date, or *Today* and *Tomorrow*.

    Examples
    --------
    >>> day_name(date(2026, 5, 4)), day_name(date(2026, 5, 5), date(2026, 5, 4))
    ('Mon 4 May', 'Tomorrow')
    """
    if today is not None and day == today:
        return "Today"
    if today is not None and day == today + timedelta(days=1):
        return "Tomorrow"
    return f"{day:%a} {day.day} {day:%b}"


def moment(when: datetime, today: date | None = None) -> str:
    """Day and clock time where the roads are."""
    local = timezone.localtime(when)
    return f"{day_name(local.date(), today)} {local:%H:%M}"


def _digits(shown: float, unit: str) -> int:
    if unit in {"L", "gal_us", "degC", "degF", "lb", "kg"}:
        return 0
    if unit == "in":
        return 2
    if unit == "mm":
        return 0 if abs(shown) >= 10 else 1
    size = abs(shown)
    return 0 if size >= 100 else 1
