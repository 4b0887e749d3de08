"""What each road is believed to be like today, from when it was last seen.

A survey ages. Between two looks at a road, traffic and rain wear its surface, the crown flattens,
ditches fill and gravel leaves; work done after the look puts scores back up. Each score falls as

    score(t) = 1 + (score(0) - 1) * exp(-x),   x = days * (a + b * wear / 100) + c * rain

with ``wear`` the traffic in which a heavy vehicle counts several times, the form of the published
roughness progression; a, b and c are settings of ours until the agency's own looks calibrate
them. A road nobody has looked at gets the documented default, marked ``default``, and its age
since blading makes the difference between a quiet road and a busy one.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, fields
from datetime import date
from itertools import repeat, starmap
from operator import attrgetter
from typing import Any

import numpy as np
import numpy.typing as npt

from crossfall.formulas.gravel_loss import yearly_loss
from crossfall.judgement.carried import measured_before, with_ride
from crossfall.judgement.haul import HaulTraffic, haul_traffic
from crossfall.judgement.looks import whole_looks
from crossfall.judgement.rain import RainTable, rain_table
from crossfall.judgement.rating import MEASURES, SCORES, weigh_measures
from crossfall.judgement.restore import GRADER_WORK, restore
from crossfall.model import (
    Condition,
    District,
    Method,
    Network,
    Policy,
    Segment,
    Side,
    Treatment,
    WeatherRecord,
    WorkRecord,
)
from crossfall.model.policy.condition import AssumedPolicy
from crossfall.model.policy.programme import ProgrammePolicy

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]
Ints = npt.NDArray[np.int64]

FLAGS = (
    "has_secondary_ditch",
    "has_high_shoulder",
    "is_ditch_blocked",
    "is_culvert_blocked",
    "has_windrow",
)
CHOSEN = ("is_ditch_missing", "is_ditch_clear", "is_shoulder_eroded", "is_shoulder_low")
"""What an inspector chose from a list, beside what the ticks of :data:`FLAGS` say."""
DUST_LEVELS = {None: float("nan"), "none": 0.0, "low": 1.0, "medium": 2.0, "high": 3.0}
_CROWN, _DRAINAGE, _GRAVEL, _DEFORMATION, _DEFECTS = range(len(SCORES))
_DAYS_A_YEAR = 365.0


@dataclass(eq=False)
class Belief:
    """Believed condition of many segments on one day.

    Arrays have shape (segment,), the scores (score, segment).

    ``seen`` is the look each row rests on, None where nobody looked.
    """

    segments: tuple[Segment, ...]
    today: date
    scores: Floats
    measures: dict[str, Floats]
    flags: dict[str, Bools]
    windrow_side: list[Side | None]
    seen: tuple[Condition | None, ...]
    day: Floats
    """Ordinal of the day each row stands at."""
    last_bladed: Floats
    """Ordinal of the last blading, NaN where nobody knows."""
    is_blading_assumed: Bools
    n_works: Ints
    """Records of work since the look."""
    adt: Floats
    """Vehicles a day without those of hauls [veh/day]."""
    wear: Floats
    """Traffic with heavy vehicles counted several times [veh/day]."""
    gravel_loss_mm: Floats
    """Believed gravel loss [mm/yr]."""
    rain: RainTable
    haul: HaulTraffic
    """Trucks that agreements bring for a time."""
    gravel_from: Mapping[int, date] = field(default_factory=dict)
    """Day on which gravel was measured, by row, where a later look without it is the last."""

    @property
    def n(self) -> int:
        return len(self.segments)

    @property
    def days_since_blading(self) -> Floats:
        return self.today.toordinal() - self.last_bladed


def believe(district: District, today: date) -> Belief:
    """Believed condition of every maintained segment today.

    Looks and records dated after ``today`` are not used; of several looks the latest counts,
    and of two on one day the one given last.
    """
    segments = district.network.maintained
    row_of = {segment.id: row for row, segment in enumerate(segments)}
    looks = whole_looks(
        with_ride(district.conditions, district.policy),
        district.network,
        look_share=district.policy.entry.look_share,
    )
    latest = _latest(looks, row_of, today)
    belief = _at_last_look(
        segments,
        latest,
        district.weather,
        today,
        district.policy,
        haul_traffic(segments, district.haul_agreements, district.policy.haul),
        measured_before(looks, latest, row_of, district.records),
    )
    for works in _work_rounds(district.records, row_of, belief, today):
        rows = np.fromiter(works.keys(), dtype=np.int64, count=len(works))
        done_on = np.array([record.done_on.toordinal() for record in works.values()], dtype=float)
        _age(belief, rows, done_on, district.policy)
        length_m = np.array([segments[row].length_m for row in works])
        restore(belief, rows, tuple(works.values()), length_m, district.policy.needs.effect)
    everyone = np.arange(belief.n)
    _age(belief, everyone, np.full(belief.n, float(today.toordinal())), district.policy)
    return belief


def believe_default(
    network: Network,
    bad: Mapping[str, bool],
    last_bladed: Mapping[str, date | None],
    *,
    today: date,
    policy: Policy,
) -> Belief:
    """The first week's belief: defaults aged since blading; bad roads as they are said to be."""
    segments = network.maintained
    no_haul = haul_traffic(segments, (), policy.haul)
    belief = _at_last_look(segments, {}, (), today, policy, no_haul)
    for row, segment in enumerate(segments):
        bladed_on = last_bladed.get(segment.id)
        if bladed_on is not None:
            belief.last_bladed[row] = belief.day[row] = bladed_on.toordinal()
            belief.is_blading_assumed[row] = False
    _age(belief, np.arange(belief.n), np.full(belief.n, float(today.toordinal())), policy)
    is_bad = np.array([bad.get(segment.id, False) for segment in segments], dtype=bool)
    worse = _assumed_scores(policy.needs.assumed, prefix="bad_")[:, None]
    belief.scores[:, is_bad] = np.minimum(belief.scores, worse)[:, is_bad]
    return belief


