"""Chains, splits, names and measures of hand-drawn roads."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crossfall.model import Network, Segment
from crossfall.network import RoadLines, make_segments
from roads_on_paper import GRAVEL, PLANE, POLICY, lines, noded


def _segments(drawn: RoadLines, *, merge: bool = True) -> tuple[Segment, ...]:
    edges, _ = noded(drawn)
    nodes, segments = make_segments(edges, POLICY, merge=merge)
    Network(nodes, segments)  # ids unique, references hold
    return segments


def test_pieces_of_one_road_become_one_segment() -> None:
    (segment,) = _segments(lines([(0, 0), (400, 0)], [(900, 0), (400, 0)], [(900, 0), (1200, 0)]))
    assert segment.length_m == pytest.approx(1200, abs=1e-6)
    assert segment.route == "Creek Road"
    assert len(segment.line) == 4


def test_measure_grows_the_way_most_of_the_road_was_drawn() -> None:
    (segment,) = _segments(lines([(400, 0), (0, 0)], [(1200, 0), (400, 0)]))
    xy = PLANE.line(segment.line)
    assert xy[0, 0] > xy[-1, 0]


@pytest.mark.parametrize("change", [
    {"surface": "paved"},
    {"jurisdiction": "state"},
    {"width_m": 5.0},
    {"road_class": "minimum"},
])  # fmt: skip
def test_a_change_of_the_road_ends_a_segment(change: dict[str, object]) -> None:
    drawn = lines(
        [(0, 0), (400, 0)], [(400, 0), (900, 0)],
        facts=[GRAVEL, replace(GRAVEL, **change)],  # type: ignore[arg-type]
    )  # fmt: skip
    first, second = _segments(drawn)
    assert first.to_node == second.from_node
    assert second.from_m == pytest.approx(first.to_m)
    assert first.route == second.route == "Creek Road"


def test_a_junction_ends_a_segment_and_the_measure_runs_through() -> None:
    drawn = lines(
        [(0, 0), (900, 0)], [(400, 0), (400, 300)],
        facts=[GRAVEL, replace(GRAVEL, name="Mill Lane")],
    )  # fmt: skip
    by_measure = sorted(_segments(drawn), key=lambda s: (s.route, s.from_m))
    assert [(s.route, round(s.from_m), round(s.length_m)) for s in by_measure] == [
        ("Creek Road", 0, 400),
        ("Creek Road", 400, 500),
        ("Mill Lane", 0, 300),
    ]


@pytest.mark.parametrize(("length_m", "n_parts"), [(2011, 1), (2012, 2), (5000, 3), (16093, 8)])
def test_long_roads_are_split_into_equal_parts_of_about_a_mile(
    length_m: float, n_parts: int
) -> None:
    segments = _segments(lines([(0, 0), (0.3 * length_m, 0), (length_m, 0)]))
    assert len(segments) == n_parts
    for number, segment in enumerate(segments):
        assert segment.length_m == pytest.approx(length_m / n_parts, rel=1e-9)
        assert segment.from_m == pytest.approx(number * length_m / n_parts, rel=1e-9, abs=1e-9)
    for before, after in itertools.pairwise(segments):
        assert before.to_node == after.from_node
        assert before.line[-1] == after.line[0]


def test_the_agency_length_is_kept_and_shared_by_the_parts() -> None:
    """Drawn 4,000 m, 4,400 m in the books: two parts of 2,200 m would be too long, three it is."""
    segments = _segments(lines([(0, 0), (4000, 0)], official_m=[4400.0]))
    assert [s.length_m for s in segments] == pytest.approx([4400 / 3] * 3)


def test_a_posted_limit_on_a_bridge_holds_for_its_segment() -> None:
    drawn = lines(
        [(0, 0), (40, 0)], [(40, 0), (60, 0)], [(60, 0), (100, 0)],
        max_mass_t=[np.nan, 12.0, np.nan],
    )  # fmt: skip
    (segment,) = _segments(drawn)
    assert segment.max_mass_t == 12.0


def test_one_way_roads_never_turn_against_themselves() -> None:
    one_way = replace(GRAVEL, is_oneway=True)
    drawn = lines([(0, 0), (100, 0)], [(200, 0), (100, 0)], facts=[one_way, one_way])
    assert len(_segments(drawn)) == 2
    drawn = lines([(100, 0), (0, 0)], [(200, 0), (100, 0)], facts=[one_way, one_way])
    (segment,) = _segments(drawn)
    xy = PLANE.line(segment.line)
    assert xy[0, 0] == pytest.approx(200, abs=1e-3)
    assert xy[-1, 0] == pytest.approx(0, abs=1e-3)


def test_a_ring_road_is_whole() -> None:
    (segment,) = _segments(lines([(0, 0), (100, 0), (100, 100)], [(100, 100), (0, 100), (0, 0)]))
    assert segment.length_m == pytest.approx(400, abs=1e-6)
    assert segment.from_node == segment.to_node


def test_branches_and_villages_of_one_name_get_a_number() -> None:
    drawn = lines(
        [(0, 0), (500, 0)], [(500, 0), (1000, 10)], [(500, 0), (600, 300)],
        [(5000, 0), (5200, 0)],
    )  # fmt: skip
    routes = {s.route: s for s in _segments(drawn)}
    assert set(routes) == {"Creek Road", "Creek Road (2)", "Creek Road (3)"}
    assert routes["Creek Road (2)"].length_m > routes["Creek Road (3)"].length_m


def test_roads_without_a_name_are_called_after_their_key() -> None:
    nameless = replace(GRAVEL, name="")
    drawn = lines([(0, 0), (500, 0)], facts=[nameless], ids=["R7"])
    assert _segments(drawn)[0].route == "Unnamed road R7"
    drawn = lines([(0, 0), (500, 0)], [(0, 9), (0, 99)], facts=[nameless] * 2, ids=["", ""])
    assert [s.route for s in _segments(drawn)] == ["Unnamed road 1", "Unnamed road 2"]


def test_ids_stay_when_something_else_changes() -> None:
    """A new side road renames only the segment it cuts."""
    road = [(0, 0), (500, 0)], [(500, 0), (500, 400)], [(500, 0), (900, 0)]
    before = {s.id for s in _segments(lines(*road))}
    after = {s.id for s in _segments(lines(*road, [(700, 0), (700, 80)]))}
    assert len(before - after) == 1


def test_whole_lines_keep_their_own_id() -> None:
    drawn = lines([(0, 0), (500, 0)], [(500, 0), (500, 400)], ids=["A", "B"])
    assert {s.id for s in _segments(drawn, merge=False)} == {"A", "B"}
    assert _segments(drawn)[0].external_id in {"A", "B"}


def test_equal_facts_of_unequal_defaults_are_filled_from_the_policy() -> None:
    drawn = lines([(0, 0), (500, 0)], facts=[replace(GRAVEL, road_class="minimum", adt=12.0)])
    (segment,) = _segments(drawn)
    assert (segment.width_m, segment.width_method) == (POLICY.width_minimum_m, "default")
    assert (segment.adt, segment.adt_method) == (12.0, "estimated")
    assert segment.travel_km_h == POLICY.travel_minimum_km_h


grid_point = st.tuples(st.integers(0, 5), st.integers(0, 5))


@settings(max_examples=60, deadline=None)
@given(
    st.lists(
        st.tuples(st.lists(grid_point, min_size=2, max_size=4), st.integers(0, 2), st.booleans()),
        min_size=1,
        max_size=9,
    )
)
def test_whatever_is_drawn_no_metre_is_lost(
    drawn: list[tuple[list[tuple[int, int]], int, bool]],
) -> None:
    kept = []
    for places, name, one_way in drawn:
        line = [p for k, p in enumerate(places) if k == 0 or p != places[k - 1]]
        if len(line) > 1:
            facts = replace(GRAVEL, name=("", "Creek Road", "Mill Lane")[name], is_oneway=one_way)
            kept.append(([(700.0 * x + 11 * y, 700.0 * y) for x, y in line], facts))
    if not kept:
        return
    edges, _ = noded(lines(*(line for line, _ in kept), facts=[facts for _, facts in kept]))
    nodes, segments = make_segments(edges, POLICY)
    network = Network(nodes, segments)
    assert sum(s.length_m for s in segments) == pytest.approx(edges.length_m.sum(), rel=1e-9)
    by_route: dict[str, list[Segment]] = {}
    for s in segments:
        assert s.line[0] == (
            network.node_by_id[s.from_node].lon,
            network.node_by_id[s.from_node].lat,
        )
        assert s.line[-1] == (network.node_by_id[s.to_node].lon, network.node_by_id[s.to_node].lat)
        assert s.length_m <= POLICY.segment_target_m * POLICY.segment_longest_share * (1 + 1e-9)
        by_route.setdefault(s.route, []).append(s)
    for pieces in by_route.values():
        pieces.sort(key=lambda s: s.from_m)
        for before, after in itertools.pairwise(pieces):
            assert after.from_m == pytest.approx(before.to_m, abs=1e-6)
            assert before.to_node == after.from_node
    again = make_segments(edges, POLICY)
    assert again == (nodes, segments)
