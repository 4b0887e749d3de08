"""How fast the network room is: graph of a million edges, a county of 200,000 lines.

Run ``python benchmarks/network.py`` for a table, with ``--json`` for one JSON object on the
last line. All networks are invented grids.
"""

from __future__ import annotations

import argparse
import json
import sqlite3
import tempfile
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from time import perf_counter, process_time
from typing import Any

import numpy as np

from crossfall.io.export import write_geopackage
from crossfall.io.network import NetworkOptions, read_network
from crossfall.io.network.geopackage import read_layer
from crossfall.model import Network, Node, Segment
from crossfall.network import build_graph

TARGETS = {
    "graph_build_1m_s": 3.0,
    "one_to_all_1m_s": 0.5,
    "geopackage_read_200k_s": 2.0,
}
"""``geopackage_read``: a file of ours becomes a checked network with its report.

Of that, ``geopackage_layer`` is the layer into columns and coordinates; ``geopackage_import`` is an
agency's lines of the same number, which are joined, cut at junctions and made into segments.
"""


def grid(n_rows: int, n_columns: int, *, n_vertices: int = 2) -> Network:
    """An invented grid of about two edges for each node, 100 m apart."""
    step = 0.001
    lon, lat = -107.0, 40.0
    nodes = tuple(
        Node(f"n{r}.{c}", lon + c * step, lat + r * step)
        for r in range(n_rows)
        for c in range(n_columns)
    )
    rng = np.random.default_rng(1)
    segments: list[Segment] = []
    for r in range(n_rows):
        for c in range(n_columns):
            k = r * n_columns + c
            for other, exists in ((k + 1, c + 1 < n_columns), (k + n_columns, r + 1 < n_rows)):
                if exists:
                    segments.append(_edge(nodes[k], nodes[other], len(segments), rng, n_vertices))
    return Network(nodes, tuple(segments))


def _edge(a: Node, b: Node, k: int, rng: np.random.Generator, n_vertices: int) -> Segment:
    line = [
        (a.lon + (b.lon - a.lon) * t, a.lat + (b.lat - a.lat) * t)
        for t in np.linspace(0, 1, n_vertices).tolist()
    ]
    line[0], line[-1] = (a.lon, a.lat), (b.lon, b.lat)
    length = 90.0 + 20.0 * float(rng.random())
    return Segment(f"s{k}", f"Road {k}", a.id, b.id, 0.0, length, tuple(line), surface="gravel")


def best_of(n: int, work: Callable[[], Any], *, clock: Callable[[], float] = perf_counter) -> float:
    """Shortest of ``n`` runs [s]; with ``clock=process_time`` what a busy machine does not slow."""
    times = []
    for _ in range(n):
        start = clock()
        work()
        times.append(clock() - start)
    return min(times)


def measure() -> dict[str, float]:
    """All figures, seconds unless their name says otherwise."""
    return {
        **_travel(grid(708, 708)),
        **_beside_networkx(grid(225, 225)),
        **_county(grid(317, 317, n_vertices=5)),
    }


def _beside_networkx(network: Network) -> dict[str, float]:
    """A hundred thousand edges, here and in a general graph library: same answer, other times."""
    import networkx

    def plain() -> networkx.Graph:
        graph = networkx.Graph()
        graph.add_weighted_edges_from(
            (s.from_node, s.to_node, s.length_m / s.travel_km_h * 0.06) for s in network.segments
        )
        return graph

    ours, theirs = build_graph(network), plain()
    source = ours.node_ids[0]
    minutes = ours.travel_minutes([source])[0]
    reached = networkx.single_source_dijkstra_path_length(theirs, source)
    assert all(abs(minutes[ours.node_index[k]] - v) < 1e-6 for k, v in reached.items())
    return {
        "graph_build_100k_s": best_of(2, lambda: build_graph(network)),
        "one_to_all_100k_s": best_of(3, lambda: ours.travel_minutes([source])),
        "baseline_build_100k_s": best_of(1, plain),
        "baseline_one_to_all_100k_s": best_of(
            1, lambda: networkx.single_source_dijkstra_path_length(theirs, source)
        ),
    }


def _travel(million: Network) -> dict[str, float]:
    graph = build_graph(million)
    reached = graph.travel_minutes([graph.node_ids[0]])
    assert np.all(np.isfinite(reached)), "the grid is connected"
    return {
        "n_edges": float(len(million.segments)),
        "graph_build_1m_s": best_of(2, lambda: build_graph(million)),
        "one_to_all_1m_s": best_of(3, lambda: graph.travel_minutes([graph.node_ids[0]])),
        "nearest_node_first_1m_s": best_of(1, lambda: graph.nearest_node(-106.6, 40.4)),
        "nearest_node_1m_s": best_of(3, lambda: graph.nearest_node(-106.5, 40.3)),
    }


def _county(county: Network) -> dict[str, float]:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "county.gpkg"
        write_s = best_of(1, lambda: write_geopackage(county, path))
        _as_an_agency_would(path)
        roads = NetworkOptions(layer="roads")
        return {
            "n_lines": float(len(county.segments)),
            "geopackage_write_200k_s": write_s,
            "geopackage_layer_200k_s": best_of(3, lambda: read_layer(path, roads)),
            "geopackage_read_200k_s": best_of(
                3, lambda: read_network(path, options=NetworkOptions(layer="segments"))
            ),
            "geopackage_read_200k_processor_s": best_of(
                2,
                lambda: read_network(path, options=NetworkOptions(layer="segments")),
                clock=process_time,
            ),
            "geopackage_import_200k_s": best_of(1, lambda: read_network(path, options=roads)),
        }


def _as_an_agency_would(path: Path) -> None:
    """A layer with five plain columns beside our own."""
    with closing(sqlite3.connect(path)) as package, package:
        package.execute(
            "CREATE TABLE roads AS SELECT geom, segment_id AS road_id, route AS name,"
            " road_class AS class, surface, width_m FROM segments"
        )
        package.execute(
            "INSERT INTO gpkg_geometry_columns VALUES ('roads', 'geom', 'LINESTRING', 4326, 0, 0)"
        )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--json", action="store_true", help="one JSON object on the last line")
    as_json = parser.parse_args().json
    figures = measure()
    met = {name: figures[name] <= target for name, target in TARGETS.items()}
    if as_json:
        print(
            json.dumps(
                {
                    "name": "network",
                    "figures": figures,
                    "targets": TARGETS,
                    "met": all(met.values()),
                }
            )
        )
        return
    for name, value in figures.items():
        target = f"  target {TARGETS[name]:g}" if name in TARGETS else ""
        print(f"{name:28} {value:12.3f}{target}")


if __name__ == "__main__":
    main()