def ride_after(belief: Belief, days: float, policy: Policy) -> Floats:
    """Scores (score, segment) after ``days`` more days of the same traffic and mean rain."""
    rain = belief.rain.mean_by_segment * days
    until = belief.day + days
    exposure = _exposure(belief, np.arange(belief.n), until, rain, policy)
    return 1 + (belief.scores - 1) * np.exp(-exposure)


def as_conditions(belief: Belief) -> tuple[Condition, ...]:
    """The belief as nouns, one for each segment, in order."""
    if not belief.segments:
        return ()
    columns: dict[str, Iterable[Any]] = {
        "segment_id": [segment.id for segment in belief.segments],
        "observed_on": repeat(belief.today),
        "last_bladed_on": [
            None if day != day else date.fromordinal(int(day))
            for day in belief.last_bladed.tolist()
        ],
        "windrow_side": belief.windrow_side,
    }
    columns |= dict(zip(SCORES, np.round(belief.scores, 3).tolist(), strict=True))
    columns |= {name: _optional(belief.measures[name]) for name in MEASURES}
    columns |= {name: belief.flags[name].tolist() for name in FLAGS[:4]}
    columns |= _chosen(belief)
    known = _how_known(belief)
    columns |= dict(zip(("method", "observer", "note"), zip(*known, strict=True), strict=True))
    in_order = (columns.get(each.name) or repeat(each.default) for each in fields(Condition))
    return tuple(starmap(Condition, zip(*in_order, strict=False)))


