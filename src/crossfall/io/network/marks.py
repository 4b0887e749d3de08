"""Where on the map a person should look after an import, each place with its sentence."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import shapely

from crossfall.model import Network, Segment
from crossfall.network.graph import RoadGraph
from crossfall.network.noding import Edges, Gap
from crossfall.network.projection import LocalPlane

MarkKind = Literal["gap", "crossing", "self_crossing", "not_joined", "unknown_surface"]

MARK_WORDS: dict[str, str] = {
    "gap": "ends that nearly meet",
    "crossing": "crossings without a junction",
    "self_crossing": "lines that cross themselves",
    "not_joined": "parts that nothing joins to the rest",
    "unknown_surface": "roads of unknown surface",
}


@dataclass(frozen=True, slots=True)
class Mark:
    """One place to look at."""

    kind: MarkKind
    lon: float
    lat: float
    text: str


def marks_of_lines(
    edges: Edges,
    plane: LocalPlane,
    gaps: Sequence[Gap],
    open_crossings: Sequence[tuple[float, float, int, int]],
) -> tuple[Mark, ...]:
    """What only the lines know: near misses, crossings, lines that cross themselves."""
    marks = [Mark("gap", gap.lon, gap.lat, str(gap)) for gap in gaps]
    if open_crossings:
        xy = np.array([(x, y) for x, y, _, _ in open_crossings])
        lon, lat = plane.to_lonlat(xy[:, 0], xy[:, 1])
        ids = edges.lines.ids
        marks += [
            Mark(
                "crossing", float(lon[k]), float(lat[k]),
                f"{ids[one] or 'a line'} and {ids[other] or 'another'} cross without a junction: a"
                " bridge nobody marked, or a junction nobody drew",
            )
            for k, (_, _, one, other) in enumerate(open_crossings)
        ]  # fmt: skip
    marks += _crossing_themselves(edges, plane)
    return tuple(marks)


def marks_of_network(
    network: Network, graph: RoadGraph, unknown: Iterable[str]
) -> tuple[Mark, ...]:
    """What only the network knows: parts that are not joined, surfaces that somebody settles."""
    return (*_not_joined(network, graph), *_unknown(network, unknown))


def _crossing_themselves(edges: Edges, plane: LocalPlane) -> Iterator[Mark]:
    lines = edges.lines
    shapes = shapely.linestrings(edges.xy, indices=lines.line_of_vertex)
    for line in np.flatnonzero(~shapely.is_simple(shapes)).tolist():
        place = _self_meeting(shapes[line])
        lon, lat = plane.to_lonlat([place[0]], [place[1]])
        yield Mark(
            "self_crossing", float(lon[0]), float(lat[0]),
            f"{lines.ids[line] or 'a line'} crosses or runs back over itself; is it drawn as the"
            " road runs?",
        )  # fmt: skip


def _self_meeting(shape: shapely.LineString) -> tuple[float, float]:
    """A place where the line meets itself; its middle where none is found."""
    coordinates = shapely.get_coordinates(shape)
    pieces = shapely.linestrings(np.stack([coordinates[:-1], coordinates[1:]], axis=1))
    for k in range(len(pieces) - 2):
        for meeting in shapely.intersection(pieces[k], pieces[k + 2 :]):
            if not meeting.is_empty:
                x, y = shapely.get_coordinates(meeting)[0]
                return float(x), float(y)
    x, y = shapely.get_coordinates(shapely.line_interpolate_point(shape, 0.5, normalized=True))[0]
    return float(x), float(y)


def _not_joined(network: Network, graph: RoadGraph) -> Iterator[Mark]:
    part_of = dict(zip(graph.node_ids, graph.parts.tolist(), strict=True))
    largest = int(np.bincount(graph.parts).argmax())
    first: dict[int, Segment] = {}
    metres: dict[int, float] = {}
    for segment in network.segments:
        part = part_of[segment.from_node]
        if part != largest:
            first.setdefault(part, segment)
            metres[part] = metres.get(part, 0.0) + segment.length_m
    for part, segment in first.items():
        lon, lat = segment.line[0]
        yield Mark(
            "not_joined", lon, lat,
            f"{segment.route} and what hangs on it ({metres[part] / 1000:.1f} km) are not joined to"
            " the rest",
        )  # fmt: skip


def _unknown(network: Network, unknown: Iterable[str]) -> Iterator[Mark]:
    for segment_id in unknown:
        segment = network.segment_by_id[segment_id]
        lon, lat = segment.line[len(segment.line) // 2]
        yield Mark(
            "unknown_surface", lon, lat, f"nobody says what {segment.route} is made of; settle it"
        )
