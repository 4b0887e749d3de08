"""From the drawing to a network: names, widths, traffic, gravel and drainage of every segment."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from crossfall.demo.draft import Draft, Piece
from crossfall.demo.land import Land, Points, on_globe, smooth_field
from crossfall.demo.recipe import INVENTED
from crossfall.model import Network, Node, Segment
from crossfall.model.network import Drainage, RoadClass, Shade

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Traits:
    """What a segment is like, one value for each piece."""

    middle: Points
    creek_m: Floats
    """Distance from the creek [m]."""
    adt: Floats
    width_m: Floats
    gravel_mm: Floats
    grade_pct: Floats
    wetness: Floats
    """How badly it drains, about -1 to 1."""
    soil: Floats
    """From sandy, about -1, to clayey, about 1."""
    trees: Floats
    """Above a limit there is a shelterbelt along the road."""
    road_class: list[RoadClass]


def in_order(draft: Draft) -> list[Piece]:
    """The pieces road by road, along each road; village streets last."""
    return sorted(draft.live, key=lambda piece: (piece.build == "street", piece.route, piece.at_m))


def finish(
    draft: Draft,
    pieces: list[Piece],
    land: Land,
    town_xy: Points,
    rng: np.random.Generator,
    *,
    prefix: str,
) -> Network:
    """Number the segments in the order of ``pieces`` and give each its traits.

    ``town_xy`` are the places that draw traffic, shape (town, 2); may be empty.
    """
    traits = _traits(pieces, land, town_xy, rng)
    used = sorted({end for piece in pieces for end in (piece.a, piece.b)})
    width = max(4, len(str(len(used))))
    names = {node: f"N{number:0{width}d}" for number, node in enumerate(used, start=1)}
    ends = on_globe(draft.ends()[used], land.width_m, land.height_m).tolist()
    nodes = tuple(Node(names[node], lon, lat) for node, (lon, lat) in zip(used, ends, strict=True))
    place = {node: (lon, lat) for node, (lon, lat) in zip(used, ends, strict=True)}
    counts = [len(piece.points) for piece in pieces]
    flat = on_globe(np.vstack([p.points for p in pieces]), land.width_m, land.height_m).tolist()
    starts = np.concatenate([[0], np.cumsum(counts)]).tolist()
    measures_m = _route_measures(pieces)
    width = max(4, len(str(len(pieces))))
    segments = []
    for i, piece in enumerate(pieces):
        inner = flat[starts[i] + 1 : starts[i + 1] - 1]
        line = (place[piece.a], *((lon, lat) for lon, lat in inner), place[piece.b])
        segments.append(
            _segment(
                f"{prefix}{i + 1:0{width}d}", piece, names, measures_m[i], line, traits, i, land
            )
        )
    return Network(nodes, tuple(segments))


def _segment(
    segment_id: str,
    piece: Piece,
    names: dict[int, str],
    from_m: float,
    line: tuple[tuple[float, float], ...],
    traits: Traits,
    i: int,
    land: Land,
) -> Segment:
    is_gravel = piece.build == "gravel"
    speed = {"paved": 45.0, "street": 25.0, "gravel": 35.0}[piece.build]
    if is_gravel and traits.road_class[i] == "minimum":
        speed = 25.0
    return Segment(
        id=segment_id,
        route=piece.route,
        from_node=names[piece.a],
        to_node=names[piece.b],
        from_m=from_m,
        length_m=round(piece.length_m, 1),
        line=line,
        road_class=traits.road_class[i],
        surface="gravel" if is_gravel else "paved",
        surface_source="agency",
        is_maintained=is_gravel,
        jurisdiction={"paved": "state", "street": "village"}.get(piece.build, "district"),
        district=_board(traits.middle[i], land),
        width_m=round(float(traits.width_m[i]), 1),
        width_method="estimated",
        adt=round(float(traits.adt[i])),
        adt_method="estimated",
        heavy_share=0.16 if piece.is_collector else 0.10,
        travel_km_h=speed,
        material=_material(traits.soil[i]),
        drainage=_drainage(traits.wetness[i]),
        shade=_shade(traits.creek_m[i], traits.trees[i]),
        gravel_mm=round(float(traits.gravel_mm[i])) if is_gravel else 0.0,
        gravel_method="estimated" if is_gravel else "default",
        grade_pct=round(float(traits.grade_pct[i]), 1),
        source=INVENTED,
        serves=_serves(piece, i) if is_gravel else "",
    )


def _traits(pieces: list[Piece], land: Land, town_xy: Points, rng: np.random.Generator) -> Traits:
    n = len(pieces)
    middle = np.array([piece.points[[0, -1]].mean(axis=0) for piece in pieces])
    creek_m, _ = land.creek_distance_m(middle)
    town_m = np.full(n, 20_000.0)
    for town in town_xy:
        town_m = np.minimum(town_m, np.hypot(*(middle - town).T))
    degree = Counter(end for piece in pieces for end in (piece.a, piece.b))
    ends_blind = [1 in (degree[piece.a], degree[piece.b]) for piece in pieces]
    is_lonely = np.array(ends_blind) & (rng.uniform(size=n) < 0.6)
    road_class = [_class_of(p, bool(alone)) for p, alone in zip(pieces, is_lonely, strict=True)]
    base = np.array([_BASE_ADT[each] for each in road_class])
    base = base * np.where([piece.build == "street" for piece in pieces], 4.0, 1.0)
    pull = 0.75 + 2.1 * np.exp(-town_m / 3200.0)
    adt = np.clip(base * pull * np.exp(rng.normal(0, 0.28, n)), 3, 2400)
    spread = {"arterial": 9.8, "collector": 8.0, "local": 7.0, "minimum": 5.6}
    width = np.array([spread[each] for each in road_class]) + rng.normal(0, 0.25, n)
    hills = np.exp(-creek_m / 1400.0)
    return Traits(
        middle=middle,
        creek_m=creek_m,
        adt=adt,
        width_m=np.clip(width, 4.8, 11.0),
        gravel_mm=_gravel(middle, road_class, rng),
        grade_pct=np.clip(
            0.5 + 3.8 * hills * rng.uniform(0.4, 1.3, n) + rng.gamma(2, 0.2, n), 0.1, 7
        ),
        wetness=0.7 * smooth_field(middle, rng, 7000.0) + 0.9 * hills + rng.normal(0, 0.25, n),
        soil=smooth_field(middle, rng, 16_000.0),
        trees=smooth_field(middle, rng, 5000.0) + rng.normal(0, 0.5, n),
        road_class=road_class,
    )


_BASE_ADT = {"arterial": 900.0, "collector": 115.0, "local": 42.0, "minimum": 9.0}


def _class_of(piece: Piece, is_lonely: bool) -> RoadClass:
    if piece.build == "paved":
        return "arterial"
    if piece.is_collector:
        return "collector"
    if piece.build == "street":
        return "local"
    return "minimum" if piece.stops_at_water or is_lonely else "local"


def _gravel(middle: Points, road_class: list[RoadClass], rng: np.random.Generator) -> Floats:
    """Thickness [mm]: roads of one neighbourhood were regravelled in the same years."""
    age = 0.5 + 0.5 * np.clip(
        smooth_field(middle, rng, 11_000.0) + rng.normal(0, 0.4, len(middle)), -1, 1
    )
    fresh = np.array([130.0 if each == "collector" else 110.0 for each in road_class])
    return np.clip(fresh - 90.0 * age + rng.normal(0, 8, len(middle)), 15, 160)


def _drainage(wetness: float) -> Drainage:
    return "poor" if wetness > 0.75 else "fair" if wetness > -0.25 else "good"


def _shade(creek_m: float, trees: float) -> Shade:
    """Woods along the creek, shelterbelts here and there, else open."""
    if creek_m < 450.0:
        return "forest" if creek_m < 260.0 else "partial"
    return "partial" if trees > 0.75 else "open"


def _serves(piece: Piece, i: int) -> str:
    """The school bus keeps to the collectors; a few farms send milk."""
    told = ["school"] if piece.is_collector else []
    if i % _MILK_EVERY == 0:
        told.append("milk")
    return " ".join(told)


_MILK_EVERY = 29


def _material(soil: float) -> str:
    if soil > 0.55:
        return "clayey gravel"
    return "sandy gravel" if soil < -0.5 else "surface gravel"


def _board(middle: Points, land: Land) -> str:
    """Five board districts: four quarters and the middle."""
    x, y = middle[0] / land.width_m - 0.5, middle[1] / land.height_m - 0.5
    if max(abs(x), abs(y)) < 0.2:
        return "District 5"
    return f"District {1 + (x > 0) + 2 * (y > 0)}"


def _route_measures(pieces: list[Piece]) -> list[float]:
    """Measure where each piece begins [m]: 0 at the first piece of a road, gaps count straight."""
    starts: list[float] = []
    reached, last = 0.0, None
    for piece in pieces:
        if last is None or last.route != piece.route:
            reached = 0.0
        else:
            reached += float(np.hypot(*(piece.points[0] - last.points[-1])))
        starts.append(round(reached, 1))
        reached += piece.length_m
        last = piece
    return starts
