"""Thickness against the figures of docs/methods/condition.md (recalled, screening only)."""

from __future__ import annotations

import numpy as np
import pytest

from crossfall.errors import InputError
from crossfall.formulas import thickness
from crossfall.units import convert


@pytest.mark.parametrize(
    ("trucks", "soil", "inches"),
    [(3, "low", 6.5), (7, "medium", 7.0), (20, "low", 11.5), (50, "high", 8.5), (0, "high", 4.5)],
)
def test_table_in_inches(trucks: float, soil: thickness.Soil, inches: float) -> None:
    found = thickness.table_thickness_mm(trucks, soil)
    assert found == pytest.approx(convert(inches, "in", "mm"), abs=1e-9)


def test_check_21_soft_soil() -> None:
    """Giroud and Noiray 1981, two remembered forms (recalled), to a millimetre."""
    assert thickness.soft_soil_thickness_m(1000, cbr_pct=1) == pytest.approx(0.548, abs=1e-3)
    assert thickness.soft_soil_thickness_m(1000, cbr_pct=3) == pytest.approx(0.274, abs=1e-3)
    assert thickness.soft_soil_thickness_short_m(1000, cbr_pct=1) == pytest.approx(0.570, abs=1e-3)
    assert thickness.soft_soil_thickness_short_m(1000, cbr_pct=3) == pytest.approx(0.285, abs=1e-3)


def test_check_19_damage() -> None:
    found = thickness.damage_sum(
        np.array([4400, 2600, 7000, 7000.0]), np.array([400000, 4900, 8400, 20000.0])
    )
    assert found == pytest.approx(1.725, abs=0.01)
    assert found > 1, "thicker is needed"


def test_more_traffic_and_weaker_soil_need_more() -> None:
    for soil in ("low", "medium", "high"):
        column = thickness.TABLE_MM[soil]
        assert list(column) == sorted(column)
    assert thickness.soft_soil_thickness_m(5000, cbr_pct=2) > thickness.soft_soil_thickness_m(
        500, cbr_pct=2
    )


def test_what_the_methods_do_not_know_is_refused() -> None:
    assert thickness.table_thickness_mm(51, "high") is None
    with pytest.raises(InputError, match="passages is 50000"):
        thickness.soft_soil_thickness_m(50_000, cbr_pct=2)
    with pytest.raises(InputError, match="cbr_pct is 0"):
        thickness.soil_class(0)
    with pytest.raises(InputError, match="loss_mm_year is 0"):
        thickness.years_left(100, 40, 0)
