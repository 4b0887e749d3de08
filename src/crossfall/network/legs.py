"""From the course of a machine to legs: one road, one direction, blade up or down.

A blade bit that is wrong now and then is read as the likeliest course of a switch. Where there is
no bit, working speed that is held over some road is taken for work, and every such leg says that
it is inferred. The working speed of a leg comes with its uncertainty.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from crossfall.model.policy import TracksPolicy
from crossfall.model.track import BladeSource
from crossfall.network.fixes import DOWN, UNKNOWN, Fixes
from crossfall.network.matching import Course
from crossfall.network.matching_kernel import settled_bits, turning_points
from crossfall.network.road_index import RoadIndex

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

_PROBE_M = 30.0
_STOP_S = 25.0
_SURE_NOISES = 6.0
_END_NOISES = 2.0
_SLOPE_SHARE = 0.8
"""Error of a slope against that of the straight line between the two ends, for scatter that hangs
together over a good part of a leg; 1 would be the two ends alone."""


@dataclass(frozen=True, slots=True)
class TrackLeg:
    """One unbroken drive along one segment. Metres count as the agency's, from its start."""

    segment: int
    """Index into the segments of the network."""
    from_m: float
    to_m: float
    start_s: float
    end_s: float
    is_down: bool
    blade: BladeSource
    moving_s: float
    """Time without standing [s]."""
    speed_km_h: float | None = None
    """Working speed while moving; None where the leg is too short to tell."""
    speed_error_km_h: float | None = None
    """Its standard error."""
    is_fast: bool = False
    """Clearly above common practice: check, risk of corrugation. A hint and no proof."""

    @property
    def is_forward(self) -> bool:
        return self.to_m >= self.from_m

    @property
    def length_m(self) -> float:
        return abs(self.to_m - self.from_m)


def blade_states(
    fixes: Fixes, course: Course, policy: TracksPolicy
) -> tuple[npt.NDArray[np.int8], BladeSource]:
    """Blade up (0) or down (1) at every fix, shape (fix,), and how that is known."""
    km_h = _local_km_h(fixes, course, policy)
    if np.count_nonzero(fixes.blade != UNKNOWN) * 2 >= fixes.n:
        usual_s = float(np.median(np.diff(fixes.time_s))) if fixes.n > 1 else 1.0
        change = min(0.25, usual_s / policy.seconds_a_change)
        travels = km_h > policy.work_fastest_km_h
        return settled_bits(fixes.blade, travels, policy.faulty_bit_share, change), "known"
    return _by_speed(km_h, course, policy), "inferred"


def find_legs(
    fixes: Fixes, course: Course, roads: RoadIndex, policy: TracksPolicy
) -> list[TrackLeg]:
    """Legs of one uninterrupted drive, in order of time; crumbs of a few metres are left out."""
    blade, source = blade_states(fixes, course, policy)
    segment, at, time_s = course.point_segment, course.point_at_m, course.point_time_s
    is_on = segment >= 0
    segment, at, time_s = segment[is_on], at[is_on], time_s[is_on]
    # Between two fixes the blade was down when both say so and the way was not travelled
    fix = course.point_fix[is_on]
    later = np.minimum(fix + (time_s > fixes.time_s[fix]), fixes.n - 1)
    down = np.minimum(blade[fix], blade[later])
    come = _come(course)
    step_m = np.concatenate([np.diff(come), [0.0]])
    step_s = np.concatenate([np.diff(fixes.time_s), [1.0]])
    is_travel = (step_m > _SURE_NOISES * policy.noise_m) & (
        3.6 * step_m / np.maximum(step_s, 1e-3) > policy.work_fastest_km_h
    )
    down[(time_s > fixes.time_s[fix]) & is_travel[fix]] = 0
    if segment.size < 2:
        return []
    legs: list[TrackLeg] = []
    # A visit ends where the road changes, or where nothing joins two points
    cuts = np.flatnonzero(
        (segment[1:] != segment[:-1]) | (np.diff(time_s) > policy.longest_gap_s)
    ) + 1  # fmt: skip
    for first, after in zip([0, *cuts.tolist()], [*cuts.tolist(), segment.size], strict=True):
        if after - first < 2:
            continue
        road = int(segment[first])
        metres = at[first:after]
        back_m = min(policy.turn_back_m, 0.4 * float(roads.length_m[road]))
        turns = turning_points(metres, back_m)
        # Two segments meeting at a turning place are one leg; blade changes cut further
        for a, b in zip(turns[:-1].tolist(), turns[1:].tolist(), strict=True):
            legs += _by_blade(
                road, metres[a : b + 1], time_s[first + a : first + b + 1],
                down[first + a : first + b + 1], source, roads, policy,
            )  # fmt: skip
    return legs


