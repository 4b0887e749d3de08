"""Where each load goes when the road widens, narrows or crosses a bridge.

Every load covers the same volume of lift, not the same length: stakes draw together where the
road is wide, spread where it is narrow, and skip what gets no gravel.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from crossfall.errors import InputError
from crossfall.formulas.given import Floats, count


def volume_between(at_m: npt.ArrayLike, area_m2: npt.ArrayLike) -> Floats:
    """Volume up to each chainage, when the section's area runs straight between them. [m³]

    Parameters
    ----------
    at_m : array, shape (n,)
        Chainages, rising. Two equal ones make a step. [m]
    area_m2 : array, shape (n,)
        Area of the lift across the road at each. [m²]

    Examples
    --------
    >>> volume_between([0.0, 100.0, 100.0, 200.0], [1.0, 1.0, 0.0, 0.0]).tolist()
    [0.0, 100.0, 100.0, 100.0]
    """
    at, area = _profile(at_m, area_m2)
    steps = np.diff(at) * (area[:-1] + area[1:]) / 2
    return np.concatenate([[0.0], np.cumsum(steps)])


def load_starts(at_m: npt.ArrayLike, area_m2: npt.ArrayLike, n_loads: int) -> Floats:
    """Chainages at which each load begins, when all carry the same volume. [m]

    A load is dumped from its marker up to the next one, the last up to the end, so that none is
    short. Where nothing is placed, on a bridge deck for example, the marker stands behind it.

    Raises
    ------
    InputError
        If chainages fall, an area is negative, or there is no volume at all.

    Examples
    --------
    >>> load_starts([0.0, 60.0], [1.0, 1.0], 4).tolist()
    [0.0, 15.0, 30.0, 45.0]
    >>> load_starts([0.0, 40.0, 40.0, 60.0, 60.0, 100.0], [1, 1, 0, 0, 1, 1], 2).tolist()
    [0.0, 60.0]
    """
    at, area = _profile(at_m, area_m2)
    volume = volume_between(at, area)
    n = count("n_loads", n_loads)
    if not volume[-1] > 0:
        raise InputError("the lift has no volume; give a width and a thickness above 0")
    wanted = np.arange(n) / n * volume[-1]
    # A hair more, so that a marker due at the edge of a deck steps over it
    part = np.searchsorted(volume, wanted + 1e-9 * volume[-1], side="right") - 1
    start, low = at[part], area[part]
    length, rest = at[part + 1] - start, np.maximum(wanted - volume[part], 0.0)
    rise = (area[part + 1] - low) / length
    # rest = low x + rise x² / 2, solved in the form that stays exact where the width is even
    root = np.sqrt(np.maximum(low**2 + 2 * rise * rest, 0.0))
    ahead = np.divide(2 * rest, low + root, out=np.zeros_like(rest), where=low + root > 0)
    return np.asarray(start + ahead, dtype=np.float64)


def _profile(at_m: npt.ArrayLike, area_m2: npt.ArrayLike) -> tuple[Floats, Floats]:
    at, area = np.asarray(at_m, dtype=np.float64), np.asarray(area_m2, dtype=np.float64)
    if at.ndim != 1 or at.shape != area.shape or at.size < 2:
        raise InputError(f"at_m has shape {at.shape} and area_m2 {area.shape}; expected two lists")
    if not (np.all(np.isfinite(at)) and np.all(np.diff(at) >= 0)):
        raise InputError("at_m must rise from start to end; sort the chainages")
    if not np.all(np.isfinite(area) & (area >= 0)):
        raise InputError("area_m2 has a negative or unknown value; expected 0 or more")
    return at, area
