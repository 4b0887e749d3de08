"""Gravel loss against the figures of docs/methods/years.md.

The figures were computed from recalled coefficients by two scripts typed apart: they show that the
code is what the text says, not that the text is what the books say.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from crossfall.errors import InputError, UnitsError
from crossfall.formulas.gravel_loss import (
    traffic_coefficient,
    volume_m3_km,
    yearly_loss,
    yearly_loss_four_inputs,
)

SITE = {"rise_fall_m_km": 20, "curvature_deg_km": 50, "rain_mm_month": 80}
MATERIAL = {"p075_pct": 12, "plasticity_pct": 8}


@pytest.mark.parametrize(("adt", "expected"), [(100, 18.50), (400, 31.82)])
def test_check_5_of_the_1987_relationship(adt: float, expected: float) -> None:
    assert yearly_loss(adt=adt, **SITE, **MATERIAL) == pytest.approx(expected, abs=0.01)


def test_check_5_traffic_coefficient() -> None:
    found = traffic_coefficient(curvature_deg_km=50, rain_mm_month=80, **MATERIAL)
    assert found == pytest.approx(0.01216, abs=1e-5)


@pytest.mark.parametrize(
    ("adt", "rain", "grade", "factor", "expected"),
    [(100, 1.0, 2, 1.0, 14.28), (50, 0.5, 1, 1.1, 8.26), (200, 0.8, 3, 0.94, 17.50)],
)
def test_check_11_of_the_four_input_relationship(
    adt: float, rain: float, grade: float, factor: float, expected: float
) -> None:
    found = yearly_loss_four_inputs(
        adt=adt, rain_m_year=rain, grade_pct=grade, material_factor=factor
    )
    assert found == pytest.approx(expected, abs=0.01)


def test_check_24_volume_and_mass() -> None:
    assert volume_m3_km(18.5, 7.0) == pytest.approx(129.5, abs=0.1)
    assert volume_m3_km(18.5, 7.0) * 2.1 == pytest.approx(272, abs=0.1)


@given(st.floats(0, 2000), st.floats(0, 500))
def test_more_traffic_never_saves_gravel(adt: float, more: float) -> None:
    less = yearly_loss(adt=adt, **SITE, **MATERIAL)
    assert yearly_loss(adt=adt + more, **SITE, **MATERIAL) >= less


def test_rain_in_metres_is_the_thousandfold_error_and_refused() -> None:
    with pytest.raises(UnitsError, match="looks like metres"):
        yearly_loss(adt=100, **(SITE | {"rain_mm_month": 0.08}), **MATERIAL)
    with pytest.raises(UnitsError, match="looks like millimetres"):
        yearly_loss_four_inputs(adt=100, rain_m_year=800, grade_pct=2)


def test_negative_traffic_is_refused() -> None:
    with pytest.raises(InputError, match="adt is -5"):
        yearly_loss(adt=np.array([10.0, -5.0]), **SITE, **MATERIAL)
