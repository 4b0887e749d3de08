"""IRI against remembered published matrices, analytic sines and a simulation of its own."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from crossfall.errors import InputError, UnitsError
from crossfall.formulas.profile_iri import (
    DAMPER,
    SPEED_M_S,
    SPRING,
    START_M,
    TYRE,
    WHEEL,
    iri,
    iri_by_length,
    quarter_car,
    slope_gain,
    smoothed_slope,
)

# The matrix for 0.25 m as published in 1986 and remembered (recalled, not seen)
REMEMBERED = np.array(
    [
        [0.9966071, 0.0109151, -0.0020833, 0.0003190],
        [-0.5563045, 0.9438768, -0.8324721, 0.0506470],
        [0.0215318, 0.0021268, 0.7508714, 0.0082219],
        [3.335013, 0.3376467, -39.12763, 0.4347564],
    ]
)
REMEMBERED_RESPONSE = np.array([0.0054762, 1.388777, 0.2275969, 35.79262])


def test_check_15_first_principles_give_the_remembered_matrix() -> None:
    transition, response = quarter_car(0.25)
    assert np.allclose(transition[:3], REMEMBERED[:3], atol=1e-6)
    assert np.allclose(transition[3], REMEMBERED[3], atol=1e-4)
    assert np.allclose(response[:3], REMEMBERED_RESPONSE[:3], atol=1e-6)
    assert response[3] == pytest.approx(REMEMBERED_RESPONSE[3], abs=1e-4)


def _sine(amplitude_m: float, wavelength_m: float, step_m: float = 0.05) -> np.ndarray:
    at = np.arange(0, 1000 + step_m / 2, step_m)
    return amplitude_m * np.sin(2 * np.pi * at / wavelength_m)


@pytest.mark.parametrize(
    ("amplitude_mm", "wavelength_m", "expected"),
    [(10, 0.8, 6.84), (5, 2.4, 13.60), (10, 5.0, 9.31)],
)
def test_check_16_sines(amplitude_mm: float, wavelength_m: float, expected: float) -> None:
    found = iri(_sine(amplitude_mm / 1000, wavelength_m), 0.05)
    assert found == pytest.approx(expected, rel=0.02)


@pytest.mark.parametrize("wavelength_m", [0.7, 0.8, 1.0, 1.5, 2.4, 5.0, 10.0, 15.4])
def test_sines_against_the_analytic_gain(wavelength_m: float) -> None:
    amplitude_m = 0.004
    expected = 1000 * float(slope_gain(wavelength_m)) * 4 * amplitude_m / wavelength_m
    assert iri(_sine(amplitude_m, wavelength_m), 0.05) == pytest.approx(expected, rel=0.02)


@pytest.mark.parametrize("step_m", [0.03, 0.07, 0.1, 0.125, 0.15, 0.2])
@pytest.mark.parametrize("wavelength_m", [0.8, 2.4, 5.0])
def test_sines_at_steps_that_do_not_divide_the_print(wavelength_m: float, step_m: float) -> None:
    """Straight lines between points read washboard of 0.8 m up to 13 % low at these steps."""
    amplitude_m = 0.004
    expected = 1000 * float(slope_gain(wavelength_m)) * 4 * amplitude_m / wavelength_m
    assert iri(_sine(amplitude_m, wavelength_m, step_m), step_m) == pytest.approx(
        expected, rel=0.02
    )


def test_gains_of_the_study() -> None:
    gains = slope_gain(np.array([0.7, 0.8, 1.0, 1.5, 2.4, 5.0, 15.4]))
    assert np.allclose(gains, [0.098, 0.137, 0.246, 0.748, 1.634, 1.165, 1.534], rtol=0.02)


def test_an_independent_simulation_agrees() -> None:
    """The same car by a general solver of differential equations, point by point in time."""
    step, rng = 0.05, np.random.default_rng(3)
    elevation = np.cumsum(rng.normal(0, 0.0015, 1500))
    slope = smoothed_slope(elevation, step)
    start = (elevation[round(START_M / step)] - elevation[0]) / START_M

    def motion(time: float, z: np.ndarray) -> list[float]:
        under = slope[min(int(time * SPEED_M_S / step), slope.shape[0] - 1)]
        spring = SPRING * (z[2] - z[0]) + DAMPER * (z[3] - z[1])
        return [z[1], spring, z[3], (TYRE * (under - z[2]) - spring) / WHEEL]

    state, strokes = np.array([start, 0.0, start, 0.0]), []
    dt = step / SPEED_M_S
    for point in range(slope.shape[0]):
        begin = point * dt
        found = solve_ivp(
            lambda time, z, at=begin: motion(at + 0.5 * dt, z),
            (begin, begin + dt),
            state,
            rtol=1e-8,
            atol=1e-12,
        )
        state = found.y[:, -1]
        strokes.append(abs(state[2] - state[0]))
    assert iri(elevation, step) == pytest.approx(1000 * np.mean(strokes), rel=1e-5)


def test_a_plain_grade_is_smooth() -> None:
    assert iri(0.02 * np.arange(0, 300, 0.25), 0.25) < 1e-9


def test_by_length_averages_to_the_whole() -> None:
    elevation = _sine(0.005, 2.4)[:20001]
    parts = iri_by_length(elevation, 0.05, 100.0)
    assert parts.shape == (10,)
    assert parts.mean() == pytest.approx(iri(elevation, 0.05), rel=1e-9)


def test_bad_profiles_are_named() -> None:
    good = np.zeros(1000)
    with pytest.raises(InputError, match="step_m is 2"):
        iri(good, 2.0)
    with pytest.raises(InputError, match="at least 11 m"):
        iri(np.zeros(20), 0.1)
    with pytest.raises(InputError, match="missing values"):
        iri(np.where(np.arange(1000) == 5, np.nan, 0.0), 0.1)
    with pytest.raises(UnitsError, match="look like millimetres"):
        iri(1000 * _sine(0.005, 2.4), 0.05)
