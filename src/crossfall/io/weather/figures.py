"""Text to figures to SI: what counts as missing, and which unit names a weather file may use."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from crossfall.errors import InputError
from crossfall.units import unit

Floats = npt.NDArray[np.float64]

MISSING = frozenset(
    {"", "na", "n/a", "nan", "null", "none", "m", "-", "--", "-9999", "-9999.0", "-999", "-999.9",
     "-999.0", "-99.9"}
)  # fmt: skip
"""Lower-case words that mean: nobody knows."""

TRACE = frozenset({"t", "tr", "trace"})

SI = {
    "rain": "mm",
    "tmin": "degC",
    "tmax": "degC",
    "temp": "degC",
    "dewpoint": "degC",
    "wind": "m/s",
    "solar": "MJ/m2",
    "vapour": "kPa",
    "probability": "%",
}
"""The fields a weather file may give, and the unit each is kept in."""

# Not lengths, masses or temperatures, so not in crossfall.units; exact by definition.
_OTHER = {
    ("MJ/m2", "MJ/m2"): 1.0,
    ("W/m2", "MJ/m2"): 0.0864,  # mean power of a day of 86400 s
    ("kPa", "kPa"): 1.0,
    ("hPa", "kPa"): 0.1,
    ("mbar", "kPa"): 0.1,
    ("%", "%"): 1.0,
}

_USUAL = {"mm": "mm, in, 0.1 mm", "degC": "degC, degF, 0.1 degC", "m/s": "m/s, km/h, mph, knot"}
"""What to suggest for a field kept in this unit."""

_ALIASES = {
    "inch": "in",
    "inches": "in",
    "°C": "degC",
    "°F": "degF",
    "celsius": "degC",
    "fahrenheit": "degF",
    "mp/h": "mph",
    "kn": "knot",
    "kmh": "km/h",
    "ms": "m/s",
    "MJ/m²": "MJ/m2",
    "W/m²": "W/m2",
}


def to_si(values: Floats, name: str, field: str) -> Floats:
    """Convert ``values`` of ``field`` from the unit called ``name``; ``0.1 mm`` means tenths.

    Raises
    ------
    InputError
        If the unit is unknown, or measures something else.

    Examples
    --------
    >>> to_si(np.array([1.0]), "in", "rain")
    array([25.4])
    >>> to_si(np.array([253.0]), "0.1 degC", "tmax")
    array([25.3])
    >>> to_si(np.array([50.0]), "°F", "tmin")
    array([10.])
    """
    target = SI[field]
    scale, _, bare = name.strip().rpartition(" ")
    bare = _ALIASES.get(bare, bare)
    if scale not in ("", "0.1", "0.01"):
        raise InputError(
            f"unit {name!r} of {field} is not understood; expected like 'mm', '0.1 mm'"
        )
    divisor = {"": 1.0, "0.1": 10.0, "0.01": 100.0}[scale]
    if (bare, target) in _OTHER:
        return np.asarray(values / divisor * _OTHER[bare, target])
    if target not in {"mm", "degC", "m/s"}:
        known = ", ".join(sorted(source for source, to in _OTHER if to == target))
        raise InputError(f"unit {name!r} of {field} is unknown; expected one of {known}")
    wanted = unit(target)
    try:
        source = unit(bare)
    except InputError:
        raise InputError(
            f"unit {name!r} of {field} is unknown; expected one of {_USUAL[target]}"
        ) from None
    if source.dimension != wanted.dimension:
        raise InputError(
            f"unit {name!r} of {field} measures {source.dimension}; expected one of"
            f" {_USUAL[target]}"
        )
    factor = float(source.factor / wanted.factor)
    offset = float((source.offset - wanted.offset) / wanted.factor)
    return np.asarray(values / divisor * factor + offset)


def number(text: str) -> float:
    """The figure a cell holds: NaN when it says that nobody knows.

    Raises
    ------
    ValueError
        If the cell holds neither a figure nor a word for missing.
    """
    cell = text.strip()
    if cell.lower() in MISSING:
        return math.nan
    value = float(cell)
    if math.isinf(value):
        raise ValueError("infinite")
    return value
