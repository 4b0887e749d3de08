"""Where lines meet: ends that are one place, and cuts at every junction.

Lines from OpenStreetMap say themselves which vertices they share, and only
those are junctions; a bridge over a road shares none. An agency's lines only
have coordinates: ends that miss each other by less than the snap distance
become one place, an end that lies on another line cuts it, and ends that miss
by a little more are listed for a person to confirm, never joined silently.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import shapely
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from scipy.spatial import KDTree

from crossfall.network.projection import LocalPlane
from crossfall.network.roads import Flags, Floats, Ints, RoadLines

_SAME_M = 0.01
"""Coordinates closer than a centimetre differ by rounding only."""


@dataclass(frozen=True, slots=True)
class Gap:
    """A line's end that nearly meets another line."""

    lon: float
    lat: float
    gap_m: float
    line_id: str
    other_id: str

    def __str__(self) -> str:
        return (
            f"the end of {self.line_id or 'a line'} at ({self.lon:.6f}, {self.lat:.6f}) misses"
            f" {self.other_id or 'another line'} by {self.gap_m:.1f} m"
        )


@dataclass(frozen=True, eq=False)
class Edges:
    """Lines cut at every junction, shape (edge,) each; node numbers run from 0."""

    lines: RoadLines
    xy: Floats
    """Every vertex of ``lines`` on the plane, shape (vertex, 2) [m]."""
    first: Ints
    """First vertex of each edge."""
    last: Ints
    """Last vertex of each edge."""
    line: Ints
    start: Ints
    """Node where the edge begins."""
    end: Ints
    node_vertex: Ints
    """A vertex that lies at each node, shape (node,)."""
    length_m: Floats
    """Drawn length [m]."""
    official_m: Floats
    """Length in the agency's books where it gave one, else the drawn length [m]."""
    fact: Ints
    """Index into ``lines.facts``."""

    @property
    def node_ids(self) -> list[str] | None:
        """The source's own node ids, where it has them."""
        if not self.lines.are_keys_ids:
            return None
        assert self.lines.key is not None
        return [f"n{key}" for key in self.lines.key[self.node_vertex].tolist()]

    @property
    def n_nodes(self) -> int:
        return len(self.node_vertex)


def plane_of(lines: RoadLines) -> LocalPlane:
    """The flat plane at the middle of the lines."""
    return LocalPlane.around(lines.places[:, 0], lines.places[:, 1])


def snap_ends(
    lines: RoadLines, plane: LocalPlane, *, snap_m: float, gap_m: float
) -> tuple[RoadLines, tuple[Gap, ...]]:
    """Give every vertex a key, after joining ends and cutting lines that an end lies on.

    Parameters
    ----------
    lines : RoadLines
        Lines without keys.
    plane : LocalPlane
        Where distances are measured.
    snap_m : float
        Ends closer than this are one place, >= 0. [m]
    gap_m : float
        Ends that miss by more than ``snap_m`` but less than this are reported. [m]

    Returns
    -------
    lines : RoadLines
        The same lines with keys; moved ends and added vertices included.
    gaps : tuple of Gap
        Near misses, for a person to confirm.
    """
    xy = np.column_stack(plane.to_plane(lines.places[:, 0], lines.places[:, 1]))
    ends = np.concatenate([lines.offsets[:-1], lines.offsets[1:] - 1])
    place_of_end, leader = _cluster(xy[ends], snap_m)
    places, moved = lines.places.copy(), xy.copy()
    places[ends] = lines.places[ends[leader[place_of_end]]]
    moved[ends] = xy[ends[leader[place_of_end]]]

    shapes = shapely.linestrings(moved, indices=lines.line_of_vertex)
    where = moved[ends[leader]]
    lines = replace(lines, places=places)
    cuts = _ends_on_lines(lines, shapes, where, ends[leader], place_of_end, snap_m)
    gaps = _near_misses(lines, shapes, where, ends[leader], place_of_end, cuts, snap_m, gap_m)
    lines = _insert(lines, moved, shapes, cuts, where, places[ends[leader]])
    return replace(lines, key=_keys(lines.places)), gaps


