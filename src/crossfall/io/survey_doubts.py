"""What cannot be so in an inspection: another unit, another end, another side, a day to come.

Each doubt names its row and field, the value, and the slip that is most likely behind it. The web
form and the reader of CSV files ask here, so that both refuse the same.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from itertools import combinations
from statistics import median

from crossfall.errors import Problem
from crossfall.model import Condition, Network
from crossfall.model.policy import EntryPolicy

SCORES = ("crown", "drainage", "gravel", "deformation", "defects")
DISTRESS_MM = ("corrugation_mm", "pothole_mm", "rut_mm", "loose_mm")
MEASURED = (
    "crossfall_pct",
    "gravel_mm",
    *DISTRESS_MM,
    "corrugation_spacing_m",
    "pothole_count_per_km",
    "pothole_width_mm",
    "iri_m_km",
)

_FEW_MM = ("corrugation_mm", "pothole_mm", "rut_mm")
"""Depths that nobody measures when they are only a few millimetres."""
_ENOUGH_ROWS = 3
_MM_IN_AN_INCH = 25.4
_END_TOLERANCE_M = 1.0


def doubts_of(
    look: Condition,
    where: str,
    *,
    network: Network | None,
    policy: EntryPolicy,
    today: date | None,
) -> list[Problem]:
    """What cannot be so in one look, taken by itself."""
    return [
        Problem(f"{where}, {field}", words)
        for field, words in (
            *_out_of_range(look, policy),
            *_slope_as_fraction(look, policy),
            *_inches_in_one(look, policy),
            *_wrong_day(look, today),
            *_wrong_place(look, network),
            *_wrong_side(look),
        )
    ]


def inches_in_columns(
    looks: Sequence[tuple[str, Condition]], policy: EntryPolicy
) -> dict[str, Problem]:
    """Rows of a column whose median can only be in inches, by the row's name."""
    found: dict[str, Problem] = {}
    least = {"gravel_mm": policy.gravel_median_min_mm} | dict.fromkeys(
        _FEW_MM, policy.distress_median_min_mm
    )
    for name, low in least.items():
        told = [
            (where, value)
            for where, look in looks
            # A depth of 0 says that there is none, in any unit
            if (value := getattr(look, name)) is not None and (value > 0 or name == "gravel_mm")
        ]
        if len(told) < _ENOUGH_ROWS:
            continue
        middle = median(value for _, value in told)
        if middle >= low:
            continue
        for where, value in told:
            if value < low:
                found.setdefault(
                    where,
                    Problem(
                        f"{where}, {name}",
                        f"is {value:g}, and {name} is {middle:g} mm at the median; if it is in"
                        f" inches multiply by {_MM_IN_AN_INCH:g}",
                    ),
                )
    return found


def clashes(looks: Sequence[tuple[str, Condition]], network: Network | None) -> dict[str, Problem]:
    """Rows that look at a place which an earlier row of the same day has, by the row's name."""
    by_day: dict[tuple[str, date], list[tuple[str, Condition]]] = {}
    for where, look in looks:
        by_day.setdefault((look.segment_id, look.observed_on), []).append((where, look))
    found: dict[str, Problem] = {}
    for group in by_day.values():
        for (before, earlier), (where, look) in combinations(group, 2):
            words = _clash(earlier, look, before, network)
            if words:
                found.setdefault(where, Problem(where, words))
    return found


def stretch_of(look: Condition, network: Network | None) -> tuple[float, float]:
    """From and to in metres; what is left open runs to the segment's end [m]."""
    segment = network.segment_by_id.get(look.segment_id) if network is not None else None
    end = segment.length_m if segment is not None else float("inf")
    return look.from_m or 0.0, end if look.to_m is None else look.to_m


_Doubts = Iterable[tuple[str, str]]


def _out_of_range(look: Condition, policy: EntryPolicy) -> _Doubts:
    limits: Mapping[str, tuple[float, float, str]] = {
        **dict.fromkeys(SCORES, (1.0, 5.0, " (failed to excellent)")),
        **dict.fromkeys(DISTRESS_MM, (0.0, policy.distress_max_mm, " mm")),
        "crossfall_pct": (-policy.crossfall_max_pct, policy.crossfall_max_pct, " %"),
        "gravel_mm": (0.0, policy.gravel_max_mm, " mm"),
        "corrugation_spacing_m": (0.0, policy.corrugation_spacing_max_m, " m"),
        "pothole_count_per_km": (0.0, policy.potholes_max_per_km, " a km"),
        "pothole_width_mm": (0.0, policy.pothole_width_max_mm, " mm"),
        "iri_m_km": (0.0, policy.iri_max_m_km, " m/km"),
        "driven_km_h": (0.0, policy.driven_max_km_h, " km/h"),
    }
    for name, (low, high, unit) in limits.items():
        value = getattr(look, name)
        if value is not None and not low <= value <= high:
            own = "" if name in SCORES else unit
            yield name, f"is {value:g}{own}; expected {low:g} to {high:g}{unit}"


