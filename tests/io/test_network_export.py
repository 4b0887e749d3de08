"""What goes out comes in again, equal; and other programs can read it."""

from __future__ import annotations

import json
import sqlite3
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pyogrio
import pytest
import shapely
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from crossfall.errors import InputError
from crossfall.io import export
from crossfall.io.export import write_network
from crossfall.io.network import NetworkOptions, read_network
from crossfall.model import Backdrop, Network, Node, PointFeature, Segment

SUFFIXES = (".geojson", ".gpkg", ".csv")

word = st.text(st.characters(codec="utf-8", exclude_categories=["C", "Z"]), min_size=1, max_size=12)
figure = st.floats(0.001, 1e6, allow_subnormal=False)
lon, lat = st.floats(-107.5, -106.5), st.floats(39.5, 40.5)


@st.composite
def networks(draw: Any) -> Network:
    places = draw(st.lists(st.tuples(lon, lat), min_size=2, max_size=5, unique=True))
    nodes = tuple(
        Node(f"n{k}", *place, draw(st.sampled_from([None, 2.5, float("inf")])))
        for k, place in enumerate(places)
    )
    segments = []
    for k in range(draw(st.integers(1, 4))):
        a, b = draw(st.sampled_from(nodes)), draw(st.sampled_from(nodes))
        middle = draw(st.lists(st.tuples(lon, lat), min_size=1, max_size=3))
        segments.append(
            Segment(
                id=f"{draw(word)}-{k}",
                route=draw(word),
                from_node=a.id,
                to_node=b.id,
                from_m=draw(st.floats(0, 1e5)),
                length_m=draw(figure),
                line=((a.lon, a.lat), *middle, (b.lon, b.lat)),
                road_class=draw(st.sampled_from(["arterial", "collector", "local", "minimum"])),
                surface=draw(st.sampled_from(["gravel", "earth", "paved", "unknown"])),
                surface_source=draw(st.sampled_from(["agency", "tag", "inferred", "unknown"])),
                is_maintained=draw(st.booleans()),
                jurisdiction=draw(st.sampled_from(["", "Osier County"])),
                width_m=draw(figure),
                width_method=draw(st.sampled_from(["measured", "computed", "default"])),
                is_oneway=draw(st.booleans()),
                max_mass_t=draw(st.one_of(st.none(), figure)),
                grade_pct=draw(st.floats(0, 20)),
                external_id=draw(st.sampled_from(["", "007", "1e5", "true"])),
            )
        )
    features = tuple(
        PointFeature(
            f"f{k}",
            draw(st.sampled_from(["gate", "culvert", "bridge"])),
            draw(lon),
            draw(lat),
            draw(st.sampled_from([None, segments[0].id])),
            draw(st.one_of(st.none(), st.floats(0, 1e4))),
            draw(st.sampled_from(["left", "right", "both"])),
            draw(st.sampled_from(["", "Long Bridge"])),
            draw(st.one_of(st.none(), figure)),
        )
        for k in range(draw(st.integers(0, 3)))
    )
    lines = st.lists(st.tuples(lon, lat), min_size=2, max_size=4).map(tuple)
    backdrop = st.builds(Backdrop, st.sampled_from(["stream", "water", "rail"]), lines)
    behind = tuple(draw(st.lists(backdrop, max_size=3)))
    return Network(nodes, tuple(segments), features, behind)


