"""From what a reader found to a network and its report: one flow for every format."""

from __future__ import annotations

import numpy as np

from crossfall.errors import InputError, Problem
from crossfall.io.network.describe import Counts, describe
from crossfall.io.network.marks import marks_of_lines
from crossfall.io.network.options import NetworkOptions
from crossfall.io.network.place import near_enough
from crossfall.io.network.report import NetworkImport
from crossfall.io.network.source import Found
from crossfall.model import Network
from crossfall.network.features import attach_features
from crossfall.network.noding import (
    Edges,
    Gap,
    crossings,
    cut_at_junctions,
    join_at,
    plane_of,
    snap_ends,
)
from crossfall.network.projection import LocalPlane
from crossfall.network.roads import Floats, RoadLines
from crossfall.network.segmentation import make_segments
from crossfall.network.tidying import absorb_bridges, without_doubled

_EARTH_KM = 6371.0


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
    assert found.lines is not None, "a reader of road lines gives lines"
    near_enough(found.lines.places, options, file=file)
    lines, n_duplicates = _without_duplicates(found.lines)
    plane = plane_of(lines)
    found.problems.extend(_too_wide(lines, plane, policy.widest_km, file))
    gaps: tuple[Gap, ...] = ()
    if found.is_by_agency:
        lines, gaps = snap_ends(lines, plane, snap_m=policy.snap_m, gap_m=policy.gap_m)
    edges = cut_at_junctions(lines, plane)
    open_crossings = crossings(edges) if found.is_by_agency else ()
    if open_crossings and options.join_crossings:
        edges = cut_at_junctions(join_at(edges, plane, open_crossings), plane)
        open_crossings = ()
    marks = marks_of_lines(edges, plane, gaps, open_crossings) if found.is_by_agency else ()
    found.problems.extend(
        Problem(file, mark.text) for mark in marks if mark.kind == "self_crossing"
    )
    edges, n_doubled = without_doubled(edges)
    if not len(edges.line):
        raise InputError(f"{file} has only lines of no length; expected roads")
    edges = absorb_bridges(edges, longest_m=policy.bridge_absorb_m)
    nodes, segments = make_segments(edges, policy, source=file, merge=not options.keep_lines)
    attached = attach_features(
        segments, found.points, found.crossing_lines, plane, policy, source=file
    )
    network = Network(nodes, segments, attached.features, tuple(found.backdrop))
    found.problems.extend(Problem(file, f"{gap}; join them or leave them apart") for gap in gaps)
    found.problems.extend(_lengths_that_differ(edges, policy.official_ratio, file))
    counts = Counts(
        n_lines=lines.n_lines,
        n_duplicates=n_duplicates + n_doubled,
        n_slivers=int(np.count_nonzero(_drawn_m(edges) < policy.sliver_m)),
        n_crossings=len(open_crossings),
        features_left_out=attached.n_left_out,
        gaps=gaps,
        marks=marks,
    )
    report = describe(network, found, counts, options, file=file, format_name=format_name)
    return NetworkImport(network, report)


def _too_wide(lines: RoadLines, plane: LocalPlane, widest_km: float, file: str) -> list[Problem]:
    """A network so wide that one flat plane stretches its lengths."""
    x, _ = plane.to_plane(lines.places[:, 0], lines.places[:, 1])
    reach_km = float(np.abs(x).max()) / 1000
    if reach_km <= widest_km:
        return []
    error_pct = 100 * (reach_km / _EARTH_KM) ** 2 / 2
    return [
        Problem(
            file,
            f"reaches {reach_km:.0f} km east and west of its middle, where lengths are off by"
            f" {error_pct:.2f} %; import it in parts",
        )
    ]


def _without_duplicates(lines: RoadLines) -> tuple[RoadLines, int]:
    """Drop a line that repeats another's vertices, in either direction."""
    offsets = lines.offsets
    # Sums do not depend on direction; only lines that agree in them are compared in full
    sums = np.round(np.add.reduceat(lines.places, offsets[:-1], axis=0), 6)
    marks = np.column_stack([sums, np.diff(offsets)])
    _, mark, times = np.unique(marks, axis=0, return_inverse=True, return_counts=True)
    keep = np.ones(lines.n_lines, dtype=np.bool_)
    seen: set[bytes] = set()
    for line in np.flatnonzero(times[mark.ravel()] > 1).tolist():
        places = lines.places[offsets[line] : offsets[line + 1]]
        drawn = min(places.tobytes(), places[::-1].tobytes())
        keep[line] = drawn not in seen
        seen.add(drawn)
    n_dropped = int(np.count_nonzero(~keep))
    return (lines.only(keep) if n_dropped else lines), n_dropped


def _drawn_m(edges: Edges) -> Floats:
    """Drawn length of every line, shape (line,) [m]."""
    drawn = np.bincount(edges.line, weights=edges.length_m, minlength=edges.lines.n_lines)
    return drawn.astype(np.float64)


def _lengths_that_differ(edges: Edges, ratio: float, file: str) -> list[Problem]:
    """Lines whose length in the books is far from the drawn one."""
    lines = edges.lines
    if lines.official_m is None:
        return []
    drawn = _drawn_m(edges)
    with np.errstate(divide="ignore", invalid="ignore"):
        off = np.maximum(lines.official_m / drawn, drawn / lines.official_m)
    return [
        Problem(
            f"{file} {lines.rows[line] if lines.rows else lines.ids[line]}",
            f"its length is given as {lines.official_m[line]:.0f} m but drawn as"
            f" {drawn[line]:.0f} m; the given length is used",
        )
        for line in np.flatnonzero(off > ratio).tolist()
    ]
