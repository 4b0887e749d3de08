"""Real networks, read with no hand-editing in between."""

from __future__ import annotations

from collections import Counter
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from pyproj import Geod

from crossfall.io.network import NetworkImport, NetworkOptions, read_network
from crossfall.model import Network
from crossfall.network import build_graph

_FILES = ("north-bayreuth.osm.gz", "liechtenstein-2013.osm.pbf", "colorado-routt.osm")
_GOTHENBURG = (
    Path(__file__).resolve().parents[2] / "node_modules/geojson-path-finder/test/large-network.json"
)


@pytest.fixture(scope="module")
def imports(shared_data: Path) -> dict[str, NetworkImport]:
    return {name: read_network(shared_data / "nets" / name) for name in _FILES}


@pytest.mark.parametrize("name", _FILES)
def test_segments_begin_and_end_at_their_nodes(
    imports: dict[str, NetworkImport], name: str
) -> None:
    network = imports[name].network
    for segment in network.segments:
        start, end = network.node_by_id[segment.from_node], network.node_by_id[segment.to_node]
        assert segment.line[0] == (start.lon, start.lat)
        assert segment.line[-1] == (end.lon, end.lat)


@pytest.mark.parametrize("name", _FILES)
def test_lengths_agree_with_the_ellipsoid(imports: dict[str, NetworkImport], name: str) -> None:
    """An independent geodesic on WGS 84; the plane is off by x²/2R², under 10⁻⁵ here."""
    geod = Geod(ellps="WGS84")
    for segment in imports[name].network.segments:
        lon, lat = np.array(segment.line).T
        assert segment.length_m == pytest.approx(geod.line_length(lon, lat), rel=3e-5, abs=2e-3)


@pytest.mark.parametrize("name", _FILES)
def test_the_longest_segment_is_one_mile_and_a_quarter(
    imports: dict[str, NetworkImport], name: str
) -> None:
    assert max(s.length_m for s in imports[name].network.segments) <= 1.25 * 1609.344 + 1e-6


@pytest.mark.parametrize("name", _FILES)
def test_measures_of_a_route_follow_each_other(
    imports: dict[str, NetworkImport], name: str
) -> None:
    routes: dict[str, list[tuple[float, float, str, str]]] = {}
    for s in imports[name].network.segments:
        assert s.route
        routes.setdefault(s.route, []).append((s.from_m, s.to_m, s.from_node, s.to_node))
    for pieces in routes.values():
        pieces.sort()
        assert pieces[0][0] == 0.0
        for (_, to_m, _, to_node), (from_m, _, from_node, _) in pairwise(pieces):
            assert from_m == pytest.approx(to_m, abs=1e-6)
            assert from_node == to_node


def test_nothing_is_merged_across_a_junction_or_left_apart_along_a_road(
    imports: dict[str, NetworkImport],
) -> None:
    """Where two segments meet alone, they differ in their facts or are parts of one chain."""
    network = imports["north-bayreuth.osm.gz"].network
    ends: dict[str, list[int]] = {}
    for index, s in enumerate(network.segments):
        ends.setdefault(s.from_node, []).append(index)
        ends.setdefault(s.to_node, []).append(index)
    for both in ends.values():
        if len(both) != 2 or both[0] == both[1]:
            continue
        a, b = (network.segments[k] for k in both)
        if a.route != b.route or a.surface != b.surface or a.is_oneway or b.is_oneway:
            continue
        same = (a.width_m, a.road_class, a.surface_source, a.jurisdiction, a.max_mass_t) == (
            b.width_m,
            b.road_class,
            b.surface_source,
            b.jurisdiction,
            b.max_mass_t,
        )
        if same:
            assert a.length_m + b.length_m > 1.25 * 1609.344


def test_surfaces_are_what_the_tags_say(imports: dict[str, NetworkImport]) -> None:
    """Kilometres counted with another reading of the same file: 147 km, of it 80 km unpaved."""
    report = imports["colorado-routt.osm"].report
    assert report.km == pytest.approx(147, abs=0.5)
    assert report.maintained_km == pytest.approx(80, abs=0.5)
    assert "paved" not in report.km_by_surface
    network = imports["colorado-routt.osm"].network
    for segment in network.segments:
        assert segment.is_maintained == (segment.surface in ("gravel", "earth"))
        assert (segment.surface == "unknown") == (segment.surface_source == "unknown")
    assert set(report.unknown_surface) == {
        s.id for s in network.segments if s.surface == "unknown" and s.road_class != "arterial"
    }


def test_points_a_crew_must_know_about(imports: dict[str, NetworkImport]) -> None:
    """Counts in the file itself: 5 cattle grids, 10 level crossings on roads, 20 culvert ways."""
    alpine = imports["liechtenstein-2013.osm.pbf"]
    assert alpine.report.features["cattle_guard"] == 5
    assert alpine.report.features["bridge"] >= 80
    franconian = imports["north-bayreuth.osm.gz"]
    kinds = Counter(f.kind for f in franconian.network.features)
    assert kinds["rail_crossing"] >= 8
    assert kinds["culvert"] >= 18
    assert kinds["gate"] >= 20
    assert kinds["overhead_line"] > 0
    for each in (alpine, franconian):
        for feature in each.network.features:
            assert feature.segment_id is not None
            segment = each.network.segment_by_id[feature.segment_id]
            assert feature.at_m is not None
            assert 0 <= feature.at_m <= segment.length_m + 1e-9


def test_driveways_leave_to_a_side(imports: dict[str, NetworkImport]) -> None:
    features = imports["liechtenstein-2013.osm.pbf"].network.features
    sides = Counter(f.side for f in features if f.kind == "driveway")
    assert sides["left"] > 0
    assert sides["right"] > 0


@pytest.mark.parametrize("name", _FILES)
def test_reading_again_gives_the_same_network(
    imports: dict[str, NetworkImport], shared_data: Path, name: str
) -> None:
    again = read_network(shared_data / "nets" / name).network
    assert again == imports[name].network


@pytest.mark.parametrize(("name", "share"), [("north-bayreuth.osm.gz", 0.95)])
def test_most_of_it_can_be_reached(
    imports: dict[str, NetworkImport], name: str, share: float
) -> None:
    graph = build_graph(imports[name].network)
    assert graph.main_part.mean() > share
    start = graph.node_ids[int(np.flatnonzero(graph.main_part)[0])]
    minutes = graph.travel_minutes([start])[0]
    assert np.all(np.isfinite(minutes[graph.main_part]))


def test_unknown_roads_are_maintained_only_when_asked(shared_data: Path) -> None:
    path = shared_data / "nets" / "colorado-routt.osm"
    asked = read_network(path, options=NetworkOptions(include_unknown=True))
    assert asked.report.maintained_km == pytest.approx(asked.report.km, rel=1e-9)
    assert any("because you asked" in each for each in asked.report.assumed)


def test_roads_inside_an_npm_package_import_as_they_are() -> None:
    if not _GOTHENBURG.is_file():
        pytest.skip("geojson-path-finder is not installed in node_modules")
    found = read_network(_GOTHENBURG)
    assert found.report.km == pytest.approx(1132, abs=5)
    assert found.report.km_by_surface["gravel"] > 20
    assert found.report.largest_component_pct > 95
    _check_ends(found.network)


def _check_ends(network: Network) -> None:
    for segment in network.segments:
        start = network.node_by_id[segment.from_node]
        assert segment.line[0] == (start.lon, start.lat)
