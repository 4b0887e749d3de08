"""Conversions are exact by definition and agree with an independent library."""

from __future__ import annotations

from fractions import Fraction

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from crossfall.errors import InputError
from crossfall.units import convert, factor, unit

# Our name, pint's name. pint's bare "ton" is the short ton, so it is named in full.
_PAIRS = [
    ("in", "inch", "mm", "millimeter"),
    ("ft", "foot", "m", "meter"),
    ("mi", "mile", "km", "kilometer"),
    ("yd2", "yard**2", "m2", "meter**2"),
    ("acre", "foot**2 * 43560", "ha", "hectare"),
    ("yd3", "yard**3", "m3", "meter**3"),
    ("gal_us", "gallon", "L", "liter"),
    ("lb", "pound", "kg", "kilogram"),
    ("short_ton", "short_ton", "t", "metric_ton"),
    ("lb/ft3", "pound/foot**3", "kg/m3", "kilogram/meter**3"),
    ("mph", "mile/hour", "km/h", "kilometer/hour"),
    ("knot", "knot", "m/s", "meter/second"),
    ("gal_us/yd2", "gallon/yard**2", "L/m2", "liter/meter**2"),
    ("min", "minute", "h", "hour"),
]


@pytest.mark.parametrize(("ours", "theirs", "our_target", "their_target"), _PAIRS)
def test_agrees_with_an_independent_library(ours, theirs, our_target, their_target):
    registry = pint.UnitRegistry()
    expected = (1.0 * registry(theirs)).to(registry(their_target).units).magnitude
    expected /= registry(their_target).magnitude
    assert convert(1.0, ours, our_target) == pytest.approx(expected, rel=1e-12)
    assert factor(ours, our_target) == pytest.approx(expected, rel=1e-12)


def _exact(ours_theirs):
    """Pint's factor for a pair as an exact fraction: it reads its own definitions as fractions."""
    _, theirs, _, their_target = ours_theirs
    registry = pint.UnitRegistry(non_int_type=Fraction)
    target = registry(their_target)
    return Fraction((1 * registry(theirs)).to(target.units).magnitude) / Fraction(target.magnitude)


_EXACT = {pair: _exact(pair) for pair in _PAIRS}


@given(st.floats(-1e9, 1e9), st.sampled_from(_PAIRS))
def test_every_conversion_is_the_float_nearest_to_the_exact_one_both_ways(value, pair):
    ours, _, target, _ = pair
    exact = _EXACT[pair]
    assert convert(value, ours, target) == float(Fraction(value) * exact)
    assert convert(value, target, ours) == float(Fraction(value) / exact)


@given(st.floats(-1e6, 1e6), st.sampled_from(_PAIRS))
def test_there_and_back_is_the_same_to_the_last_digits(value, pair):
    ours, _, target, _ = pair
    back = convert(convert(value, ours, target), target, ours)
    assert back == pytest.approx(value, rel=4e-16, abs=1e-300)


@pytest.mark.parametrize(("fahrenheit", "celsius"), [(32, 0), (212, 100), (-40, -40), (29, -5 / 3)])
def test_temperature_has_an_offset(fahrenheit, celsius):
    assert convert(fahrenheit, "degF", "degC") == pytest.approx(celsius, abs=1e-12)
    with pytest.raises(InputError, match="offset"):
        factor("degF", "degC")


def test_a_bare_ton_is_never_guessed():
    with pytest.raises(InputError, match="short_ton"):
        unit("ton")


def test_length_is_not_mass():
    with pytest.raises(InputError, match=r"ft \(length\) to kg \(mass\)"):
        convert(1, "ft", "kg")
    with pytest.raises(InputError, match="cannot convert"):
        factor("ft", "kg")
