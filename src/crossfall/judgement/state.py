"""How wet the surface is: every maintained segment, every day, every member.

The layer is followed from long before the first day with recorded weather, once for each group
of alike segments. At the end of the record the members part: each starts a little differently,
gets its own weather and dries at its own rate. A day is classed by the surface at its start and by
its rain; the chance of a class is the share of members in it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cached_property

import numpy as np
import numpy.typing as npt

from crossfall.errors import InputError
from crossfall.formulas.moisture_class import (
    Bools,
    Classes,
    MoistureClass,
    classify_moisture,
    rain_between,
)
from crossfall.formulas.sun import daylight_hours
from crossfall.judgement.day_parts import DAY_PARTS, part_of_day_classes
from crossfall.judgement.follow import Followed, follow_layer
from crossfall.judgement.forcing import Site, Timeline, build_timeline
from crossfall.judgement.load_limit import posted_axle_t
from crossfall.judgement.observe import Heard, Look, hear
from crossfall.judgement.sentences import DayFigures, foreman_sentence
from crossfall.judgement.station_days import that_reach
from crossfall.judgement.stations import Groups, drainage_now, group_segments, nearest_station
from crossfall.model.district import District
from crossfall.model.policy.moisture import MoisturePolicy
from crossfall.model.weather import Station

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class MoistureState:
    """Wetness of the surface; arrays called ``group_`` or ``site_`` are the compact ones.

    The wide arrays (:attr:`classes`, :attr:`moisture_pct`, :attr:`rain_mm`) are made on demand.
    """

    segment_ids: tuple[str, ...]
    """Maintained segments only, in the order of the network."""
    first_day: date
    n_days: int
    groups: Groups
    site_of_group: Ints
    """A site is a station as a neighbourhood hears it, local gauges mixed in."""
    stations: tuple[Station, ...]
    """Station of each site."""
    group_classes: Classes
    """(member, group, day), as the gate sees it."""
    group_surface_classes: Classes
    """The same by the surface alone, without the thaw-weak override."""
    group_moisture_pct: Floats
    """(member, group, day) at the start of the day, NaN where unknown [% by dry mass]."""
    group_is_frozen: Bools
    site_rain_mm: Floats
    """(member, site, day), NaN where unknown [mm]."""
    site_et0_mm: Floats
    site_is_weak: Bools
    site_rain_before_mm: Floats
    """(member, site): the day before ``first_day`` [mm]."""
    site_freezing_c_day: Floats
    """(member, site, day): cumulative freezing index [degC d]; so is the thawing one."""
    site_thawing_c_day: Floats
    posted_axle_t: Floats
    """(segment, day): heaviest axle that a signed posting lets on, inf where none is up [t]."""
    looks_of_group: tuple[tuple[Look, ...], ...]
    """What people saw, as each group heard it."""
    history_first_day: date
    history_moisture_pct: Floats
    """(group, day) at the start of each recorded day, NaN where unknown; for charts."""
    history_rain_mm: Floats
    """(site, day)."""
    policy: MoisturePolicy
    notes: tuple[str, ...]
    """What the state rests on and what was wrong with the weather, for a person."""
    site_rain_share: Floats | None = None
    """(member, site, day, 24): share of a day's rain in each hour, NaN where only the day is known;
    None where nothing is."""

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
        share = self.site_is_weak.mean(axis=0)[self.site_of_group]
        share[self.groups.station < 0] = 0.0
        return np.asarray(share[self.groups.of_segment])

    @cached_property
    def thaw_weak(self) -> Bools:
        """Whether the road is more likely thaw-weak than not, (segment, day)."""
        return np.asarray(self.p_thaw_weak >= self.policy.weak_share)

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
        return MoistureClass(int(self._likely[0][group, at]))

    def likely_surface(self, segment_id: str, day: date) -> MoistureClass:
        """The same by the surface alone, whatever the thaw did below."""
        group, at = self._place(segment_id, day)
        return MoistureClass(int(self._likely[1][group, at]))

    def is_unsure(self, segment_id: str, day: date) -> bool:
        """Whether no class has the share of members that makes it worth saying."""
        group, at = self._place(segment_id, day)
        return bool(self._most_agree[group, at] < self.policy.sure_share)

    def part_classes(self, segment_id: str, day: date) -> dict[str, tuple[MoistureClass, float]]:
        """Most likely class and chance of workable for each part of the day.

        Rain falls in its hour where the hours are known; else a day with more than the limit is
        too wet in all its parts.
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
        """The figures behind :meth:`reason`; the same for all segments of a group."""
        place = self._place(segment_id, day)
        if place not in self._known_figures:
            self._known_figures[place] = self._figures(segment_id, day)
        return self._known_figures[place]

    def fan(
        self, segment_id: str, shares: tuple[float, ...] = (0.1, 0.25, 0.5, 0.75, 0.9)
    ) -> Floats:
        """Moisture that given shares of members stay below, (share, day), for charts [%]."""
        group = int(self.groups.of_segment[self.index(segment_id)])
        return np.asarray(np.quantile(self.group_moisture_pct[:, group], shares, axis=0))

    def history(self, segment_id: str) -> tuple[Floats, Floats]:
        """Moisture [%] and rain [mm] of the days from ``history_first_day``, for charts."""
        group = int(self.groups.of_segment[self.index(segment_id)])
        return self.history_moisture_pct[group], self.history_rain_mm[self.site_of_group[group]]

    def summary(self) -> str:
        """One paragraph: how many segments are in which state on the first day, and the notes."""
        return ". ".join((self.headline(), *self.notes)) + "."

    def headline(self) -> str:
        """How many segments are in which state on the first day, and on how many none is sure."""
        today = self.group_classes[:, self.groups.of_segment, 0]
        counts = np.stack([(today == cls).mean(axis=0) for cls in MoistureClass])
        is_sure = self._most_agree[self.groups.of_segment, 0] >= self.policy.sure_share
        likely = np.bincount(np.argmax(counts, axis=0)[is_sure], minlength=len(MoistureClass))
        parts = [f"{n} {cls.label}" for cls, n in zip(MoistureClass, likely, strict=True) if n]
        if n_unsure := int((~is_sure).sum()):
            parts.append(f"{n_unsure} not sure")
        return f"{self.first_day}: {len(self.segment_ids)} segments, {', '.join(parts)}"

    @cached_property
    def _rain_by_group(self) -> Floats:
        rain = self.site_rain_mm[:, self.site_of_group]
        return np.where(self.groups.station[:, None] < 0, np.nan, rain)

    def _figures(self, segment_id: str, day: date) -> DayFigures:
        group, at = self._place(segment_id, day)
        rain = self._rain_by_group[:, group]
        share, site = self.site_rain_share, self.site_of_group[group]
        share = None if share is None else share[:, site, at]
        at_work = _rain_at_work(rain[:, at], share, self.policy)
        before = (
            self.site_rain_before_mm[:, self.site_of_group[group]] if at == 0 else rain[:, at - 1]
        )
        classes = self.group_classes[:, group, at]
        likely = self.most_likely(segment_id, day)
        agree = classes == likely
        parts = self.part_classes(segment_id, day)
        return DayFigures(
            likely=likely,
            chance=float(agree.mean()),
            chance_workable=float((classes == MoistureClass.WORKABLE).mean()),
            moisture_pct=_median(self.group_moisture_pct[:, group, at]),
            optimum_pct=float(self.groups.optimum_pct[group]),
            rain_before_mm=_median(before),
            rain_mm=_median(rain[:, at]),
            is_rain_to_blame=_share(at_work[agree] > self.policy.rain_limit_mm)
            > self.policy.blame_share,
            is_thaw_weak=bool(self.thaw_weak[self.index(segment_id), at]),
            workable_from=next(
                (name for name in DAY_PARTS if parts[name][0] is MoistureClass.WORKABLE), None
            ),
            lead_days=at,
            seen=_seen(self.looks_of_group[group], day, self.policy),
            is_unsure=self.is_unsure(segment_id, day),
            chance_rain=_share(at_work > self.policy.rain_limit_mm),
            workable_parts=tuple(
                name for name in DAY_PARTS if parts[name][0] is MoistureClass.WORKABLE
            ),
        )

    @cached_property
    def _known_figures(self) -> dict[tuple[int, int], DayFigures]:
        return {}

    @cached_property
    def _likely(self) -> tuple[Classes, Classes]:
        """Most frequent class of each group and day, with and without the thaw below."""
        found = []
        for classes in (self.group_classes, self.group_surface_classes):
            counts = np.stack([(classes == cls).sum(axis=0) for cls in MoistureClass])
            found.append(np.argmax(counts, axis=0).astype(np.int8))
        return found[0], found[1]

    @cached_property
    def _most_agree(self) -> Floats:
        """Share of members in the most frequent class, (group, day)."""
        counts = np.stack([(self.group_classes == cls).sum(axis=0) for cls in MoistureClass])
        return np.asarray(counts.max(axis=0) / self.n_members)

    def _place(self, segment_id: str, day: date) -> tuple[int, int]:
        return int(self.groups.of_segment[self.index(segment_id)]), self.day_index(day)

    def _parts(self, group: int, at: int) -> Classes:
        site = int(self.site_of_group[group])
        day = self.first_day + timedelta(days=at)
        layer = self.groups.layer.part([group])
        share = self.site_rain_share
        return part_of_day_classes(
            layer,
            self.groups.bands.part([group]),
            self.group_moisture_pct[:, group, at] * layer.mm_per_pct,
            self._rain_by_group[:, group, at],
            None if share is None else share[:, site, at],
            self.site_et0_mm[:, site, at],
            self.group_is_frozen[:, group, at],
            self.site_is_weak[:, site, at],
            self.policy,
            daylight_h=float(daylight_hours(self.stations[site].lat, day.timetuple().tm_yday)),
        )


