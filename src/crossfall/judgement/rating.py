"""From what was measured to the scores a windshield survey gives, and the 1 to 5 rating.

A survey scores crown, drainage, gravel layer, deformation and defects from 5 (excellent) to
1 (failed). Crown, drainage and gravel decide first: surface defects change within days, so they
can lower the rating of a sound road but never hide a lost crown behind a smooth ride. The scale and
its five names are published (gravel rating manual, Wisconsin Transportation Information Center);
the joining of scores to one figure, and of measures to scores, is ours.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from crossfall.errors import InputError
from crossfall.model.policy.condition import ScoringPolicy

Floats = npt.NDArray[np.float64]

SCORES = ("crown", "drainage", "gravel", "deformation", "defects")
"""The five sub-scores, in the order their arrays are stacked."""

RATING_NAMES = {5: "Excellent", 4: "Good", 3: "Fair", 2: "Poor", 1: "Failed"}

MEASURES = (
    "crossfall_pct",
    "gravel_mm",
    "corrugation_mm",
    "corrugation_spacing_m",
    "pothole_mm",
    "pothole_count_per_km",
    "rut_mm",
    "loose_mm",
)
"""Measured values of a condition; NaN where nobody measured."""


def weigh_measures(scores: Floats, measures: dict[str, Floats], scoring: ScoringPolicy) -> Floats:
    """Scores (score, segment) with what was measured weighed in.

    A measure that reads worse than the windshield score pulls it down by its weight; one that
    reads better counts only where it tells the whole of that score (crown, gravel), since a
    shallow rut says nothing of potholes nobody measured. A few potholes, however deep, are holes
    to patch and no broken road.

    Examples
    --------
    >>> none = np.array([np.nan])
    >>> flat = dict.fromkeys(MEASURES, none) | {"crossfall_pct": np.array([1.0])}
    >>> weigh_measures(np.full((5, 1), 4.0), flat, ScoringPolicy())[:, 0].tolist()
    [2.5, 4.0, 4.0, 4.0, 4.0]
    """
    weighed = scores.copy()
    crown = _from_knots(measures["crossfall_pct"], scoring.crossfall_knots)
    gravel = _from_knots(measures["gravel_mm"], scoring.gravel_knots)
    potholes = _from_knots(measures["pothole_mm"], scoring.pothole_knots)
    is_few = measures["pothole_count_per_km"] <= scoring.few_potholes_per_km
    deformation = np.fmin(
        np.fmin(
            _from_knots(measures["corrugation_mm"], scoring.corrugation_knots),
            np.where(is_few, np.maximum(potholes, scoring.few_potholes_score), potholes),
        ),
        _from_knots(measures["rut_mm"], scoring.rut_knots),
    )
    loose = _from_knots(measures["loose_mm"], scoring.loose_knots)
    for row, measured, is_whole in (
        (0, crown, True),
        (2, gravel, True),
        (3, deformation, False),
        (4, loose, False),
    ):
        blend = scoring.measured_weight * measured + (1 - scoring.measured_weight) * weighed[row]
        counts = ~np.isnan(measured) & (is_whole | (measured < weighed[row]))
        weighed[row] = np.where(counts, blend, weighed[row])
    return weighed


def overall_rating(scores: Floats) -> npt.NDArray[np.int64]:
    """The 1 to 5 rating of scores (score, segment).

    The rating is the mean of the worst of crown, drainage and gravel and the mean of all five,
    rounded down at the half, and never above the worst of the first three by more than one.

    Raises
    ------
    InputError
        If the scores are not five rows from 1 to 5.

    Examples
    --------
    >>> overall_rating(np.array([[5, 4, 2], [5, 4, 1], [5, 4, 1], [5, 2, 1], [4, 3, 1.0]])).tolist()
    [5, 4, 1]
    """
    if scores.ndim != 2 or scores.shape[0] != len(SCORES):
        raise InputError(f"scores have shape {scores.shape}; expected (5, segment)")
    if np.any(~((scores >= 1) & (scores <= 5))):
        bad = scores[~((scores >= 1) & (scores <= 5))].flat[0]
        raise InputError(f"a score is {bad:g}; expected 1 (failed) to 5 (excellent)")
    worst = scores[:3].min(axis=0)
    blend = (worst + scores.mean(axis=0)) / 2
    rating = np.ceil(np.minimum(blend, worst + 1) - 0.5)
    return np.clip(rating, 1, 5).astype(np.int64)


def _from_knots(values: Floats, knots: tuple[tuple[float, float], ...]) -> Floats:
    at, score = zip(*knots, strict=True)
    return np.interp(values, at, score)
