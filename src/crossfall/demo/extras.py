"""Roads that are not section lines: through the middle of a section, along the creek, and cuts.

Maintenance segments are pieces between these cuts; the last step cuts or drops
pieces until the network has exactly the number of gravel segments asked for.
"""

from __future__ import annotations

from collections import Counter
from itertools import pairwise

import numpy as np
import shapely
import shapely.ops

from crossfall.demo.draft import Draft, Piece, measures
from crossfall.demo.land import Land, Points
from crossfall.demo.recipe import Recipe
from crossfall.errors import InputError


def add_half_roads(draft: Draft, n_roads: int, land: Land, rng: np.random.Generator) -> None:
    """Roads through the middle of a section, between two gravel section lines."""
    starts: dict[int, list[Piece]] = {}
    for piece in draft.live:
        if piece.build == "gravel" and not piece.stops_at_water and not piece.is_bridged:
            starts.setdefault(piece.a, []).append(piece)
    sections = [
        (base, west, east)
        for pieces in starts.values()
        for base in pieces
        for west in pieces
        if _runs(base, 0) and _runs(west, 1)
        for east in starts.get(base.b, ())
        if _runs(east, 1)
    ]
    order = rng.permutation(len(sections))
    n_built = 0
    for index in order:
        _, west, east = sections[int(index)]
        if n_built == n_roads:
            return
        if west.is_gone or east.is_gone:
            continue
        share = rng.uniform(0.45, 0.55)
        link = np.vstack([_middle(west, share), _middle(east, share)])
        distance, _ = land.creek_distance_m(np.linspace(link[0], link[1], 9))
        if distance.min() < 300.0:
            continue
        a, _, _ = draft.cut(west, share * west.length_m)
        b, _, _ = draft.cut(east, share * east.length_m)
        points = np.array([draft.nodes[a], draft.nodes[b]])
        draft.add(Piece(a, b, points, f"Half Section Road {n_built + 1}", 0.0))
        n_built += 1


def add_creek_road(draft: Draft, land: Land, recipe: Recipe, name: str) -> None:
    """A road that follows the north bank of the main creek from one section line to another."""
    creek = land.creeks[0]
    low, high = int(0.52 * len(creek)), int(0.80 * len(creek))
    bank = shapely.LineString(creek[low:high]).simplify(40.0)
    path = bank.offset_curve(1.25 * recipe.creek_clearance_m).simplify(50.0)
    if path.is_empty or path.geom_type != "LineString":
        return
    path = shapely.LineString(_rounded(shapely.get_coordinates(path)))
    stops = _stops(draft, path)
    for (at, a), (to, b) in pairwise(stops):
        if to - at < 250.0 or a == b:
            continue
        middle = shapely.get_coordinates(shapely.ops.substring(path, at + 20.0, to - 20.0))
        points = np.vstack([draft.nodes[a], middle, draft.nodes[b]])
        road = draft.add(Piece(a, b, points, name, at, is_collector=True))
        share = road.length_m / np.ceil(road.length_m / 1700.0)
        while road.length_m > 1.5 * share:
            _, _, road = draft.cut(road, share)


def drop_doubles(draft: Draft, name: str) -> None:
    """Drop section lines that run close beside the creek road for most of their length."""
    road = shapely.union_all(
        [shapely.LineString(piece.points) for piece in draft.live if piece.route == name]
    )
    if road.is_empty:
        return
    near = road.buffer(330.0)
    for piece in draft.live:
        if piece.is_fixed or piece.route == name or piece.build != "gravel":
            continue
        line = shapely.LineString(piece.points)
        if line.intersection(near).length > 0.55 * line.length:
            piece.is_gone = True


def settle_count(draft: Draft, n_segments: int, rng: np.random.Generator) -> None:
    """Cut long gravel pieces, or drop dead ends, until there are exactly ``n_segments``."""
    surplus = draft.n_gravel - n_segments
    while surplus > 0:
        surplus -= _drop_one_dead_end(draft)
    long = [p for p in draft.live if p.build == "gravel" and p.length_m > 1300.0]
    for index in rng.permutation(len(long))[: max(0, -surplus)]:
        draft.cut(long[int(index)], rng.uniform(0.44, 0.56) * long[int(index)].length_m)
    if draft.n_gravel != n_segments:
        raise InputError(
            f"n_segments is {n_segments}; this seed gives {draft.n_gravel} at most, try another"
        )


def _drop_one_dead_end(draft: Draft) -> int:
    live = draft.live
    degree = Counter(end for piece in live for end in (piece.a, piece.b))
    for piece in reversed(live):
        if piece.build == "gravel" and 1 in (degree[piece.a], degree[piece.b]):
            piece.is_gone = True
            return 1
    raise InputError("n_segments is too small for a network in one piece; expected 12 or more")


def _runs(piece: Piece, axis: int) -> bool:
    step = np.abs(piece.points[-1] - piece.points[0])
    return bool(step[axis] > 1400.0 and step[1 - axis] < 200.0)


def _middle(piece: Piece, share: float) -> Points:
    along = measures(piece.points)
    at = share * along[-1]
    return np.array([np.interp(at, along, piece.points[:, axis]) for axis in (0, 1)])


def _rounded(points: Points) -> Points:
    for _ in range(2):
        near = 0.75 * points[:-1] + 0.25 * points[1:]
        far = 0.25 * points[:-1] + 0.75 * points[1:]
        cut = np.stack([near, far], axis=1).reshape(-1, 2)
        points = np.vstack([points[:1], cut, points[-1:]])
    return points


def _stops(draft: Draft, path: shapely.LineString) -> list[tuple[float, int]]:
    """Where the path meets the roads that are there: its measure, and a junction for it."""
    stops: dict[int, float] = {}
    for piece in list(draft.live):
        line = shapely.LineString(piece.points)
        meet = path.intersection(line)
        if meet.is_empty:
            continue
        point = shapely.get_coordinates(meet)[0]
        at = float(line.project(shapely.Point(point)))
        if at < 260.0:
            node = piece.a
        elif piece.length_m - at < 260.0:
            node = piece.b
        else:
            node, _, _ = draft.cut(piece, at)
        stops.setdefault(node, float(path.project(shapely.Point(point))))
    return sorted((at, node) for node, at in stops.items())