def _chosen(belief: Belief) -> dict[str, list[str | None]]:
    """What stands of the lists of a look: a look made from the belief must not lose it."""
    flags, chosen = belief.flags, dict[str, list[str | None]]()
    for name, choices in (
        ("ditch", {"none": "is_ditch_missing", "clear": "is_ditch_clear"}),
        ("shoulder", {"eroded": "is_shoulder_eroded", "low": "is_shoulder_low"}),
    ):
        if any(flags[flag].any() for flag in choices.values()):
            told: list[str | None] = [None] * belief.n
            for choice, flag in choices.items():
                for row in np.flatnonzero(flags[flag]).tolist():
                    told[row] = told[row] or choice
            chosen[name] = told
    dust = belief.measures["dust_level"]
    if not np.isnan(dust).all():
        words = {level: word for word, level in DUST_LEVELS.items() if word is not None}
        chosen["dust"] = [words.get(level) for level in dust.tolist()]
    return chosen


def _how_known(belief: Belief) -> list[tuple[Method, str, str]]:
    """Method, observer and note of each segment's believed condition."""
    nobody: tuple[Method, str, str] = ("default", "", "nobody has surveyed this road")
    aged: dict[date, str] = {}
    found: list[tuple[Method, str, str]] = []
    for seen, n_works in zip(belief.seen, belief.n_works.tolist(), strict=True):
        if seen is None:
            found.append(nobody)
        elif seen.observed_on == belief.today and not n_works:
            found.append((seen.method, seen.observer, seen.note))
        else:
            day = seen.observed_on
            if day not in aged:
                aged[day] = f"last seen {day:%Y-%m-%d}, aged to today"
            method: Method = "default" if seen.method == "default" else "estimated"
            found.append((method, seen.observer, aged[day]))
    return found


def _latest(
    conditions: Sequence[Condition], row_of: Mapping[str, int], today: date
) -> dict[int, Condition]:
    latest: dict[int, Condition] = {}
    for condition in conditions:
        row = row_of.get(condition.segment_id)
        if row is None or condition.observed_on > today:
            continue
        known = latest.get(row)
        if known is None or condition.observed_on >= known.observed_on:
            latest[row] = condition
    return latest


def _at_last_look(
    segments: tuple[Segment, ...],
    latest: Mapping[int, Condition],
    weather: Sequence[WeatherRecord],
    today: date,
    policy: Policy,
    haul: HaulTraffic,
    gravel_before: Mapping[int, tuple[date, float]] | None = None,
) -> Belief:
    n, needs = len(segments), policy.needs
    assumed_day = float(today.toordinal() - needs.assumed.days_since_blading)
    scores = np.repeat(_assumed_scores(needs.assumed)[:, None], n, axis=1)
    measures = {name: np.full(n, np.nan) for name in (*MEASURES, "dust_level")}
    flags = {name: np.zeros(n, dtype=bool) for name in (*FLAGS, *CHOSEN)}
    windrow_side: list[Side | None] = [None] * n
    seen: list[Condition | None] = [None] * n
    day = np.full(n, assumed_day)
    last_bladed = np.full(n, assumed_day)
    is_assumed = np.ones(n, dtype=bool)
    rows = np.fromiter(latest.keys(), dtype=np.int64, count=len(latest))
    looks = tuple(latest.values())
    for row, look in latest.items():
        seen[row], windrow_side[row] = look, look.windrow_side
    if looks:
        scores[:, rows] = np.array(list(map(attrgetter(*SCORES), looks)), dtype=float).T
        for name, column in zip(MEASURES, _columns(looks, MEASURES), strict=True):
            measures[name][rows] = np.array(column, dtype=float)
        _read_lists(flags, measures, rows, looks)
        day[rows] = [look.observed_on.toordinal() for look in looks]
        last_bladed[rows] = [
            np.nan if look.last_bladed_on is None else look.last_bladed_on.toordinal()
            for look in looks
        ]
        is_assumed[rows] = False
        # Ditches fill: an old look does not say that they are clear
        flags["is_ditch_clear"] &= today.toordinal() - day <= needs.call.clear_days
    adt = np.array([segment.adt for segment in segments])
    heavy = np.array([segment.heavy_share for segment in segments])
    rain = rain_table(
        segments,
        weather,
        default_mm_day=needs.ageing.rain_mm_per_day,
        enough_days=needs.ageing.rain_record_days,
    )
    loss_mm = _gravel_loss(segments, adt, rain, policy.programme)
    for row, (measured_on, gravel_mm) in (gravel_before or {}).items():
        lost = loss_mm[row] * (day[row] - measured_on.toordinal()) / _DAYS_A_YEAR
        measures["gravel_mm"][row] = max(gravel_mm - lost, 0.0)
    _use_known_gravel(segments, measures["gravel_mm"])
    return Belief(
        segments=segments,
        today=today,
        scores=weigh_measures(scores, measures, needs.scoring),
        measures=measures,
        flags=flags,
        windrow_side=windrow_side,
        seen=tuple(seen),
        day=day,
        last_bladed=last_bladed,
        is_blading_assumed=is_assumed,
        n_works=np.zeros(n, dtype=np.int64),
        adt=adt,
        wear=adt * (1 + needs.ageing.heavy_extra * heavy),
        gravel_loss_mm=loss_mm,
        rain=rain,
        haul=haul,
        gravel_from={row: told[0] for row, told in (gravel_before or {}).items()},
    )


