"""Features and events by table, put on roads that are there."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pyogrio
import pytest
import shapely

from crossfall.errors import InputError
from crossfall.io.network import add_features, read_events, read_features, read_network
from crossfall.model import Network
from crossfall.model.policy import NetworkPolicy
from crossfall.network import apply_events


@pytest.fixture
def network(tmp_path: Path) -> Network:
    """Creek Road: 3.3 km north along the meridian, in two segments of one route."""
    path = tmp_path / "roads.csv"
    path.write_text(
        'id,name,surface,wkt\na,Creek Road,gravel,"LINESTRING (-107 40, -107 40.03)"\n', "utf-8"
    )
    return read_network(path).network


def _file(folder: Path, name: str, text: str) -> Path:
    path = folder / name
    path.write_text(text, "utf-8")
    return path


def test_points_from_csv_by_place(network: Network, tmp_path: Path) -> None:
    path = _file(
        tmp_path,
        "monuments.csv",
        "id,kind,lon,lat,name\nm1,section corner,-107.0001,40.01,NE corner\ng1,Gate,-107,40.02,\n",
    )
    found = read_features(path, network)
    corner, gate = found.features
    assert (corner.kind, corner.side, corner.name) == ("survey_monument", "left", "NE corner")
    assert (gate.kind, gate.side) == ("gate", "both")
    assert corner.at_m == pytest.approx(1110.3, abs=0.2)
    assert found.problems == ()


def test_points_from_csv_by_route_and_metres(network: Network, tmp_path: Path) -> None:
    path = _file(
        tmp_path,
        "culverts.csv",
        "id,route,at_m,max_mass_t\nc1,Creek Road,2500,\nc2,Creek Road,10,9\n",
    )
    first, second = read_features(path, network, kind="culvert").features
    segment = network.segment_by_id[first.segment_id or ""]
    assert segment.from_m + (first.at_m or 0) == pytest.approx(2500, abs=0.1)
    assert (second.max_mass_t, second.id) == (9.0, "culvert-c2")


def test_pipelines_from_a_geopackage_cross_the_road(network: Network, tmp_path: Path) -> None:
    path = tmp_path / "gas.gpkg"
    pyogrio.raw.write(
        path,
        geometry=shapely.to_wkb(
            np.array([shapely.LineString([(-107.01, 40.005), (-106.99, 40.005)])])
        ),
        field_data=[np.array(["P9"], dtype=object)],
        fields=["id"],
        geometry_type="LineString",
        crs="EPSG:4326",
        layer="gas",
    )
    (crossing,) = read_features(path, network, kind="pipeline").features
    assert (crossing.id, crossing.kind) == ("pipeline-P9", "pipeline")
    assert crossing.at_m == pytest.approx(555.2, abs=0.2)


def test_features_from_geojson_replace_their_own_kind_and_id(
    network: Network, tmp_path: Path
) -> None:
    def points(*rows: tuple[str, str, float]) -> Path:
        features = [
            {
                "type": "Feature",
                "properties": {"feature_id": key, "kind": kind},
                "geometry": {"type": "Point", "coordinates": [-107.0, lat]},
            }
            for key, kind, lat in rows
        ]
        collection = {"type": "FeatureCollection", "features": features}
        return _file(tmp_path, "points.geojson", json.dumps(collection))

    first = read_features(points(("1", "gate", 40.01), ("2", "ford", 40.02)), network).features
    with_two = add_features(network, first)
    again = read_features(points(("1", "gate", 40.011)), with_two).features
    with_two = add_features(with_two, again)
    assert len(with_two.features) == 2
    assert {f.id: f.lat for f in with_two.features}["gate-1"] == 40.011


def test_what_lies_on_no_road_is_counted(network: Network, tmp_path: Path) -> None:
    path = _file(tmp_path, "far.csv", "kind,lon,lat\nwell,-107.01,40.01\n")
    found = read_features(path, network)
    assert found.features == ()
    assert "1 well lie on no road" in str(found.problems[0])


@pytest.mark.parametrize(("text", "message"), [
    ("kind,lon,lat\nfountain,-107,40.01\n", "row 2.*'fountain' is no kind"),
    ("lon,lat\n-107,40.01\n", "does not say what"),
    ("kind,lon,lat\ngate,,40.01\n", "row 2.*empty"),
    ("kind,lon,lat\ngate,40.01,-107\n", "swapped"),
    ("kind,segment_id,at_m\ngate,x,5\n", "row 2.*'x' is not in this network"),
    ("kind,route,at_m\ngate,Creek Road,9000\n", "row 2.*runs from 0 to"),
    ("kind,route,at_m\ngate,Creek Road,-4\n", "row 2.*at_m is '-4'"),
    ("kind,lon,lat,max_mass_t\nbridge,-107,40.01,heavy\n", "row 2, max_mass_t"),
])  # fmt: skip
def test_bad_features_are_named(network: Network, tmp_path: Path, text: str, message: str) -> None:
    with pytest.raises(InputError, match=message):
        read_features(_file(tmp_path, "bad.csv", text), network)


def test_events_by_route_are_cut_at_segments_and_applied(network: Network, tmp_path: Path) -> None:
    path = _file(
        tmp_path,
        "widths.csv",
        "route,from_m,to_m,side,name,value\n"
        "Creek Road,0,1000,,width_m,6\n"
        "Creek Road,1000,3300,both,width_m,8\n"
        "Creek Road,2000,3000,left,drainage,poor\n",
    )
    events = read_events(path, network)
    assert len(events) >= 4
    assert {event.side for event in events} == {"both", "left"}
    after, _ = apply_events(network, events, NetworkPolicy())
    first, second = sorted(after.segments, key=lambda s: s.from_m)
    assert first.width_m == pytest.approx(
        (6 * 1000 + 8 * (first.length_m - 1000)) / first.length_m, abs=0.01
    )
    assert second.width_m == pytest.approx(8.0, abs=0.02)
    assert second.drainage == "poor"


@pytest.mark.parametrize(("text", "message"), [
    ("route,from_m,to_m,name\nCreek Road,0,9,width_m\n", "too few columns"),
    ("route,from_m,to_m,name,value,colour\nCreek Road,0,9,width_m,6,x\n", "column 'colour'"),
    ("route,from_m,to_m,name,value\nCreek Road,0,9,widht,6\n", "row 2.*name is 'widht'"),
    ("route,from_m,to_m,name,value\nCrick Road,0,9,width_m,6\n", "row 2.*'Crick Road'"),
    ("route,from_m,to_m,name,value\nCreek Road,9,9,width_m,6\n", "row 2.*not before"),
    ("segment_id,from_m,to_m,name,value\n,0,9,width_m,6\n", "row 2.*neither segment_id"),
    ("route,from_m,to_m,name,value,side\nCreek Road,0,9,width_m,6,up\n", "left, right or both"),
])  # fmt: skip
def test_bad_events_are_named(network: Network, tmp_path: Path, text: str, message: str) -> None:
    with pytest.raises(InputError, match=message):
        read_events(_file(tmp_path, "bad.csv", text), network)
