"""Measures as they are written into steps and checks.

A figure and its unit are joined by a no-break space. That keeps them on one line on paper and
lets the report room find them again, when an agency works in feet and gallons.
"""

from __future__ import annotations

NBSP = "\N{NO-BREAK SPACE}"


def metres(value: float) -> str:
    """Chainage or length, to the metre: ``1,420 m``.

    Examples
    --------
    >>> metres(1419.7).replace(NBSP, "_")
    '1,420_m'
    """
    return f"{value:,.0f}{NBSP}m"


def millimetres(value: float) -> str:
    """A depth, to the nearest 5 mm, which is what a blade can keep; 1 mm below 10."""
    return f"{round(value / 5) * 5 if value >= 10 else round(value):,.0f}{NBSP}mm"


def no_deeper_than(value: float) -> str:
    """A depth that must not be passed, so never rounded up: ``35 mm`` for 38.

    Examples
    --------
    >>> no_deeper_than(38.0).replace(NBSP, "_"), no_deeper_than(7.9).replace(NBSP, "_")
    ('35_mm', '7_mm')
    """
    step = 5 if value >= 10 else 1
    return f"{value // step * step:,.0f}{NBSP}mm"


def speed(value_km_h: float) -> str:
    """A working speed: ``6.5 km/h``."""
    return f"{value_km_h:g}{NBSP}km/h"


def litres(value: float) -> str:
    """Water, to the hundred litres."""
    return f"{round(value, -2):,.0f}{NBSP}L"


def cubic_metres(value: float) -> str:
    """A volume; whether loose or compacted is for the sentence to say."""
    return f"{value:,.1f}{NBSP}m3" if value < 10 else f"{value:,.0f}{NBSP}m3"


def percent(value: float) -> str:
    """A slope or a moisture: ``4 %``."""
    return f"{value:.1f}".removesuffix(".0") + f"{NBSP}%"


def span(first: int, last: int) -> str:
    """``Pass 3`` or ``Passes 3–6``."""
    return f"Pass {first}" if first == last else f"Passes {first}–{last}"