def _columns(looks: Sequence[Condition], names: Sequence[str]) -> Iterable[tuple[Any, ...]]:
    """The named fields of many looks, a column for each."""
    return zip(*map(attrgetter(*names), looks), strict=True)


def _read_lists(
    flags: dict[str, Bools], measures: dict[str, Floats], rows: Ints, looks: Sequence[Condition]
) -> None:
    """What was ticked, and what was chosen from lists: a ditch, a shoulder, dust, a windrow."""
    for name, ticked in zip(FLAGS[:4], _columns(looks, FLAGS[:4]), strict=True):
        flags[name][rows] = ticked
    windrows, ditches, shoulders, dusts = _columns(
        looks, ("windrow_side", "ditch", "shoulder", "dust")
    )
    for name, column, chosen in (
        ("is_ditch_blocked", ditches, "blocked"),
        ("is_ditch_missing", ditches, "none"),
        ("is_ditch_clear", ditches, "clear"),
        ("has_high_shoulder", shoulders, "high"),
        ("is_shoulder_eroded", shoulders, "eroded"),
        ("is_shoulder_low", shoulders, "low"),
    ):
        # Most surveys choose nothing from a list
        if chosen in column:
            flags[name][rows] |= np.array([each == chosen for each in column])
    flags["has_windrow"][rows] = [side is not None for side in windrows]
    measures["dust_level"][rows] = [DUST_LEVELS[dust] for dust in dusts]


def _assumed_scores(assumed: AssumedPolicy, prefix: str = "") -> Floats:
    return np.array([getattr(assumed, prefix + name) for name in SCORES])


def _use_known_gravel(segments: Sequence[Segment], gravel_mm: Floats) -> None:
    """Where no look measured gravel, a segment's own figure counts unless it is a default."""
    for row, segment in enumerate(segments):
        if segment.gravel_method != "default" and np.isnan(gravel_mm[row]):
            gravel_mm[row] = segment.gravel_mm


def _gravel_loss(
    segments: Sequence[Segment], adt: Floats, rain: RainTable, programme: ProgrammePolicy
) -> Floats:
    material = programme.material
    grade = np.array([segment.grade_pct for segment in segments])
    return yearly_loss(
        adt=adt,
        rise_fall_m_km=10 * grade,
        curvature_deg_km=material.curvature_deg_km,
        rain_mm_month=np.maximum(rain.mean_by_segment * _DAYS_A_YEAR / 12, 1.0),
        p075_pct=material.p075_pct,
        plasticity_pct=material.plasticity_pct,
        factor=programme.factors.gravel_loss,
    )


