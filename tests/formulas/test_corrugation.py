"""Washboard from made traces whose depth and spacing are known."""

from __future__ import annotations

import numpy as np
import pytest

from crossfall.errors import InputError
from crossfall.formulas.corrugation import from_acceleration, from_profile, onset_ratio

AT = np.arange(0, 300, 0.05)


@pytest.mark.parametrize(("depth_mm", "spacing_m"), [(10, 0.6), (25, 0.8), (40, 1.1)])
def test_depth_and_spacing_of_pure_washboard(depth_mm: float, spacing_m: float) -> None:
    found = from_profile(depth_mm / 2000 * np.sin(2 * np.pi * AT / spacing_m), 0.05)
    assert found.depth_mm == pytest.approx(depth_mm, rel=0.02)
    assert found.spacing_m == pytest.approx(spacing_m, rel=0.02)
    assert found.is_washboard


def test_washboard_on_a_rough_and_rolling_road() -> None:
    rng = np.random.default_rng(2)
    rolling = 0.4 * np.sin(2 * np.pi * AT / 60) + np.cumsum(rng.normal(0, 0.0004, AT.shape[0]))
    found = from_profile(rolling + 0.0125 * np.sin(2 * np.pi * AT / 0.75), 0.05)
    assert found.depth_mm == pytest.approx(25, rel=0.05)
    assert found.spacing_m == pytest.approx(0.75, rel=0.03)


def test_mere_roughness_is_no_washboard() -> None:
    rng = np.random.default_rng(7)
    rough = from_profile(rng.normal(0, 0.004, AT.shape[0]), 0.05)
    assert not rough.is_washboard
    assert from_profile(np.zeros(AT.shape[0]), 0.05).depth_mm == 0


@pytest.mark.parametrize("speed_km_h", [20.0, 40.0])
def test_a_wheel_shows_the_same_washboard_at_any_speed(speed_km_h: float) -> None:
    speed, rate = speed_km_h / 3.6, 400.0
    time = np.arange(0, 40, 1 / rate)
    angular = 2 * np.pi * speed / 0.8
    acceleration = -(angular**2) * 0.01 * np.sin(angular * time)
    found = from_acceleration(acceleration, sample_hz=rate, speed_km_h=speed_km_h)
    assert found.depth_mm == pytest.approx(20, rel=0.03)
    assert found.spacing_m == pytest.approx(0.8, rel=0.03)
    assert found.speed_km_h == speed_km_h


def test_the_onset_grows_with_the_square_of_speed() -> None:
    slow = onset_ratio(10, wheel_width_m=0.2, wheel_mass_kg=300)
    assert onset_ratio(20, wheel_width_m=0.2, wheel_mass_kg=300) == pytest.approx(4 * slow)


def test_traces_that_cannot_show_washboard_are_named() -> None:
    with pytest.raises(InputError, match="sample faster or drive slower"):
        from_acceleration(np.zeros(9000), sample_hz=20, speed_km_h=60)
    with pytest.raises(InputError, match="longer stretch"):
        from_profile(np.zeros(50), 0.05)
    with pytest.raises(InputError, match="speed_km_h is 200"):
        from_acceleration(np.zeros(9000), sample_hz=400, speed_km_h=200)
    with pytest.raises(InputError, match="missing values"):
        from_profile(np.full(9000, np.nan), 0.05)
