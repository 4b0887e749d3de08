"""What a day's work makes of a road's scores.

Light blading smooths and gathers loose stone but lifts a lost crown only a little; reshaping puts
crown, ride and surface back; regravelling puts the gravel back too; none of them opens a ditch.
Work on part of the length counts for that part.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

import numpy as np
import numpy.typing as npt

from crossfall.judgement.rating import SCORES
from crossfall.model import Condition, Side, Treatment, WorkRecord
from crossfall.model.policy.condition import EffectPolicy

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]
Ints = npt.NDArray[np.int64]

_CROWN, _DRAINAGE, _GRAVEL, _DEFORMATION, _DEFECTS = range(len(SCORES))
_SHAPING = (Treatment.RESHAPING, Treatment.SCARIFY_REMIX, Treatment.REGRAVELLING)
GRADER_WORK = frozenset({Treatment.BLADING, *_SHAPING})
"""Work after which the surface counts as freshly bladed."""
_FILLING = (Treatment.SPOT_GRAVEL, Treatment.REGRAVELLING)
_SURFACE_MEASURES = (
    "corrugation_mm",
    "corrugation_spacing_m",
    "pothole_mm",
    "pothole_count_per_km",
    "rut_mm",
    "loose_mm",
)


_LEAVES: dict[Treatment, tuple[tuple[str, bool], ...]] = {
    Treatment.SHOULDER_PULLING: (
        ("has_high_shoulder", False),
        ("is_shoulder_eroded", False),
        ("is_shoulder_low", False),
    ),
    Treatment.SECONDARY_DITCH_REMOVAL: (("has_secondary_ditch", False),),
    Treatment.DITCH_CLEANING: (
        ("is_ditch_blocked", False),
        ("is_ditch_missing", False),
        ("is_ditch_clear", True),
    ),
    Treatment.CULVERT_CLEARING: (("is_culvert_blocked", False),),
    Treatment.SPOT_GRAVEL: (("is_shoulder_eroded", False), ("is_shoulder_low", False)),
    Treatment.REGRAVELLING: (("is_shoulder_eroded", False), ("is_shoulder_low", False)),
}
"""What finished work makes of the faults it is done for."""


def choices_after(record: WorkRecord, look: Condition) -> dict[str, str | None]:
    """What finished work makes of what a look chose from lists; the rest of it still holds."""
    treatment, left = record.treatment, dict[str, str | None]()
    if not record.is_finished:
        return left
    if look.ditch is not None and treatment is Treatment.DITCH_CLEANING:
        left["ditch"] = "clear"
    is_filled = look.shoulder in ("eroded", "low") and treatment in _FILLING
    if is_filled or (look.shoulder is not None and treatment is Treatment.SHOULDER_PULLING):
        left["shoulder"] = "even"
    if treatment in GRADER_WORK or treatment is Treatment.DUST_CONTROL:
        left["dust"] = None
    return left


class Worked(Protocol):
    """The arrays that work changes; see :class:`crossfall.judgement.forecast.Belief`."""

    scores: Floats
    measures: dict[str, Floats]
    flags: dict[str, Bools]
    windrow_side: list[Side | None]
    last_bladed: Floats
    is_blading_assumed: Bools
    n_works: Ints


def scores_after(scores: Floats, treatment: Treatment, effect: EffectPolicy) -> Floats:
    """Scores (score, segment) after a treatment of the whole length; never lower than before.

    Examples
    --------
    >>> tired = np.array([[2.5], [3.0], [4.0], [2.0], [2.0]])
    >>> scores_after(tired, Treatment.BLADING, EffectPolicy())[:, 0].tolist()
    [2.9, 3.0, 4.0, 4.0, 4.2]
    >>> scores_after(tired, Treatment.RESHAPING, EffectPolicy())[:, 0].tolist()
    [4.8, 3.0, 4.0, 4.8, 4.8]
    """
    after = scores.copy()
    if treatment in (
        Treatment.BLADING,
        Treatment.SHOULDER_PULLING,
        Treatment.SECONDARY_DITCH_REMOVAL,
    ):
        after[_DEFORMATION] = np.minimum(
            scores[_DEFORMATION] + effect.blading_gain, effect.blading_deformation
        )
        after[_DEFECTS] = effect.blading_defects
        after[_CROWN] = np.minimum(scores[_CROWN] + effect.blading_crown_gain, effect.blading_crown)
    elif treatment in _SHAPING:
        is_new = treatment is Treatment.REGRAVELLING
        best = effect.regravelling if is_new else effect.reshaping
        after[[_CROWN, _DEFORMATION, _DEFECTS]] = best
        if is_new:
            after[_GRAVEL] = best
    elif treatment is Treatment.SPOT_GRAVEL:
        after[_GRAVEL] = effect.spot_gravel
    elif treatment is Treatment.DITCH_CLEANING:
        after[_DRAINAGE] = effect.drainage
    elif treatment is Treatment.CULVERT_CLEARING:
        after[_DRAINAGE] = np.minimum(scores[_DRAINAGE] + effect.culvert_gain, effect.drainage)
    elif treatment is Treatment.DUST_CONTROL:
        after[_DEFECTS] = effect.dust
    return np.maximum(after, scores)


def restore(
    belief: Worked,
    rows: Ints,
    works: Sequence[WorkRecord],
    length_m: Floats,
    effect: EffectPolicy,
) -> None:
    """Change ``belief`` in place by one record for each of ``rows``.

    ``length_m`` are the lengths of those segments; where one is NaN, finished work counts for the
    whole length and unfinished work for none of it.
    """
    share = np.array(
        [_share(record, length) for record, length in zip(works, length_m.tolist(), strict=True)]
    )
    for treatment in {record.treatment for record in works}:
        mine = np.array([record.treatment is treatment for record in works])
        at = rows[mine]
        before = belief.scores[:, at]
        gain = scores_after(before, treatment, effect) - before
        belief.scores[:, at] = before + gain * share[mine]
        _clear(belief, at[share[mine] >= 1.0], treatment, effect)
    for row, record, part in zip(rows.tolist(), works, share.tolist(), strict=True):
        _note(belief, row, record, part)


def _share(record: WorkRecord, length_m: float) -> float:
    """Share of the segment's length that the record covers, 0 to 1."""
    if record.from_m is None or record.to_m is None or np.isnan(length_m):
        return 1.0 if record.is_finished else 0.0
    return float(np.clip(abs(record.to_m - record.from_m) / length_m, 0.0, 1.0))


