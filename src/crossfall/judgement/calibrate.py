"""Fitting the layer to an agency's own roads: what people logged against what the model said.

The model is run through the record as a forecaster would have seen it, without taking the looks
in, and three settings are moved so that the looks become as likely as they can: how fast roads
dry, how fast they drain, and how wet *workable* is. The looks of every other day are kept out of
the fit and judge it; what was said in one breath of a whole road counts once. The result is a
proposal; nothing changes until a person accepts it.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Literal, get_args

import numpy as np
import numpy.typing as npt
from scipy.optimize import minimize
from scipy.special import ndtr

from crossfall.errors import InputError
from crossfall.judgement.forcing import Site, Timeline, build_timeline
from crossfall.judgement.observe import interval_of, newest, report_of, uncorrected
from crossfall.judgement.run_days import run_days
from crossfall.judgement.stations import Groups, drainage_now, group_segments, nearest_station
from crossfall.model.condition import Felt, Observation
from crossfall.model.district import District
from crossfall.model.policy.moisture import LayerMaterial, MoisturePolicy

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class CalibrationRow:
    """One setting before and after."""

    setting: str
    before: float
    after: float
    unit: str


@dataclass(frozen=True, slots=True)
class MoistureCalibration:
    """A proposal: new settings and how much better they explain looks that were kept out."""

    policy: MoisturePolicy
    rows: tuple[CalibrationRow, ...]
    n_fitted: int
    n_kept_out: int
    hits_before: float
    """Share of the kept-out looks whose class the model gave, with the present settings."""
    hits_after: float
    likelihood_before: float
    """Mean log-likelihood of the kept-out looks."""
    likelihood_after: float
    n_days: int = 0
    """Days on which somebody looked."""
    least_gain: float = 0.0
    """Mean log-likelihood that must be gained, or lost, before anything is said."""

    @property
    def is_better(self) -> bool:
        """Whether the kept-out looks clearly speak for the proposal."""
        return self.verdict == "better"

    @property
    def verdict(self) -> Literal["better", "worse", "cannot tell"]:
        """What the kept-out looks say; differences they could show by chance say nothing."""
        gain = self.likelihood_after - self.likelihood_before
        if gain > self.least_gain:
            return "better"
        return "worse" if gain < -self.least_gain else "cannot tell"

    def summary(self) -> str:
        """What changes and whether it is worth it."""
        changes = "; ".join(
            f"{row.setting} {row.before:.3g} to {row.after:.3g} {row.unit}".rstrip()
            for row in self.rows
        )
        word = {
            "better": "better",
            "worse": "NOT better, keep the present settings",
            "cannot tell": "cannot tell, keep the present settings until more is logged",
        }[self.verdict]
        return (
            f"{changes}. On {self.n_kept_out} looks kept out of the fit: {self.hits_before:.0%}"
            f" right before, {self.hits_after:.0%} after; {word}."
        )


def calibrate_moisture(district: District, *, until: date, seed: int = 0) -> MoistureCalibration:
    """Propose settings from the looks logged up to ``until``.

    Raises
    ------
    InputError
        If fewer looks, a report counted once, or looks of fewer days than the policy asks for lie
        on maintained segments within the weather record.
    """
    policy = district.policy.moisture
    segments = {segment.id: segment for segment in district.network.maintained}
    first = min((record.first_day for record in district.weather), default=until)
    settle = timedelta(days=policy.warmup_least_days)
    looks = [
        each
        for each in newest(uncorrected(district.observations))
        if each.felt is not None
        and each.segment_id in segments
        and first + settle <= each.observed_on <= until
    ]
    _check_enough(looks, policy)
    case = _prepare(district, looks, policy, until, seed)
    _check_enough(case.looks, policy)
    # Looks of one day lean on one sky: they stay together, on one side
    turn = np.unique(case.day, return_inverse=True)[1]
    is_fit = turn % 2 == 0

    def cost(logs: Floats) -> float:
        _, likelihood = _judge(case, logs)
        told = (case.weight * likelihood)[is_fit].sum()
        return float(-told + policy.calibrate_pull * np.sum(np.asarray(logs) ** 2))

    found = minimize(
        cost, np.zeros(3), method="Nelder-Mead", options={"maxiter": 200, "xatol": 0.01}
    )
    logs = np.asarray(found.x, float)
    before, after = _judge(case, np.zeros(3)), _judge(case, logs)
    kept = ~is_fit

    def mean(values: Floats) -> float:
        return float(np.average(values[kept], weights=case.weight[kept]))

    gains = case.weight[kept] * (after[1] - before[1])[kept]
    return MoistureCalibration(
        policy=_moved(policy, logs),
        rows=_rows(policy, _moved(policy, logs)),
        n_fitted=round(float(case.weight[is_fit].sum())),
        n_kept_out=round(float(case.weight[kept].sum())),
        hits_before=mean(before[0]),
        hits_after=mean(after[0]),
        likelihood_before=mean(before[1]),
        likelihood_after=mean(after[1]),
        n_days=int(turn.max()) + 1,
        least_gain=max(
            policy.calibrate_least_gain,
            policy.calibrate_least_errors * _error(gains, turn[kept], case.weight[kept]),
        ),
    )


def _error(gains: Floats, days: Ints, weight: Floats) -> float:
    """Standard error of the mean gain, days taken as independent and the looks of one day not."""
    _, day = np.unique(days, return_inverse=True)
    share = weight.sum()
    apart = np.bincount(day, gains) - gains.sum() / share * np.bincount(day, weight)
    n_days = apart.size
    if n_days < 2:
        return float("inf")
    return float(np.sqrt((apart**2).sum() * n_days / (n_days - 1)) / share)


@dataclass(frozen=True, eq=False)
class _Case:
    policy: MoisturePolicy
    timeline: Timeline
    site: Ints
    regroup: _Regroup
    group: Ints
    day: Ints
    felt: tuple[str, ...]
    looks: tuple[Observation, ...]
    weight: Floats
    """One for each report, shared by its looks."""


@dataclass(frozen=True, eq=False)
class _Regroup:
    segments: tuple[object, ...]
    drainage: tuple[str, ...]
    station: Ints

    def groups(self, policy: MoisturePolicy) -> Groups:
        return group_segments(self.segments, self.drainage, self.station, policy)  # type: ignore[arg-type]


def _prepare(
    district: District, looks: Sequence[Observation], policy: MoisturePolicy, until: date, seed: int
) -> _Case:
    seen = {each.segment_id for each in looks}
    segments = tuple(each for each in district.network.maintained if each.id in seen)
    stations = [record.station for record in district.weather]
    nearest = nearest_station(segments, stations, max_km=policy.station_max_km)
    used = np.unique(nearest[nearest >= 0])
    station = np.where(nearest < 0, -1, np.searchsorted(used, nearest))
    drainage = tuple(drainage_now(segments, (), (), today=until))
    regroup = _Regroup(segments, drainage, station)
    groups = regroup.groups(policy)
    records = [district.weather[i] for i in used]
    oldest = min(record.first_day for record in records)
    wide = replace(policy, warmup_days=(until - oldest).days, n_members=1, et_spread=0.0)
    timeline = build_timeline(
        records,
        (),
        [Site(i) for i in range(len(records))],
        wide,
        first_day=until + timedelta(days=1),
        n_days=1,
        seed=seed,
    )
    of_segment = {each.id: int(groups.of_segment[i]) for i, each in enumerate(segments)}
    site = np.maximum(groups.station, 0)
    group = np.array([of_segment[each.segment_id or ""] for each in looks])
    day = np.array([timeline.day_index(each.observed_on) for each in looks])
    # Frost and thaw say nothing about drying; roads without a station say nothing at all
    is_weak = timeline.weather.is_weak[0, site[group], day]
    is_frozen = (
        timeline.frost_start[0, site[group], day] >= groups.layer.freeze_through_c_day[group]
    )
    # Where missing weather leaves moisture open, the middle of the two histories is nobody's
    history = _histories(groups, timeline, site)
    apart = np.abs(history[0] - history[-1])[group, day]
    keep = np.flatnonzero(
        ~is_weak & ~is_frozen & (groups.station[group] >= 0) & (apart <= policy.unknown_above_pct)
    )
    kept = tuple(looks[i] for i in keep.tolist())
    parts = Counter(report_of(each) for each in kept)
    return _Case(
        policy=policy,
        timeline=timeline,
        site=site,
        regroup=regroup,
        group=group[keep],
        day=day[keep],
        felt=tuple(each.felt or "" for each in kept),
        looks=kept,
        weight=np.array([1 / parts[report_of(each)] for each in kept]),
    )


def _histories(groups: Groups, timeline: Timeline, site: Ints) -> Floats:
    """Moisture at the start of each day with the least and the most of missing weather [%]."""
    layer = groups.layer
    rows = [0, timeline.n_members] if timeline.is_doubled else [0]
    start = np.broadcast_to(layer.field_capacity_mm, (len(rows), layer.n_segments)).copy()
    run = run_days(timeline, layer, site, start, rows=rows, days=slice(0, timeline.n_days))
    return np.asarray(layer.percent(run.water_mm))


def _check_enough(looks: Sequence[Observation], policy: MoisturePolicy) -> None:
    n_looks = len({report_of(each) for each in looks})
    if n_looks < policy.calibrate_least_looks:
        raise InputError(
            f"{n_looks} looks at maintained segments lie in the weather record, frost and missing"
            f" weather apart; expected at least {policy.calibrate_least_looks},"
            " so log more before fitting"
        )
    n_days = len({each.observed_on for each in looks})
    if n_days < policy.calibrate_least_days:
        raise InputError(
            f"the looks are of {n_days} days; expected at least {policy.calibrate_least_days}, for"
            " a few days say more about their weather than about the roads"
        )


def _judge(case: _Case, logs: Floats) -> tuple[Floats, Floats]:
    """For each look: 1 where the model's moisture lies in what was felt, and its log-likelihood."""
    policy = _moved(case.policy, logs)
    groups = case.regroup.groups(policy)
    layer = groups.layer
    percent = _histories(groups, case.timeline, case.site).mean(axis=0)
    moisture = percent[case.group, case.day]
    lower, upper = np.empty(moisture.size), np.empty(moisture.size)
    for felt in set(case.felt):
        low, high = interval_of(felt, layer, groups.bands)  # type: ignore[arg-type]
        these = np.array([each == felt for each in case.felt])
        lower[these], upper[these] = low[case.group[these]], high[case.group[these]]
    spread = policy.start_spread_pct
    # The ends of the scale are open: nothing is drier than dust or wetter than too wet
    chance = ndtr(np.where(_is(case.felt, "too_wet"), np.inf, (upper - moisture) / spread)) - ndtr(
        np.where(_is(case.felt, "dust"), -np.inf, (lower - moisture) / spread)
    )
    slip = policy.calibrate_slip
    likelihood = np.log(slip / len(get_args(Felt)) + (1 - slip) * np.maximum(chance, 0.0))
    hit = (np.where(_is(case.felt, "dust"), -np.inf, lower) <= moisture) & (
        moisture <= np.where(_is(case.felt, "too_wet"), np.inf, upper)
    )
    return hit.astype(float), np.asarray(likelihood)


