"""Figures as they are shown: metric or US customary, with as many digits as are meant.

Inside crossfall everything is SI; this is the door. Table rows are converted by their unit's
name, and running text by finding figures that stand before a metric unit.
"""

from __future__ import annotations

import re
from typing import Literal

from crossfall.errors import InputError
from crossfall.units import convert

System = Literal["metric", "us"]

_TO_US = {
    "mm": "in",
    "m": "ft",
    "km": "mi",
    "m2": "yd2",
    "m3": "yd3",
    "L": "gal_us",
    "t": "short_ton",
    "km/h": "mph",
    "L/m2": "gal_us/yd2",
    "degC": "degF",
}
_SIGNS = {
    "m2": "m²",
    "m3": "m³",
    "yd2": "yd²",
    "yd3": "yd³",
    "L/m2": "L/m²",
    "gal_us": "gal",
    "gal_us/yd2": "gal/yd²",
    "short_ton": "short tons",
    "degC": "°C",
    "degF": "°F",
    "each": "",
}
_IN_TEXT = re.compile(
    r"(?<![\w.,])(-?\d[\d,]*(?:\.\d+)?)([\u00a0\u202f ])"
    r"(km/h|L/m2|mm|km|m3|m2|m|L|t|°C|%)(?![\w/²³·])"
)
_NAMES = {"°C": "degC"}
_PARTS = ("", "⅛", "¼", "⅜", "½", "⅝", "¾", "⅞")
_ROUND_UP_TO_M = 100.0
_NBSP = "\N{NO-BREAK SPACE}"


def check_system(units: str) -> System:
    """``metric`` or ``us``, anything else refused."""
    if units == "metric":
        return "metric"
    if units == "us":
        return "us"
    raise InputError(f"units is {units!r}; expected 'metric' or 'us'")


def figure(value: float, unit: str, system: System) -> tuple[str, str]:
    """A value and its unit as they are shown.

    Examples
    --------
    >>> figure(1609.344, "m", "us")
    ('5,280', 'ft')
    >>> figure(80.0, "mm", "us")
    ('3⅛', 'in')
    >>> figure(1826.4, "m3", "metric")
    ('1,826', 'm³')
    """
    if system == "us" and unit in _TO_US:
        value, unit = convert(value, unit, _TO_US[unit]), _TO_US[unit]
    return number(value, unit), _SIGNS.get(unit, unit)


def shown_unit(unit: str, system: System) -> str:
    """The unit in which an agency reads a unit of the engine.

    Examples
    --------
    >>> shown_unit("mm", "us"), shown_unit("mm", "metric")
    ('in', 'mm')
    """
    return _TO_US.get(unit, unit) if system == "us" else unit


def number(value: float, unit: str) -> str:
    """Digits for one unit: whole feet and metres, a decimal where it can be measured."""
    if unit in {"loads", "each", "m", "ft", "L", "gal_us"}:
        return f"{value:,.0f}"
    if unit in {"mph", "km/h", "h", "degC", "degF"}:
        return _short(f"{value:,.1f}")
    if unit == "mm":
        return f"{value:,.0f}"
    if unit == "in" and abs(value) < 12:
        return _eighths(value)
    if unit in {"in", "gal_us/yd2", "L/m2"}:
        return f"{value:.2f}" if abs(value) < 1 else _short(f"{value:,.1f}")
    return _short(f"{value:,.1f}") if abs(value) < 100 else f"{value:,.0f}"


def reword(text: str, system: System) -> str:
    """Running text with its measures in the agency's units, never parted from their figures.

    Examples
    --------
    >>> reword("Cut 50 mm at 6.5 km/h from 420 m", "us").replace("\N{NO-BREAK SPACE}", "_")
    'Cut 2_in at 4_mph from 1,378_ft'
    >>> reword("wet 3 m3 at 5 %", "metric").replace("\N{NO-BREAK SPACE}", "_")
    'wet 3_m³ at 5_%'
    >>> reword("or 0.6 mm of rain", "us").replace("\N{NO-BREAK SPACE}", "_")
    'or 0.02_in of rain'
    >>> reword("thawing index 14 °C·d", "us")
    'thawing index 14 °C·d'
    """

    def shown(match: re.Match[str]) -> str:
        digits, _, unit = match.groups()
        unit = _NAMES.get(unit, unit)
        if system == "metric" or unit not in _TO_US:
            return f"{digits}{_NBSP}{_SIGNS.get(unit, unit)}"
        amount = float(digits.replace(",", ""))
        value, sign = figure(amount, unit, system)
        if unit == "mm" and value == "0" and amount > 0:
            # Less than a sixteenth, as of rain, is little but not nothing
            value = f"{convert(amount, 'mm', 'in'):.2f}"
        if unit == "m" and 0 < amount <= _ROUND_UP_TO_M and amount % 5 == 0:
            # A round length given as guidance stays round; it is not a chainage
            value = f"{round(convert(amount, 'm', 'ft') / 5) * 5}"
        return f"{value}{_NBSP}{sign}"

    return _IN_TEXT.sub(shown, text)


def _eighths(value: float) -> str:
    whole, part = divmod(round(abs(value) * 8), 8)
    sign = "-" if value < 0 and (whole or part) else ""
    shown = f"{whole}{_PARTS[part]}" if whole else _PARTS[part] or "0"
    return sign + shown


def _short(text: str) -> str:
    return text[:-2] if text.endswith(".0") else text
