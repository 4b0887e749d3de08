"""What became of a segment: kept, split, merged, or drawn anew.

Facts hang on segment ids. When a segment is split or merged, or comes back from
a new import under another id, a lineage says which stretch of the old one lies
on which stretch of the new one, so that conditions, records and events follow.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from crossfall.errors import InputError
from crossfall.model import Network, Node, PointFeature, Segment, Side
from crossfall.network.linear import LinearReference, LineEvent
from crossfall.network.segmentation import named


@dataclass(frozen=True, slots=True)
class Lineage:
    """A stretch of a parent segment, and the stretch of a child it became."""

    parent_id: str
    child_id: str
    from_m: float
    to_m: float
    """Stretch of the parent [m]."""
    child_from_m: float
    child_to_m: float
    """The same stretch on the child; falling where the child runs the other way [m]."""

    def child_m(self, parent_m: float) -> float:
        """Metres along the child of a place given in metres along the parent [m]."""
        share = (parent_m - self.from_m) / (self.to_m - self.from_m)
        return self.child_from_m + share * (self.child_to_m - self.child_from_m)


def split_segment(
    network: Network, segment_id: str, at_m: Sequence[float]
) -> tuple[Network, tuple[Lineage, ...]]:
    """Cut a segment at one or more places.

    Parameters
    ----------
    network : Network
    segment_id : str
    at_m : sequence of float
        Metres from the segment's start, strictly between its ends. [m]

    Returns
    -------
    network : Network
        With the parts in place of the segment; its features lie on the parts.
    lineage : tuple of Lineage
        One for each part, in order.
    """
    linear = LinearReference(network)
    segment = _segment(network, segment_id)
    cuts = sorted(set(at_m))
    if not cuts or not cuts[0] > 0 or not cuts[-1] < segment.length_m:
        raise InputError(
            f"segment {segment_id} is {segment.length_m:.1f} m long and cannot be cut at"
            f" {', '.join(f'{cut:g}' for cut in cuts) or 'no place'}; expected places between"
            " its ends"
        )
    bounds = [0.0, *cuts, segment.length_m]
    nodes: list[Node] = []
    for cut in cuts:
        lon, lat = linear.place(segment_id, cut)
        nodes.append(Node(named("m", repr(lon), repr(lat)), lon, lat))
    ends = [segment.from_node, *(node.id for node in nodes), segment.to_node]
    places = [segment.line[0], *((node.lon, node.lat) for node in nodes), segment.line[-1]]
    parts: list[Segment] = []
    for k, (from_m, to_m) in enumerate(pairwise(bounds)):
        line = linear.stretch(segment_id, from_m, to_m)
        parts.append(
            replace(
                segment,
                id=named(segment_id, ends[k], ends[k + 1]),
                from_node=ends[k],
                to_node=ends[k + 1],
                from_m=segment.from_m + from_m,
                length_m=to_m - from_m,
                line=(places[k], *line[1:-1], places[k + 1]),
            )
        )
    lineage = tuple(
        Lineage(segment_id, part.id, from_m, to_m, 0.0, part.length_m)
        for part, from_m, to_m in zip(parts, bounds[:-1], bounds[1:], strict=True)
    )
    known = network.node_by_id
    return (
        Network(
            (*network.nodes, *(node for node in nodes if node.id not in known)),
            _in_place_of(network.segments, {segment_id}, parts),
            follow_features(network.features, lineage),
            network.backdrop,
        ),
        lineage,
    )


def merge_segments(
    network: Network, first_id: str, second_id: str
) -> tuple[Network, tuple[Lineage, ...]]:
    """Join two segments of one route that meet end to end; the first keeps its facts.

    The second is turned where it runs the other way; one-way segments are never turned.
    """
    first, second = _segment(network, first_id), _segment(network, second_id)
    is_turned = second.from_node != first.to_node
    if is_turned and (second.to_node != first.to_node or second.is_oneway):
        raise InputError(
            f"segment {second_id} does not go on where {first_id} ends; expected the next one"
            " along the road"
        )
    if first_id == second_id:
        raise InputError(f"segment {first_id} cannot be merged with itself")
    line = second.line[::-1] if is_turned else second.line
    end = second.from_node if is_turned else second.to_node
    limits = [s.max_mass_t for s in (first, second) if s.max_mass_t is not None]
    merged = replace(
        first,
        id=named(first_id, first.from_node, end),
        to_node=end,
        length_m=first.length_m + second.length_m,
        line=(*first.line, *line[1:]),
        max_mass_t=min(limits) if limits else None,
    )
    start, stop = first.length_m, merged.length_m
    lineage = (
        Lineage(first_id, merged.id, 0.0, first.length_m, 0.0, start),
        Lineage(
            second_id,
            merged.id,
            0.0,
            second.length_m,
            *((stop, start) if is_turned else (start, stop)),
        ),
    )
    segments = _in_place_of(network.segments, {first_id, second_id}, [merged])
    used = {node for s in segments for node in (s.from_node, s.to_node)}
    return (
        Network(
            tuple(node for node in network.nodes if node.id in used),
            segments,
            follow_features(network.features, lineage),
            network.backdrop,
        ),
        lineage,
    )


def trace_lineage(
    old: Network, new: Network, parents: Iterable[str], *, within_m: float
) -> tuple[Lineage, ...]:
    """Find by geometry what segments of ``old`` became in ``new``.

    Parameters
    ----------
    old, new : Network
    parents : iterable of str
        Ids of segments of ``old`` to trace.
    within_m : float
        A new segment runs along an old one when it stays this close. [m]

    Returns
    -------
    tuple of Lineage
        Stretches of at least ``within_m``; what was not found again has none.
    """
    before, after = LinearReference(old), LinearReference(new)
    found: list[Lineage] = []
    for parent_id in parents:
        parent = _segment(old, parent_id)
        n_steps = max(2, int(np.ceil(parent.length_m / within_m)) + 1)
        measures = np.linspace(0.0, parent.length_m, n_steps)
        places = np.array([before.place(parent_id, at_m) for at_m in measures])
        candidates = {
            each.segment_id
            for each in after.snap_many(places[:, 0], places[:, 1], within_m=within_m)
            if each is not None
        }
        for child_id in sorted(candidates):
            spots = [after.project(child_id, lon, lat) for lon, lat in places.tolist()]
            close = np.array([spot.offset_m <= within_m for spot in spots])
            at = np.array([spot.at_m for spot in spots])
            found += _stretches(parent_id, child_id, measures, at, close, within_m)
    return tuple(sorted(found, key=lambda each: (each.parent_id, each.from_m, each.child_id)))


def follow_features(
    features: Iterable[PointFeature], lineage: Iterable[Lineage]
) -> tuple[PointFeature, ...]:
    """Features moved from parents to the children they now lie on."""
    by_parent = _by_parent(lineage)
    moved: list[PointFeature] = []
    for feature in features:
        for each in by_parent.get(feature.segment_id or "", []):
            at_m = feature.at_m or 0.0
            if each.from_m <= at_m <= each.to_m:
                feature = replace(
                    feature,
                    segment_id=each.child_id,
                    at_m=each.child_m(at_m),
                    side=_side(feature.side, is_turned=each.child_to_m < each.child_from_m),
                )
                break
        moved.append(feature)
    return tuple(moved)


def follow_events(events: Iterable[LineEvent], lineage: Iterable[Lineage]) -> tuple[LineEvent, ...]:
    """Events cut at the bounds of the children they now lie on; the others stay as they are."""
    by_parent = _by_parent(lineage)
    moved: list[LineEvent] = []
    for event in events:
        children = by_parent.get(event.segment_id)
        if children is None:
            moved.append(event)
            continue
        for each in children:
            from_m, to_m = max(event.from_m, each.from_m), min(event.to_m, each.to_m)
            if from_m < to_m:
                start, end = sorted((each.child_m(from_m), each.child_m(to_m)))
                side = _side(event.side, is_turned=each.child_to_m < each.child_from_m)
                moved.append(
                    replace(event, segment_id=each.child_id, from_m=start, to_m=end, side=side)
                )
    return tuple(moved)


def _stretches(
    parent_id: str,
    child_id: str,
    measures: np.ndarray,
    at: np.ndarray,
    close: np.ndarray,
    within_m: float,
) -> list[Lineage]:
    """Runs of places that stay close to one child and move along it."""
    runs = np.flatnonzero(np.diff(np.concatenate([[False], close, [False]]).astype(np.int8)))
    result: list[Lineage] = []
    for first, after in zip(runs[0::2].tolist(), runs[1::2].tolist(), strict=True):
        moves = np.flatnonzero(np.abs(np.diff(at[first:after])) > within_m / 100)
        if not moves.size:
            continue
        start, end = first + int(moves[0]), first + int(moves[-1]) + 1
        length, child_length = measures[end] - measures[start], abs(at[end] - at[start])
        if min(length, child_length) >= within_m:
            result.append(
                Lineage(
                    parent_id,
                    child_id,
                    float(measures[start]),
                    float(measures[end]),
                    float(at[start]),
                    float(at[end]),
                )
            )
    return result


def _by_parent(lineage: Iterable[Lineage]) -> dict[str, list[Lineage]]:
    by_parent: dict[str, list[Lineage]] = {}
    for each in lineage:
        by_parent.setdefault(each.parent_id, []).append(each)
    return by_parent


def _side(side: Side, *, is_turned: bool) -> Side:
    if not is_turned or side == "both":
        return side
    return "left" if side == "right" else "right"


def _segment(network: Network, segment_id: str) -> Segment:
    try:
        return network.segment_by_id[segment_id]
    except KeyError:
        raise InputError(f"segment {segment_id!r} is not in this network") from None


def _in_place_of(
    segments: Sequence[Segment], gone: set[str], new: Sequence[Segment]
) -> tuple[Segment, ...]:
    """The segments with ``new`` standing where the first of ``gone`` stood."""
    result: list[Segment] = []
    is_placed = False
    for segment in segments:
        if segment.id not in gone:
            result.append(segment)
        elif not is_placed:
            result += new
            is_placed = True
    return tuple(result)
