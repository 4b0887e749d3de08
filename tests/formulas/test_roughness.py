"""Roughness between bladings against the figures of docs/methods/years.md (recalled)."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from crossfall.errors import InputError, UnitsError
from crossfall.formulas import roughness

Q = {"p075_pct": 12.0, "p425_pct": 24.0, "p2_pct": 42.0, "d95_mm": 20.0}


def _site(adl: float, adh: float) -> tuple[float, float, float, float]:
    dust = roughness.dust_ratio(12.0, 24.0)
    top = roughness.highest(dust, 50.0, 20.0, 80.0)
    bottom = roughness.lowest(20.0, roughness.grading_modulus(**Q))
    return (
        float(top),
        float(bottom),
        float(roughness.blading_share(dust)),
        float(roughness.rate_per_day(adl, adh, 80.0)),
    )


def test_check_1_material() -> None:
    assert roughness.dust_ratio(12.0, 24.0) == pytest.approx(0.5, abs=1e-4)
    assert roughness.grading_modulus(**Q) == pytest.approx(0.36, abs=1e-4)
    assert roughness.lowest(20.0, 0.36) == pytest.approx(0.8, abs=1e-4)
    assert roughness.blading_share(0.5) == pytest.approx(0.668, abs=1e-4)


def test_check_2_and_3_highest() -> None:
    assert roughness.highest(0.5, 50.0, 20.0, 80.0) == pytest.approx(21.1276, abs=1e-3)
    # the older form in another unit: (279 - 421 (.5 - MGD)^2 + .22 C - 9.93 RF MMP) / 13
    older = (279 + 0.22 * 50 - 9.93 * 20 * 0.080) / 13
    assert roughness.highest(0.5, 50.0, 20.0, 80.0) == pytest.approx(older, rel=5e-3)
    assert roughness.highest(0.2, 100.0, 60.0, 150.0) == pytest.approx(13.408, abs=1e-3)
    assert roughness.highest(1.0, 0.0, 40.0, 100.0) == pytest.approx(11.5, abs=1e-3)


def test_check_4_rate() -> None:
    assert roughness.rate_per_day(90, 10, 80) == pytest.approx(-0.001911, abs=1e-6)
    assert roughness.rate_per_day(170, 30, 80) == pytest.approx(-0.003302, abs=1e-6)
    assert roughness.rate_per_day(400, 0, 900) == roughness.SLOWEST_RATE


def test_check_7_and_8_one_step() -> None:
    assert roughness.after_days(4, 20, -0.002, 60) == pytest.approx(5.809, abs=1e-3)
    assert roughness.after_blading(10, 2, 0.668) == pytest.approx(7.344, abs=1e-3)
    assert roughness.after_blading(1.5, 2, 0.668) == 1.5, "blading never roughens"


def test_check_9_steady_cycle() -> None:
    found = roughness.steady_cycle(20, 2, 0.668, -0.002, 90)
    assert np.allclose(found, (6.481, 8.708, 7.628), atol=1e-3)
    assert roughness.steady_cycle(20, 2, 0.668, -0.002, 1e-6)[2] == pytest.approx(2, abs=1e-3)
    assert roughness.steady_cycle(20, 2, 0.668, -0.002, 1e5)[2] == pytest.approx(20, abs=0.2)


@pytest.mark.parametrize(
    ("adl", "adh", "interval", "mean"),
    [
        (90, 10, 30, 3.36),
        (90, 10, 60, 5.36),
        (90, 10, 90, 6.96),
        (90, 10, 365, 13.85),
        (340, 60, 30, 7.26),
        (340, 60, 90, 12.71),
    ],
)
def test_check_10_means(adl: float, adh: float, interval: float, mean: float) -> None:
    top, bottom, share, rate = _site(adl, adh)
    found = roughness.steady_cycle(top, bottom, share, rate, interval)[2]
    assert found == pytest.approx(mean, abs=0.01)


def test_closed_forms_agree_with_stepping_through_every_day() -> None:
    top, bottom, share, rate = _site(150, 20)
    now, n, fine = 9.0, 5, 400
    means = []
    for _ in range(n):
        times = np.linspace(0, 365 / n, fine + 1)
        climb = roughness.after_days(now, top, rate, times)
        means.append(np.trapezoid(climb, times) / (365 / n))
        now = float(roughness.after_blading(climb[-1], bottom, share))
    mean, end = roughness.year_of_bladings(9.0, top, bottom, share, rate, n)
    assert mean == pytest.approx(np.mean(means), rel=1e-6)
    assert end == pytest.approx(now, rel=1e-12)


@given(
    st.floats(5, 400), st.floats(0, 60), st.floats(5, 300), st.floats(10, 200), st.floats(1.1, 3)
)
def test_more_traffic_or_longer_waits_are_rougher(
    adl: float, adh: float, interval: float, more: float, times: float
) -> None:
    top, bottom, share, rate = _site(adl, adh)
    best, worst, mean = roughness.steady_cycle(top, bottom, share, rate, interval)
    assert bottom - 1e-9 <= best <= mean <= worst <= top + 1e-9
    assert roughness.steady_cycle(top, bottom, share, rate, interval * times)[2] >= mean
    busier = _site(adl + more, adh)[3]
    assert roughness.steady_cycle(top, bottom, share, busier, interval)[2] >= mean


def test_bad_input_is_named() -> None:
    with pytest.raises(UnitsError, match="looks like metres"):
        roughness.rate_per_day(90, 10, 0.08)
    with pytest.raises(InputError, match="interval_days"):
        roughness.steady_cycle(20, 2, 0.6, -0.002, 0)
    with pytest.raises(InputError, match="p075_pct"):
        roughness.dust_ratio(30, 20)
    with pytest.raises(InputError, match="adl is -1"):
        roughness.rate_per_day(-1, 0, 80)
