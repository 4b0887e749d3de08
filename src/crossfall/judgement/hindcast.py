"""Looking back over a whole record: how a road was on every day, and what that says locally.

"The day after rain is the best day" is common sense on gravel, and true in mild climates; in a
hot, dry one the window may be gone by morning or never come. :func:`day_after_rain` counts it on
the agency's own weather, so that the rule is a local figure and not a belief.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np
import numpy.typing as npt

from crossfall.errors import InputError
from crossfall.formulas.moisture_class import Classes, MoistureClass, classify_moisture
from crossfall.judgement.forcing import Site, Timeline, build_timeline
from crossfall.judgement.run_days import run_days
from crossfall.judgement.stations import group_segments
from crossfall.model.network import Segment
from crossfall.model.policy.moisture import MoisturePolicy
from crossfall.model.weather import WeatherRecord

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Hindcast:
    """One road through one record: arrays of shape (day,)."""

    first_day: date
    moisture_pct: Floats
    """At the start of the day, NaN where unknown [% by dry mass]."""
    classes: Classes
    rain_mm: Floats
    is_weak: Bools
    runoff_mm: Floats
    """With the least that missing days may have brought; so are the other fluxes."""
    evaporation_mm: Floats
    drainage_mm: Floats
    freezing_c_day: Floats
    thawing_c_day: Floats
    tmean_c: Floats
    notes: tuple[str, ...]

    @property
    def months(self) -> npt.NDArray[np.int64]:
        """Month of each day, 1 to 12."""
        n_days = self.moisture_pct.size
        return np.array([(self.first_day + timedelta(days=i)).month for i in range(n_days)])

    def shares(self, months: tuple[int, ...] = ()) -> dict[MoistureClass, float]:
        """Share of days in each class, over some months or all."""
        keep = np.isin(self.months, months) if months else np.ones(self.classes.size, bool)
        if not keep.any():
            raise InputError(f"the record has no day in months {months}")
        return {cls: float((self.classes[keep] == cls).mean()) for cls in MoistureClass}


@dataclass(frozen=True, slots=True)
class DayAfterRain:
    """How often the day after a good rain was workable."""

    n_days: int
    n_workable: int
    rain_mm: float
    months: tuple[int, ...]

    def summary(self) -> str:
        """A sentence for the foreman."""
        if not self.n_days:
            return f"No day with {self.rain_mm:g} mm or more in these months."
        return (
            f"The day after {self.rain_mm:g} mm or more was workable {self.n_workable} times out of"
            f" {self.n_days}."
        )


def hindcast(record: WeatherRecord, segment: Segment, policy: MoisturePolicy) -> Hindcast:
    """Follow one road through all days of a record.

    Raises
    ------
    InputError
        As :func:`~crossfall.judgement.state.surface_state`, for this record and segment.
    """
    whole = replace(policy, warmup_days=record.n_days, n_members=1, et_spread=0.0)
    timeline = build_timeline(
        [record],
        (),
        [Site(0)],
        whole,
        first_day=record.last_day + timedelta(days=1),
        n_days=1,
        seed=0,
    )
    station = np.zeros(1, dtype=np.int64)
    groups = group_segments([segment], [segment.drainage], station, policy)
    layer = groups.layer
    past = slice(0, timeline.n_past)
    rows = [0, 1] if timeline.is_doubled else [0, 0]
    start = np.stack([layer.air_dry_mm, layer.saturation_mm])
    run = run_days(timeline, layer, station, start, rows=rows, days=past)
    pair = layer.percent(run.start_mm)
    is_unknown = np.abs(pair[1] - pair[0]) > policy.unknown_above_pct
    moisture = np.where(is_unknown, np.nan, pair.mean(axis=0))
    rain = timeline.rain_mm[0, :, past]
    classes = classify_moisture(
        moisture,
        rain,
        timeline.frost_start[0, :, past] >= layer.freeze_through_c_day[:, None],
        timeline.weather.is_weak[0, :, past],
        groups.bands,
        rain_limit_mm=policy.rain_limit_mm,
    )
    return Hindcast(
        first_day=timeline.first_day,
        moisture_pct=moisture[0],
        classes=classes[0],
        rain_mm=rain[0],
        is_weak=timeline.weather.is_weak[0, 0, past],
        runoff_mm=run.runoff_mm[0, 0],
        evaporation_mm=run.evaporation_mm[0, 0],
        drainage_mm=run.drainage_mm[0, 0],
        freezing_c_day=timeline.freezing_c_day[0, 0, past],
        thawing_c_day=timeline.thawing_c_day[0, 0, past],
        tmean_c=timeline.tmean_c[0, 0, past],
        notes=_without_forecast(timeline),
    )


def day_after_rain(
    seen: Hindcast,
    *,
    least_mm: float = 10.0,
    dry_mm: float = 1.0,
    months: tuple[int, ...] = (6, 7, 8),
) -> DayAfterRain:
    """Count how often the day after ``least_mm`` or more, itself under ``dry_mm``, was workable.

    Raises
    ------
    InputError
        If ``least_mm`` is not above 0.
    """
    if not least_mm > 0:
        raise InputError(f"least_mm is {least_mm:g}; expected above 0")
    is_after = (
        (seen.rain_mm[:-1] >= least_mm)
        & (seen.rain_mm[1:] < dry_mm)
        & np.isin(seen.months[:-1], months)
    )
    is_workable = seen.classes[1:] == MoistureClass.WORKABLE
    return DayAfterRain(int(is_after.sum()), int((is_after & is_workable).sum()), least_mm, months)


def _without_forecast(timeline: Timeline) -> tuple[str, ...]:
    return tuple(note for note in timeline.notes if "past weather" not in note)
