"""Counting what an import gave, and saying what it rests on."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from itertools import chain

import numpy as np

from crossfall.io.network.marks import Mark, marks_of_network
from crossfall.io.network.options import NetworkOptions
from crossfall.io.network.report import ImportReport
from crossfall.io.network.source import Found
from crossfall.model import Network, Segment
from crossfall.network.graph import RoadGraph, build_graph
from crossfall.network.noding import Gap


@dataclass(frozen=True, slots=True)
class Counts:
    """What only the noding knows."""

    n_lines: int
    n_duplicates: int = 0
    n_slivers: int = 0
    n_crossings: int = 0
    features_left_out: dict[str, int] = field(default_factory=dict)
    gaps: tuple[Gap, ...] = ()
    marks: tuple[Mark, ...] = ()


def describe(
    network: Network,
    found: Found,
    counts: Counts,
    options: NetworkOptions,
    *,
    file: str,
    format_name: str,
) -> ImportReport:
    """The report of an import."""
    segments = network.segments
    graph = build_graph(network)
    parts = np.bincount(graph.parts)
    ends = Counter(chain((s.from_node for s in segments), (s.to_node for s in segments)))
    km_by_surface: dict[str, float] = {}
    for segment in segments:
        km = segment.length_m / 1000
        km_by_surface[segment.surface] = km_by_surface.get(segment.surface, 0.0) + km
    unknown = tuple(s.id for s in segments if s.surface == "unknown" and s.road_class != "arterial")
    return ImportReport(
        file=file,
        format=format_name,
        n_lines=counts.n_lines,
        n_nodes=len(network.nodes),
        n_segments=len(segments),
        km=sum(s.length_m for s in segments) / 1000,
        maintained_km=network.maintained_km,
        km_by_surface=km_by_surface,
        n_by_surface_source=dict(Counter(s.surface_source for s in segments)),
        n_components=len(parts),
        largest_component_pct=100.0 * float(parts.max()) / float(parts.sum()),
        parts=_small_parts(network, graph),
        n_dead_ends=list(ends.values()).count(1),
        n_duplicates=counts.n_duplicates,
        n_zero_length=found.n_zero_length,
        n_slivers=counts.n_slivers,
        n_crossings=counts.n_crossings,
        features=dict(Counter(feature.kind for feature in network.features)),
        features_left_out=counts.features_left_out,
        left_out=found.left_out,
        gaps=counts.gaps,
        unknown_surface=unknown,
        unused_columns=found.unused_columns,
        problems=tuple(found.problems),
        marks=(*counts.marks, *marks_of_network(network, graph, unknown)),
        assumed=(*found.assumed, *_assumed(segments, options)),
    )


def _small_parts(network: Network, graph: RoadGraph) -> tuple[str, ...]:
    """Where the parts lie that the largest does not reach, the longest first."""
    part_of = dict(zip(graph.node_ids, graph.parts.tolist(), strict=True))
    largest = int(np.bincount(graph.parts).argmax())
    by_part: dict[int, list[Segment]] = {}
    for segment in network.segments:
        if part_of[segment.from_node] != largest:
            by_part.setdefault(part_of[segment.from_node], []).append(segment)
    told: list[tuple[float, str]] = []
    for members in by_part.values():
        roads = list(dict.fromkeys(each.route or each.id for each in members))
        more = f" and {len(roads) - _MOST_ROADS} more" if len(roads) > _MOST_ROADS else ""
        km = sum(each.length_m for each in members) / 1000
        lon, lat = members[0].line[0]
        words = f"{', '.join(roads[:_MOST_ROADS])}{more} ({km:.1f} km) at {lon:.5f},{lat:.5f}"
        told.append((km, words))
    return tuple(words for _, words in sorted(told, reverse=True))


_MOST_ROADS = 3
"""Roads named of a part that is not joined."""


def _assumed(segments: tuple[Segment, ...], options: NetworkOptions) -> list[str]:
    maintained = [s for s in segments if s.is_maintained]
    said: list[str] = []
    for what, methods in (
        ("width", [s.width_method for s in maintained]),
        ("traffic", [s.adt_method for s in maintained]),
        ("gravel thickness", [s.gravel_method for s in maintained]),
    ):
        how_many = methods.count("default")
        if how_many:
            said.append(
                f"{what} of {how_many} of {len(maintained)} maintained segments is a default"
                " of the policy"
            )
    inferred = [s.surface_source for s in segments].count("inferred")
    if inferred:
        said.append(f"surface of {inferred} of {len(segments)} segments is inferred, not stated")
    if options.include_unknown:
        unknown = sum(s.surface == "unknown" for s in maintained)
        said.append(f"{unknown} segments of unknown surface are maintained because you asked")
    return said