def cut_at_junctions(lines: RoadLines, plane: LocalPlane) -> Edges:
    """Cut every line where another one shares its place, and nowhere else.

    A place in the middle of two lines on different levels is a bridge, not a junction.
    """
    assert lines.key is not None, "lines need keys; snap_ends gives them"
    lines = _without_repeats(lines)
    assert lines.key is not None
    of_vertex = lines.line_of_vertex
    is_end = np.zeros(len(lines.places), dtype=np.bool_)
    is_end[lines.offsets[:-1]] = True
    is_end[lines.offsets[1:] - 1] = True
    _, key = np.unique(lines.key, return_inverse=True)
    if lines.level is not None and np.any(lines.level):
        key = _apart_by_level(key, is_end, lines.level[of_vertex])
    times = np.bincount(key)
    is_cut = is_end | (times[key] > 1)

    cut = np.flatnonzero(is_cut)
    same_line = of_vertex[cut[:-1]] == of_vertex[cut[1:]]
    first, last = cut[:-1][same_line], cut[1:][same_line]
    node_keys, node = np.unique(key[cut], return_inverse=True)
    node_vertex = np.empty(len(node_keys), dtype=np.int64)
    node_vertex[node[::-1]] = cut[::-1]
    xy = np.column_stack(plane.to_plane(lines.places[:, 0], lines.places[:, 1]))
    along = _along(xy, lines.offsets)
    length, line = along[last] - along[first], of_vertex[first]
    return Edges(
        lines=lines,
        xy=xy,
        first=first,
        last=last,
        line=line,
        start=node[:-1][same_line],
        end=node[1:][same_line],
        node_vertex=node_vertex,
        length_m=length,
        official_m=length * _official_scale(lines, line, length),
        fact=lines.fact[line],
    )


def crossings(edges: Edges) -> tuple[tuple[float, float, int, int], ...]:
    """Places where two lines on the same level cross without a shared vertex.

    Returns
    -------
    tuple of (x, y, line, line)
        On the plane [m], with the indices of the two lines. They may be junctions that
        nobody digitised, or bridges that nobody marked; a person has to say.
    """
    lines = edges.lines
    shapes = shapely.linestrings(edges.xy, indices=lines.line_of_vertex)
    tree = shapely.STRtree(shapes)
    one, other = tree.query(shapes)
    level = lines.level if lines.level is not None else np.zeros(lines.n_lines, dtype=np.int64)
    # Each pair is asked once, and only where it counts: the question is the dear part
    keep = (one < other) & (level[one] == level[other])
    one, other = one[keep], other[keep]
    crosses = shapely.crosses(shapes[one], shapes[other])
    one, other = one[crosses], other[crosses]
    points, pair = shapely.get_coordinates(
        shapely.intersection(shapes[one], shapes[other]), return_index=True
    )
    if not len(points):
        return ()
    is_new = KDTree(edges.xy).query(points)[0] > _SAME_M
    return tuple(
        (x, y, int(one[k]), int(other[k]))
        for (x, y), k in zip(points[is_new].tolist(), pair[is_new].tolist(), strict=True)
    )


def join_at(
    edges: Edges, plane: LocalPlane, where: tuple[tuple[float, float, int, int], ...]
) -> RoadLines:
    """Give both lines of every crossing a vertex there, so that they meet."""
    lines = edges.lines
    xy = np.array([(x, y) for x, y, _, _ in where])
    lonlat = np.column_stack(plane.to_lonlat(xy[:, 0], xy[:, 1]))
    place = np.repeat(np.arange(len(where)), 2)
    line = np.array([each for _, _, one, other in where for each in (one, other)])
    shapes = shapely.linestrings(edges.xy, indices=lines.line_of_vertex)
    joined = _insert(lines, edges.xy, shapes, (place, line), xy, lonlat)
    return replace(joined, key=_keys(joined.places), are_keys_ids=False)


