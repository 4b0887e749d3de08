"""How wet the surface is: every maintained segment, every day, every member.

The layer is followed from long before the first day with recorded weather, once for each group
of alike segments. At the end of the record the members part: each starts a little differently,
gets its own weather and dries at its own rate. A day is classed by the surface at its start and by
its rain; the chance of a class is the share of members in it.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from functools import cached_property

import numpy as np
import numpy.typing as npt

from crossfall.errors import InputError
from crossfall.formulas.layer import Layer
from crossfall.formulas.moisture import run_layer
from crossfall.formulas.moisture_class import (
    Bands,
    Bools,
    Classes,
    MoistureClass,
    classify_moisture,
    moisture_at_hours,
)
from crossfall.formulas.sun import daylight_hours
from crossfall.judgement.forcing import Timeline, build_timeline
from crossfall.judgement.sentences import DayFigures, foreman_sentence
from crossfall.judgement.stations import Groups, drainage_now, group_segments, nearest_station
from crossfall.model.district import District
from crossfall.model.policy.moisture import MoisturePolicy
from crossfall.model.weather import Station

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

DAY_PARTS = ("early", "midday", "late")


@dataclass(frozen=True, eq=False)
class MoistureState:
    """Wetness of the surface; arrays called ``group_`` or ``station_`` are the compact ones.

    The wide arrays (:attr:`classes`, :attr:`moisture_pct`, :attr:`rain_mm`) are made on demand.
    """

    segment_ids: tuple[str, ...]
    """Maintained segments only, in the order of the network."""
    first_day: date
    n_days: int
    groups: Groups
    stations: tuple[Station, ...]
    group_classes: Classes
    """(member, group, day), as the gate sees it."""
    group_surface_classes: Classes
    """The same by the surface alone, without the thaw-weak override."""
    group_moisture_pct: Floats
    """(member, group, day) at the start of the day, NaN where unknown [% by dry mass]."""
    group_is_frozen: Bools
    station_rain_mm: Floats
    """(member, station, day), NaN where unknown [mm]."""
    station_et0_mm: Floats
    station_is_weak: Bools
    station_rain_before_mm: Floats
    """(member, station): the day before ``first_day`` [mm]."""
    history_first_day: date
    history_moisture_pct: Floats
    """(group, day) at the start of each recorded day, NaN where unknown; for charts."""
    history_rain_mm: Floats
    """(station, day)."""
    policy: MoisturePolicy
    notes: tuple[str, ...]
    """What the state rests on and what was wrong with the weather, for a person."""

    @property
    def n_members(self) -> int:
        return int(self.group_classes.shape[0])

    @cached_property
    def index_by_id(self) -> dict[str, int]:
        return {segment_id: i for i, segment_id in enumerate(self.segment_ids)}

    @cached_property
    def classes(self) -> Classes:
        """(member, segment, day) of :class:`MoistureClass`."""
        return np.asarray(self.group_classes[:, self.groups.of_segment])

    @cached_property
    def moisture_pct(self) -> Floats:
        """(member, segment, day) at the start of the day [% by dry mass]."""
        return np.asarray(self.group_moisture_pct[:, self.groups.of_segment])

    @cached_property
    def rain_mm(self) -> Floats:
        """(member, segment, day) [mm]."""
        return np.asarray(self._rain_by_group[:, self.groups.of_segment])

    @cached_property
    def p_workable(self) -> Floats:
        """Chance that the surface is workable, (segment, day)."""
        return self.p_class(MoistureClass.WORKABLE)

    @cached_property
    def p_thaw_weak(self) -> Floats:
        """Chance that the road is thaw-weak, (segment, day)."""
        share = self.station_is_weak.mean(axis=0)[self.groups.station_or_first]
        share[self.groups.station < 0] = 0.0
        return np.asarray(share[self.groups.of_segment])

    @cached_property
    def thaw_weak(self) -> Bools:
        """Whether the road is more likely thaw-weak than not, (segment, day)."""
        return np.asarray(self.p_thaw_weak >= 0.5)

    def p_class(self, cls: MoistureClass) -> Floats:
        """Chance of a class, (segment, day)."""
        return np.asarray((self.group_classes == cls).mean(axis=0)[self.groups.of_segment])

    def index(self, segment_id: str) -> int:
        """Place of a segment in the arrays.

        Raises
        ------
        InputError
            If the segment is unknown or not maintained.
        """
        if segment_id not in self.index_by_id:
            raise InputError(f"segment {segment_id!r} has no moisture; expected a maintained one")
        return self.index_by_id[segment_id]

    def day_index(self, day: date) -> int:
        """Place of a day in the arrays.

        Raises
        ------
        InputError
            If the day is outside the state.
        """
        offset = (day - self.first_day).days
        if not 0 <= offset < self.n_days:
            last = self.first_day + timedelta(days=self.n_days - 1)
            raise InputError(f"day {day} is outside {self.first_day} to {last}")
        return offset

    def most_likely(self, segment_id: str, day: date) -> MoistureClass:
        """The class most members agree on; the wetter one when two are alike."""
        group, at = self._place(segment_id, day)
        counts = np.bincount(self.group_classes[:, group, at], minlength=len(MoistureClass))
        return MoistureClass(int(np.argmax(counts)))

    def likely_surface(self, segment_id: str, day: date) -> MoistureClass:
        """The same by the surface alone, whatever the thaw did below."""
        group, at = self._place(segment_id, day)
        counts = np.bincount(self.group_surface_classes[:, group, at], minlength=len(MoistureClass))
        return MoistureClass(int(np.argmax(counts)))

    def part_classes(self, segment_id: str, day: date) -> dict[str, tuple[MoistureClass, float]]:
        """Most likely class and chance of workable for each part of the day.

        Rain has no hour in daily weather: a day with more than the limit is too wet in all its
        parts.
        """
        group, at = self._place(segment_id, day)
        classes = self._parts(group, at)
        found = {}
        for name, row in zip(DAY_PARTS, classes, strict=True):
            counts = np.bincount(row, minlength=len(MoistureClass))
            found[name] = (
                MoistureClass(int(np.argmax(counts))),
                float((row == MoistureClass.WORKABLE).mean()),
            )
        return found

    def reason(self, segment_id: str, day: date) -> str:
        """What a foreman would say first, and the figures behind it."""
        return foreman_sentence(self.figures(segment_id, day))

    def figures(self, segment_id: str, day: date) -> DayFigures:
        """The figures behind :meth:`reason`."""
        group, at = self._place(segment_id, day)
        rain = self._rain_by_group[:, group, :]
        before = (
            self.station_rain_before_mm[:, self.groups.station_or_first[group]]
            if at == 0
            else rain[:, at - 1]
        )
        classes = self.group_classes[:, group, at]
        likely = self.most_likely(segment_id, day)
        parts = self.part_classes(segment_id, day)
        workable_from = next(
            (name for name in DAY_PARTS if parts[name][0] is MoistureClass.WORKABLE), None
        )
        return DayFigures(
            likely=likely,
            chance=float((classes == likely).mean()),
            chance_workable=float((classes == MoistureClass.WORKABLE).mean()),
            moisture_pct=_median(self.group_moisture_pct[:, group, at]),
            optimum_pct=float(self.groups.optimum_pct[group]),
            rain_before_mm=_median(before),
            rain_mm=_median(rain[:, at]),
            chance_rain=_share(rain[:, at] > self.policy.rain_limit_mm),
            is_thaw_weak=bool(self.thaw_weak[self.index(segment_id), at]),
            workable_from=workable_from,
            lead_days=at,
        )

    def summary(self) -> str:
        """One paragraph: how many segments are in which state on the first day, and the notes."""
        today = self.group_classes[:, self.groups.of_segment, 0]
        counts = np.stack([(today == cls).mean(axis=0) for cls in MoistureClass])
        likely = np.bincount(np.argmax(counts, axis=0), minlength=len(MoistureClass))
        parts = [f"{n} {cls.label}" for cls, n in zip(MoistureClass, likely, strict=True) if n]
        text = f"{self.first_day}: {len(self.segment_ids)} segments, {', '.join(parts)}"
        return ". ".join((text, *self.notes)) + "."

    @cached_property
    def _rain_by_group(self) -> Floats:
        rain = self.station_rain_mm[:, self.groups.station_or_first]
        return np.where(self.groups.station[:, None] < 0, np.nan, rain)

    def _place(self, segment_id: str, day: date) -> tuple[int, int]:
        return int(self.groups.of_segment[self.index(segment_id)]), self.day_index(day)

    def _parts(self, group: int, at: int) -> Classes:
        station = int(self.groups.station_or_first[group])
        day = self.first_day + timedelta(days=at)
        daylight = float(daylight_hours(self.stations[station].lat, day.timetuple().tm_yday))
        layer, bands = _one_layer(self.groups.layer, group), _one_bands(self.groups.bands, group)
        start = self.group_moisture_pct[:, [group], at : at + 1] * layer.mm_per_pct
        is_frozen = self.group_is_frozen[:, [group], at : at + 1]
        is_weak = self.station_is_weak[:, [station], at : at + 1]
        moisture = moisture_at_hours(
            layer,
            start,
            self.station_et0_mm[:, [station], at : at + 1],
            is_frozen,
            is_weak,
            (self.policy.early_h, self.policy.midday_h, self.policy.late_h),
            daylight_h=daylight,
        )
        found = classify_moisture(
            moisture,
            self._rain_by_group[:, [group], at : at + 1],
            np.broadcast_to(is_frozen, moisture.shape),
            np.broadcast_to(is_weak, moisture.shape),
            bands,
            rain_limit_mm=self.policy.rain_limit_mm,
        )
        return np.asarray(found[..., 0, 0])


HISTORY_DAYS = 45
"""Recorded days kept for charts; not a rule, only how far back a chart looks."""


def surface_state(
    district: District, *, first_day: date, n_days: int, seed: int = 0
) -> MoistureState:
    """Wetness of every maintained segment for ``n_days`` from ``first_day``.

    Raises
    ------
    InputError
        If nothing is maintained, ``n_days`` is not 1 to 366, there is no weather near the network,
        it begins after ``first_day`` or ends long before it, or a material is unknown.
    """
    policy = district.policy.moisture
    segments = district.network.maintained
    if not 1 <= n_days <= 366:
        raise InputError(f"n_days is {n_days}; expected 1 to 366")
    if not segments:
        raise InputError("the network has no maintained segment; mark the roads you blade first")
    stations = [record.station for record in district.weather]
    nearest = nearest_station(segments, stations, max_km=policy.station_max_km)
    used = np.unique(nearest[nearest >= 0])
    nearest = np.where(nearest < 0, -1, np.searchsorted(used, nearest))
    drainage = drainage_now(segments, district.conditions, district.records, today=first_day)
    groups = group_segments(segments, drainage, nearest, policy)
    timeline = build_timeline(
        [district.weather[i] for i in used],
        district.forecasts,
        policy,
        first_day=first_day,
        n_days=n_days,
        seed=seed,
    )
    notes = list(timeline.notes)
    n_far = int((nearest < 0).sum())
    if n_far:
        notes.append(
            f"{n_far} segments have no weather station within {policy.station_max_km:g} km"
        )
    past, future = _run_members(timeline, groups, policy, seed)
    return _assemble(
        tuple(segment.id for segment in segments),
        first_day,
        n_days,
        groups,
        timeline,
        past,
        future,
        policy,
        tuple(notes),
    )


def _run_members(
    timeline: Timeline, groups: Groups, policy: MoisturePolicy, seed: int
) -> tuple[Floats, Floats]:
    """Moisture [%], past (group, day) and future (member, group, day), NaN where unknown.

    Both run to the start of each day; the past ends with the start of the first member day.
    """
    layer, station = groups.layer, groups.station_or_first
    n_past, n_members = timeline.n_past, timeline.n_members
    ends = [0, n_members] if timeline.is_doubled else [0, 0]
    weather = timeline.weather
    past_weather = weather.part(ends, slice(0, n_past))
    start = np.stack([layer.air_dry_mm, layer.saturation_mm])
    past = layer.percent(run_layer(layer, past_weather, station, start).water_mm)
    is_unknown = np.abs(past[1] - past[0]) > policy.unknown_above_pct
    past_pct = np.where(is_unknown, np.nan, (past[0] + past[1]) / 2)

    rng = np.random.default_rng([seed, 5])
    spread = policy.start_spread_pct * rng.standard_normal((n_members, 1)) * layer.mm_per_pct
    rew_factor = np.clip(1 + policy.rew_spread * rng.standard_normal(n_members), 0.5, 1.5)
    needs_both = timeline.is_doubled or bool(is_unknown[:, -1].any())
    runs = []
    for which in (0, 1) if needs_both else (0,):
        rows = slice(0, n_members)
        if which and timeline.is_doubled:
            rows = slice(n_members, 2 * n_members)
        ahead = weather.part(rows, slice(n_past, None))
        level = past[which, :, -1] if needs_both else past[:, :, -1].mean(axis=0)
        begin = np.clip(level * layer.mm_per_pct + spread, layer.air_dry_mm, layer.saturation_mm)
        run = run_layer(layer, ahead, station, begin, rew_factor=rew_factor)
        runs.append(layer.percent(run.start_mm))
    future = runs[0]
    if needs_both:
        is_unknown = np.abs(runs[1] - runs[0]) > policy.unknown_above_pct
        future = np.where(is_unknown, np.nan, (runs[0] + runs[1]) / 2)
    is_far = groups.station < 0
    past_pct[is_far] = np.nan
    future[:, is_far] = np.nan
    return past_pct, future


def _assemble(
    segment_ids: tuple[str, ...],
    first_day: date,
    n_days: int,
    groups: Groups,
    timeline: Timeline,
    past_pct: Floats,
    future_pct: Floats,
    policy: MoisturePolicy,
    notes: tuple[str, ...],
) -> MoistureState:
    n_members, n_past = timeline.n_members, timeline.n_past
    at = timeline.n_days - n_days
    moisture = future_pct[..., at - n_past :]
    rain = timeline.rain_mm[..., at:]
    is_weak = timeline.weather.is_weak[:n_members, :, at:]
    station = groups.station_or_first
    is_frozen = (
        timeline.frost_start[:n_members, station, at:] >= groups.layer.freeze_through_c_day[:, None]
    )
    group_rain = np.where(groups.station[:, None] < 0, np.nan, rain[:, station])
    nobody = np.zeros(is_frozen.shape, bool)
    weak_by_group = is_weak[:, station]
    surface, classes = (
        classify_moisture(
            moisture,
            group_rain,
            is_frozen,
            each,
            groups.bands,
            rain_limit_mm=policy.rain_limit_mm,
        )
        for each in (nobody, weak_by_group)
    )
    n_history = min(HISTORY_DAYS, n_past)
    return MoistureState(
        segment_ids=segment_ids,
        first_day=first_day,
        n_days=n_days,
        groups=groups,
        stations=timeline.stations,
        group_classes=classes,
        group_surface_classes=surface,
        group_moisture_pct=moisture,
        group_is_frozen=is_frozen,
        station_rain_mm=rain,
        station_et0_mm=timeline.weather.et0_mm[:n_members, :, at:],
        station_is_weak=is_weak,
        station_rain_before_mm=timeline.rain_mm[:, :, at - 1],
        history_first_day=timeline.first_day + timedelta(days=n_past - n_history),
        history_moisture_pct=past_pct[:, n_past - n_history : n_past],
        history_rain_mm=timeline.rain_mm[0, :, n_past - n_history : n_past],
        policy=policy,
        notes=notes,
    )


def _one_layer(layer: Layer, group: int) -> Layer:
    return Layer(
        layer.mm_per_pct[[group]],
        layer.field_capacity_mm[[group]],
        layer.saturation_mm[[group]],
        layer.air_dry_mm[[group]],
        layer.rew_mm[[group]],
        layer.drain_per_day[[group]],
        layer.storage_mm[[group]],
        layer.et_factor[[group]],
        layer.freeze_through_c_day[[group]],
    )


def _one_bands(bands: Bands, group: int) -> Bands:
    return Bands(bands.dry_pct[[group]], bands.lower_pct[[group]], bands.upper_pct[[group]])


def _median(values: Floats) -> float:
    known = values[np.isfinite(values)]
    return float(np.median(known)) if known.size * 2 > values.size else float("nan")


def _share(flags: Bools) -> float:
    return float(np.mean(flags)) if flags.size else 0.0
