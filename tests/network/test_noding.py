"""Where lines meet, and where they must not."""

from __future__ import annotations

from math import cos, sin

import networkx as nx
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crossfall.network import RoadFacts
from crossfall.network.noding import crossings, cut_at_junctions, join_at
from crossfall.network.tidying import absorb_bridges, without_doubled
from roads_on_paper import GRAVEL, PLANE, lines, noded


def _degrees(edges: object) -> list[int]:
    ends = np.concatenate([edges.start, edges.end])  # type: ignore[attr-defined]
    return sorted(np.bincount(ends).tolist())


@pytest.mark.parametrize(("miss_m", "is_joined", "is_reported"), [
    (0.0, True, False),
    (0.3, True, False),
    (0.7, False, True),
    (4.9, False, True),
    (5.2, False, False),
])  # fmt: skip
def test_ends_are_joined_reported_or_left_apart_by_their_distance(
    miss_m: float, is_joined: bool, is_reported: bool
) -> None:
    edges, gaps = noded(lines([(0, 0), (100, 0)], [(100 + miss_m, 0), (200, 0)]))
    assert edges.n_nodes == (3 if is_joined else 4)
    assert len(gaps) == int(is_reported)
    if is_reported:
        assert gaps[0].gap_m == pytest.approx(miss_m, abs=1e-6)
        assert {gaps[0].line_id, gaps[0].other_id} == {"L0", "L1"}


def test_an_end_on_a_line_cuts_it() -> None:
    edges, gaps = noded(lines([(0, 0), (200, 0)], [(80, 0.4), (80, 90)]))
    assert _degrees(edges) == [1, 1, 1, 3]
    assert not gaps
    assert sorted(edges.length_m.round(0).tolist()) == [80, 90, 120]


def test_several_ends_on_one_stretch_cut_it_in_order() -> None:
    edges, _ = noded(
        lines([(0, 0), (300, 0)], [(250, 0), (250, 50)], [(50, 0), (50, 50)], [(150, 0), (150, -9)])
    )
    on_main = edges.length_m[edges.line == 0]
    assert on_main.round(3).tolist() == [50, 100, 100, 50]


def test_crossing_without_a_vertex_is_reported_and_joined_only_when_asked() -> None:
    edges, _ = noded(lines([(0, 0), (100, 0)], [(40, -50), (40, 50)]))
    assert edges.n_nodes == 4
    found = crossings(edges)
    assert [(round(x, 6), round(y, 6), a, b) for x, y, a, b in found] == [(40, 0, 0, 1)]
    joined = cut_at_junctions(join_at(edges, PLANE, found), PLANE)
    assert _degrees(joined) == [1, 1, 1, 1, 4]
    assert crossings(joined) == ()


def test_lines_that_share_a_vertex_in_their_middle_meet_there() -> None:
    edges, _ = noded(lines([(0, 0), (40, 0), (100, 0)], [(40, -50), (40, 0), (40, 50)]))
    assert _degrees(edges) == [1, 1, 1, 1, 4]
    assert crossings(edges) == ()


def test_a_bridge_over_a_road_is_no_junction() -> None:
    edges, _ = noded(
        lines([(0, 0), (40, 0), (100, 0)], [(40, -50), (40, 0), (40, 50)], level=[0, 1])
    )
    assert _degrees(edges) == [1, 1, 1, 1]
    assert crossings(edges) == ()


def test_the_ends_of_a_bridge_still_meet_the_road() -> None:
    edges, _ = noded(
        lines([(0, 0), (40, 0)], [(40, 0), (60, 0)], [(60, 0), (100, 0)], level=[0, 1, 0])
    )
    assert _degrees(edges) == [1, 1, 2, 2]


def test_a_road_that_ends_under_a_bridge_does_not_climb_it() -> None:
    edges, _ = noded(lines([(0, 0), (100, 0)], [(50, 0), (50, 80)], level=[1, 0]))
    assert _degrees(edges) == [1, 1, 1, 1]


def test_a_line_shorter_than_the_snap_distance_disappears() -> None:
    edges, _ = noded(lines([(0, 0), (100, 0)], [(100, 0), (100.2, 0)], [(100.2, 0), (200, 0)]))
    assert len(edges.line) == 2
    assert edges.n_nodes == 3


def test_a_ring_that_touches_itself_is_cut_there() -> None:
    edges, _ = noded(lines([(0, 0), (50, 0), (50, 50), (0, 50), (50, 0), (90, 0)]))
    assert _degrees(edges) == [1, 1, 4]
    assert edges.length_m.sum() == pytest.approx(50 + 50 + 50 + np.hypot(50, 50) + 40, abs=1e-6)


def test_repeated_vertices_add_nothing() -> None:
    edges, _ = noded(lines([(0, 0), (50, 0), (50, 0), (100, 0)]))
    assert len(edges.line) == 1
    assert edges.length_m[0] == pytest.approx(100, abs=1e-6)


def test_short_bridges_take_the_facts_of_their_road() -> None:
    planks = RoadFacts(name="Creek Road", surface="paved", surface_source="tag")
    drawn = lines(
        [(0, 0), (40, 0)], [(40, 0), (60, 0)], [(60, 0), (100, 0)],
        facts=[GRAVEL, planks, GRAVEL], is_bridge=[False, True, False],
    )  # fmt: skip
    edges, _ = noded(drawn)
    absorbed = absorb_bridges(edges, longest_m=120.0)
    assert len({absorbed.lines.facts[k] for k in absorbed.fact}) == 1
    kept = absorb_bridges(edges, longest_m=10.0)
    assert len({kept.lines.facts[k] for k in kept.fact}) == 2


def test_a_stretch_drawn_twice_is_kept_once() -> None:
    edges, _ = noded(lines([(0, 0), (100, 0)], [(300, 0), (0, 0)]))
    single, n_dropped = without_doubled(edges)
    assert n_dropped == 1
    assert sorted(single.length_m.round(6).tolist()) == [100, 200]
    assert single.line.tolist() == [0, 1]


grid_point = st.tuples(st.integers(0, 6), st.integers(0, 6))


@settings(max_examples=60, deadline=None)
@given(st.lists(st.lists(grid_point, min_size=2, max_size=5), min_size=1, max_size=8))
def test_noding_agrees_with_a_graph_of_vertices(drawn: list[list[tuple[int, int]]]) -> None:
    """Lines on a crooked lattice, where only vertices can meet: the same graph as by hand."""
    drawn = [[p for k, p in enumerate(line) if k == 0 or p != line[k - 1]] for line in drawn]
    drawn = [line for line in drawn if len(line) > 1]
    if not drawn:
        return
    metres = [
        [
            (100.0 * x + 31 * sin(3 * x + 5 * y), 100.0 * y + 31 * cos(7 * x + 2 * y))
            for x, y in line
        ]
        for line in drawn
    ]
    edges, _ = noded(lines(*metres), snap_m=0.0, gap_m=0.0)
    oracle = nx.MultiGraph()
    for line in metres:
        nx.add_path(oracle, line)
    ours = nx.MultiGraph(list(zip(edges.start.tolist(), edges.end.tolist(), strict=True)))
    assert nx.number_connected_components(ours) == nx.number_connected_components(oracle)
    n_steps = sum(len(line) - 1 for line in metres)
    total = sum(np.hypot(*np.diff(np.array(line), axis=0).T).sum() for line in metres)
    assert edges.length_m.sum() == pytest.approx(total, rel=1e-6)
    assert len(edges.line) <= n_steps
    loops = oracle.number_of_edges() - oracle.number_of_nodes()
    assert ours.number_of_edges() - ours.number_of_nodes() == loops
