"""Roughness of a measured profile: what a reference car feels at 80 km/h.

A quarter of a car, one wheel with its spring and a share of the body, is driven over the profile;
the mean slope of its suspension stroke is the International Roughness Index [m/km]. The equations
of motion are solved exactly between points of the profile, from first principles; no table of
coefficients is kept. The constants of the reference car and the procedure (250 mm moving average,
start-up from the first 11 m) are *recalled* from the definition of 1986; the transition matrix for
0.25 m they lead to is checked against the published one as remembered.

Washboard of less than a metre is under-weighted by this car: keep its depth apart (see
:mod:`crossfall.formulas.corrugation`).
"""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt
from scipy.interpolate import CubicSpline
from scipy.linalg import expm
from scipy.signal import lfilter

from crossfall.errors import InputError, UnitsError

Floats = npt.NDArray[np.float64]

TYRE, SPRING, DAMPER, WHEEL = 653.0, 63.3, 6.0, 0.15
"""Reference car, over the sprung mass: tyre and spring rates [1/s²], damping [1/s], mass [-]."""
SPEED_M_S = 80 / 3.6
BASE_M = 0.25
"""Length of the moving average that stands for the tyre's print [m]."""
FINEST_M = 0.05
"""Steps so fine need no finer ones; five of them make the tyre's print [m]."""
START_M = 11.0
"""The car starts with the slope of so much of the profile [m]."""
_STEEPEST = 0.5
_WHOLE = 1e-6


def iri(elevation_m: Floats, step_m: float) -> float:
    """International Roughness Index of a profile [m/km].

    Parameters
    ----------
    elevation_m
        Elevation at even steps [m], shape (point,), at least 11 m long.
    step_m
        Distance between points [m], 0.01 to 0.5.

    Raises
    ------
    InputError
        If the step is out of range, the profile is short, or a value is missing.
    UnitsError
        If the profile is so steep that the elevations are not metres.

    Examples
    --------
    A road without bumps has none, at any grade:

    >>> iri(0.02 * np.arange(0, 200, 0.1), 0.1) < 1e-9
    True
    """
    return float(np.abs(suspension_slope(*_fine(elevation_m, step_m))).mean() * 1000)


def iri_by_length(elevation_m: Floats, step_m: float, length_m: float = 100.0) -> Floats:
    """IRI of each full ``length_m`` of a profile [m/km], the car running through all of it."""
    if not length_m >= START_M:
        raise InputError(f"length_m is {length_m:g}; expected at least {START_M:g} m")
    elevation_m, step_m = _fine(elevation_m, step_m)
    slope = np.abs(suspension_slope(elevation_m, step_m)) * 1000
    each = round(length_m / step_m)
    n = slope.shape[0] // each
    if n == 0:
        raise InputError(f"the profile is shorter than length_m, {length_m:g} m")
    return slope[: n * each].reshape(n, each).mean(axis=1)


def _fine(elevation_m: Floats, step_m: float) -> tuple[Floats, float]:
    """A profile of steps between the finest and the tyre's print, by a cubic spline in finer ones.

    Steps that do not divide the print would average over another length, and straight lines
    between points 0.1 m apart and more cut the crests of washboard. Profiles as coarse as the
    print are taken as they are, as the definition has it.
    """
    smoothed_slope(elevation_m, step_m)  # refuses what is no profile
    n_base = BASE_M / step_m
    is_fine = step_m <= FINEST_M and abs(n_base - round(n_base)) < _WHOLE
    if is_fine or step_m >= BASE_M - _WHOLE:
        return elevation_m, step_m
    fine_m = BASE_M / math.ceil(BASE_M / min(step_m, FINEST_M) - _WHOLE)
    at = np.arange(elevation_m.shape[0]) * step_m
    return CubicSpline(at, elevation_m)(np.arange(0.0, at[-1] + _WHOLE, fine_m)), fine_m