def _slope_as_fraction(look: Condition, policy: EntryPolicy) -> _Doubts:
    slope = look.crossfall_pct
    if slope is not None and 0 < abs(slope) < policy.crossfall_fraction_below:
        yield (
            "crossfall_pct",
            f"is {slope:g} %; if it was meant as a fraction write {100 * slope:g}",
        )


def _inches_in_one(look: Condition, policy: EntryPolicy) -> _Doubts:
    """Figures that their own score contradicts, unless they were in inches."""
    thick = look.gravel_mm
    if (
        thick is not None
        and 0 < thick < policy.gravel_median_min_mm
        and look.gravel >= policy.score_contradicts
    ):
        yield (
            "gravel_mm",
            f"is {thick:g} mm beside a gravel score of {look.gravel:g}; if it is in inches write"
            f" {_MM_IN_AN_INCH * thick:.0f}",
        )
    depths = {name: value for name in _FEW_MM if (value := getattr(look, name))}
    is_shallow = depths and max(depths.values()) < policy.distress_median_min_mm
    if is_shallow and look.deformation <= policy.depth_contradicts:
        for name, value in depths.items():
            yield (
                name,
                f"is {value:g} mm beside a deformation score of {look.deformation:g}; if it is in"
                f" inches write {_MM_IN_AN_INCH * value:.0f}",
            )


def _wrong_day(look: Condition, today: date | None) -> _Doubts:
    if today is not None and look.observed_on > today:
        yield "observed_on", f"is {look.observed_on}, after today ({today})"
    bladed = look.last_bladed_on
    if bladed is not None and bladed > look.observed_on:
        yield "last_bladed_on", f"is {bladed}, after it was looked at on {look.observed_on}"


def _wrong_place(look: Condition, network: Network | None) -> _Doubts:
    if look.from_m is not None and look.from_m < 0:
        yield "from_m", f"is {look.from_m:g} m; expected 0 or more, from the segment's start"
    if look.from_m is not None and look.to_m is not None and look.from_m >= look.to_m:
        hint = (
            "; exchange them"
            if look.side == "both"
            else f"; driven the other way, so exchange them, and side {look.side} may be"
            f" {_OTHER[look.side]}"
        )
        yield "from_m", f"begins at {look.from_m:g} m and ends at {look.to_m:g} m{hint}"
    if network is None:
        return
    segment = network.segment_by_id.get(look.segment_id)
    if segment is None:
        yield "segment_id", f"{look.segment_id!r} is no segment of the network"
        return
    if not segment.is_maintained:
        yield "segment_id", f"{look.segment_id} ({segment.route}) is not maintained by this agency"
    for name in ("from_m", "to_m"):
        value = getattr(look, name)
        if value is not None and value > segment.length_m + _END_TOLERANCE_M:
            yield (
                name,
                f"is {value:g} m, but {look.segment_id} is {segment.length_m:.0f} m long; is it in"
                " feet, or of another segment?",
            )


_OTHER = {"left": "right", "right": "left"}


def _wrong_side(look: Condition) -> _Doubts:
    windrow = look.windrow_side
    if look.side != "both" and windrow is not None and windrow != look.side:
        yield (
            "windrow_side",
            f"is {windrow} in a look at the {look.side} side; left and right face the segment's"
            " end, so are they mixed up?",
        )


def _clash(earlier: Condition, look: Condition, before: str, network: Network | None) -> str | None:
    sides = {earlier.side, look.side}
    if "both" not in sides and len(sides) > 1:
        return None
    row = f"row {before.rsplit(' row ', 1)[-1]}"
    is_whole = all(each.from_m is None and each.to_m is None for each in (earlier, look))
    if is_whole and look.side == "both":
        return f"looks at {look.segment_id} on {look.observed_on} again, as {row} did"
    low = max(stretch_of(earlier, network)[0], stretch_of(look, network)[0])
    high = min(stretch_of(earlier, network)[1], stretch_of(look, network)[1])
    if high <= low:
        return None
    side = f" on the {look.side}" if look.side != "both" else ""
    other = f"; was one of them the {_OTHER[look.side]}?" if look.side != "both" else ""
    span = "all of it" if high == float("inf") else f"{low:g} to {high:g} m"
    return f"overlaps {row} on {look.segment_id}{side}, {span}{other}"
