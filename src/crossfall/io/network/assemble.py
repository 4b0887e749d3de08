"""From what a reader found to a network and its report: one flow for every format."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

import numpy as np

from crossfall.errors import InputError, Problem
from crossfall.io.network.options import NetworkOptions
from crossfall.io.network.report import ImportReport, NetworkImport
from crossfall.io.network.source import Found
from crossfall.model import Network, Segment
from crossfall.network.features import attach_features
from crossfall.network.graph import build_graph
from crossfall.network.noding import (
    Edges,
    Gap,
    absorb_bridges,
    crossings,
    cut_at_junctions,
    join_at,
    plane_of,
    snap_ends,
)
from crossfall.network.roads import RoadFacts, RoadLines
from crossfall.network.segmentation import make_segments


def assemble(
    found: Found, options: NetworkOptions, *, file: str, format_name: str
) -> NetworkImport:
    """Node, segment, attach, and report.

    Parameters
    ----------
    found : Found
        From a reader.
    file : str
        Name of the file, kept with every segment.
    """
    policy = options.policy
    lines, n_duplicates = _without_duplicates(found.lines)
    lines = replace(lines, facts=[_settled(facts, options) for facts in lines.facts])
    plane = plane_of(lines)
    gaps: tuple[Gap, ...] = ()
    if found.is_by_agency:
        lines, gaps = snap_ends(lines, plane, snap_m=policy.snap_m, gap_m=policy.gap_m)
    edges = cut_at_junctions(lines, plane)
    open_crossings = crossings(edges) if found.is_by_agency else ()
    if open_crossings and options.join_crossings:
        lines = join_at(edges, plane, open_crossings)
        edges, open_crossings = cut_at_junctions(lines, plane), ()
    edges = absorb_bridges(edges, longest_m=policy.bridge_absorb_m)
    if not len(edges.line):
        raise InputError(f"{file} has only lines of no length; expected roads")
    nodes, segments = make_segments(
        edges, policy, source=file, merge=not (options.keep_lines or found.keep_lines)
    )
    attached = attach_features(
        segments, found.points, found.crossing_lines, plane, policy, source=file
    )
    network = Network(nodes, segments, attached.features)
    report = _report(
        network,
        found,
        edges,
        file=file,
        format_name=format_name,
        gaps=gaps,
        n_duplicates=n_duplicates,
        n_slivers=int(np.count_nonzero(_lengths(edges) < policy.sliver_m)),
        n_crossings=len(open_crossings),
        features_left_out=attached.n_left_out,
        options=options,
    )
    return NetworkImport(network, report)


def _settled(facts: RoadFacts, options: NetworkOptions) -> RoadFacts:
    """Whether the agency maintains a road: it is loose, or somebody said so."""
    is_loose = facts.surface in ("gravel", "earth")
    may_be = options.include_unknown and facts.surface == "unknown"
    is_maintained = (is_loose or (may_be and facts.road_class != "arterial")) and (
        facts.jurisdiction != "private"
    )
    if options.maintained_by:
        is_maintained = is_maintained and facts.jurisdiction in options.maintained_by
    if facts.says_maintained is not None:
        is_maintained = facts.says_maintained
    return replace(facts, is_maintained=is_maintained, says_maintained=None)


def _without_duplicates(lines: RoadLines) -> tuple[RoadLines, int]:
    """Drop a line that repeats another's vertices, in either direction."""
    seen: set[bytes] = set()
    keep = np.ones(lines.n_lines, dtype=np.bool_)
    offsets = lines.offsets.tolist()
    for line in range(lines.n_lines):
        places = lines.places[offsets[line] : offsets[line + 1]]
        drawn = min(places.tobytes(), places[::-1].tobytes())
        if drawn in seen:
            keep[line] = False
        seen.add(drawn)
    n_dropped = int(np.count_nonzero(~keep))
    return (lines.only(keep) if n_dropped else lines), n_dropped


def _lengths(edges: Edges) -> np.ndarray:
    return np.bincount(edges.line, weights=edges.length_m, minlength=edges.lines.n_lines)


def _report(
    network: Network,
    found: Found,
    edges: Edges,
    *,
    file: str,
    format_name: str,
    gaps: tuple[Gap, ...],
    n_duplicates: int,
    n_slivers: int,
    n_crossings: int,
    features_left_out: dict[str, int],
    options: NetworkOptions,
) -> ImportReport:
    segments = network.segments
    parts = np.bincount(build_graph(network).parts)
    ends = Counter(node for s in segments for node in (s.from_node, s.to_node))
    km_by_surface: dict[str, float] = {}
    for segment in segments:
        km = segment.length_m / 1000
        km_by_surface[segment.surface] = km_by_surface.get(segment.surface, 0.0) + km
    unknown = tuple(s.id for s in segments if s.surface == "unknown" and s.road_class != "arterial")
    problems = [*found.problems]
    problems += [Problem(file, f"{gap}; join them or leave them apart") for gap in gaps]
    return ImportReport(
        file=file,
        format=format_name,
        n_lines=edges.lines.n_lines,
        n_nodes=len(network.nodes),
        n_segments=len(segments),
        km=sum(s.length_m for s in segments) / 1000,
        maintained_km=network.maintained_km,
        km_by_surface=km_by_surface,
        n_by_surface_source=dict(Counter(s.surface_source for s in segments)),
        n_components=len(parts),
        largest_component_pct=100.0 * float(parts.max()) / float(parts.sum()),
        n_dead_ends=sum(1 for n in ends.values() if n == 1),
        n_duplicates=n_duplicates,
        n_zero_length=found.n_zero_length,
        n_slivers=n_slivers,
        n_crossings=n_crossings,
        features=dict(Counter(feature.kind for feature in network.features)),
        features_left_out=features_left_out,
        left_out=found.left_out,
        gaps=gaps,
        unknown_surface=unknown,
        unused_columns=found.unused_columns,
        problems=tuple(problems),
        assumed=(*found.assumed, *_assumed(segments, options)),
    )


def _assumed(segments: tuple[Segment, ...], options: NetworkOptions) -> list[str]:
    n = len(segments)
    said: list[str] = []
    for what, how_many in (
        ("width", sum(s.width_method == "default" for s in segments)),
        ("traffic", sum(s.adt_method == "default" for s in segments)),
        (
            "gravel thickness",
            sum(s.gravel_method == "default" and s.is_maintained for s in segments),
        ),
    ):
        if how_many:
            said.append(f"{what} of {how_many} of {n} segments is a default of the policy")
    inferred = sum(s.surface_source == "inferred" for s in segments)
    if inferred:
        said.append(f"surface of {inferred} of {n} segments is inferred from other tags")
    if options.include_unknown:
        unknown = sum(s.surface == "unknown" and s.is_maintained for s in segments)
        said.append(f"{unknown} segments of unknown surface are maintained because you asked")
    return said
