"""Exact conversions, used at the doors only.

Inside crossfall everything is SI, with four exceptions that the trade shares:
millimetres for rain, water and gravel thickness, degrees Celsius, percent for
slopes and moisture, and km/h for the speed of a machine where a name says so.

Factors are exact by definition (international yard and pound, 1959; US gallon
of 231 cubic inches; short ton of 2000 lb). A bare "ton" is never a unit here.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from crossfall.errors import InputError

_FOOT = Fraction(3048, 10000)
_INCH = _FOOT / 12
_MILE = _FOOT * 5280
_YARD = _FOOT * 3
_POUND = Fraction(45359237, 100000000)
_GALLON = _INCH**3 * 231


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit as crossfall shows it: ``si = value * factor + offset``."""

    name: str
    dimension: str
    factor: Fraction
    offset: Fraction = Fraction(0)


_UNITS = {
    unit.name: unit
    for unit in (
        Unit("m", "length", Fraction(1)),
        Unit("mm", "length", Fraction(1, 1000)),
        Unit("km", "length", Fraction(1000)),
        Unit("in", "length", _INCH),
        Unit("ft", "length", _FOOT),
        Unit("mi", "length", _MILE),
        Unit("m2", "area", Fraction(1)),
        Unit("ha", "area", Fraction(10000)),
        Unit("yd2", "area", _YARD**2),
        Unit("acre", "area", _FOOT**2 * 43560),
        Unit("m3", "volume", Fraction(1)),
        Unit("L", "volume", Fraction(1, 1000)),
        Unit("yd3", "volume", _YARD**3),
        Unit("gal_us", "volume", _GALLON),
        Unit("kg", "mass", Fraction(1)),
        Unit("t", "mass", Fraction(1000)),
        Unit("lb", "mass", _POUND),
        Unit("short_ton", "mass", _POUND * 2000),
        Unit("kg/m3", "density", Fraction(1)),
        Unit("t/m3", "density", Fraction(1000)),
        Unit("lb/ft3", "density", _POUND / _FOOT**3),
        Unit("m/s", "speed", Fraction(1)),
        Unit("km/h", "speed", Fraction(1000, 3600)),
        Unit("mph", "speed", _MILE / 3600),
        Unit("knot", "speed", Fraction(1852, 3600)),
        Unit("degC", "temperature", Fraction(1), Fraction(27315, 100)),
        Unit("degF", "temperature", Fraction(5, 9), Fraction(45967, 180)),
        Unit("s", "time", Fraction(1)),
        Unit("min", "time", Fraction(60)),
        Unit("h", "time", Fraction(3600)),
        Unit("L/m2", "depth", Fraction(1, 1000)),
        Unit("gal_us/yd2", "depth", _GALLON / _YARD**2),
    )
}


def convert(value: float, from_unit: str, to_unit: str) -> float:
    """Convert ``value`` exactly; only the last step rounds to a float.

    Raises
    ------
    InputError
        If a unit is unknown or the two measure different things.

    Examples
    --------
    >>> convert(1, "mi", "m")
    1609.344
    >>> convert(50, "degF", "degC")
    10.0
    >>> convert(1, "ft", "kg")
    Traceback (most recent call last):
    ...
    crossfall.errors.InputError: cannot convert ft (length) to kg (mass)
    """
    source, target = unit(from_unit), unit(to_unit)
    if source.dimension != target.dimension:
        raise InputError(
            f"cannot convert {source.name} ({source.dimension}) to"
            f" {target.name} ({target.dimension})"
        )
    exact = Fraction(value) * source.factor + source.offset - target.offset
    return float(exact / target.factor)


def factor(from_unit: str, to_unit: str) -> float:
    """Multiplier from one unit to another, for arrays; refuses units with an offset.

    Examples
    --------
    >>> factor("yd3", "m3")
    0.764554857984
    """
    source, target = unit(from_unit), unit(to_unit)
    if source.offset or target.offset:
        raise InputError(f"{from_unit} to {to_unit} has an offset; use convert")
    if source.dimension != target.dimension:
        raise InputError(f"cannot convert {from_unit} to {to_unit}")
    return float(source.factor / target.factor)


def unit(name: str) -> Unit:
    """Look a unit up by the name crossfall uses for it.

    Examples
    --------
    >>> unit("ton")
    Traceback (most recent call last):
    ...
    crossfall.errors.InputError: unit 'ton' is unknown; say t (1000 kg) or short_ton (2000 lb)
    """
    if name in _UNITS:
        return _UNITS[name]
    hint = (
        "say t (1000 kg) or short_ton (2000 lb)"
        if name in {"ton", "tons", "T"}
        else f"expected one of {', '.join(_UNITS)}"
    )
    raise InputError(f"unit {name!r} is unknown; {hint}")