def _by_blade(
    road: int,
    metres: Floats,
    time_s: Floats,
    down: npt.NDArray[np.int8],
    source: BladeSource,
    roads: RoadIndex,
    policy: TracksPolicy,
) -> list[TrackLeg]:
    """A drive in one direction, cut where the blade goes up or down."""
    cuts = (np.flatnonzero(np.diff(down)) + 1).tolist()
    legs = []
    for first, after in zip([0, *cuts], [*cuts, down.size], strict=True):
        last = min(after, down.size - 1)
        if abs(metres[last] - metres[first]) < 1.0:
            continue
        legs.append(
            _leg(
                road, metres[first : last + 1], time_s[first : last + 1],
                is_down=bool(down[first] == DOWN), source=source, roads=roads, policy=policy,
            )
        )  # fmt: skip
    return legs


def _leg(
    road: int,
    metres: Floats,
    time_s: Floats,
    *,
    is_down: bool,
    source: BladeSource,
    roads: RoadIndex,
    policy: TracksPolicy,
) -> TrackLeg:
    scale = float(roads.official_m[road] / roads.length_m[road])
    moving_s = _moving_s(metres, time_s)
    from_m, to_m = float(metres[0]) * scale, float(metres[-1]) * scale
    speed = error = None
    is_fast = False
    length = abs(to_m - from_m)
    # The whole of a segment that is shorter than the least length is too short as well
    if is_down and length >= max(policy.speed_least_m, 0.5 * float(roads.official_m[road])):
        told = _speed(metres * scale, time_s, policy)
        if told is not None and told[0] <= policy.speed_most_km_h:
            speed, error = told
            margin = max(policy.fast_margin_km_h, error)
            is_fast = speed - margin > policy.fast_km_h
    return TrackLeg(
        road, from_m, to_m, float(time_s[0]), float(time_s[-1]), is_down, source, moving_s,
        speed, error, is_fast,
    )  # fmt: skip


def _moving_s(metres: Floats, time_s: Floats) -> float:
    """Time in which the machine moved: stops are taken at the usual pace [s]."""
    total = float(time_s[-1] - time_s[0])
    come = np.maximum.accumulate(np.abs(metres - metres[0]))
    marks = np.arange(0.0, come[-1], _PROBE_M)
    if marks.size < 3 or total <= 0:
        return total
    passed = np.interp(marks, come + 1e-9 * np.arange(come.size), time_s)
    spent = np.diff(np.append(passed, time_s[-1]))
    pace = spent / np.diff(np.append(marks, come[-1]))
    usual = float(np.median(pace))
    is_stop = (pace > 3 * usual) & (spent > _STOP_S)
    length = np.diff(np.append(marks, come[-1]))
    return total - float(np.sum((spent - usual * length)[is_stop]))


def _speed(metres: Floats, time_s: Floats, policy: TracksPolicy) -> tuple[float, float] | None:
    """Speed of a leg and its standard error [km/h].

    A straight line through metres on time, over the fixes between the ends: there machines stop
    and turn. A leg with a stop is cut there. The scatter of neighbouring fixes hangs together, so
    that the error falls with the length of the leg and hardly with the number of fixes.
    """
    margin = _END_NOISES * policy.noise_m
    low, high = sorted((float(metres[0]), float(metres[-1])))
    inner = (metres > low + margin) & (metres < high - margin)
    m, t = metres[inner], time_s[inner]
    if m.size < 2 or t[-1] - t[0] <= 0:
        return None
    sign = 1.0 if metres[-1] >= metres[0] else -1.0
    parts = _without_stops(sign * m, t)
    top = bottom = span = 0.0
    for part_m, part_t in parts:
        centred = part_t - part_t.mean()
        top += float((centred * (part_m - part_m.mean())).sum())
        bottom += float((centred * centred).sum())
        span += float(part_t[-1] - part_t[0])
    if bottom <= 0 or top <= 0:
        return None
    speed = top / bottom
    error = _SLOPE_SHARE * policy.noise_m * np.sqrt(2.0 * len(parts)) / span
    return 3.6 * speed, 3.6 * float(error)


