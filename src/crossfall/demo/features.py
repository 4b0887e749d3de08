"""What a crew must know about along the roads: water, rails, wires, pipes, gates and monuments."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
import shapely

from crossfall.demo.draft import Piece, measures, point_at
from crossfall.demo.land import Land, Points, crossings, on_globe
from crossfall.demo.recipe import INVENTED
from crossfall.model import PointFeature, Segment, Side
from crossfall.model.network import FeatureKind


@dataclass(eq=False)
class _Found:
    """Features on the plane until all are found and laid on the globe together."""

    kinds: list[FeatureKind] = field(default_factory=list)
    segments: list[str] = field(default_factory=list)
    at_m: list[float] = field(default_factory=list)
    places: list[Points] = field(default_factory=list)
    names: list[str] = field(default_factory=list)
    sides: list[Side] = field(default_factory=list)
    limits: list[float | None] = field(default_factory=list)

    def add(
        self,
        kind: FeatureKind,
        segment: Segment,
        piece: Piece,
        at_m: float,
        *,
        name: str = "",
        side: Side = "both",
        max_mass_t: float | None = None,
    ) -> None:
        at_m = float(np.clip(at_m, 0.0, segment.length_m))
        self.kinds.append(kind)
        self.segments.append(segment.id)
        self.at_m.append(round(at_m, 1))
        self.places.append(point_at(piece.points, measures(piece.points), at_m))
        self.names.append(name)
        self.sides.append(side)
        self.limits.append(max_mass_t)


def find_features(
    segments: tuple[Segment, ...], pieces: list[Piece], land: Land, rng: np.random.Generator
) -> tuple[PointFeature, ...]:
    """Point features of the segments; ``pieces`` are their drawings, in the same order."""
    lines = np.array([shapely.LineString(piece.points) for piece in pieces], dtype=object)
    found = _Found()
    _water(found, segments, pieces, lines, land, rng)
    _crossed(found, "rail_crossing", "Osier Valley Line", land.rail, segments, pieces, lines)
    for name, path in _wires(land):
        _crossed(found, "overhead_line", name, path, segments, pieces, lines)
    _crossed(found, "pipeline", "buried gas line", _pipe(land), segments, pieces, lines)
    _roadside(found, segments, pieces, rng)
    if not found.places:
        return ()
    places = on_globe(np.array(found.places), land.width_m, land.height_m).tolist()
    rows = zip(
        found.kinds, found.segments, found.at_m, places, found.names, found.sides, found.limits,
        strict=True,
    )  # fmt: skip
    width = max(4, len(str(len(places))))
    return tuple(
        PointFeature(
            f"F{number:0{width}d}", kind, lon, lat, segment, at_m, side, name, limit, INVENTED
        )
        for number, (kind, segment, at_m, (lon, lat), name, side, limit) in enumerate(rows, 1)
    )


def _water(
    found: _Found,
    segments: tuple[Segment, ...],
    pieces: list[Piece],
    lines: npt.NDArray[np.object_],
    land: Land,
    rng: np.random.Generator,
) -> None:
    """Bridges over the main creeks; over the branches some crossings are large culverts."""
    for number, creek in enumerate(land.creeks):
        is_branch = number % 2 == 1
        name = "Willow Branch" if is_branch else "Osier Creek"
        for index, point in zip(*crossings(lines, creek), strict=True):
            at_m = float(lines[index].project(shapely.Point(point)))
            segment, piece = segments[index], pieces[index]
            if is_branch and rng.uniform() < 0.4:
                found.add("culvert", segment, piece, at_m, name=f"{name}, twin pipes")
                continue
            posted = segment.is_maintained and rng.uniform() < 0.3
            limit = float(rng.choice([14.0, 18.0, 25.0])) if posted else None
            found.add("bridge", segment, piece, at_m, name=name, max_mass_t=limit)
    for segment, piece in zip(segments, pieces, strict=True):
        if piece.stops_at_water:
            at_start = np.hypot(*(piece.points[0] - _nearest(land, piece.points[0]))) < 120.0
            found.add("stream", segment, piece, 0.0 if at_start else segment.length_m)


def _nearest(land: Land, point: Points) -> Points:
    return land.creek_distance_m(point[None])[1][0]


def _crossed(
    found: _Found,
    kind: FeatureKind,
    name: str,
    path: Points,
    segments: tuple[Segment, ...],
    pieces: list[Piece],
    lines: npt.NDArray[np.object_],
) -> None:
    for index, point in zip(*crossings(lines, path), strict=True):
        at_m = float(lines[index].project(shapely.Point(point)))
        found.add(kind, segments[index], pieces[index], at_m, name=name)


def _wires(land: Land) -> tuple[tuple[str, Points], ...]:
    w, h = land.width_m, land.height_m
    long = np.array([[-100.0, 0.83 * h], [0.55 * w, 0.72 * h], [w + 100.0, 0.75 * h]])
    local = np.array([[0.23 * w, -100.0], [0.27 * w, 0.5 * h]])
    return ("transmission line", long), ("distribution line", local)


def _pipe(land: Land) -> Points:
    w, h = land.width_m, land.height_m
    return np.array([[0.62 * w, -100.0], [0.93 * w, 0.45 * h], [w + 100.0, 0.55 * h]])


def _roadside(
    found: _Found, segments: tuple[Segment, ...], pieces: list[Piece], rng: np.random.Generator
) -> None:
    """Pipes under the road, farm entrances, gates, cattle guards, monuments at section corners."""
    degree = Counter(end for piece in pieces for end in (piece.a, piece.b))
    marked: set[int] = set()
    for segment, piece in zip(segments, pieces, strict=True):
        if not segment.is_maintained:
            continue
        for _ in range(rng.poisson(0.55 if segment.drainage != "poor" else 0.9)):
            found.add("culvert", segment, piece, rng.uniform(0.08, 0.92) * segment.length_m)
        for _ in range(rng.poisson(0.00045 * segment.length_m)):
            side: Side = "left" if rng.uniform() < 0.5 else "right"
            at_m = rng.uniform(0.15, 0.85) * segment.length_m
            found.add("driveway", segment, piece, at_m, side=side, name="farm entrance")
        if segment.road_class == "minimum" and rng.uniform() < 0.4:
            found.add("gate", segment, piece, rng.uniform(0.4, 0.9) * segment.length_m)
        elif segment.grade_pct > 3.0 and rng.uniform() < 0.2:
            found.add("cattle_guard", segment, piece, rng.uniform(0.2, 0.8) * segment.length_m)
        if degree[piece.a] == 4 and piece.a not in marked and rng.uniform() < 0.3:
            marked.add(piece.a)
            found.add("survey_monument", segment, piece, 0.0, name="section corner monument")
