"""One road through its days: what the layer has done, what it may do, and why.

The record side gives one moisture for each day; from today on there is a fan of members. Beside it
stand the limits of the classes, so that a chart can say at a glance where the road is workable.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
import numpy.typing as npt

from crossfall.formulas.moisture_class import MoistureClass
from crossfall.judgement.observe import Look
from crossfall.judgement.state import MoistureState

Floats = npt.NDArray[np.float64]

FAN = (0.1, 0.25, 0.5, 0.75, 0.9)
"""Shares of members that stay below the lines of a fan."""


@dataclass(frozen=True, slots=True)
class PastDay:
    """A recorded day; NaN where unknown."""

    day: date
    moisture_pct: float
    """At the start of the day [% by dry mass]."""
    rain_mm: float


@dataclass(frozen=True, slots=True)
class PartOfDay:
    """``early``, ``midday`` or ``late``."""

    name: str
    likely: MoistureClass
    p_workable: float


@dataclass(frozen=True, slots=True)
class DayAhead:
    """Today or a day to come."""

    day: date
    likely: MoistureClass
    p_by_class: tuple[float, ...]
    """Chance of each :class:`MoistureClass`."""
    moisture_pct: tuple[float, ...]
    """Moisture that the shares of :data:`FAN` stay below, NaN where unknown [%]."""
    rain_mm: tuple[float, ...]
    """The same for rain [mm]."""
    parts: tuple[PartOfDay, ...]
    is_thaw_weak: bool
    reason: str
    is_unsure: bool = False
    """Whether no class is likely enough to be named."""

    @property
    def p_workable(self) -> float:
        return self.p_by_class[MoistureClass.WORKABLE]


@dataclass(frozen=True, slots=True)
class RoadDays:
    """History and outlook of one segment, and the limits its classes lie between [%]."""

    segment_id: str
    optimum_pct: float
    dry_pct: float
    lower_pct: float
    upper_pct: float
    saturation_pct: float
    past: tuple[PastDay, ...]
    ahead: tuple[DayAhead, ...]
    looks: tuple[Look, ...]
    """What people saw, as this road hears it."""
    station: str
    """The station it listens to; empty where none is near enough."""

    @property
    def today(self) -> DayAhead:
        return self.ahead[0]

    def summary(self) -> str:
        """A foreman's sentence for today, and when the road can be worked if not today."""
        said = self.today.reason
        if self.today.is_unsure:
            return said
        if self.today.likely in (MoistureClass.WORKABLE, MoistureClass.UNKNOWN):
            return said
        for each in self.ahead[1:]:
            if each.likely is MoistureClass.WORKABLE and not each.is_unsure:
                return f"{said} Likely workable on {each.day:%A} ({100 * each.p_workable:.0f} %)."
        return f"{said} No day up to {_named(self.ahead[-1].day)} is likely to be workable."


def road_days(state: MoistureState, segment_id: str) -> RoadDays:
    """Everything the state knows of one segment, day by day.

    Raises
    ------
    InputError
        If the segment is unknown or not maintained.
    """
    row = state.index(segment_id)
    group = int(state.groups.of_segment[row])
    has_station = bool(state.groups.station[group] >= 0)
    bands, layer = state.groups.bands, state.groups.layer
    moisture, rain = state.history(segment_id)
    if not has_station:
        rain = np.full_like(rain, np.nan)
    first = state.history_first_day
    fan, rain_fan = state.fan(segment_id, FAN), _rain_fan(state, row)
    return RoadDays(
        segment_id=segment_id,
        optimum_pct=float(state.groups.optimum_pct[group]),
        dry_pct=float(bands.dry_pct[group]),
        lower_pct=float(bands.lower_pct[group]),
        upper_pct=float(bands.upper_pct[group]),
        saturation_pct=float(layer.saturation_mm[group] / layer.mm_per_pct[group]),
        past=tuple(
            PastDay(first + timedelta(days=n), float(moisture[n]), float(rain[n]))
            for n in range(moisture.size)
        ),
        ahead=tuple(
            _day_ahead(state, segment_id, row, at, fan[:, at], rain_fan[:, at])
            for at in range(state.n_days)
        ),
        looks=state.looks_of_group[group],
        station=state.stations[int(state.site_of_group[group])].name if has_station else "",
    )


def _day_ahead(
    state: MoistureState, segment_id: str, row: int, at: int, fan: Floats, rain: Floats
) -> DayAhead:
    day = state.first_day + timedelta(days=at)
    parts = state.part_classes(segment_id, day)
    return DayAhead(
        day=day,
        likely=state.most_likely(segment_id, day),
        p_by_class=tuple(float(state.p_class(each)[row, at]) for each in MoistureClass),
        moisture_pct=tuple(fan.tolist()),
        rain_mm=tuple(rain.tolist()),
        parts=tuple(PartOfDay(name, cls, p) for name, (cls, p) in parts.items()),
        is_thaw_weak=bool(state.thaw_weak[row, at]),
        reason=state.reason(segment_id, day),
        is_unsure=state.is_unsure(segment_id, day),
    )


def _rain_fan(state: MoistureState, row: int) -> Floats:
    return np.asarray(np.quantile(state.rain_mm[:, row], FAN, axis=0))


def _named(day: date) -> str:
    return f"{day:%A} {day.day} {day:%B}"