def _work_rounds(
    records: Sequence[WorkRecord], row_of: Mapping[str, int], belief: Belief, today: date
) -> list[dict[int, WorkRecord]]:
    """Work after each segment's look, as rounds in which each segment appears once."""
    superseded = {record.supersedes for record in records if record.supersedes}
    by_row: dict[int, list[WorkRecord]] = {}
    bladed_before: dict[int, date] = {}
    for record in records:
        row = row_of.get(record.segment_id)
        if row is None or record.id in superseded or record.done_on > today:
            continue
        seen, treatment = belief.seen[row], record.treatment
        if treatment is Treatment.NONE:
            continue
        if seen is None or record.done_on > seen.observed_on:
            by_row.setdefault(row, []).append(record)
        elif treatment in GRADER_WORK and record.is_finished:
            # It is in the scores of the look already; only its date is news
            known = bladed_before.get(row)
            if known is None or record.done_on > known:
                bladed_before[row] = record.done_on
    _note_blading(belief, bladed_before)
    for row, works in by_row.items():
        works.sort(key=lambda record: record.done_on)
        if belief.seen[row] is None:
            belief.day[row] = min(belief.day[row], works[0].done_on.toordinal())
    n_rounds = max((len(works) for works in by_row.values()), default=0)
    return [
        {row: works[turn] for row, works in by_row.items() if turn < len(works)}
        for turn in range(n_rounds)
    ]


def _note_blading(belief: Belief, bladed_on: Mapping[int, date]) -> None:
    rows = np.fromiter(bladed_on.keys(), dtype=np.int64, count=len(bladed_on))
    days = np.array([day.toordinal() for day in bladed_on.values()], dtype=float)
    belief.last_bladed[rows] = np.fmax(belief.last_bladed[rows], days)


def _age(belief: Belief, rows: Ints, until: Floats, policy: Policy) -> None:
    days = np.maximum(until - belief.day[rows], 0.0)
    rain = belief.rain.between(rows, belief.day[rows], until)
    exposure = _exposure(belief, rows, until, rain, policy)
    belief.scores[:, rows] = 1 + (belief.scores[:, rows] - 1) * np.exp(-exposure)
    lost = belief.gravel_loss_mm[rows] * days / _DAYS_A_YEAR
    belief.measures["gravel_mm"][rows] = np.maximum(belief.measures["gravel_mm"][rows] - lost, 0.0)
    belief.day[rows] = np.maximum(until, belief.day[rows])


def _exposure(belief: Belief, rows: Ints, until: Floats, rain: Floats, policy: Policy) -> Floats:
    """Exposure of each score (score, row) from its day to ``until``.

    Gravel's is what its yearly loss makes of it.
    """
    ageing, scoring = policy.needs.ageing, policy.needs.scoring
    since = belief.day[rows]
    days = np.maximum(until - since, 0.0)
    trucks = belief.haul.between(rows, since, until)
    wear = (belief.wear[rows] + (1 + ageing.heavy_extra) * trucks) / 100
    first, last = scoring.gravel_knots[0], scoring.gravel_knots[-1]
    score_per_mm = (last[1] - first[1]) / (last[0] - first[0])
    lost = score_per_mm * belief.gravel_loss_mm[rows] * days / _DAYS_A_YEAR
    above = np.maximum(belief.scores[_GRAVEL, rows] - 1, 1e-9)
    exposure = np.empty((len(SCORES), rows.shape[0]))
    exposure[_CROWN] = days * (ageing.crown_per_day + ageing.crown_per_day_100_adt * wear)
    exposure[_DRAINAGE] = days * ageing.drainage_per_day
    exposure[_GRAVEL] = -np.log(np.clip(1 - lost / above, 1e-9, 1.0))
    exposure[_DEFORMATION] = (
        days * (ageing.deformation_per_day + ageing.deformation_per_day_100_adt * wear)
        + ageing.deformation_per_mm * rain
    )
    exposure[_DEFECTS] = days * (ageing.defects_per_day + ageing.defects_per_day_100_adt * wear)
    return exposure


def _optional(values: Floats) -> Iterable[float | None]:
    if np.isnan(values).all():
        return repeat(None, values.shape[0])
    return [None if value != value else value for value in np.round(values, 1).tolist()]
