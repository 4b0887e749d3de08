"""Point features put on the roads: at how many metres, on which side.

What lies on a road must touch it; what lies beside it is put on the nearest
road within reach. Streams, pipelines and power lines become a point wherever
they cross a road.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely

from crossfall.model import PointFeature, Segment, Side
from crossfall.model.policy import NetworkPolicy
from crossfall.network.projection import LocalPlane
from crossfall.network.roads import Floats, FoundLine, FoundPoint, Ints


@dataclass(frozen=True, slots=True)
class Attached:
    """Features on roads, and how many of each kind lie on none."""

    features: tuple[PointFeature, ...]
    n_left_out: dict[str, int]


def attach_features(
    segments: Sequence[Segment],
    points: Sequence[FoundPoint],
    lines: Sequence[FoundLine],
    plane: LocalPlane,
    policy: NetworkPolicy,
    *,
    source: str = "",
) -> Attached:
    """Find the segment, the metre and the side of every point and of every crossing.

    Where several segments meet at the place, a maintained one is taken.
    """
    if not segments or not (points or lines):
        return Attached((), {})
    shapes = segment_shapes(segments, plane)
    tree = shapely.STRtree(shapes)
    points = [*points, *_crossings(lines, shapes, tree, plane)]
    points = _without_known_water(points, plane, policy)
    if not points:
        return Attached((), {})
    where = np.column_stack(plane.to_plane([p.lon for p in points], [p.lat for p in points]))
    reach = np.array([policy.on_road_m if p.must_touch else policy.feature_snap_m for p in points])
    on = _nearest(where, reach, segments, shapes, tree)
    features: list[PointFeature] = []
    left_out: dict[str, int] = {}
    taken: set[str] = set()
    for index, point in enumerate(points):
        k = int(on[index])
        if k < 0:
            left_out[point.kind] = left_out.get(point.kind, 0) + 1
            continue
        aside = where[index]
        if point.towards is not None:
            x, y = plane.to_plane([point.towards[0]], [point.towards[1]])
            aside = np.array([x[0], y[0]])
        drawn_m = float(shapely.line_locate_point(shapes[k], shapely.points(where[index])))
        scale = segments[k].length_m / float(shapely.length(shapes[k]))
        features.append(
            PointFeature(
                id=_unused_id(point.source_id, point.kind, taken),
                kind=point.kind,
                lon=point.lon,
                lat=point.lat,
                segment_id=segments[k].id,
                at_m=min(drawn_m * scale, segments[k].length_m),
                side=side_of(shapes[k], aside, on_road_m=policy.on_road_m),
                name=point.name,
                max_mass_t=point.max_mass_t,
                source=source,
            )
        )
    return Attached(tuple(features), left_out)


def segment_shapes(segments: Sequence[Segment], plane: LocalPlane) -> Any:
    """Segments as lines on the plane, shape (segment,) of shapely geometries [m]."""
    lonlat = np.array([place for segment in segments for place in segment.line], dtype=np.float64)
    xy = np.column_stack(plane.to_plane(lonlat[:, 0], lonlat[:, 1]))
    index = np.repeat(np.arange(len(segments)), [len(segment.line) for segment in segments])
    return shapely.linestrings(xy, indices=index)


def side_of(shape: Any, place: Floats, *, on_road_m: float) -> Side:
    """Side of a line on which a place lies, facing the way the line runs.

    Parameters
    ----------
    shape : shapely line
        On the plane. [m]
    place : ndarray, shape (2,)
        On the plane. [m]
    on_road_m : float
        Closer than this is ``both``. [m]

    Examples
    --------
    >>> north = shapely.LineString([(0, 0), (0, 100)])
    >>> side_of(north, np.array([-5.0, 50.0]), on_road_m=1.0)
    'left'
    """
    point = shapely.points(place)
    if float(shapely.distance(shape, point)) <= on_road_m:
        return "both"
    length = float(shapely.length(shape))
    at = float(shapely.line_locate_point(shape, point))
    around = min(1.0, length / 4)
    here, ahead = shapely.get_coordinates(
        shapely.line_interpolate_point(shape, [max(0.0, at - around), min(length, at + around)])
    )
    (dx, dy), (px, py) = ahead - here, place - here
    return "left" if dx * py - dy * px > 0 else "right"


def _crossings(
    lines: Sequence[FoundLine], shapes: Any, tree: Any, plane: LocalPlane
) -> list[FoundPoint]:
    """A point wherever a line of ``lines`` meets a road."""
    if not lines:
        return []
    drawn = np.array([shapely.LineString(plane.line(line.line)) for line in lines])
    line, road = tree.query(drawn, predicate="intersects")
    meeting = shapely.intersection(drawn[line], shapes[road])
    found: list[FoundPoint] = []
    seen: set[tuple[int, int, int]] = set()
    for which, shape in zip(line.tolist(), meeting, strict=True):
        places = np.array(
            [shapely.get_coordinates(shapely.centroid(p))[0] for p in shapely.get_parts(shape)]
        )
        along = shapely.line_locate_point(drawn[which], shapely.points(places))
        places = places[np.argsort(along, kind="stable")]
        lon, lat = plane.to_lonlat(places[:, 0], places[:, 1])
        for (x, y), a, b in zip(places.tolist(), lon.tolist(), lat.tolist(), strict=True):
            # Two segments that meet at the crossing give it once
            if (which, round(x), round(y)) in seen:
                continue
            seen.add((which, round(x), round(y)))
            each = lines[which]
            found.append(FoundPoint(each.kind, each.source_id, a, b, each.name))
    return found


def _without_known_water(
    points: list[FoundPoint], plane: LocalPlane, policy: NetworkPolicy
) -> list[FoundPoint]:
    """A stream at a known bridge, culvert or ford is that bridge, culvert or ford."""
    known = [p for p in points if p.kind in ("bridge", "culvert", "ford")]
    if not known:
        return points
    tree = shapely.STRtree(
        shapely.points(*plane.to_plane([p.lon for p in known], [p.lat for p in known]))
    )
    places = shapely.points(*plane.to_plane([p.lon for p in points], [p.lat for p in points]))
    near = set(tree.query(places, predicate="dwithin", distance=policy.same_crossing_m)[0].tolist())
    return [p for index, p in enumerate(points) if p.kind != "stream" or index not in near]


def _nearest(
    where: Floats, reach: Floats, segments: Sequence[Segment], shapes: Any, tree: Any
) -> Ints:
    """Index of the segment each place belongs to, or -1."""
    places = shapely.points(where)
    point, road = tree.query(places, predicate="dwithin", distance=reach)
    distance = shapely.distance(places[point], shapes[road])
    is_others = np.array([not segments[k].is_maintained for k in road.tolist()], dtype=np.bool_)
    order = np.lexsort((road, is_others, np.round(distance, 2), point))
    result = np.full(len(where), -1, dtype=np.int64)
    found, first = np.unique(point[order], return_index=True)
    result[found] = road[order][first]
    return result


def _unused_id(source_id: str, kind: str, taken: set[str]) -> str:
    wanted = source_id if source_id.startswith(f"{kind}-") else f"{kind}-{source_id}"
    feature_id, number = wanted, 2
    while feature_id in taken:
        feature_id = f"{wanted}-{number}"
        number += 1
    taken.add(feature_id)
    return feature_id
