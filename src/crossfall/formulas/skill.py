"""How good a chance was: Brier score, skill against another forecast, and reliability.

A chance is good when things said to happen in 7 of 10 cases do happen in about 7 of 10.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from crossfall.errors import InputError

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Reliability:
    """One entry for each bin of stated chance that has any cases."""

    stated: Floats
    """Mean stated chance."""
    observed: Floats
    """Share in which it happened."""
    n_cases: Ints


def brier_score(chance: npt.ArrayLike, happened: npt.ArrayLike) -> float:
    """Mean squared error of a chance (Brier 1950); 0 is perfect, 0.25 is a coin.

    Examples
    --------
    >>> brier_score([1.0, 0.5, 0.0], [1, 1, 0])
    0.08333333333333333
    """
    stated, outcome = _pair(chance, happened)
    return float(np.mean((stated - outcome) ** 2))


def brier_skill(chance: npt.ArrayLike, happened: npt.ArrayLike, reference: npt.ArrayLike) -> float:
    """Share by which a chance betters a reference chance: 1 is perfect, 0 no better, below worse.

    Examples
    --------
    >>> brier_skill([0.9, 0.1], [1, 0], [0.5, 0.5])
    0.96
    """
    outcome = np.asarray(happened, float)
    against = brier_score(np.broadcast_to(np.asarray(reference, float), outcome.shape), outcome)
    if against == 0:
        raise InputError("the reference is perfect; skill against it has no meaning")
    return 1 - brier_score(chance, outcome) / against


def reliability(chance: npt.ArrayLike, happened: npt.ArrayLike, *, n_bins: int = 5) -> Reliability:
    """Stated against observed, in equal bins of stated chance.

    Examples
    --------
    >>> found = reliability([0.1, 0.1, 0.9, 0.9], [0, 0, 1, 0], n_bins=2)
    >>> found.stated, found.observed
    (array([0.1, 0.9]), array([0. , 0.5]))
    """
    if n_bins < 1:
        raise InputError(f"n_bins is {n_bins}; expected 1 or more")
    stated, outcome = _pair(chance, happened)
    at = np.minimum((stated * n_bins).astype(int), n_bins - 1)
    n_cases = np.bincount(at, minlength=n_bins)
    is_used = n_cases > 0
    sums = (np.bincount(at, weights=each, minlength=n_bins) for each in (stated, outcome))
    means = [each[is_used] / n_cases[is_used] for each in sums]
    return Reliability(means[0], means[1], n_cases[is_used])


def _pair(chance: npt.ArrayLike, happened: npt.ArrayLike) -> tuple[Floats, Floats]:
    stated, outcome = np.asarray(chance, float), np.asarray(happened, float)
    if stated.shape != outcome.shape or stated.size == 0:
        raise InputError(
            f"chance has shape {stated.shape} and happened {outcome.shape};"
            " expected alike and not empty"
        )
    if not np.all((stated >= 0) & (stated <= 1)):
        raise InputError("chance must be 0 to 1; maybe it is in percent")
    if not np.all((outcome == 0) | (outcome == 1)):
        raise InputError("happened must be 0 or 1")
    return stated, outcome
