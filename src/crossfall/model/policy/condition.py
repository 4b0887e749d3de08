"""How a condition is scored, how it ages, and what work makes of it.

All scores run from 5 (excellent) to 1 (failed). Knots are pairs (measured value, score) that are
joined by straight lines. Where the evidence reads *recalled*, the figure echoes the published
gravel rating's descriptions as remembered and is to be verified; where it reads *default*, it is
ours until an agency's own records say better.
"""

from __future__ import annotations

from dataclasses import dataclass

from crossfall.model.policy.setting import setting

_RATING = "Gravel rating manual, Wisconsin Transportation Information Center 1989/2002"
_SLOPES = "crossfall 4 % target, band 3 to 7 % in a published guideline; the bands are ours"


@dataclass(frozen=True, slots=True)
class ScoringPolicy:
    """From measured values to the scores a windshield survey would give."""

    crossfall_knots: tuple[tuple[float, float], ...] = setting(
        (
            (0.0, 1.0),
            (1.0, 2.0),
            (2.0, 2.6),
            (3.0, 3.5),
            (3.5, 4.5),
            (4.0, 5.0),
            (5.5, 5.0),
            (6.5, 3.5),
            (8.0, 2.4),
            (10.0, 1.0),
        ),
        unit="(%, score)",
        doc="Crown score from the crossfall on each side; too much is as bad as too little.",
        source=_SLOPES,
    )
    gravel_knots: tuple[tuple[float, float], ...] = setting(
        ((5.0, 1.0), (25.0, 2.0), (50.0, 3.0), (75.0, 4.0), (100.0, 5.0)),
        unit="(mm, score)",
        doc="Gravel score from the thickness of surface gravel that is there.",
    )
    corrugation_knots: tuple[tuple[float, float], ...] = setting(
        ((0.0, 5.0), (10.0, 4.0), (25.0, 3.0), (50.0, 2.0), (75.0, 1.0)),
        unit="(mm, score)",
        doc="Deformation score from washboard, trough to crest.",
        evidence="recalled",
        source=_RATING,
    )
    pothole_knots: tuple[tuple[float, float], ...] = setting(
        ((0.0, 5.0), (15.0, 4.0), (50.0, 3.0), (75.0, 2.0), (100.0, 1.0)),
        unit="(mm, score)",
        doc="Deformation score from the depth of potholes.",
        evidence="recalled",
        source=_RATING,
    )
    rut_knots: tuple[tuple[float, float], ...] = setting(
        ((0.0, 5.0), (10.0, 4.0), (25.0, 3.0), (50.0, 2.0), (75.0, 1.0)),
        unit="(mm, score)",
        doc="Deformation score from rut depth.",
        evidence="recalled",
        source=_RATING,
    )
    loose_knots: tuple[tuple[float, float], ...] = setting(
        ((0.0, 5.0), (20.0, 4.0), (50.0, 3.0), (75.0, 2.0), (100.0, 1.0)),
        unit="(mm, score)",
        doc="Defects score from the depth of loose aggregate.",
        evidence="recalled",
        source=_RATING,
    )
    few_potholes_per_km: float = setting(
        10.0,
        unit="1/km",
        doc="So many potholes or fewer are patched one by one; they say little of the whole road.",
        low=0.0,
        high=100.0,
    )
    few_potholes_score: float = setting(
        3.2,
        unit="score",
        doc="Least deformation score that a few potholes give, however deep they are.",
        low=1.0,
        high=5.0,
    )
    measured_weight: float = setting(
        0.75,
        unit="-",
        doc="Weight of a measured value against the windshield score when it reads worse.",
        low=0.5,
        high=1.0,
    )


