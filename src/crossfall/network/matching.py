"""Which road a machine was on, fix by fix: a hidden Markov model over the roads near each fix.

Newson and Krumm (2009): a fix speaks for a road by its distance, two fixes for a pair of roads by
how well the way along roads agrees with the straight line between them; the likeliest course of
all fixes together is taken. Fixes are smoothed and thinned first, then every fix is laid on the
course that was found, so that times along it are known to the second.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from crossfall.model.policy import TracksPolicy
from crossfall.network.fixes import Fixes, smooth, to_plane
from crossfall.network.matching_kernel import likeliest, trace_pieces
from crossfall.network.road_index import RoadIndex, Ways

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

_LEAST_LIMIT_M = 600.0
_MOST_LIMIT_M = 6000.0
_SAMPLED = 16
_MOST_WAYS = 4_000_000
"""Ways between junctions held at once, about 160 MB."""


@dataclass(frozen=True, eq=False)
class Course:
    """Where every fix of one drive lies, and the course between them as points in order.

    ``segment`` and ``at_m`` have the shape (fix,); the ``point`` arrays hold the fixes and the
    junctions passed between them, in order, metres along the drawn line.
    """

    segment: Ints
    """Index of the segment of each fix, -1 where no road is near."""
    at_m: Floats
    point_segment: Ints
    point_at_m: Floats
    point_time_s: Floats
    point_fix: Ints
    """Last fix at or before each point."""
    offset_m: Floats
    """Distance from the road of each fix, nan where no road is near [m]."""


def match(fixes: Fixes, roads: RoadIndex, policy: TracksPolicy) -> Course:
    """Lay one uninterrupted drive on the roads.

    Parameters
    ----------
    fixes : Fixes
        Believable and in order of time, as :func:`~crossfall.network.fixes.set_aside` leaves them.
    roads : RoadIndex
    policy : TracksPolicy

    Returns
    -------
    Course
    """
    x, y = to_plane(fixes, roads.plane)
    x, y = smooth(x, y, over_m=policy.smooth_m)
    kept = thinned(x, y, policy.thin_m)
    near = roads.nearby(x[kept], y[kept], most=policy.n_candidates)
    ways, limit_m = _ways(roads, near[0], x[kept], y[kept])
    choice, begins = likeliest(
        x[kept], y[kept], *near, roads.from_node, roads.to_node, roads.length_m,
        ways.row_of, ways.start, ways.node, ways.metres,
        policy.noise_m, policy.detour_m, limit_m,
    )  # fmt: skip
    rows = np.arange(kept.size)
    is_on = choice >= 0
    segment = np.where(is_on, near[0][rows, np.maximum(choice, 0)], -1)
    at = np.where(is_on, near[1][rows, np.maximum(choice, 0)], np.nan)
    return _lay_out(fixes, x, y, kept, segment, at, begins, near[2], choice, roads, ways)


def thinned(x: Floats, y: Floats, at_least_m: float) -> Ints:
    """Indices of fixes each ``at_least_m`` from the one kept before; the last always stays."""
    n = x.shape[0]
    kept = [0]
    step = 64
    last = 0
    # Look ahead in blocks: the next fix far enough away is usually close by
    while True:
        first, found = last + 1, -1
        while first < n:
            away = np.hypot(x[first : first + step] - x[last], y[first : first + step] - y[last])
            far = np.flatnonzero(away >= at_least_m)
            if far.size:
                found = first + int(far[0])
                break
            first += step
        if found < 0:
            break
        kept.append(found)
        last = found
    if kept[-1] != n - 1:
        kept.append(n - 1)
    return np.array(kept, dtype=np.int64)


def _ways(roads: RoadIndex, candidates: Ints, x: Floats, y: Floats) -> tuple[Ways, float]:
    """Ways between the ends of all roads in question, as far as the longest step may need."""
    steps = np.hypot(np.diff(x), np.diff(y))
    longest = float(np.percentile(steps, 99)) if steps.size else 0.0
    limit_m = float(min(max(_LEAST_LIMIT_M, 3 * longest), _MOST_LIMIT_M))
    used = np.unique(candidates[candidates >= 0])
    nodes = np.unique(np.concatenate([roads.from_node[used], roads.to_node[used]]))
    # In a dense town a wide limit would reach too many junctions to hold: look at a few first
    few = nodes[:: max(1, nodes.size // _SAMPLED)]
    reached = roads.ways_around(few, limit_m=limit_m).node.size / max(few.size, 1)
    if reached * nodes.size > _MOST_WAYS:
        limit_m *= float(np.sqrt(_MOST_WAYS / (reached * nodes.size)))
    return roads.ways_around(nodes, limit_m=limit_m), limit_m


def _lay_out(
    fixes: Fixes,
    x: Floats,
    y: Floats,
    kept: Ints,
    segment: Ints,
    at: Floats,
    begins: npt.NDArray[np.bool_],
    offsets: Floats,
    choice: Ints,
    roads: RoadIndex,
    ways: Ways,
) -> Course:
    """Every fix on the course, by how far it had come from one kept fix towards the next."""
    step, road, first, last = trace_pieces(
        segment, at, begins, roads.from_node, roads.to_node, roads.length_m,
        ways.row_of, ways.start, ways.node, ways.metres, ways.segment, ways.before,
    )  # fmt: skip
    n = fixes.n
    fix_segment, fix_at = np.full(n, -1, dtype=np.int64), np.full(n, np.nan)
    fix_segment[kept], fix_at[kept] = segment, at
    offset = np.full(n, np.nan)
    is_on = choice >= 0
    offset[kept[is_on]] = offsets[np.flatnonzero(is_on), choice[is_on]]
    if not step.size:
        return Course(
            fix_segment, fix_at, fix_segment[kept], fix_at[kept], fixes.time_s[kept], kept, offset
        )
    # Metres along the whole course, and each kept fix's share of it
    length = np.abs(last - first)
    ends_m = np.cumsum(length)
    step_m = np.bincount(step, weights=length, minlength=kept.size)
    until_m = np.cumsum(step_m)
    share = _progress(x, y, kept)
    of_step = np.searchsorted(kept, np.arange(n), side="left")
    is_linked = np.bincount(step, minlength=kept.size) > 0
    along = np.where(is_linked[of_step], until_m[of_step] - (1 - share) * step_m[of_step], np.nan)
    inner = np.isfinite(along)
    piece = np.searchsorted(ends_m, along[inner] - 1e-9, side="left")
    # A piece of another step must not be taken where a step has no length
    first_piece = np.searchsorted(step, of_step[inner], side="left")
    last_piece = np.searchsorted(step, of_step[inner], side="right") - 1
    piece = np.clip(piece, first_piece, last_piece)
    sign = np.sign(last - first)
    done = np.clip(along[inner] - (ends_m[piece] - length[piece]), 0.0, length[piece])
    fix_segment[inner] = road[piece]
    fix_at[inner] = first[piece] + sign[piece] * done
    fix_segment[kept], fix_at[kept] = segment, at
    _fill_offsets(offset, kept)
    # Junctions: the end of each piece that another of the same step follows
    is_border = np.concatenate([step[1:] == step[:-1], [False]])
    border = np.flatnonzero(is_border)
    border_time = _time_at(ends_m[border], along, fixes.time_s)
    lower, upper = fixes.time_s[kept[step[border] - 1]], fixes.time_s[kept[step[border]]]
    border_time = np.clip(border_time, lower, upper)
    border_fix = np.searchsorted(fixes.time_s, border_time, side="right") - 1
    on = np.flatnonzero(fix_segment >= 0)
    # Two points stand at each junction: leaving one road, entering the next
    when = np.concatenate([fixes.time_s[on], border_time, border_time])
    where = np.concatenate([fix_segment[on], road[border], road[border + 1]])
    metre = np.concatenate([fix_at[on], last[border], first[border + 1]])
    which = np.concatenate([on, border_fix, border_fix])
    course_m = np.concatenate([along[on], ends_m[border], ends_m[border]])
    rank = np.concatenate(
        [np.zeros(on.size), np.arange(border.size) * 2.0 + 1, np.arange(border.size) * 2.0 + 2]
    )
    # A point before the first link of a chain has no metres along it: time alone orders it
    order = np.lexsort((rank, np.nan_to_num(course_m, nan=-1.0), when))
    return Course(
        fix_segment, fix_at, where[order], metre[order], when[order], which[order], offset
    )


def _progress(x: Floats, y: Floats, kept: Ints) -> Floats:
    """How far each fix has come from the kept one before it to the next, 0 to 1, never falling."""
    n = x.shape[0]
    after = np.searchsorted(kept, np.arange(n), side="left")
    a, b = kept[np.maximum(after - 1, 0)], kept[after]
    dx, dy = x[b] - x[a], y[b] - y[a]
    square = np.maximum(dx * dx + dy * dy, 1e-9)
    share = np.clip(((x - x[a]) * dx + (y - y[a]) * dy) / square, 0.0, 1.0)
    share[kept] = 1.0
    # Running maximum within each step: adding the step's number keeps them apart
    return np.maximum.accumulate(share + after * 2.0) - after * 2.0


def _time_at(metres: Floats, along: Floats, time_s: Floats) -> Floats:
    """When the machine was so many metres along its course."""
    known = np.isfinite(along)
    return np.interp(metres, np.maximum.accumulate(along[known]), time_s[known])


def _fill_offsets(offset: Floats, kept: Ints) -> None:
    """A fix that was thinned out lies as far off as the kept one before it."""
    after = np.searchsorted(kept, np.arange(offset.shape[0]), side="right") - 1
    offset[:] = offset[kept[np.maximum(after, 0)]]
