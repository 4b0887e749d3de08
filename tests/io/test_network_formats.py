"""The same county in every format, with its own column names, units and system."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pyogrio
import pyproj
import pytest
import shapely

from crossfall.io.network import NetworkImport, NetworkOptions, read_network
from crossfall.model import Segment

# Creek Road runs east in two pieces that miss each other by 20 cm; Mill Lane ends on it;
# the State Road continues it; Gap Lane misses it by 2 m.
_ROWS: list[dict[str, Any]] = [
    {"ROADID": "1", "RDNAME": "Creek Road", "SURF": "GRV", "WIDTH_FT": 24.0, "CLS": "Collector"},
    {"ROADID": "2", "RDNAME": "Creek Road", "SURF": "GRV", "WIDTH_FT": 24.0, "CLS": "Collector"},
    {"ROADID": "3", "RDNAME": "Mill Lane", "SURF": "DIRT", "WIDTH_FT": 16.0, "CLS": "Local"},
    {"ROADID": "4", "RDNAME": "State Road", "SURF": "Asphalt", "WIDTH_FT": 30.0, "CLS": "Arterial"},
    {"ROADID": "5", "RDNAME": "Gap Lane", "SURF": "", "WIDTH_FT": None, "CLS": "Local"},
]
_UTM = [
    [(400_000, 4_500_000), (400_600, 4_500_000)],
    [(400_600.2, 4_500_000), (401_200, 4_500_000)],
    [(400_300, 4_500_400), (400_300, 4_500_000.1)],
    [(401_200, 4_500_000), (402_000, 4_500_000)],
    [(400_900, 4_500_002), (400_900, 4_500_300)],
]
_OPTIONS: dict[str, Any] = {
    "columns": {
        "id": "ROADID",
        "route": "RDNAME",
        "surface": "SURF",
        "width_m": "WIDTH_FT",
        "road_class": "CLS",
    },
    "surface_words": {"GRV": "gravel"},
}


def _lonlat() -> list[list[tuple[float, float]]]:
    to_wgs84 = pyproj.Transformer.from_crs("EPSG:26913", "EPSG:4326", always_xy=True)
    return [[to_wgs84.transform(x, y) for x, y in line] for line in _UTM]


def _geojson(folder: Path) -> Path:
    features = [
        {
            "type": "Feature",
            "properties": row,
            "geometry": {"type": "LineString", "coordinates": line},
        }
        for row, line in zip(_ROWS, _lonlat(), strict=True)
    ]
    path = folder / "county.geojson"
    path.write_text(json.dumps({"type": "FeatureCollection", "features": features}), "utf-8")
    return path


def _geopackage(folder: Path, *, crs: str = "EPSG:26913") -> Path:
    path = folder / "county.gpkg"
    lines = _UTM if crs == "EPSG:26913" else _lonlat()
    fields = list(_ROWS[0])
    pyogrio.raw.write(
        path,
        geometry=shapely.to_wkb(np.array([shapely.LineString(line) for line in lines])),
        field_data=[np.array([row[name] for row in _ROWS], dtype=object) for name in fields[:3]]
        + [np.array([np.nan if row["WIDTH_FT"] is None else row["WIDTH_FT"] for row in _ROWS])]
        + [np.array([row["CLS"] for row in _ROWS], dtype=object)],
        fields=fields,
        geometry_type="LineString",
        crs=crs,
        layer="centerlines",
    )
    return path


def _csv(folder: Path, *, separator: str = ",") -> Path:
    path = folder / "county.csv"
    rows = [separator.join([*_ROWS[0], "WKT"])]
    for row, line in zip(_ROWS, _lonlat(), strict=True):
        text = ", ".join(f"{lon!r} {lat!r}" for lon, lat in line)
        cells = ["" if value is None else str(value) for value in row.values()]
        rows.append(separator.join([*cells, f'"LINESTRING ({text})"']))
    path.write_text("\n".join(rows) + "\n", "utf-8")
    return path


def _read(path: Path) -> NetworkImport:
    return read_network(path, options=NetworkOptions(**_OPTIONS))


@pytest.mark.parametrize("make", [
    _geojson,
    _geopackage,
    lambda folder: _geopackage(folder, crs="EPSG:4326"),
    _csv,
    lambda folder: _csv(folder, separator=";"),
    lambda folder: _csv(folder, separator="\t"),
])  # fmt: skip
def test_every_format_gives_the_same_roads(tmp_path: Path, make: Any) -> None:
    found = _read(make(tmp_path))
    roads = sorted(found.network.segments, key=lambda s: (s.route, s.from_m))
    assert [(s.route, s.surface, round(s.from_m), round(s.length_m)) for s in roads] == [
        ("Creek Road", "gravel", 0, 300),
        ("Creek Road", "gravel", 300, 900),
        ("Gap Lane", "unknown", 0, 298),
        ("Mill Lane", "earth", 0, 400),
        ("State Road", "paved", 0, 800),
    ]
    by_route: dict[str, Segment] = {s.route: s for s in roads}
    creek = by_route["Creek Road"]
    assert creek.width_m == pytest.approx(24 * 0.3048)
    assert (creek.width_method, creek.road_class) == ("estimated", "collector")
    assert creek.surface_source == "agency"
    assert creek.is_maintained
    assert not by_route["State Road"].is_maintained
    gap = by_route["Gap Lane"]
    assert (gap.surface_source, gap.is_maintained, gap.width_method) == (
        "unknown",
        False,
        "default",
    )
    assert found.report.unknown_surface == (gap.id,)
    assert found.report.n_components == 2
    (near_miss,) = found.report.gaps
    assert near_miss.gap_m == pytest.approx(2.0, abs=0.01)
    assert found.report.n_dead_ends == 5


def test_bigger_snap_distance_closes_the_gap(tmp_path: Path) -> None:
    from crossfall.model.policy import NetworkPolicy

    options = NetworkOptions(**_OPTIONS, policy=NetworkPolicy(snap_m=2.5))
    report = read_network(_geojson(tmp_path), options=options).report
    assert (report.n_components, report.gaps) == (1, ())


def test_utm_lengths_are_true_lengths(tmp_path: Path) -> None:
    """The plane of the zone is 0.04 % short in its middle; the network's own is not."""
    found = _read(_geopackage(tmp_path))
    geod = pyproj.Geod(ellps="WGS84")
    for segment in found.network.segments:
        lon, lat = np.array(segment.line).T
        assert segment.length_m == pytest.approx(geod.line_length(lon, lat), rel=1e-6)


