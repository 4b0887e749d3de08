"""The belief about each road as the facts that rules speak of.

Most facts are scores and measures as they are. A few are drawn from several: what of the defects
is loose stone and what is dust, whether the waves are washboard at all, whether potholes are many.
Where nobody measured, the fact takes the reading that rules may go by: potholes count as many, and
a rough ride as washboard.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from crossfall.judgement.forecast import CHOSEN, FLAGS, Belief
from crossfall.judgement.rating import MEASURES, SCORES
from crossfall.model.policy.needs import NeedsPolicy

Floats = npt.NDArray[np.float64]

FACTS = (
    *SCORES,
    *MEASURES,
    *FLAGS,
    *CHOSEN,
    "dust_level",
    "looseness",
    "dustiness",
    "are_potholes_many",
    "is_washboard_seen",
    "may_be_washboard",
    "adt",
    "heavy_adt",
    "grade_pct",
    "days_since_blading",
    "vehicles_since_blading",
)
"""What rules may speak of: arrays of shape (segment,), NaN where nobody knows."""

_BEST_SCORE = 5.0


def facts_of(belief: Belief, needs: NeedsPolicy) -> dict[str, Floats]:
    """Facts of every segment, by the names in :data:`FACTS`."""
    facts = {name: belief.scores[row] for row, name in enumerate(SCORES)}
    facts |= {name: belief.measures[name] for name in MEASURES}
    facts |= {name: belief.flags[name].astype(float) for name in (*FLAGS, *CHOSEN)}
    facts |= _traffic(belief)
    facts |= _loose_or_dust(belief, needs)
    facts |= _shape_of_the_ride(belief, needs)
    facts["grade_pct"] = np.array([segment.grade_pct for segment in belief.segments])
    return facts


def _traffic(belief: Belief) -> dict[str, Floats]:
    today = np.full(belief.n, float(belief.today.toordinal()))
    trucks = belief.haul.between(np.arange(belief.n), today, today + 1)
    usual = belief.adt
    heavy_share = np.array([segment.heavy_share for segment in belief.segments])
    days = belief.days_since_blading
    return {
        "adt": usual + trucks,
        "heavy_adt": usual * heavy_share + trucks,
        "days_since_blading": days,
        "vehicles_since_blading": (usual + trucks) * days,
    }


def _loose_or_dust(belief: Belief, needs: NeedsPolicy) -> dict[str, Floats]:
    """The defects score as far as it speaks of loose stone, and as far as it speaks of dust.

    Dust over tight stone is no work for a blade; loose stone without dust is none for a palliative.
    """
    defects, loose = belief.scores[SCORES.index("defects")], belief.measures["loose_mm"]
    dust = belief.measures["dust_level"]
    call = needs.call
    is_only_dust = (dust > call.dusty_level) & (loose <= call.tight_loose_mm)
    is_no_dust = dust <= call.dusty_level
    return {
        "dust_level": dust,
        "looseness": np.where(is_only_dust, _BEST_SCORE, defects),
        "dustiness": np.where(is_no_dust, _BEST_SCORE, defects),
    }


def _shape_of_the_ride(belief: Belief, needs: NeedsPolicy) -> dict[str, Floats]:
    """Whether potholes are many, and whether a rough ride is washboard."""
    waves, holes, ruts = (
        belief.measures[name] for name in ("corrugation_mm", "pothole_mm", "rut_mm")
    )
    count = belief.measures["pothole_count_per_km"]
    is_seen = waves > needs.call.washboard_mm
    is_something_else = ~np.isnan(holes) | ~np.isnan(ruts)
    return {
        "are_potholes_many": (~(count <= needs.scoring.few_potholes_per_km)).astype(float),
        "is_washboard_seen": is_seen.astype(float),
        "may_be_washboard": (is_seen | ~is_something_else).astype(float),
    }
