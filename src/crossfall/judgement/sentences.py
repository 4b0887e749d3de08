"""What a foreman would say about a surface, and the figures behind it.

Moisture is given to a tenth of a percent and rain to a whole millimetre: the model knows no more.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import isnan

from crossfall.formulas.moisture_class import MoistureClass


@dataclass(frozen=True, slots=True)
class DayFigures:
    """One segment on one day; moisture and rain are the middle of all members."""

    likely: MoistureClass
    chance: float
    """Share of members in ``likely``."""
    chance_workable: float
    moisture_pct: float
    """NaN when unknown."""
    optimum_pct: float
    rain_before_mm: float
    """The day before."""
    rain_mm: float
    """This day."""
    is_rain_to_blame: bool
    """Whether rain of the day itself, not wetness at its start, makes it too wet."""
    is_thaw_weak: bool
    workable_from: str | None
    """First part of the day on which it is likely workable."""
    lead_days: int
    """Days after the first day of the state."""
    seen: str = ""
    """What somebody saw here lately: ``seen too wet by Ann on 3 June``."""
    is_unsure: bool = False
    """Whether no class has the share of members that makes it worth saying."""
    chance_rain: float = 0.0
    """Share of members in which it rains too much to work on the day."""
    workable_parts: tuple[str, ...] = ()
    """The parts of the day on which it is likely workable."""


def foreman_sentence(day: DayFigures) -> str:
    """The word first, then the figures, then how sure.

    Examples
    --------
    >>> foreman_sentence(DayFigures(MoistureClass.WORKABLE, 0.94, 0.94, 7.43, 7.0, 9.2, 0.0, False,
    ...     False, "early", 0))
    'Right for the blade: 9 mm the day before, 7.4 % against an optimum of 7 %.'
    >>> foreman_sentence(DayFigures(MoistureClass.DRYING, 0.42, 0.31, 4.93, 7.0, 0.0, 0.0, False,
    ...     False, None, 0, is_unsure=True))
    'Not sure, have a look: 4.9 % against an optimum of 7 %; 4 in 10 drying, 3 in 10 workable.'
    """
    return f"{surface_word(day)}: {surface_figures(day)}{_sure(day)}."


def surface_word(day: DayFigures) -> str:
    """What to say first."""
    if day.is_unsure:
        return "Not sure, have a look"
    if day.likely is MoistureClass.FROZEN:
        return "Frozen, leave it"
    if day.is_thaw_weak and day.likely is MoistureClass.TOO_WET:
        return "Thaw-weak below, whatever the top looks like"
    if day.likely is MoistureClass.TOO_WET:
        if day.is_rain_to_blame:
            return _rain_word(day.workable_parts)
        if day.workable_from == "midday":
            return "Still greasy, try noon"
        if day.workable_from == "late":
            return "Still greasy, maybe late in the day"
        return "Too wet, let it drain"
    if day.likely is MoistureClass.WORKABLE:
        return "Right for the blade"
    if day.likely is MoistureClass.DRYING:
        return "Drying out, light blading only unless it is watered"
    if day.likely is MoistureClass.DRY:
        return "Dry, a very light touch or wait for rain"
    return "Nobody knows, look at the road first"


def _rain_word(workable_parts: tuple[str, ...]) -> str:
    """Where the hours of rain are known, what they leave of the day."""
    if not workable_parts:
        return "Rain on the day, leave it"
    if workable_parts[0] != "early":
        when = "noon" if workable_parts[0] == "midday" else "late in the day"
        return f"Rain early, try {when}"
    if "midday" not in workable_parts:
        return "Workable early, then rain: be done by noon"
    if "late" not in workable_parts:
        return "Workable until the afternoon, then rain"
    return "Rain between dry hours, watch the sky"


def surface_figures(day: DayFigures) -> str:
    """Rain, moisture and what was seen, without a word of judgement."""
    parts = []
    if isnan(day.rain_before_mm):
        parts.append("no rain figure for the day before")
    elif day.rain_before_mm >= 1:
        parts.append(f"{day.rain_before_mm:.0f} mm the day before")
    if isnan(day.rain_mm):
        parts.append("no rain figure for the day")
    elif day.rain_mm >= 1:
        parts.append(f"{day.rain_mm:.0f} mm on the day")
    elif day.is_rain_to_blame or (day.is_unsure and round(10 * day.chance_rain)):
        # The middle is dry, and yet rain is what most often makes it too wet
        parts.append(f"{round(10 * day.chance_rain)} in 10 for too much rain on the day")
    if not isnan(day.moisture_pct):
        parts.append(f"{day.moisture_pct:.1f} % against an optimum of {day.optimum_pct:g} %")
    if day.seen:
        parts.append(day.seen)
    return ", ".join(parts) if parts else "no moisture figure"


def _sure(day: DayFigures) -> str:
    if day.is_unsure:
        says = f"; {round(10 * day.chance)} in 10 {day.likely.label}"
        if day.likely is MoistureClass.WORKABLE:
            return says
        return f"{says}, {round(10 * day.chance_workable)} in 10 workable"
    if day.likely is MoistureClass.UNKNOWN or day.lead_days == 0:
        return ""
    tenths = round(10 * day.chance)
    if tenths >= 10:
        return ""
    also = round(10 * day.chance_workable)
    if day.likely is MoistureClass.WORKABLE or also == 0:
        return f"; about {tenths} in 10 that it is so"
    return f"; about {tenths} in 10 that it is so, {also} in 10 workable"
