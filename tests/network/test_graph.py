"""The graph against an independent library, and the traps of sparse matrices."""

from __future__ import annotations

import networkx as nx
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crossfall.errors import InputError
from crossfall.model import Network, Node, Segment
from crossfall.network import RoadGraph, build_graph


def _network(
    edges: list[tuple[int, int, float, float, bool]], *, n_nodes: int, limits: dict[int, float]
) -> Network:
    nodes = tuple(
        Node(f"n{i}", -107 + 0.01 * (i % 5), 40 + 0.01 * (i // 5)) for i in range(n_nodes)
    )
    segments = tuple(
        Segment(
            id=f"s{k}",
            route=f"Road {k}",
            from_node=f"n{u}",
            to_node=f"n{v}",
            from_m=0.0,
            length_m=metres,
            line=((nodes[u].lon, nodes[u].lat), (nodes[v].lon, nodes[v].lat)),
            travel_km_h=speed,
            is_oneway=one_way,
            max_mass_t=limits.get(k),
        )
        for k, (u, v, metres, speed, one_way) in enumerate(edges)
    )
    return Network(nodes, segments)


edge = st.tuples(
    st.integers(0, 9),
    st.integers(0, 9),
    st.floats(0.5, 5000),
    st.floats(5, 80),
    st.booleans(),
)


@settings(max_examples=60, deadline=None)
@given(edges=st.lists(edge, min_size=1, max_size=40), source=st.integers(0, 9))
def test_minutes_paths_and_kilometres_agree_with_networkx(
    edges: list[tuple[int, int, float, float, bool]], source: int
) -> None:
    network = _network(edges, n_nodes=10, limits={})
    graph = build_graph(network)
    oracle = nx.MultiDiGraph()
    oracle.add_nodes_from(range(10))
    for u, v, metres, speed, one_way in edges:
        oracle.add_edge(u, v, minutes=metres / 1000 / speed * 60)
        if not one_way:
            oracle.add_edge(v, u, minutes=metres / 1000 / speed * 60)
    expected = nx.single_source_dijkstra_path_length(oracle, source, weight="minutes")
    found = graph.travel_minutes([f"n{source}"])[0]
    km = graph.travel_km([f"n{source}"])[0]
    for target in range(10):
        if target not in expected:
            assert np.isinf(found[target])
            assert np.isinf(km[target])
            assert np.isinf(graph.distance_km(f"n{source}", f"n{target}"))
            with pytest.raises(InputError, match="no way"):
                graph.path(f"n{source}", f"n{target}")
            continue
        assert found[target] == pytest.approx(expected[target], rel=1e-12)
        _check_path(graph, network, f"n{source}", f"n{target}", expected[target], km[target])


def _check_path(
    graph: RoadGraph, network: Network, source: str, target: str, minutes: float, km: float
) -> None:
    here, total_min, total_m = source, 0.0, 0.0
    for segment_id, is_forward in graph.path(source, target):
        segment = network.segment_by_id[segment_id]
        start, end = segment.from_node, segment.to_node
        if not is_forward:
            assert not segment.is_oneway
            start, end = end, start
        assert start == here
        here = end
        total_m += segment.length_m
        total_min += segment.length_m / 1000 / segment.travel_km_h * 60
    assert here == target
    assert total_min == pytest.approx(minutes, rel=1e-12)
    assert graph.distance_km(source, target) == pytest.approx(total_m / 1000, rel=1e-12)
    assert km == pytest.approx(total_m / 1000, rel=1e-12)


def test_parallel_segments_are_not_added_up() -> None:
    """A matrix built from coordinates sums doubled entries: 1 min + 2 min would be 3."""
    graph = build_graph(
        _network([(0, 1, 1000, 60, False), (0, 1, 2000, 60, False)], n_nodes=2, limits={})
    )
    assert graph.travel_minutes(["n0"])[0, 1] == pytest.approx(1.0, rel=1e-12)
    assert graph.path("n0", "n1") == [("s0", True)]


def test_a_very_short_segment_does_not_vanish() -> None:
    graph = build_graph(_network([(0, 1, 1e-12, 60, False)], n_nodes=2, limits={}))
    assert np.isfinite(graph.travel_minutes(["n0"])[0, 1])


def test_a_posted_limit_closes_a_bridge_to_a_heavy_machine() -> None:
    edges = [(0, 1, 1000, 60, False), (0, 2, 1000, 60, False), (2, 1, 1000, 60, False)]
    network = _network(edges, n_nodes=3, limits={0: 15.0})
    assert build_graph(network, mass_t=14.0).distance_km("n0", "n1") == pytest.approx(1.0)
    assert build_graph(network, mass_t=18.0).distance_km("n0", "n1") == pytest.approx(2.0)


def test_nearest_node_stays_in_the_largest_part_unless_asked() -> None:
    edges = [(0, 1, 1000, 60, False), (1, 2, 1000, 60, False), (8, 9, 1000, 60, False)]
    graph = build_graph(_network(edges, n_nodes=10, limits={}))
    lon, lat = graph.network.node_by_id["n8"].lon, graph.network.node_by_id["n8"].lat
    assert graph.nearest_node(lon, lat, anywhere=True) == "n8"
    assert graph.nearest_node(lon, lat) in {"n0", "n1", "n2"}


def test_the_largest_part_leaves_out_a_one_way_trap() -> None:
    edges = [(0, 1, 1000, 60, False), (1, 2, 1000, 60, True)]
    graph = build_graph(_network(edges, n_nodes=3, limits={}))
    assert graph.main_part.tolist() == [True, True, False]
    assert graph.parts.tolist() == [0, 0, 0]


@pytest.mark.parametrize("place", [(40.5, -107.0), (-107.0, 400.0)])
def test_a_swapped_place_is_refused(place: tuple[float, float]) -> None:
    graph = build_graph(_network([(0, 1, 1000, 60, False)], n_nodes=2, limits={}))
    with pytest.raises(InputError, match="swapped"):
        graph.nearest_node(*place)


def test_unknown_nodes_and_empty_networks_are_named() -> None:
    graph = build_graph(_network([(0, 1, 1000, 60, False)], n_nodes=2, limits={}))
    with pytest.raises(InputError, match="'yard' is not in this network"):
        graph.travel_minutes(["yard"])
    with pytest.raises(InputError, match="no segment"):
        build_graph(Network((Node("a", 0, 0),), ()))
    with pytest.raises(InputError, match="travel_km_h 0"):
        build_graph(_network([(0, 1, 1000, 0.0, False)], n_nodes=2, limits={}))
