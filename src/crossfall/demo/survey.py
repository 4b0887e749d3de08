"""An invented windshield survey: what the roads look like, with the ailments a real one has.

Most roads are fair; some are washboarded, flat, thin or badly drained, more of
them where traffic, slope and water would make them so.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np
import numpy.typing as npt

from crossfall.demo.recipe import INVENTED
from crossfall.model import Condition, Network, Segment

Floats = npt.NDArray[np.float64]

NOT_SURVEYED_SHARE = 0.05
"""Of the segments: the survey has not come there yet."""

_DAYS_BETWEEN = {"collector": (3, 26), "local": (6, 48), "minimum": (40, 170)}
"""Days since the last blading, shortest and longest, by road class."""


def days_since_blading(network: Network, rng: np.random.Generator) -> dict[str, int]:
    """Days since each maintained segment was last bladed; neighbours along a road share a day."""
    days: dict[str, int] = {}
    last: Segment | None = None
    for segment in network.maintained:
        shortest, longest = _DAYS_BETWEEN.get(segment.road_class, (6, 48))
        same_trip = (
            last is not None
            and last.route == segment.route
            and last.road_class == segment.road_class
            and rng.uniform() < 0.8
        )
        if same_trip and last is not None:
            days[segment.id] = days[last.id]
        else:
            days[segment.id] = int(rng.integers(shortest, longest + 1))
        last = segment
    return days


def survey(
    network: Network, since_blading: dict[str, int], *, today: date, rng: np.random.Generator
) -> tuple[Condition, ...]:
    """One condition for most maintained segments, seen between the last blading and today."""
    has_culvert = {f.segment_id for f in network.features if f.kind == "culvert"}
    return tuple(
        _look(segment, since_blading[segment.id], segment.id in has_culvert, today, rng)
        for segment in network.maintained
        if rng.uniform() > NOT_SURVEYED_SHARE
    )


@dataclass(frozen=True, slots=True)
class _Ailments:
    washboard: bool
    potholes: bool
    ruts: bool
    flat: bool
    too_steep: bool
    loose: bool
    secondary_ditch: bool
    high_shoulder: bool
    ditch_blocked: bool
    culvert_blocked: bool


def _look(
    segment: Segment, days: int, has_culvert: bool, today: date, rng: np.random.Generator
) -> Condition:
    seen_after = int(rng.integers(max(0, days - 24), days)) if days > 1 else 0
    wear = np.exp(-seen_after * (0.0012 + 0.0046 * segment.adt / 100))
    ill = _ailments(segment, seen_after, has_culvert, rng)
    measures = _measures(segment, ill, rng) if rng.uniform() < 0.55 else {}
    deformation = 1 + (rng.uniform(3.2, 4.0)) * wear
    if ill.washboard:
        deformation = rng.uniform(1.4, 2.9)
    if ill.potholes or ill.ruts:
        deformation = min(deformation, rng.uniform(1.6, 3.1))
    crown = rng.uniform(3.3, 5.0) - (rng.uniform(1.0, 2.3) if ill.flat or ill.too_steep else 0.0)
    drainage = {"good": 4.5, "fair": 3.9, "poor": 3.1}[segment.drainage] + rng.normal(0, 0.35)
    drainage -= 1.3 * (ill.ditch_blocked or ill.secondary_ditch) + 0.6 * ill.high_shoulder
    drainage -= 0.7 * ill.culvert_blocked
    gravel = np.interp(segment.gravel_mm, [5, 25, 50, 75, 100], [1, 2, 3, 4, 5])
    defects = 1 + (rng.uniform(2.9, 3.9) - 1.6 * ill.loose) * (0.55 + 0.45 * wear)
    plain = Condition(
        segment_id=segment.id,
        observed_on=today - timedelta(days=days - seen_after),
        crown=_score(crown),
        drainage=_score(drainage),
        gravel=_score(gravel + rng.normal(0, 0.3)),
        deformation=_score(deformation),
        defects=_score(defects),
        method="measured" if measures else "estimated",
        observer=_OBSERVERS[int(rng.integers(len(_OBSERVERS)))],
        last_bladed_on=today - timedelta(days=days),
        has_secondary_ditch=ill.secondary_ditch,
        has_high_shoulder=ill.high_shoulder,
        is_ditch_blocked=ill.ditch_blocked,
        is_culvert_blocked=ill.culvert_blocked,
        note=INVENTED,
    )
    return replace(plain, **measures)  # type: ignore[arg-type]


_OBSERVERS = ("N. Clover", "O. Tansy")


def _ailments(
    segment: Segment, days: int, has_culvert: bool, rng: np.random.Generator
) -> _Ailments:
    busy = min(1.0, segment.adt / 180.0)
    is_wet, is_dry = segment.drainage == "poor", segment.drainage == "good"
    hill = min(1.0, segment.grade_pct / 5.0)

    def chance(share: float) -> bool:
        return bool(rng.uniform() < share)

    washboard = chance((0.05 + 0.24 * busy + 0.14 * hill) * min(1.0, 0.25 + days / 30.0))
    flat = chance(0.12 + 0.10 * is_wet)
    return _Ailments(
        washboard=washboard,
        potholes=not washboard and chance(0.04 + 0.10 * (flat or is_wet)),
        ruts=chance(0.02 + 0.07 * is_wet),
        flat=flat,
        too_steep=not flat and chance(0.03),
        loose=chance(0.05 + 0.08 * is_dry + 0.06 * busy),
        secondary_ditch=chance(0.06 + 0.05 * hill),
        high_shoulder=chance(0.07),
        ditch_blocked=chance(0.03 + 0.09 * is_wet),
        culvert_blocked=has_culvert and chance(0.05),
    )


def _measures(segment: Segment, ill: _Ailments, rng: np.random.Generator) -> dict[str, float]:
    """What was measured with straightedge, level and probe, beside the scores."""
    crossfall = rng.uniform(3.2, 5.4)
    if ill.flat:
        crossfall = rng.uniform(0.6, 2.4)
    elif ill.too_steep:
        crossfall = rng.uniform(6.6, 8.5)
    found = {"crossfall_pct": round(crossfall, 1)}
    if rng.uniform() < 0.5:
        found["gravel_mm"] = float(max(8, round(segment.gravel_mm + rng.normal(0, 7))))
    if ill.washboard:
        found["corrugation_mm"] = float(round(rng.uniform(22, 62)))
        found["corrugation_spacing_m"] = round(rng.uniform(0.55, 0.95), 2)
    if ill.potholes:
        found["pothole_mm"] = float(round(rng.uniform(35, 95)))
        found["pothole_count_per_km"] = float(round(rng.uniform(6, 45)))
    if ill.ruts:
        found["rut_mm"] = float(round(rng.uniform(25, 70)))
    if ill.loose:
        found["loose_mm"] = float(round(rng.uniform(35, 85)))
    return found


def _score(value: float) -> float:
    """A windshield score, in halves from 1 to 5."""
    return float(np.clip(round(2 * float(value)) / 2, 1.0, 5.0))
