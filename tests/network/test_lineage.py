"""Splitting, merging, and finding roads again after they were drawn anew."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from crossfall.errors import InputError
from crossfall.model import Network, PointFeature, Segment
from crossfall.network import (
    LineEvent,
    follow_events,
    make_segments,
    merge_segments,
    split_segment,
    trace_lineage,
)
from roads_on_paper import GRAVEL, PLANE, POLICY, lines, noded


def _road(*drawn: list[tuple[float, float]], **more: object) -> Network:
    edges, _ = noded(lines(*drawn, **more))  # type: ignore[arg-type]
    nodes, segments = make_segments(edges, POLICY)
    return Network(nodes, segments)


def _with_gate(network: Network, at_m: float) -> Network:
    segment = network.segments[0]
    gate = PointFeature("gate-1", "gate", *segment.line[0], segment.id, at_m, "right")
    return replace(network, features=(gate,))


def test_a_split_keeps_length_measure_and_features() -> None:
    network = _with_gate(_road([(0, 0), (300, 0), (1000, 0)]), 700.0)
    segment = network.segments[0]
    split, lineage = split_segment(network, segment.id, [250.0, 600.0])
    assert [s.length_m for s in split.segments] == pytest.approx([250, 350, segment.length_m - 600])
    assert [s.from_m for s in split.segments] == pytest.approx([0, 250, 600])
    assert len({s.id for s in split.segments} | {segment.id}) == 4
    assert [each.child_id for each in lineage] == [s.id for s in split.segments]
    (gate,) = split.features
    assert (gate.segment_id, gate.at_m) == (split.segments[2].id, pytest.approx(100.0))
    xy = PLANE.line(split.segments[1].line)
    assert xy == pytest.approx(np.array([[250, 0], [300, 0], [600, 0]]), abs=1e-2)


def test_what_was_split_can_be_merged_again() -> None:
    network = _with_gate(_road([(0, 0), (300, 0), (1000, 0)]), 700.0)
    segment = network.segments[0]
    split, _ = split_segment(network, segment.id, [600.0])
    merged, lineage = merge_segments(split, split.segments[0].id, split.segments[1].id)
    (back,) = merged.segments
    assert back.length_m == pytest.approx(segment.length_m)
    assert (back.from_node, back.to_node) == (segment.from_node, segment.to_node)
    assert {n.id for n in merged.nodes} == {n.id for n in network.nodes}
    (gate,) = merged.features
    assert (gate.segment_id, gate.at_m) == (back.id, pytest.approx(700.0))
    assert len(lineage) == 2


def test_merging_turns_the_second_round_and_its_sides_with_it() -> None:
    paved = replace(GRAVEL, surface="paved")
    network = _road([(0, 0), (400, 0)], [(900, 0), (400, 0)], facts=[GRAVEL, paved])
    first, second = sorted(network.segments, key=lambda s: s.from_m)
    turned = replace(
        second, line=second.line[::-1], from_node=second.to_node, to_node=second.from_node
    )
    network = replace(network, segments=(first, turned))
    end = first.length_m + second.length_m
    event = LineEvent(second.id, 0.0, 100.0, "width_m", "6", side="left")
    _, lineage = merge_segments(network, first.id, second.id)
    (moved,) = follow_events([event], lineage)
    assert (moved.from_m, moved.to_m) == (pytest.approx(end - 100), pytest.approx(end))
    assert moved.side == "right"


def test_events_are_cut_where_their_segment_was() -> None:
    network = _road([(0, 0), (1000, 0)])
    segment = network.segments[0]
    _, lineage = split_segment(network, segment.id, [400.0])
    events = [
        LineEvent(segment.id, 300.0, 500.0, "width_m", "6"),
        LineEvent("other", 1.0, 2.0, "shade", "open"),
    ]
    moved = follow_events(events, lineage)
    assert [(round(e.from_m), round(e.to_m)) for e in moved] == [(300, 400), (0, 100), (1, 2)]


def test_a_road_drawn_anew_is_found_by_its_place() -> None:
    """The old single line comes back as two, the second digitised the other way, 4 m aside."""
    old = _road([(0, 0), (1500, 0)])
    new = _road(
        [(0, 4), (700, 4)], [(1500, 4), (700, 4)], [(700, 4), (700, 500)],
        facts=[GRAVEL, replace(GRAVEL, name="Ridge Road"), replace(GRAVEL, name="Mill Lane")],
    )  # fmt: skip
    parent = old.segments[0]
    lineage = trace_lineage(old, new, [parent.id], within_m=15.0)
    by_child = {new.segment_by_id[each.child_id].route: each for each in lineage}
    assert set(by_child) == {"Creek Road", "Ridge Road"}
    first, second = by_child["Creek Road"], by_child["Ridge Road"]
    assert (first.from_m, first.to_m) == (pytest.approx(0, abs=1), pytest.approx(700, abs=20))
    assert (second.from_m, second.to_m) == (pytest.approx(700, abs=20), pytest.approx(1500, abs=1))
    assert second.child_from_m > second.child_to_m
    assert second.child_m(1400.0) == pytest.approx(100, abs=2)


def test_a_road_that_is_gone_has_no_child() -> None:
    old = _road([(0, 0), (500, 0)])
    new = _road([(0, 100), (500, 100)])
    assert trace_lineage(old, new, [old.segments[0].id], within_m=15.0) == ()


@pytest.mark.parametrize("cuts", [[], [0.0], [5000.0], [-3.0]])
def test_a_cut_outside_the_segment_is_refused(cuts: list[float]) -> None:
    network = _road([(0, 0), (500, 0)])
    with pytest.raises(InputError, match="cannot be cut"):
        split_segment(network, network.segments[0].id, cuts)


def test_segments_that_do_not_meet_are_not_merged() -> None:
    network = _road([(0, 0), (500, 0)], [(900, 0), (1400, 0)])
    one, other = network.segments
    with pytest.raises(InputError, match="does not go on"):
        merge_segments(network, one.id, other.id)
    with pytest.raises(InputError, match="not in this network"):
        merge_segments(network, "x", other.id)
    assert isinstance(one, Segment)