def surface_state(
    district: District, *, first_day: date, n_days: int, seed: int = 0
) -> MoistureState:
    """Wetness of every maintained segment for ``n_days`` from ``first_day``.

    The weather record is used up to the day before ``first_day``, so that a plan for a past day
    sees what could be seen then. Observations up to ``first_day`` itself are taken in.

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
    records, left_out = that_reach(district.weather, district.forecasts, policy, first_day)
    nearest = nearest_station(
        segments, [record.station for record in records], max_km=policy.station_max_km
    )
    used = np.unique(nearest[nearest >= 0])
    station = np.where(nearest < 0, -1, np.searchsorted(used, nearest))
    drainage = drainage_now(segments, district.conditions, district.records, today=first_day)
    heard, heard_notes = hear(segments, district.observations, policy, today=first_day)
    groups = group_segments(segments, drainage, station, policy, apart=heard)
    heard_by_group = [heard[i] for i in groups.representative]

    sites: dict[Site, int] = {}
    site = np.array(
        [
            sites.setdefault(Site(max(int(at), 0), each.readings), len(sites))
            for at, each in zip(groups.station, heard_by_group, strict=True)
        ],
        dtype=np.int64,
    )
    timeline = build_timeline(
        [records[i] for i in used],
        district.forecasts,
        list(sites),
        policy,
        first_day=first_day,
        n_days=n_days,
        seed=seed,
    )
    followed = follow_layer(timeline, groups, site, heard_by_group, policy, seed=seed)
    n_far = int((nearest < 0).sum())
    far = (f"{n_far} segments have no weather station within {policy.station_max_km:g} km",)
    return _assemble(
        tuple(segment.id for segment in segments),
        first_day,
        n_days,
        groups,
        site,
        heard_by_group,
        timeline,
        followed,
        posted_axle_t(segments, district.postings, first_day=first_day, n_days=n_days),
        policy,
        timeline.notes + left_out + heard_notes + (far if n_far else ()),
    )


def _assemble(
    segment_ids: tuple[str, ...],
    first_day: date,
    n_days: int,
    groups: Groups,
    site: Ints,
    heard: Sequence[Heard],
    timeline: Timeline,
    followed: Followed,
    posted: Floats,
    policy: MoisturePolicy,
    notes: tuple[str, ...],
) -> MoistureState:
    n_members, n_past = timeline.n_members, timeline.n_past
    at = timeline.n_days - n_days
    moisture = followed.future_pct[..., at - n_past :]
    rain = timeline.rain_mm[..., at:]
    is_weak = timeline.weather.is_weak[:n_members, :, at:]
    is_frozen = (
        timeline.frost_start[:n_members, site, at:] >= groups.layer.freeze_through_c_day[:, None]
    )
    share = None
    if timeline.hours is not None:
        every_site = np.arange(timeline.station_of_site.size)
        share = timeline.known_share(np.arange(n_members), every_site, slice(at, None))
    at_work = _rain_at_work(rain, share, policy)
    group_rain = np.where(groups.station[:, None] < 0, np.nan, at_work[:, site])
    surface, classes = (
        classify_moisture(
            moisture,
            group_rain,
            is_frozen,
            each,
            groups.bands,
            rain_limit_mm=policy.rain_limit_mm,
        )
        for each in (np.zeros(is_frozen.shape, bool), is_weak[:, site])
    )
    n_history = min(policy.history_days, n_past)
    past = slice(n_past - n_history, n_past)
    return MoistureState(
        segment_ids=segment_ids,
        first_day=first_day,
        n_days=n_days,
        groups=groups,
        site_of_group=site,
        stations=timeline.stations,
        group_classes=classes,
        group_surface_classes=surface,
        group_moisture_pct=moisture,
        group_is_frozen=is_frozen,
        site_rain_mm=rain,
        site_et0_mm=timeline.weather.et0_mm[:n_members, :, at:],
        site_is_weak=is_weak,
        site_rain_before_mm=timeline.rain_mm[:, :, at - 1],
        site_freezing_c_day=timeline.freezing_c_day[..., at:],
        site_thawing_c_day=timeline.thawing_c_day[..., at:],
        posted_axle_t=posted,
        looks_of_group=tuple(each.looks for each in heard),
        history_first_day=timeline.first_day + timedelta(days=past.start),
        history_moisture_pct=followed.past_pct[:, past],
        history_rain_mm=timeline.rain_mm[..., past].mean(axis=0),
        policy=policy,
        notes=notes,
        site_rain_share=share,
    )


def _rain_at_work(rain_mm: Floats, share: Floats | None, policy: MoisturePolicy) -> Floats:
    """Rain that counts against working on its day: what falls after work is left out [mm]."""
    if share is None:
        return rain_mm
    by_then = rain_between(share, 0.0, policy.day_end_h)
    return np.where(np.isfinite(by_then), rain_mm * by_then, rain_mm)


def _median(values: Floats) -> float:
    known = values[np.isfinite(values)]
    return float(np.median(known)) if known.size * 2 > values.size else float("nan")


def _share(flags: Bools) -> float:
    return float(np.mean(flags)) if flags.size else 0.0


def _seen(looks: tuple[Look, ...], day: date, policy: MoisturePolicy) -> str:
    """The latest look that counts enough to be quoted and is not too old for it."""
    near = [
        each
        for each in looks
        if each.weight >= policy.settles_weight and 0 <= (day - each.day).days <= policy.quoted_days
    ]
    if not near:
        return ""
    # The nearest of the latest day; of equal ones the one entered last
    last = max(reversed(near), key=lambda each: (each.day, each.weight))
    who = f" by {last.observer}" if last.observer else ""
    when = {0: "today", 1: "the day before"}.get((day - last.day).days, f"on {last.day}")
    return f"seen {last.felt.replace('_', ' ')}{who} {when}"
