"""Runoff by curve number, storms in hours, snow and melt."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crossfall.errors import InputError
from crossfall.formulas.runoff import (
    runoff_curve_number,
    snow_and_melt,
    storage_mm,
    storm_before,
)


def test_storage_of_a_gravel_road():
    # TR-55, Table 2-2a: gravel road including right-of-way, soil D: CN 91; S = 25400/91 - 254
    assert storage_mm(91.0) == pytest.approx(25.121, abs=0.001)


@pytest.mark.parametrize(("rain", "runoff"), [(10.0, 0.823), (25.0, 8.848), (50.0, 28.858)])
def test_runoff_of_tr_55(rain, runoff):
    # TR-55 Eq. 2-3 with CN 91 (+-.001)
    assert runoff_curve_number(rain, 91.0) == pytest.approx(runoff, abs=0.001)


@settings(max_examples=100, deadline=None)
@given(st.floats(0, 300), st.floats(30, 100))
def test_runoff_never_exceeds_rain(rain, number):
    runoff = float(runoff_curve_number(rain, number))
    assert 0 <= runoff <= rain + 1e-9
    assert runoff <= float(runoff_curve_number(rain + 1, number)) + 1e-12


def test_a_storm_ends_after_the_gap():
    rain = np.array([1.0, 0, 0, 2, 0, 0, 0, 4])
    assert storm_before(rain, 3).tolist() == [0, 1, 1, 1, 3, 3, 3, 0]
    with pytest.raises(InputError, match="gap_steps"):
        storm_before(rain, 0)


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 2**31))
def test_snow_is_kept(seed):
    rng = np.random.default_rng(seed)
    fallen = np.maximum(rng.normal(0, 6, (3, 40)), 0)
    result = snow_and_melt(fallen, rng.normal(0, 5, (3, 40)), snow_below_c=0, melt_mm_c_day=3)
    gone = result.liquid_mm.sum(axis=-1) + result.snow_mm[:, -1]
    np.testing.assert_allclose(gone, fallen.sum(axis=-1), atol=1e-9)
    assert result.snow_mm.min() >= 0


def test_bad_figures():
    with pytest.raises(InputError, match="curve_number"):
        runoff_curve_number(10.0, 101.0)
    with pytest.raises(InputError, match="rain_mm"):
        runoff_curve_number(-1.0, 91.0)