def test_well_known_columns_need_no_mapping_and_others_are_listed(tmp_path: Path) -> None:
    text = (
        "road_id,road_name,surface_type,width_ft,aadt,owner,speed_zone,wkt\n"
        '7,Creek Road,Gravel,22,85,County,C,"LINESTRING (-107 40, -107 40.01)"\n'
    )
    path = tmp_path / "roads.csv"
    path.write_text(text, "utf-8")
    found = read_network(path)
    (segment,) = found.network.segments
    assert (segment.id, segment.route, segment.surface) == ("7", "Creek Road", "gravel")
    assert segment.width_m == pytest.approx(22 * 0.3048)
    assert (segment.adt, segment.adt_method, segment.jurisdiction) == (85, "estimated", "County")
    assert found.report.unused_columns == ("speed_zone",)


def test_only_our_own_jurisdiction_is_maintained(tmp_path: Path) -> None:
    path = tmp_path / "roads.csv"
    path.write_text(
        "id,surface,owner,wkt\n"
        'a,gravel,County,"LINESTRING (-107 40, -107 40.01)"\n'
        'b,gravel,Forest,"LINESTRING (-107 40.01, -107 40.02)"\n',
        "utf-8",
    )
    options = NetworkOptions(maintained_by=("County",))
    roads = read_network(path, options=options).network.segments
    assert {s.id: s.is_maintained for s in roads} == {"a": True, "b": False}


@pytest.mark.parametrize(("word", "surface", "source"), [
    ("Gravel", "gravel", "agency"),
    ("AGGREGATE", "gravel", "agency"),
    ("native", "earth", "agency"),
    ("chip seal", "paved", "agency"),
    ("unpaved", "gravel", "inferred"),
    ("", "unknown", "unknown"),
    ("Macadam?", "unknown", "unknown"),
])  # fmt: skip
def test_surface_words(tmp_path: Path, word: str, surface: str, source: str) -> None:
    path = tmp_path / "roads.csv"
    path.write_text(f'surface,wkt\n{word},"LINESTRING (-107 40, -107 40.01)"\n', "utf-8")
    found = read_network(path)
    (segment,) = found.network.segments
    assert (segment.surface, segment.surface_source) == (surface, source)
    is_strange = word == "Macadam?"
    assert any("means nothing" in str(p) for p in found.report.problems) == is_strange


