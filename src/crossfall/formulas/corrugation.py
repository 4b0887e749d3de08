"""Washboard: how deep, how long, and at what speed it grows.

Depth and spacing are read from a profile, or from the trace of an accelerometer on a wheel and
the speed it was driven at, by spectrum: washboard is the narrow peak between a third of a metre
and two metres. That washboard appears above a critical speed whatever the grains is published
(arXiv 0711.3872), and so is the ratio that sets it (arXiv 0903.4586); the figures of the onset are
*recalled*.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.integrate import trapezoid
from scipy.signal import welch

from crossfall.errors import InputError

Floats = npt.NDArray[np.float64]

SHORTEST_M, LONGEST_M = 0.33, 2.0
"""Wavelengths that count as washboard [m]; ours."""
LEAST_PROMINENCE = 4.0
"""From so prominent a peak on, it is washboard and not mere roughness; ours."""
_HALF_WIDTH = 0.30
LEAST_LENGTH_M = 30.0
"""A shorter trace shows no washboard [m]; ours."""
WIDEST_STEP_M = SHORTEST_M / 2.5
"""Points further apart show none [m]; ours."""
GRAVITY = 9.80665


@dataclass(frozen=True, slots=True)
class Corrugation:
    """Washboard found in a trace."""

    depth_mm: float
    """Mean trough to crest [mm]."""
    spacing_m: float
    """Crest to crest [m]; NaN where no spacing stands out."""
    prominence: float
    """How many times the power near the peak stands above the rest of the band [-]."""
    speed_km_h: float | None = None
    """Speed the trace was driven at; None for a profile."""

    @property
    def is_washboard(self) -> bool:
        """Whether one spacing stands out from mere roughness."""
        return self.prominence >= LEAST_PROMINENCE


def from_profile(elevation_m: Floats, step_m: float) -> Corrugation:
    """Washboard in an elevation profile at even steps [m].

    Raises
    ------
    InputError
        If the step is too wide for washboard, the profile too short, or a value is missing.

    Examples
    --------
    >>> at = np.arange(0, 200, 0.05)
    >>> found = from_profile(0.010 * np.sin(2 * np.pi * at / 0.8), 0.05)
    >>> round(found.depth_mm, 1), round(found.spacing_m, 2)
    (20.0, 0.8)
    """
    elevation = _checked("elevation_m", elevation_m, step_m)
    frequency, density = _spectrum(elevation, step_m)
    return _peak(frequency, density, None)


def from_acceleration(
    acceleration_m_s2: Floats, *, sample_hz: float, speed_km_h: float
) -> Corrugation:
    """Washboard from the vertical acceleration of a wheel driven at an even speed.

    The wheel is taken to follow the road, which it does at washboard frequencies only while it
    keeps contact: depths from a trace are a floor, and hold for the speed given.

    Raises
    ------
    InputError
        If the speed is not 5 to 100 km/h, the rate cannot show washboard at that speed, the trace
        is short, or a value is missing.
    """
    if not 5 <= speed_km_h <= 100:
        raise InputError(f"speed_km_h is {speed_km_h:g}; expected 5 to 100")
    if not sample_hz > 0:
        raise InputError(f"sample_hz is {sample_hz:g}; expected more than 0")
    speed = speed_km_h / 3.6
    step_m = speed / sample_hz
    trace = _checked("acceleration_m_s2", acceleration_m_s2, step_m)
    frequency, density = _spectrum(trace, step_m)
    angular = 2 * np.pi * frequency * speed
    height = np.where(frequency > 0, density / np.maximum(angular, 1e-9) ** 4, 0.0)
    return _peak(frequency, height, speed_km_h)


def onset_ratio(
    speed_km_h: float, *, wheel_width_m: float, wheel_mass_kg: float, density_kg_m3: float = 1600.0
) -> float:
    """Ratio that decides whether washboard grows: above about 2 it does [-].

    ``v^2/g * sqrt(density * width / mass)``; that such a ratio sets the onset is published
    (arXiv 0903.4586), its threshold of about 2 is recalled.

    Examples
    --------
    >>> onset_ratio(15.0, wheel_width_m=0.2, wheel_mass_kg=300.0) > 1.5
    True
    """
    for name, value in (
        ("speed_km_h", speed_km_h),
        ("wheel_width_m", wheel_width_m),
        ("wheel_mass_kg", wheel_mass_kg),
        ("density_kg_m3", density_kg_m3),
    ):
        if not value > 0:
            raise InputError(f"{name} is {value:g}; expected more than 0")
    speed = speed_km_h / 3.6
    return float(speed**2 / GRAVITY * np.sqrt(density_kg_m3 * wheel_width_m / wheel_mass_kg))


def _checked(name: str, values: Floats, step_m: float) -> Floats:
    trace = np.asarray(values, dtype=float)
    if not 0 < step_m <= WIDEST_STEP_M:
        raise InputError(
            f"points lie {step_m:.3g} m apart; expected at most {WIDEST_STEP_M:.2f} m to show"
            " washboard: sample faster or drive slower"
        )
    if trace.ndim != 1 or trace.shape[0] * step_m < LEAST_LENGTH_M:
        raise InputError(f"{name} covers less than {LEAST_LENGTH_M:g} m; drive a longer stretch")
    if not np.all(np.isfinite(trace)):
        raise InputError(f"{name} has missing values; fill or cut them out first")
    return trace


def _spectrum(trace: Floats, step_m: float) -> tuple[Floats, Floats]:
    """Power by frequency [1/m], trends taken out of each stretch."""
    each = min(trace.shape[0], round(LEAST_LENGTH_M / step_m))
    frequency, density = welch(trace, fs=1 / step_m, window="hann", nperseg=each, detrend="linear")
    return frequency, density


def _peak(frequency: Floats, density: Floats, speed_km_h: float | None) -> Corrugation:
    band = (frequency >= 1 / LONGEST_M) & (frequency <= 1 / SHORTEST_M)
    in_band = trapezoid(density[band], frequency[band])
    if not in_band > 0:
        return Corrugation(0.0, float("nan"), 0.0, speed_km_h)
    top = int(np.argmax(np.where(band, density, 0.0)))
    near = (
        band
        & (frequency >= frequency[top] * (1 - _HALF_WIDTH))
        & (frequency <= frequency[top] * (1 + _HALF_WIDTH))
    )
    power = trapezoid(density[near], frequency[near])
    width, whole = np.ptp(frequency[near]), np.ptp(frequency[band])
    rest = max(float(in_band - power), 1e-12 * float(in_band)) / max(whole - width, 1e-9)
    middle = trapezoid(density[near] * frequency[near], frequency[near]) / power
    # a sine of amplitude A has power A²/2; trough to crest is 2 A
    depth_mm = 2 * float(np.sqrt(2 * power)) * 1000
    return Corrugation(depth_mm, float(1 / middle), float(power / width / rest), speed_km_h)