@dataclass(frozen=True, slots=True)
class AgeingPolicy:
    """How scores fall between inspections.

    Each score approaches 1 as ``1 + (score - 1) * exp(-x)``; the exposure ``x`` grows with days,
    traffic and rain, the form of the published roughness progression.
    """

    deformation_per_day: float = setting(
        0.0012,
        unit="1/day",
        doc="Exposure of washboard, potholes and ruts per day without traffic.",
        low=0.0,
        high=0.02,
    )
    deformation_per_day_100_adt: float = setting(
        0.0046,
        unit="1/day",
        doc="Further exposure per day for each 100 vehicles a day.",
        low=0.0,
        high=0.05,
    )
    deformation_per_mm: float = setting(
        0.0003, unit="1/mm", doc="Further exposure for each millimetre of rain.", low=0.0, high=0.01
    )
    defects_per_day: float = setting(
        0.0010,
        unit="1/day",
        doc="Exposure of dust and loose aggregate per day.",
        low=0.0,
        high=0.02,
    )
    defects_per_day_100_adt: float = setting(
        0.0030,
        unit="1/day",
        doc="Further exposure per day for each 100 vehicles a day.",
        low=0.0,
        high=0.05,
    )
    crown_per_day: float = setting(
        0.00030, unit="1/day", doc="Exposure of the crown per day.", low=0.0, high=0.01
    )
    crown_per_day_100_adt: float = setting(
        0.00045,
        unit="1/day",
        doc="Further exposure of the crown per day for each 100 vehicles a day.",
        low=0.0,
        high=0.01,
    )
    drainage_per_day: float = setting(
        0.00020, unit="1/day", doc="Exposure of ditches and culverts per day.", low=0.0, high=0.01
    )
    heavy_extra: float = setting(
        3.0,
        unit="-",
        doc="A heavy vehicle wears the surface like one plus this many cars.",
        low=0.0,
        high=20.0,
    )
    rain_mm_per_day: float = setting(
        2.2,
        unit="mm/day",
        doc="Mean rain where no weather record says.",
        low=0.0,
        high=20.0,
    )
    rain_record_days: int = setting(
        60,
        unit="day",
        doc="Days a gauge must have known before its own mean is trusted.",
        low=1,
        high=3650,
    )
    delay_days: float = setting(
        28.0,
        unit="day",
        doc="How long a need is thought to wait when the cost of delay is judged.",
        low=1.0,
        high=365.0,
    )


@dataclass(frozen=True, slots=True)
class AssumedPolicy:
    """What is believed of a road nobody has surveyed."""

    crown: float = setting(3.7, unit="score", doc="Crown.", low=1.0, high=5.0)
    drainage: float = setting(3.5, unit="score", doc="Ditches and culverts.", low=1.0, high=5.0)
    gravel: float = setting(3.7, unit="score", doc="Gravel layer.", low=1.0, high=5.0)
    deformation: float = setting(
        4.3, unit="score", doc="Ride just after the last blading.", low=1.0, high=5.0
    )
    defects: float = setting(
        4.3, unit="score", doc="Dust and loose stone just after blading.", low=1.0, high=5.0
    )
    days_since_blading: int = setting(
        45, unit="day", doc="When nobody says when it was last bladed.", low=0, high=730
    )
    bad_crown: float = setting(
        2.6, unit="score", doc="Crown of a road that is said to be bad.", low=1.0, high=5.0
    )
    bad_drainage: float = setting(
        2.8, unit="score", doc="Drainage of a road that is said to be bad.", low=1.0, high=5.0
    )
    bad_gravel: float = setting(
        3.0, unit="score", doc="Gravel of a road that is said to be bad.", low=1.0, high=5.0
    )
    bad_deformation: float = setting(
        2.3, unit="score", doc="Ride, today, of a road that is said to be bad.", low=1.0, high=5.0
    )
    bad_defects: float = setting(
        2.8, unit="score", doc="Defects, today, of a road said to be bad.", low=1.0, high=5.0
    )


@dataclass(frozen=True, slots=True)
class EffectPolicy:
    """What a treatment makes of the scores."""

    blading_deformation: float = setting(
        4.4, unit="score", doc="Best ride after light blading.", low=1.0, high=5.0
    )
    blading_gain: float = setting(
        2.0, unit="score", doc="Most that light blading lifts the ride.", low=0.0, high=4.0
    )
    blading_defects: float = setting(
        4.2, unit="score", doc="Loose stone after light blading.", low=1.0, high=5.0
    )
    blading_crown_gain: float = setting(
        0.4, unit="score", doc="Most that light blading lifts the crown.", low=0.0, high=2.0
    )
    blading_crown: float = setting(
        4.0, unit="score", doc="Best crown after light blading.", low=1.0, high=5.0
    )
    reshaping: float = setting(
        4.8, unit="score", doc="Ride, crown and defects after reshaping.", low=1.0, high=5.0
    )
    regravelling: float = setting(
        5.0, unit="score", doc="Everything but drainage after regravelling.", low=1.0, high=5.0
    )
    regravelling_mm: float = setting(
        100.0, unit="mm", doc="Thickness believed after regravelling.", low=25.0, high=300.0
    )
    spot_gravel: float = setting(
        3.4, unit="score", doc="Gravel layer after spot gravel.", low=1.0, high=5.0
    )
    drainage: float = setting(
        4.5, unit="score", doc="Drainage after ditch cleaning.", low=1.0, high=5.0
    )
    culvert_gain: float = setting(
        0.5, unit="score", doc="Drainage gained by clearing culverts.", low=0.0, high=3.0
    )
    dust: float = setting(4.8, unit="score", doc="Defects after dust control.", low=1.0, high=5.0)
