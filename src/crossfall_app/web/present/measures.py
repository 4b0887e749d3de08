"""Figures as the agency reads them: metric or US customary, by the same rules as on paper."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date, datetime

from django.utils import timezone

from crossfall.errors import InputError
from crossfall.model import CostRange, Money
from crossfall.report.figures import figure, reword, shown_unit
from crossfall.units import convert
from crossfall_app.workspace import UnitSystem

UNKNOWN = "not known"
_NBSP = "\N{NO-BREAK SPACE}"
_NEAR = ("Today", "Tomorrow")
_SIGN = {"USD": "$", "CAD": "CA$", "AUD": "A$", "NZD": "NZ$", "EUR": "€", "GBP": "£"}


@dataclass(frozen=True, slots=True)
class Measures:
    """How one agency reads figures."""

    system: UnitSystem = "metric"

    def show(self, value: float | None, unit: str) -> str:
        """``value`` given in ``unit`` of the engine, in the agency's unit, with its sign.

        Examples
        --------
        >>> Measures().show(12.34, "km").split()
        ['12.3', 'km']
        >>> Measures("us").show(1609.344, "m").split()
        ['5,280', 'ft']
        >>> Measures().show(float("nan"), "mm")
        'not known'
        """
        if value is None or not math.isfinite(value):
            return UNKNOWN
        digits, sign = figure(value, unit, self.system)
        return f"{digits}{_NBSP}{sign}".rstrip()

    def road(self, length_m: float) -> str:
        """A length of road, in km or miles.

        Examples
        --------
        >>> Measures("us").road(1609.344).split()
        ['1', 'mi']
        """
        return self.show(length_m / 1000, "km")

    def along(self, per_km: float, unit: str) -> str:
        """An amount for each kilometre of road, for a kilometre or a mile, to two or three digits.

        Examples
        --------
        >>> Measures().along(21_312.0, "L").split()
        ['21,300', 'L', 'a', 'km']
        >>> Measures("us").along(12_000.0, "L").split()
        ['5,100', 'gal', 'a', 'mi']
        """
        length, shown = shown_unit("km", self.system), shown_unit(unit, self.system)
        amount = convert(per_km * convert(1.0, length, "km"), unit, shown)
        digits = 0 if amount == 0 else 2 - math.floor(math.log10(abs(amount)))
        rounded = convert(round(amount, digits), shown, unit)
        return f"{self.show(rounded, unit)} a{_NBSP}{length}"

    def sign(self, unit: str) -> str:
        """How the agency writes a unit of the engine.

        Examples
        --------
        >>> Measures("us").sign("mm"), Measures().sign("mm")
        ('in', 'mm')
        """
        return figure(0.0, unit, self.system)[1]

    def read(self, text: str, unit: str, name: str, *, into: str = "") -> float | None:
        """A figure as somebody of the agency typed it; None when nothing was.

        Raises
        ------
        InputError
            If it is not a figure.

        Examples
        --------
        >>> Measures("us").read(" 0.5 ", "mm", "rain"), Measures().read("", "mm", "rain")
        (12.7, None)
        >>> Measures("us").read("1", "km", "at", into="m")
        1609.344
        """
        said = text.strip().replace(",", ".")
        if not said:
            return None
        try:
            value = float(said)
        except ValueError:
            value = math.nan
        if not math.isfinite(value):
            raise InputError(f"{name} is {text.strip()!r}; expected a figure in {self.sign(unit)}")
        return convert(value, shown_unit(unit, self.system), into or unit)

    def words(self, text: str) -> str:
        """A sentence of the engine with its figures in the agency's units.

        Examples
        --------
        >>> Measures("us").words("Cut 50 mm deep.").split()
        ['Cut', '2', 'in', 'deep.']
        """
        return reword(text, self.system)


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
    ('<1 %', '27 %', '>99 %', '100 %')
    """
    if not math.isfinite(share):
        return UNKNOWN
    whole = round(100 * share)
    if share > 0 and whole == 0:
        return "<1 %"
    if share < 1 and whole == 100:
        return ">99 %"
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
    if today is not None and 0 <= (day - today).days < len(_NEAR):
        return _NEAR[(day - today).days]
    return f"{day:%a} {day.day} {day:%b}"


def short_day(day: date, today: date) -> str:
    """Weekday and day of the month, for the head of a narrow column.

    Examples
    --------
    >>> short_day(date(2026, 5, 6), date(2026, 5, 4))
    'Wed 6'
    """
    return _NEAR[0] if day == today else f"{day:%a} {day.day}"


def moment(when: datetime, today: date | None = None) -> str:
    """Day and clock time where the roads are."""
    local = timezone.localtime(when)
    name = day_name(local.date(), today)
    return f"{name.lower() if name in _NEAR else name} {local:%H:%M}"