def suspension_slope(elevation_m: Floats, step_m: float) -> Floats:
    """Slope of the suspension stroke of the reference car at each point [m/m]."""
    slope = smoothed_slope(elevation_m, step_m)
    transition, response = quarter_car(step_m)
    n_start = max(1, round(START_M / step_m))
    start = float((elevation_m[min(n_start, elevation_m.shape[0] - 1)] - elevation_m[0]) / START_M)
    values, vectors = np.linalg.eig(transition)
    forced = np.linalg.solve(vectors, response.astype(complex))
    state = np.linalg.solve(vectors, np.array([start, 0.0, start, 0.0], dtype=complex))
    stroke = np.zeros(slope.shape[0], dtype=complex)
    read = vectors[2] - vectors[0]
    for mode in range(4):
        course, _ = lfilter(
            [forced[mode]], [1.0, -values[mode]], slope, zi=[values[mode] * state[mode]]
        )
        stroke += read[mode] * course
    return stroke.real


def smoothed_slope(elevation_m: Floats, step_m: float) -> Floats:
    """Slope of a profile over the tyre's print [m/m], one value for each step."""
    elevation = np.asarray(elevation_m, dtype=float)
    if not 0.01 <= step_m <= 0.5:
        raise InputError(f"step_m is {step_m:g}; expected 0.01 to 0.5 m")
    if elevation.ndim != 1 or elevation.shape[0] * step_m < START_M:
        raise InputError(
            f"elevation_m has shape {elevation.shape}; expected at least {START_M:g} m of points"
        )
    if not np.all(np.isfinite(elevation)):
        raise InputError("elevation_m has missing values; fill or cut them out first")
    slope = np.diff(elevation) / step_m
    if np.abs(slope).mean() > _STEEPEST:
        raise UnitsError(
            f"elevation_m has a mean slope of {np.abs(slope).mean():.2g}; expected metres,"
            " the figures look like millimetres"
        )
    n_base = max(1, round(BASE_M / step_m))
    if n_base == 1:
        return slope
    padded = np.concatenate((np.full(n_base - 1, slope[0]), slope))
    return np.convolve(padded, np.full(n_base, 1 / n_base), mode="valid")


def quarter_car(step_m: float) -> tuple[Floats, Floats]:
    """Transition matrix (4, 4) and response to slope (4,) of the reference car over one step.

    States are slope and rate of the sprung mass, slope and rate of the wheel.

    Examples
    --------
    >>> transition, response = quarter_car(0.25)
    >>> round(float(transition[0, 0]), 7), round(float(response[0]), 7)
    (0.9966071, 0.0054762)
    """
    motion = np.array(
        [
            [0.0, 1.0, 0.0, 0.0],
            [-SPRING, -DAMPER, SPRING, DAMPER],
            [0.0, 0.0, 0.0, 1.0],
            [SPRING / WHEEL, DAMPER / WHEEL, -(TYRE + SPRING) / WHEEL, -DAMPER / WHEEL],
        ]
    )
    force = np.array([0.0, 0.0, 0.0, TYRE / WHEEL])
    transition = expm(motion * (step_m / SPEED_M_S))
    response = np.linalg.solve(motion, (transition - np.eye(4)) @ force)
    return transition, response


def slope_gain(wavelength_m: Floats | float) -> Floats:
    """How much of a sine's slope the reference car's stroke shows, tyre print included [-].

    Examples
    --------
    >>> slope_gain(np.array([0.8, 2.4, 5.0])).round(3).tolist()
    [0.137, 1.634, 1.165]
    """
    length = np.asarray(wavelength_m, dtype=float)
    if np.any(length <= 0):
        raise InputError(f"wavelength_m is {float(np.min(length)):g}; expected more than 0")
    s = 2j * np.pi * SPEED_M_S / length
    body = s**2 + DAMPER * s + SPRING
    share = (DAMPER * s + SPRING) / body
    wheel = TYRE / (WHEEL * s**2 + DAMPER * s + SPRING + TYRE - (DAMPER * s + SPRING) * share)
    print_gain = np.sinc(BASE_M / length)
    return np.abs(wheel * (1 - share)) * np.abs(print_gain)
