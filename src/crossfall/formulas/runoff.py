"""What reaches the layer: rain or snow, melt, and the share that runs off to the ditch.

Runoff follows the curve number of TR-55 with an initial abstraction of a fifth of the storage.
For hourly steps the storm's running total is what counts, so a storm gives the same runoff
whether it is read in hours or as one day. Snow is a degree-day store at the station.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from crossfall.errors import InputError

Floats = npt.NDArray[np.float64]

ABSTRACTION = 0.2
"""Initial abstraction over potential storage, TR-55."""


@dataclass(frozen=True, eq=False)
class SnowResult:
    """Water that reaches the ground as liquid, and what lies as snow after each day."""

    liquid_mm: Floats
    snow_mm: Floats
    """Water in the snow at the end of the day [mm]."""


def storage_mm(curve_number: npt.ArrayLike) -> Floats:
    """Potential storage of a curve number [mm]; TR-55: S = 25400/CN - 254.

    Raises
    ------
    InputError
        If a curve number is not above 0 and at most 100.

    Examples
    --------
    >>> print(f"{storage_mm(91):.3f}")
    25.121
    """
    number = np.asarray(curve_number, float)
    if not np.all((number > 0) & (number <= 100)):
        raise InputError(f"curve_number is {number}; expected above 0 and at most 100")
    return np.asarray(25400.0 / number - 254.0)


def runoff_curve_number(rain_mm: npt.ArrayLike, curve_number: npt.ArrayLike) -> Floats:
    """Runoff of one storm [mm] from its rain [mm], TR-55 Eq. 2-3.

    Examples
    --------
    >>> print(np.round(runoff_curve_number([10.0, 25.0, 50.0], 91), 3))
    [ 0.823  8.848 28.858]
    """
    rain = np.asarray(rain_mm, float)
    if np.any(rain < 0):
        raise InputError(f"rain_mm has {np.nanmin(rain):g}; expected >= 0")
    return runoff_from_storage(rain, storage_mm(curve_number))


def runoff_from_storage(rain_mm: Floats, storage: Floats) -> Floats:
    """The same from the potential storage [mm]; no checks, for inner loops."""
    over = np.maximum(rain_mm - ABSTRACTION * storage, 0.0)
    below = np.where(over > 0, over + storage, 1.0)
    return np.asarray(over * over / below)


def storm_before(liquid_mm: Floats, gap_steps: int) -> Floats:
    """Rain of the same storm before each step [mm]; a storm ends after ``gap_steps`` dry steps.

    Examples
    --------
    >>> storm_before(np.array([2.0, 0.0, 3.0, 0.0, 0.0, 1.0]), 2)
    array([0., 2., 2., 5., 5., 0.])
    """
    if gap_steps < 1:
        raise InputError(f"gap_steps is {gap_steps}; expected 1 or more")
    liquid = np.asarray(liquid_mm, float)
    before = np.zeros_like(liquid)
    total = np.zeros(liquid.shape[:-1])
    dry = np.zeros(liquid.shape[:-1])
    for step in range(liquid.shape[-1]):
        total = np.where(dry >= gap_steps, 0.0, total)
        before[..., step] = total
        total = total + liquid[..., step]
        dry = np.where(liquid[..., step] > 0, 0.0, dry + 1)
    return before


def snow_and_melt(
    precipitation_mm: Floats,
    tmean_c: Floats,
    *,
    snow_below_c: float,
    melt_mm_c_day: float,
    start_mm: npt.ArrayLike = 0.0,
    step_days: float = 1.0,
) -> SnowResult:
    """Split precipitation into rain and snow and melt what lies, day by day along the last axis.

    At or below ``snow_below_c`` everything falls as snow; above it the store melts at
    ``melt_mm_c_day`` for each degree.

    Examples
    --------
    >>> result = snow_and_melt(
    ...     np.array([5.0, 0.0, 2.0]), np.array([-3.0, 1.0, 4.0]),
    ...     snow_below_c=0.0, melt_mm_c_day=3.0)
    >>> result.liquid_mm, result.snow_mm
    (array([0., 3., 4.]), array([5., 2., 0.]))
    """
    precipitation, tmean = np.broadcast_arrays(
        np.asarray(precipitation_mm, float), np.asarray(tmean_c, float)
    )
    liquid = np.zeros(precipitation.shape)
    snow = np.zeros(precipitation.shape)
    store = np.broadcast_to(np.asarray(start_mm, float), precipitation.shape[:-1]).copy()
    for day in range(precipitation.shape[-1]):
        is_snow = tmean[..., day] <= snow_below_c
        store = store + np.where(is_snow, precipitation[..., day], 0.0)
        warmth = np.maximum(tmean[..., day] - snow_below_c, 0.0)
        melt = np.minimum(store, melt_mm_c_day * step_days * warmth)
        store = store - melt
        liquid[..., day] = melt + np.where(is_snow, 0.0, precipitation[..., day])
        snow[..., day] = store
    return SnowResult(liquid, snow)
