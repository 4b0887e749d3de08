"""Roughness factors from readings: how fast roads roughen here, and what blading leaves.

Two readings with no blading between give the rate; a reading before and one after a blading give
what blading leaves. Single readings scatter, so each factor is drawn towards 1 by how few there
are.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from crossfall.errors import InputError
from crossfall.learning.shrink import Shrunk, shrink
from crossfall.model.policy.records import LearningPolicy

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class RoughnessFactors:
    """Factors on the rate of roughening and on what blading leaves; 1 and prior when unknown."""

    rate: Shrunk
    blading: Shrunk
    is_rate_prior: bool
    is_blading_prior: bool


def fit_roughness(readings: Floats, pairs: Floats, policy: LearningPolicy) -> RoughnessFactors:
    """Factors from IRI readings.

    Parameters
    ----------
    readings
        (reading, 5): first IRI, second IRI, days between without blading, the road's maximum IRI
        [m/km], and its published rate, positive [1/day].
    pairs
        (pair, 4): IRI before a blading, after it, the road's minimum IRI [m/km], and the published
        share that blading leaves [-].

    Raises
    ------
    InputError
        If shapes do not fit or a figure is not finite. Readings that no factor can explain (the
        road grew smoother, or rougher than its maximum) are left out.

    Examples
    --------
    >>> from crossfall.formulas.roughness import after_days
    >>> later = float(after_days(5.0, 20.0, -0.004, 60.0))
    >>> one = np.array([[5.0, later, 60.0, 20.0, 0.002]])
    >>> many = np.repeat(one, 200, axis=0)
    >>> round(fit_roughness(many, np.empty((0, 4)), LearningPolicy()).rate.factor, 2)
    1.99
    """
    for name, table, width in (("readings", readings, 5), ("pairs", pairs, 4)):
        if table.ndim != 2 or table.shape[1] != width:
            raise InputError(f"{name} has shape {table.shape}; expected (n, {width})")
        if not np.all(np.isfinite(table)):
            raise InputError(f"{name} has missing values; leave such rows out first")
    first, second, days, top, rate = readings.T
    usable = (second > first) & (second < top) & (first < top) & (days > 0) & (rate > 0)
    grown = np.log((top - first)[usable] / (top - second)[usable]) / (rate * days)[usable]
    before, after, bottom, share = pairs.T
    left = (before > bottom) & (after > bottom) & (after <= before) & (share > 0)
    kept = (after - bottom)[left] / (before - bottom)[left] / share[left]
    found = [
        shrink(
            np.clip(ratios, policy.least_factor, policy.most_factor),
            record_sd=policy.record_sd,
            prior_sd=policy.prior_sd,
        )
        for ratios in (grown, kept)
    ]
    return RoughnessFactors(
        found[0], found[1], found[0].n < policy.n_enough, found[1].n < policy.n_enough
    )