def _cluster(points: Floats, distance_m: float) -> tuple[Ints, Ints]:
    """Number points that are one place; of each place also the index of its first point."""
    n = len(points)
    pairs = KDTree(points).query_pairs(distance_m, output_type="ndarray")
    near = coo_matrix((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(n, n))
    _, label = connected_components(near, directed=False)
    _, leader, place = np.unique(label, return_index=True, return_inverse=True)
    return place.astype(np.int64), leader.astype(np.int64)


def _ends_on_lines(
    lines: RoadLines,
    shapes: Any,
    where: Floats,
    vertex: Ints,
    place_of_end: Ints,
    snap_m: float,
) -> tuple[Ints, Ints]:
    """Places (first array) that lie on the middle of a line (second array) of their level."""
    tree = shapely.STRtree(shapes)
    place, line = tree.query(shapely.points(where), predicate="dwithin", distance=snap_m)
    n = lines.n_lines
    joins = (place_of_end[line] != place) & (place_of_end[line + n] != place)
    if lines.level is not None:
        joins &= lines.level[lines.line_of_vertex[vertex[place]]] == lines.level[line]
    return place[joins], line[joins]


def _near_misses(
    lines: RoadLines,
    shapes: Any,
    where: Floats,
    vertex: Ints,
    place_of_end: Ints,
    cuts: tuple[Ints, Ints],
    snap_m: float,
    gap_m: float,
) -> tuple[Gap, ...]:
    """Ends of one line only, joined to nothing, with another line within ``gap_m``."""
    n_ends = np.bincount(place_of_end, minlength=len(where))
    is_loose = n_ends == 1
    is_loose[cuts[0]] = False
    loose = np.flatnonzero(is_loose)
    if not loose.size or gap_m <= snap_m:
        return ()
    points = shapely.points(where[loose])
    near, line = shapely.STRtree(shapes).query(points, predicate="dwithin", distance=gap_m)
    own_line = lines.line_of_vertex[vertex[loose[near]]]
    other = line != own_line
    near, line, own_line = near[other], line[other], own_line[other]
    distance = shapely.distance(points[near], shapes[line])
    order = np.lexsort((distance, near))
    _, nearest = np.unique(near[order], return_index=True)
    gaps: dict[frozenset[int], Gap] = {}
    for k in order[nearest].tolist():
        lon, lat = lines.places[vertex[loose[near[k]]]].tolist()
        a, b = int(own_line[k]), int(line[k])
        gap = Gap(lon, lat, float(distance[k]), _called(lines, a), _called(lines, b))
        gaps.setdefault(frozenset((a, b)), gap)
    return tuple(gaps.values())


def _called(lines: RoadLines, line: int) -> str:
    return lines.ids[line] or (lines.rows[line] if lines.rows else "")


def _insert(
    lines: RoadLines,
    xy: Floats,
    shapes: Any,
    cuts: tuple[Ints, Ints],
    where: Floats,
    where_lonlat: Floats,
) -> RoadLines:
    """Add a vertex to each line that an end lies on, at the end's own place."""
    place, line = cuts
    if not place.size:
        return lines
    along = _along(xy, lines.offsets)
    # Lines get disjoint stretches of one long ruler, so that a single search finds the vertex
    ruler = along + np.repeat(_stretches(along, lines.offsets), np.diff(lines.offsets))
    measure = shapely.line_locate_point(shapes[line], shapely.points(where[place]))
    base = ruler[lines.offsets[line]]
    at = np.searchsorted(ruler, base + measure, side="right")
    at = np.clip(at, lines.offsets[line] + 1, lines.offsets[line + 1] - 1)
    order = np.lexsort((measure, at))
    at, line, place = at[order], line[order], place[order]
    places = np.insert(lines.places, at, where_lonlat[place], axis=0)
    added = np.bincount(line, minlength=lines.n_lines)
    offsets = lines.offsets + np.concatenate([[0], np.cumsum(added)])
    return replace(lines, places=places, offsets=offsets)


def _stretches(along: Floats, offsets: Ints) -> Floats:
    lengths = along[offsets[1:] - 1] + 1.0
    return np.concatenate([[0.0], np.cumsum(lengths)[:-1]])


def _along(xy: Floats, offsets: Ints) -> Floats:
    """Distance of every vertex from the start of its own line, shape (vertex,) [m]."""
    step = np.zeros(len(xy))
    step[1:] = np.hypot(*np.diff(xy, axis=0).T)
    step[offsets[:-1]] = 0.0
    total = np.cumsum(step)
    return total - np.repeat(total[offsets[:-1]], np.diff(offsets))


def _keys(places: Floats) -> Ints:
    """Equal coordinates, equal key."""
    packed = np.ascontiguousarray(places + 0.0).view(np.complex128).ravel()
    return np.unique(packed, return_inverse=True)[1].astype(np.int64)


def _apart_by_level(key: Ints, is_end: Flags, level: Ints) -> Ints:
    """Split a place in two where lines only pass through it on different levels."""
    ends_here = np.bincount(key, weights=is_end) > 0
    passes = ~ends_here[key]
    low = int(level.min())
    spread = int(level.max()) - low + 1
    apart = np.where(passes, key * spread + (level - low) + 1, -key - 1)
    return np.unique(apart, return_inverse=True)[1].astype(np.int64)


def _without_repeats(lines: RoadLines) -> RoadLines:
    """Drop a vertex that repeats the one before it on the same line, and lines of one place."""
    assert lines.key is not None
    repeat = np.zeros(len(lines.key), dtype=np.bool_)
    repeat[1:] = lines.key[1:] == lines.key[:-1]
    repeat[lines.offsets[:-1]] = False
    if not repeat.any():
        return lines
    kept = np.concatenate([[0], np.cumsum(~repeat)])
    lines = replace(
        lines, places=lines.places[~repeat], key=lines.key[~repeat], offsets=kept[lines.offsets]
    )
    has_length = np.diff(lines.offsets) > 1
    return lines if has_length.all() else lines.only(has_length)


def _official_scale(lines: RoadLines, line: Ints, length_m: Floats) -> Floats:
    """Official over drawn length of each edge's line; 1 where the agency gave none."""
    if lines.official_m is None:
        return np.ones(len(line))
    drawn = np.bincount(line, weights=length_m, minlength=lines.n_lines)[line]
    official = lines.official_m[line]
    has_official = np.isfinite(official) & (official > 0) & (drawn > 0)
    return np.divide(official, drawn, out=np.ones(len(line)), where=has_official)