def _without_stops(metres: Floats, time_s: Floats) -> list[tuple[Floats, Floats]]:
    """The parts of a leg between stops; the whole leg where there is none."""
    pace = (time_s[-1] - time_s[0]) / max(float(metres[-1] - metres[0]), 1.0)
    come = np.maximum.accumulate(metres)
    # A stop: long enough that far more road should have been covered
    ahead = np.minimum(np.searchsorted(time_s, time_s + _STOP_S), time_s.size - 1)
    is_stop = (time_s[ahead] - time_s >= _STOP_S) & (
        come[ahead] - come < 0.15 * (time_s[ahead] - time_s) / pace
    )
    if not is_stop.any():
        return [(metres, time_s)]
    standing = np.zeros(time_s.size, dtype=np.bool_)
    for k in np.flatnonzero(is_stop).tolist():
        standing[k : ahead[k] + 1] = True
    edges = np.flatnonzero(np.diff(np.concatenate([[False], ~standing, [False]]).astype(np.int8)))
    parts = [
        (metres[a:b], time_s[a:b])
        for a, b in zip(edges[0::2].tolist(), edges[1::2].tolist(), strict=True)
        if b - a >= 3
    ]
    return parts or [(metres, time_s)]


def _local_km_h(fixes: Fixes, course: Course, policy: TracksPolicy) -> Floats:
    """Speed while moving around each fix, over a stretch so long that scatter hardly matters.

    Halts and silences are cut out of time and way: a halt between travels is no slow work. [km/h]
    """
    come, time_s = _come(course), fixes.time_s
    last = fixes.n - 1
    later = np.minimum(np.searchsorted(time_s, time_s + _STOP_S), last)
    slow_m = policy.work_slowest_km_h / 3.6 * (time_s[later] - time_s)
    stands = (time_s[later] - time_s >= _STOP_S) & (come[later] - come < slow_m)
    step_s, step_m = np.diff(time_s), np.diff(come)
    # Every step under a halt that began at some fix before it
    until = np.maximum.accumulate(np.where(stands, later, 0))[:-1]
    usual_s = float(np.median(step_s)) if step_s.size else 1.0
    is_cut = (until > np.arange(step_s.size)) | (step_s > max(_STOP_S, 4 * usual_s))
    moving_s = np.concatenate([[0.0], np.cumsum(np.where(is_cut, 0.0, step_s))])
    moved_m = np.concatenate([[0.0], np.cumsum(np.where(is_cut, 0.0, step_m))])
    reach = policy.work_sustained_m / 2
    ahead = np.clip(np.searchsorted(moved_m, moved_m + reach), 0, last)
    behind = np.clip(np.searchsorted(moved_m, moved_m - reach, side="right") - 1, 0, last)
    seconds = np.maximum(moving_s[ahead] - moving_s[behind], 1e-3)
    return np.asarray(3.6 * (moved_m[ahead] - moved_m[behind]) / seconds)


def _come(course: Course) -> Floats:
    """Metres driven on roads up to each fix, junctions included, shape (fix,) [m]."""
    same = (course.point_segment[1:] == course.point_segment[:-1]) & (course.point_segment[1:] >= 0)
    moved = np.abs(np.diff(course.point_at_m))
    come = np.concatenate([[0.0], np.cumsum(np.where(same & np.isfinite(moved), moved, 0.0))])
    at_fix = np.searchsorted(course.point_fix, np.arange(course.segment.shape[0]), side="left")
    return come[np.minimum(at_fix, come.size - 1)]


def _by_speed(km_h: Floats, course: Course, policy: TracksPolicy) -> npt.NDArray[np.int8]:
    """Working speed held over some road is taken for a blade that is down."""
    state = np.zeros(km_h.shape[0], dtype=np.int8)
    come = _come(course)
    works = (km_h >= policy.work_slowest_km_h) & (km_h <= policy.work_fastest_km_h)
    edges = np.flatnonzero(np.diff(np.concatenate([[False], works, [False]]).astype(np.int8)))
    for first, after in zip(edges[0::2].tolist(), edges[1::2].tolist(), strict=True):
        if come[after - 1] - come[first] >= policy.work_sustained_m:
            state[first:after] = DOWN
    return state
