"""Water truck demand against the worked table of the method."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crossfall.errors import InputError
from crossfall.formulas.water import water_demand

# w, target, depth, density, width, ETo, from, to, daylight ->
# wetting mm, evaporation mm, applied mm, L/km (+-1 L), loads of 15 kL; arithmetic of the formula
TABLE = [
    ((3, 7, 0.15, 2100, 7, 6, 8, 12, 15), (12.60, 2.56, 16.85, 117_941, 8)),
    ((3, 5, 0.10, 2100, 7, 6, 8, 12, 15), (4.20, 2.56, 7.52, 52_608, 4)),
    ((4, 7, 0.10, 2100, 6, 4, 9, 15, 13), (6.30, 3.05, 10.39, 62_336, 5)),
    ((2, 6.5, 0.05, 2000, 7, 6, 8, 12, 15), (4.50, 2.56, 7.85, 54_941, 4)),
    ((8, 7, 0.15, 2100, 7, 6, 8, 12, 15), (0.0, 2.56, 2.85, 19_941, 2)),
]


@pytest.mark.parametrize(("given_", "expected"), TABLE)
def test_the_worked_table(given_, expected):
    demand = water_demand(*given_, loss=0.10, kc=1.15)
    wetting, evaporation, applied, litres, loads = expected
    assert demand.wetting_mm == pytest.approx(wetting, abs=0.005)
    assert demand.evaporation_mm == pytest.approx(evaporation, abs=0.006)
    assert demand.applied_mm == pytest.approx(applied, abs=0.006)
    assert demand.litres_per_km == pytest.approx(litres, abs=1.0)
    assert demand.loads_per_km(15_000.0) == loads


@settings(max_examples=100, deadline=None)
@given(st.floats(0, 12), st.floats(1, 12), st.floats(0, 9))
def test_water_is_never_negative_and_grows_with_the_gap(now, target, et0):
    demand = water_demand(now, target, 0.1, 2100, 7, et0, 8, 12, 14, loss=0.1, kc=1.15)
    wetter = water_demand(min(now + 1, 40), target, 0.1, 2100, 7, et0, 8, 12, 14, loss=0.1, kc=1.15)
    assert demand.litres_per_km >= wetter.litres_per_km >= 0


@pytest.mark.parametrize(
    ("change", "word"),
    [
        ({"worked_depth_m": 150.0}, "mm"),
        ({"dry_density_kg_m3": 2.1}, "t/m"),
        ({"from_h": 12.0, "to_h": 8.0}, "ends before it begins"),
        ({"et0_mm": -1.0}, "et0_mm"),
        ({"daylight_h": 30.0}, "daylight_h"),
    ],
)
def test_bad_figures_are_named(change, word):
    figures = {
        "moisture_pct": 3.0, "target_pct": 7.0, "worked_depth_m": 0.1, "dry_density_kg_m3": 2100.0,
        "width_m": 7.0, "et0_mm": 6.0, "from_h": 8.0, "to_h": 12.0, "daylight_h": 15.0,
    } | change  # fmt: skip
    with pytest.raises(InputError, match=word):
        water_demand(**figures, loss=0.1, kc=1.15)
