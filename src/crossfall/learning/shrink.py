"""Few records say little: how far a factor moves from its default.

Logarithms of observed over expected are taken as scattered around the agency's own factor, which
itself lies around 1. The best estimate weighs the two by their certainty:

    ln K = (sum y / s^2) / (n / s^2 + 1 / t^2)

with s the scatter of single records and t how far agencies are thought to differ.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from crossfall.errors import InputError

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Shrunk:
    """A factor, drawn towards 1, with how sure it is."""

    factor: float
    raw: float
    """Geometric mean of the ratios themselves."""
    sd_ln: float
    """Standard deviation of its logarithm."""
    n: int


def shrink(ratios: Floats, *, record_sd: float, prior_sd: float) -> Shrunk:
    """Factor from ratios of observed over expected, drawn towards 1.

    Raises
    ------
    InputError
        If a ratio is not positive and finite, or a standard deviation is not positive.

    Examples
    --------
    >>> observed, predicted = np.array([12, 18, 15, 9.0]), np.array([18.5, 22.9, 20, 16.3])
    >>> found = shrink(observed / predicted, record_sd=0.4, prior_sd=0.5)
    >>> round(found.raw, 3), round(found.factor, 3)
    (0.678, 0.715)
    """
    if not (record_sd > 0 and prior_sd > 0):
        raise InputError(
            f"record_sd is {record_sd:g} and prior_sd {prior_sd:g}; both must be more than 0"
        )
    if np.any(~np.isfinite(ratios)) or np.any(ratios <= 0):
        raise InputError("a ratio is not a finite number above 0; leave such records out first")
    n = int(ratios.shape[0])
    logs = np.log(ratios)
    certainty = n / record_sd**2 + 1 / prior_sd**2
    mean = float(logs.sum()) / record_sd**2 / certainty
    raw = math.exp(float(logs.mean())) if n else 1.0
    return Shrunk(math.exp(mean), raw, certainty**-0.5, n)
