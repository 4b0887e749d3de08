"""Guards for what a person types in: finite, in range, and not in another unit by mistake.

Each takes the argument's name first, so that the message can say it, and gives the value
back. They take plain numbers and arrays alike; the formulas below them stay one line long.
"""

from __future__ import annotations

import math
from typing import TypeVar

import numpy as np
import numpy.typing as npt

from crossfall.errors import InputError, UnitsError

Floats = npt.NDArray[np.float64]
Num = TypeVar("Num", float, Floats)
"""A plain number, or an array of them; a formula gives back what it was given."""


def positive(name: str, value: Num, *, hint: str = "") -> Num:
    """``value`` when it is finite and above zero.

    Raises
    ------
    InputError
        If any value is zero, negative, infinite or not a number.

    Examples
    --------
    >>> positive("width_m", 7.0)
    7.0
    >>> positive("width_m", -7.0)
    Traceback (most recent call last):
    ...
    crossfall.errors.InputError: width_m is -7; expected a figure above 0
    """
    if not _all(value, 0.0, math.inf, is_open=True):
        raise InputError(f"{name} is {_show(value)}; expected a figure above 0{_tail(hint)}")
    return value


def at_least(name: str, value: Num, low: float, *, hint: str = "") -> Num:
    """``value`` when it is finite and not below ``low``."""
    if not _all(value, low, math.inf):
        raise InputError(f"{name} is {_show(value)}; expected {low:g} or more{_tail(hint)}")
    return value


def within(name: str, value: Num, low: float, high: float, *, hint: str = "") -> Num:
    """``value`` when it lies from ``low`` to ``high``, ends included.

    Examples
    --------
    >>> within("efficiency", 1.2, 0.05, 1.0, hint="an hour has no more than 60 minutes")
    Traceback (most recent call last):
    ...
    crossfall.errors.InputError: efficiency is 1.2; expected 0.05 to 1; an hour has no more \
than 60 minutes
    """
    if not _all(value, low, high):
        raise InputError(f"{name} is {_show(value)}; expected {low:g} to {high:g}{_tail(hint)}")
    return value


def share_of_hour(name: str, value: Num) -> Num:
    """A job efficiency: above 0, at most 1."""
    if _all(value, 0.0, 1.0) and not np.any(value == 0):
        return value
    hint = f"; {_show(value)} looks like percent" if _all(value, 1.0, 100.0) else ""
    raise InputError(f"{name} is {_show(value)}; expected above 0 and at most 1{hint}")


def count(name: str, value: int, *, least: int = 1) -> int:
    """A whole number of passes, loads or trucks.

    Examples
    --------
    >>> count("n_passes", 2.5)
    Traceback (most recent call last):
    ...
    crossfall.errors.InputError: n_passes is 2.5; expected a whole number of 1 or more
    """
    is_whole = not isinstance(value, bool) and math.isfinite(value) and value == math.floor(value)
    if not is_whole or value < least:
        raise InputError(f"{name} is {value:g}; expected a whole number of {least} or more")
    return int(value)


def percent(name: str, value: Num, low: float, high: float, *, called: str) -> Num:
    """A percentage that people like to give as a ratio.

    Raises
    ------
    UnitsError
        If the value is a plausible ratio: 0.04 where 4 is meant.
    InputError
        If it is out of range otherwise.

    Examples
    --------
    >>> percent("crossfall_pct", 0.04, 0.5, 12.0, called="crossfall")
    Traceback (most recent call last):
    ...
    crossfall.errors.UnitsError: crossfall_pct is 0.04, which looks like a ratio; crossfall is \
given in percent, expected 0.5 to 12
    """
    if _all(value, low, high):
        return value
    if low > 0 and _all(value, low / 100, min(high / 100, low)):
        raise UnitsError(
            f"{name} is {_show(value)}, which looks like a ratio; {called} is given in percent,"
            f" expected {low:g} to {high:g}"
        )
    raise InputError(f"{name} is {_show(value)}; expected {low:g} to {high:g} percent")


def density(name: str, value: Num, low: float = 1.0, high: float = 2.6, *, hint: str = "") -> Num:
    """A bulk density [t/m³]; 2100 is taken for kg/m³ and refused by that name."""
    if _all(value, low, high):
        return value
    if _all(value, low * 1000, high * 1000):
        raise UnitsError(f"{name} is {_show(value)}, which looks like kg/m3; expected t/m3")
    if _all(value, low * 62.0, high * 63.0):
        raise UnitsError(f"{name} is {_show(value)}, which looks like lb/ft3; expected t/m3")
    raise InputError(f"{name} is {_show(value)}; expected {low:g} to {high:g} t/m3{_tail(hint)}")


def _all(value: float | Floats, low: float, high: float, *, is_open: bool = False) -> bool:
    if isinstance(value, float | int):
        above = value > low if is_open else value >= low
        return above and value <= high and value < math.inf
    array = np.asarray(value, dtype=np.float64)
    above_low = array > low if is_open else array >= low
    return bool(np.all(above_low & (array <= high) & np.isfinite(array)))


def _show(value: float | Floats) -> str:
    if isinstance(value, float | int):
        return f"{value:g}"
    array = np.asarray(value)
    if array.size == 1:
        return f"{float(array.reshape(-1)[0]):g}"
    return f"an array from {np.min(array):g} to {np.max(array):g}"


def _tail(hint: str) -> str:
    return f"; {hint}" if hint else ""