def test_multi_lines_and_z_values(tmp_path: Path) -> None:
    path = tmp_path / "roads.csv"
    path.write_text(
        "id,name,wkt\n"
        'a,Creek Road,"MULTILINESTRING Z ((-107 40 9, -107 40.01 9),'
        ' (-107 40.02 9, -107 40.03 9))"\n',
        "utf-8",
    )
    found = read_network(path)
    assert found.report.n_segments == 2
    assert {s.external_id for s in found.network.segments} == {"a"}


def test_one_way_roads_run_the_way_of_their_traffic(tmp_path: Path) -> None:
    path = tmp_path / "roads.csv"
    path.write_text(
        "id,oneway,wkt\n"
        'a,FT,"LINESTRING (-107 40, -107 40.01)"\n'
        'b,TF,"LINESTRING (-106 40, -106 40.01)"\n'
        'c,B,"LINESTRING (-105 40, -105 40.01)"\n',
        "utf-8",
    )
    by_id = {s.external_id: s for s in read_network(path).network.segments}
    assert [by_id[k].is_oneway for k in "abc"] == [True, True, False]
    assert by_id["a"].line[0] == (-107.0, 40.0)
    assert by_id["b"].line[0] == (-106.0, 40.01)


def test_doubled_lines_slivers_and_crossings_are_counted(tmp_path: Path) -> None:
    path = tmp_path / "roads.csv"
    path.write_text(
        "wkt\n"
        '"LINESTRING (-107 40, -107 40.01)"\n'
        '"LINESTRING (-107 40.01, -107 40)"\n'
        '"LINESTRING (-107 40.01, -107 40.01003)"\n'
        '"LINESTRING (-107.01 40.005, -106.99 40.005)"\n',
        "utf-8",
    )
    report = read_network(path).report
    assert (report.n_duplicates, report.n_slivers, report.n_crossings) == (1, 1, 1)
    assert report.n_components == 2
    joined = read_network(path, options=NetworkOptions(join_crossings=True)).report
    assert (joined.n_crossings, joined.n_components) == (0, 1)
    for word in ("doubled", "sliver", "crossing without a junction"):
        assert word in report.summary()


def test_a_length_far_from_the_drawn_one_is_listed_and_used(tmp_path: Path) -> None:
    path = tmp_path / "roads.csv"
    path.write_text('id,miles,wkt\na,2.5,"LINESTRING (-107 40, -107 40.01)"\n', "utf-8")
    found = read_network(path)
    assert sum(s.length_m for s in found.network.segments) == pytest.approx(2.5 * 1609.344)
    assert any("drawn as 1110 m" in str(p) for p in found.report.problems)


def test_points_among_the_roads_become_features(tmp_path: Path) -> None:
    features = [
        {
            "type": "Feature",
            "properties": {"id": "a", "surface": "gravel"},
            "geometry": {"type": "LineString", "coordinates": [[-107, 40], [-107, 40.01]]},
        },
        {
            "type": "Feature",
            "properties": {"id": "c7", "kind": "Cattle guard"},
            "geometry": {"type": "Point", "coordinates": [-107.00001, 40.005]},
        },
    ]
    path = tmp_path / "roads.geojson"
    path.write_text(json.dumps({"type": "FeatureCollection", "features": features}), "utf-8")
    (feature,) = read_network(path).network.features
    assert (feature.id, feature.kind) == ("cattle_guard-c7", "cattle_guard")
    assert feature.at_m == pytest.approx(555, abs=1)


def test_what_is_kept_of_every_line_when_asked(tmp_path: Path) -> None:
    options = NetworkOptions(**_OPTIONS, keep_lines=True)
    found = read_network(_geojson(tmp_path), options=options)
    assert {"2", "3", "4", "5"} < {s.id for s in found.network.segments}
    assert len(found.network.segments) == 6