def _clear(belief: Worked, rows: Ints, treatment: Treatment, effect: EffectPolicy) -> None:
    """What was measured before the work no longer holds; what was blocked is open."""
    if treatment in GRADER_WORK:
        for name in _SURFACE_MEASURES:
            belief.measures[name][rows] = np.nan
    if "dust_level" in belief.measures and (
        treatment in GRADER_WORK or treatment is Treatment.DUST_CONTROL
    ):
        belief.measures["dust_level"][rows] = np.nan
    if treatment in _SHAPING:
        belief.measures["crossfall_pct"][rows] = np.nan
    if treatment is Treatment.REGRAVELLING:
        belief.measures["gravel_mm"][rows] = effect.regravelling_mm
    if treatment is Treatment.SPOT_GRAVEL:
        belief.measures["gravel_mm"][rows] = np.nan
    for name, is_so in _LEAVES.get(treatment, ()):
        if name in belief.flags:
            belief.flags[name][rows] = is_so


def _note(belief: Worked, row: int, record: WorkRecord, share: float) -> None:
    belief.n_works[row] += 1
    is_bladed = record.treatment in GRADER_WORK
    if is_bladed and share >= 1.0:
        belief.last_bladed[row] = record.done_on.toordinal()
        belief.is_blading_assumed[row] = False
    if is_bladed or record.treatment is Treatment.WINDROW_PICKUP:
        belief.windrow_side[row] = None
    if record.windrow_side is not None:
        belief.windrow_side[row] = record.windrow_side
    belief.flags["has_windrow"][row] = belief.windrow_side[row] is not None
    if record.is_culvert_open:
        belief.flags["is_culvert_blocked"][row] = True