@pytest.mark.parametrize("suffix", SUFFIXES)
@settings(
    max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(network=networks())
def test_any_network_comes_back_equal(tmp_path: Path, suffix: str, network: Network) -> None:
    path = write_network(network, tmp_path / f"roads{suffix}")
    assert read_network(path).network == network


@pytest.mark.parametrize("suffix", SUFFIXES)
def test_a_real_network_comes_back_equal(shared_data: Path, tmp_path: Path, suffix: str) -> None:
    network = read_network(shared_data / "nets" / "north-bayreuth.osm.gz").network
    path = write_network(network, tmp_path / f"roads{suffix}")
    again = read_network(path)
    assert again.network == network
    assert again.report.maintained_km == pytest.approx(network.maintained_km)


@pytest.fixture
def small() -> Network:
    line = ((-107.0, 40.0), (-107.0, 40.01))
    return Network(
        (Node("a", *line[0]), Node("b", *line[1])),
        (Segment("s", "Creek Road", "a", "b", 0.0, 1110.4, line, surface="gravel"),),
        (PointFeature("g", "gate", -107.0, 40.005, "s", 555.2),),
    )


@pytest.mark.parametrize("suffix", [".geojson", ".gpkg"])
def test_an_independent_library_reads_it(small: Network, tmp_path: Path, suffix: str) -> None:
    path = write_network(small, tmp_path / f"roads{suffix}")
    layer = "segments" if suffix == ".gpkg" else None
    meta, _, geometry, data = pyogrio.raw.read(path, layer=layer)
    assert meta["crs"] in {"EPSG:4326", "OGC:CRS84"}
    columns = dict(zip(meta["fields"], data, strict=True))
    assert columns["segment_id"][0] == "s"
    assert columns["length_m"][0] == 1110.4
    assert bool(columns["is_maintained"][0]) is True
    line = shapely.from_wkb(geometry[0])
    assert list(line.coords) == list(small.segments[0].line)


def test_the_geopackage_is_one_by_its_own_tables(small: Network, tmp_path: Path) -> None:
    """OGC 12-128r17 (GeoPackage 1.3): application id, contents, geometry columns, systems."""
    path = write_network(small, tmp_path / "roads.gpkg")
    assert [name for name, _ in pyogrio.list_layers(path)] == [
        "segments",
        "features",
        "nodes",
        "backdrop",
    ]
    with sqlite3.connect(path) as package:
        assert package.execute("PRAGMA application_id").fetchone() == (0x47504B47,)
        assert package.execute("PRAGMA foreign_key_check").fetchall() == []
        assert package.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        systems = {row[0] for row in package.execute("SELECT srs_id FROM gpkg_spatial_ref_sys")}
        assert {-1, 0, 4326} <= systems
    package.close()
    info = pyogrio.read_info(path, layer="segments")
    assert np.allclose(info["total_bounds"], (-107.0, 40.0, -107.0, 40.01))


def test_geojson_is_plain_json_with_longitude_first(small: Network, tmp_path: Path) -> None:
    """RFC 7946: no crs member, positions are longitude, latitude."""
    collection = json.loads(write_network(small, tmp_path / "r.geojson").read_text("utf-8"))
    assert "crs" not in collection
    assert collection["features"][0]["geometry"]["coordinates"][0] == [-107.0, 40.0]


@pytest.mark.parametrize("suffix", SUFFIXES)
def test_lines_behind_the_roads_never_become_roads(
    small: Network, tmp_path: Path, suffix: str
) -> None:
    creek = Backdrop("stream", ((-107.01, 40.005), (-106.99, 40.005)))
    network = replace(small, backdrop=(creek,))
    path = write_network(network, tmp_path / f"roads{suffix}")
    assert read_network(path).network == network
    anew = read_network(path, options=NetworkOptions(keep_lines=False))
    assert [s.route for s in anew.network.segments] == ["Creek Road"]


def test_an_interrupted_export_leaves_the_old_file(
    small: Network, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = write_network(small, tmp_path / "roads.gpkg")
    before = path.read_bytes()

    def stop(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(export, "_write_layer", stop)
    with pytest.raises(KeyboardInterrupt):
        write_network(small, path)
    assert path.read_bytes() == before
    assert [each.name for each in tmp_path.iterdir()] == ["roads.gpkg"]


def test_names_that_say_no_format_and_folders_that_are_not_there(
    small: Network, tmp_path: Path
) -> None:
    with pytest.raises(InputError, match=r"roads\.shp .* expected \.geojson, \.gpkg, \.csv"):
        write_network(small, tmp_path / "roads.shp")
    with pytest.raises(InputError, match=r"'nowhere' for .* is not there"):
        write_network(small, tmp_path / "nowhere" / "roads.csv")