def _is(felt: tuple[str, ...], word: str) -> npt.NDArray[np.bool_]:
    return np.array([each == word for each in felt])


def _moved(policy: MoisturePolicy, logs: Floats) -> MoisturePolicy:
    """Drying and drainage scaled by exp(log); the optimum of every material as well."""
    dry, drain, wet = np.exp(
        np.clip(np.asarray(logs, float), -policy.calibrate_most_log, policy.calibrate_most_log)
    )
    materials = {name: _wetter(each, float(wet), policy) for name, each in policy.materials.items()}
    return replace(
        policy,
        bare_road_kc=policy.bare_road_kc * float(dry),
        drain_per_day_good=_share(policy.drain_per_day_good, float(drain)),
        drain_per_day_fair=_share(policy.drain_per_day_fair, float(drain)),
        drain_per_day_poor=_share(policy.drain_per_day_poor, float(drain)),
        materials=materials,
    )


def _wetter(material: LayerMaterial, factor: float, policy: MoisturePolicy) -> LayerMaterial:
    room = policy.calibrate_optimum_room_pct
    optimum = max(material.optimum_pct * factor, policy.band_below_optimum_pct + room)
    return replace(material, optimum_pct=min(optimum, material.field_capacity_pct + room))


def _share(per_day: float, factor: float) -> float:
    # A share of a day scaled as a rate, so that it stays below one
    return float(1 - (1 - per_day) ** factor)


def _rows(before: MoisturePolicy, after: MoisturePolicy) -> tuple[CalibrationRow, ...]:
    rows = [
        CalibrationRow("moisture.bare_road_kc", before.bare_road_kc, after.bare_road_kc, ""),
        *(
            CalibrationRow(f"moisture.{name}", getattr(before, name), getattr(after, name), "1/d")
            for name in ("drain_per_day_good", "drain_per_day_fair", "drain_per_day_poor")
        ),
    ]
    for name, material in before.materials.items():
        rows.append(
            CalibrationRow(
                f"moisture.materials[{name}].optimum_pct",
                material.optimum_pct,
                after.materials[name].optimum_pct,
                "%",
            )
        )
    return tuple(rows)
