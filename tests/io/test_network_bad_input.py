"""Every bad file is one sentence that names file, row or field, and what to do."""

from __future__ import annotations

import gzip
import json
import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pyogrio
import pytest
import shapely
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from crossfall.errors import InputError, UnitsError
from crossfall.io.export import write_network
from crossfall.io.network import NetworkOptions, read_network

Coordinates = list[list[Any]]


def _feature(coordinates: Any, kind: str = "LineString", **properties: Any) -> dict[str, Any]:
    return {
        "type": "Feature",
        "properties": properties,
        "geometry": {"type": kind, "coordinates": coordinates},
    }


def _geojson(folder: Path, *features: dict[str, Any], **more: Any) -> Path:
    path = folder / "roads.geojson"
    path.write_text(
        json.dumps({"type": "FeatureCollection", "features": list(features), **more}), "utf-8"
    )
    return path


def _csv(folder: Path, text: str, encoding: str = "utf-8") -> Path:
    path = folder / "roads.csv"
    path.write_bytes(text.encode(encoding))
    return path


_GOOD: Coordinates = [[-107.0, 40.0], [-107.0, 40.01]]
_LINE = '"LINESTRING (-107 40, -107 40.01)"'


def _refused(path: Path, *words: str, options: NetworkOptions | None = None) -> str:
    """Reading fails with one sentence that has the file's name and all of ``words``."""
    with pytest.raises(InputError) as caught:
        read_network(path, options=options)
    message = str(caught.value)
    for word in (path.name, *words):
        assert word in message
    assert "\n" not in message
    return message


@pytest.mark.parametrize("share", [0.0, 0.001, 0.3, 0.9, 0.999])
@pytest.mark.parametrize("name", ["liechtenstein-2013.osm.pbf", "north-bayreuth.osm.gz"])
def test_an_osm_file_cut_short(shared_data: Path, tmp_path: Path, name: str, share: float) -> None:
    whole = (shared_data / "nets" / name).read_bytes()
    path = tmp_path / name
    path.write_bytes(whole[: int(share * len(whole))])
    _refused(path, "cut short", "fetch it again")


def test_osm_text_cut_short_or_in_another_encoding(shared_data: Path, tmp_path: Path) -> None:
    whole = (shared_data / "nets" / "colorado-routt.osm").read_bytes()
    path = tmp_path / "roads.osm"
    path.write_bytes(whole[: len(whole) // 2])
    _refused(path, "cut short")
    path.write_bytes(whole.replace(b"gravel", "gr\u00e4vel".encode("latin-1")))
    _refused(path, "not UTF-8")


def test_osm_with_a_way_twice_or_no_road(shared_data: Path, tmp_path: Path) -> None:
    whole = (shared_data / "nets" / "colorado-routt.osm").read_bytes()
    start, end = whole.index(b"<way"), whole.index(b"</way>") + len(b"</way>")
    path = tmp_path / "roads.osm.gz"
    path.write_bytes(gzip.compress(whole[:end] + whole[start:end] + whole[end:]))
    _refused(path, "way 17135966 twice")
    path.write_bytes(gzip.compress(whole.replace(b"k='highway'", b"k='byway'")))
    _refused(path, "no road in it")


@pytest.mark.parametrize(("coordinates", "words"), [
    ([[3_100_000, 1_300_000], [3_101_000, 1_300_500]], ("metres or feet", "crs")),
    ([[400_000, 4_500_000], [401_000, 4_500_500]], ("metres or feet", "EPSG:26913")),
])  # fmt: skip
def test_geojson_in_feet_or_metres(
    tmp_path: Path, coordinates: Coordinates, words: tuple[str, ...]
) -> None:
    with pytest.raises(UnitsError):
        read_network(_geojson(tmp_path, _feature(coordinates)))
    _refused(_geojson(tmp_path, _feature(coordinates)), *words)


def test_feet_in_a_metre_system_are_noticed(tmp_path: Path) -> None:
    feet = [[400_000 / 0.3048, 4_500_000 / 0.3048], [401_000 / 0.3048, 4_500_500 / 0.3048]]
    path = _geojson(tmp_path, _feature(feet))
    _refused(path, "look like feet", options=NetworkOptions(crs="EPSG:26913"))


def test_degrees_in_a_metre_system_are_noticed(tmp_path: Path) -> None:
    named = {"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::26913"}}
    _refused(_geojson(tmp_path, _feature(_GOOD), crs=named), "look like degrees", "EPSG:4326")


def test_an_unknown_system_is_named(tmp_path: Path) -> None:
    path = _geojson(tmp_path, _feature([[400_000, 4_500_000], [401_000, 4_500_500]]))
    _refused(path, "'EPSG:99'", "expected a name", options=NetworkOptions(crs="EPSG:99"))


def test_latitude_and_longitude_swapped(tmp_path: Path) -> None:
    _refused(_geojson(tmp_path, _feature([[40.0, -107.0], [40.01, -107.0]])), "swapped")
    # Both figures are plausible as either: only a place to expect tells
    path = _geojson(tmp_path, _feature([[49.9, 11.5], [49.9, 11.51]]))
    assert read_network(path).report.n_segments == 1
    _refused(path, "swapped", options=NetworkOptions(near=(11.5, 49.9)))
    right = _geojson(tmp_path, _feature([[11.5, 49.9], [11.51, 49.9]]))
    existing = read_network(right).network
    path = _geojson(tmp_path, _feature([[49.9, 11.5], [49.9, 11.51]]))
    _refused(path, "swapped", options=NetworkOptions(existing=existing))


def test_the_wrong_country(tmp_path: Path) -> None:
    path = _geojson(tmp_path, _feature(_GOOD))
    _refused(path, "km from the place expected", options=NetworkOptions(near=(11.5, 49.9)))


def test_empty_layers(tmp_path: Path) -> None:
    _refused(_geojson(tmp_path), "no feature")
    point = _feature([-107.0, 40.0], "Point")
    _refused(_geojson(tmp_path, point), "no line in it", "1 Point")
    _refused(_csv(tmp_path, ""), "empty")
    _refused(_csv(tmp_path, "id,wkt\n"), "no row below")
    path = tmp_path / "roads.gpkg"
    nothing = np.array([], dtype=object)
    pyogrio.raw.write(
        path, geometry=nothing, field_data=[nothing], fields=["name"],
        geometry_type="LineString", crs="EPSG:4326", layer="roads",
    )  # fmt: skip
    _refused(path, "layer 'roads' is empty")


def test_duplicate_ids_name_both_rows(tmp_path: Path) -> None:
    other = [[-107.0, 40.01], [-107.0, 40.02]]
    path = _geojson(tmp_path, _feature(_GOOD, id="R1"), _feature(other, id="R1"))
    _refused(path, "feature 2, id", "'R1'", "feature 1", "unique")
    text = f"road_id,wkt\nR1,{_LINE}\nR2,{_LINE.replace('40.01', '40.02')}\nR1,{_LINE}\n"
    _refused(_csv(tmp_path, text), "row 4, road_id", "row 2")


def test_zero_length_lines_are_refused_or_left_out_when_asked(tmp_path: Path) -> None:
    still = [[-107.0, 40.0], [-107.0, 40.0]]
    path = _geojson(tmp_path, _feature(still), _feature(_GOOD))
    _refused(path, "feature 1", "no length", "--skip-bad")
    report = read_network(path, options=NetworkOptions(skip_bad=True)).report
    assert (report.n_segments, report.n_zero_length) == (1, 1)
    assert any("no length" in str(problem) for problem in report.problems)


def test_a_row_without_a_line_or_with_a_vertex_at_nowhere(tmp_path: Path) -> None:
    empty = {"type": "Feature", "properties": {}, "geometry": None}
    _refused(_geojson(tmp_path, _feature(_GOOD), empty), "feature 2", "no geometry")
    null_island = [[-107.0, 40.0], [0.0, 0.0]]
    _refused(_geojson(tmp_path, _feature(_GOOD), _feature(null_island)), "feature 2", "jumps")
    _refused(_geojson(tmp_path, _feature([[-107.0], [40.0]])), "pair of numbers")
    _refused(_geojson(tmp_path, _feature([["west", 40.0], _GOOD[0]])), "pair of numbers")


def test_unknown_columns_and_fields(tmp_path: Path) -> None:
    path = _geojson(tmp_path, _feature(_GOOD, SURF_TYP="gravel"))
    options = NetworkOptions(columns={"surface": "SURF_TYPE"})
    _refused(path, "no column 'SURF_TYPE'", "did you mean 'SURF_TYP'", options=options)
    with pytest.raises(InputError, match=r"--column surfce=\.\.\. is no field; expected one of id"):
        NetworkOptions(columns={"surfce": "SURF_TYP"})
    assert NetworkOptions(columns={"name": "RD"}).columns == {"route": "RD"}
    with pytest.raises(InputError, match="--column gives route twice, as RD and ROAD"):
        NetworkOptions(columns={"name": "RD", "route": "ROAD"})
    with pytest.raises(InputError, match="--surface AGG=stone names no surface of ours"):
        NetworkOptions(surface_words={"AGG": "stone"})  # type: ignore[dict-item]
    _refused(_csv(tmp_path, f"id,shape\n1,{_LINE}\n"), "no column of lines", "wkt")
    options = NetworkOptions(columns={"wkt": "shap"})
    _refused(_csv(tmp_path, f"id,shape\n1,{_LINE}\n"), "'shap'", options=options)


@pytest.mark.parametrize(("properties", "words"), [
    ({"width": 24}, ("feature 1, width", "looks like feet", "--width-unit")),
    ({"width_m": "wide"}, ("feature 1, width_m", "'wide' is not a width")),
    ({"width_m": 80}, ("width_m", "not a road's width")),
    ({"adt": -5}, ("feature 1, adt", "-5")),
    ({"heavy_share": 12}, ("heavy_share", "from 0 to 1")),
    ({"is_oneway": "perhaps"}, ("is_oneway", "neither yes nor no")),
    ({"drainage": "damp"}, ("drainage", "good, fair, poor")),
])  # fmt: skip
def test_cells_that_cannot_be_read(
    tmp_path: Path, properties: dict[str, Any], words: tuple[str, ...]
) -> None:
    _refused(_geojson(tmp_path, _feature(_GOOD, **properties)), *words)


def test_a_length_without_a_unit(tmp_path: Path) -> None:
    path = _geojson(tmp_path, _feature(_GOOD, LENGTH=1.1))
    options = NetworkOptions(columns={"length_m": "LENGTH"})
    _refused(path, "needs its unit", "--length-unit", options=options)
    options = NetworkOptions(columns={"length_m": "LENGTH"}, length_unit="km")
    assert read_network(path, options=options).network.segments[0].length_m == pytest.approx(1100)


def test_text_that_is_not_utf_8(tmp_path: Path) -> None:
    text = f"id,name,wkt\n1,Stra\u00dfe,{_LINE}\n"
    path = _csv(tmp_path, text, "latin-1")
    _refused(path, "row 2", "not utf-8")
    found = read_network(path, options=NetworkOptions(encoding="latin-1"))
    assert found.network.segments[0].route == "Stra\u00dfe"
    path = tmp_path / "roads.geojson"
    path.write_bytes(json.dumps(_feature(_GOOD, name="X")).replace("X", "\u00df").encode("cp1252"))
    _refused(path, "not utf-8")


def test_geopackage_text_that_is_not_utf_8(tmp_path: Path) -> None:
    path = _agency_package(tmp_path)
    with sqlite3.connect(path) as package:
        _without_triggers(package)
        package.execute("UPDATE roads SET name = CAST(x'53747261df65' AS TEXT)")
    package.close()
    _refused(path, "column 'name'", "not UTF-8")


@pytest.mark.parametrize(("text", "words"), [
    (f"id,wkt\n1,{_LINE},x\n", ("row 2", "3 cells", "header has 2")),
    (f"id,id,wkt\n1,2,{_LINE}\n", ("'id' twice",)),
    ('id,wkt\n1,"LINESTRING (-107 40, -107 40.01"\n', ("row 2, wkt", "not well-known text")),
    (f"id,wkt\n1,{_LINE[:-1]}\n", ("cannot be read as CSV",)),
    ('id,wkt\n1,"POINT (-107 40)"\n', ("no line in it", "1 Point")),
])  # fmt: skip
def test_csv_that_is_out_of_shape(tmp_path: Path, text: str, words: tuple[str, ...]) -> None:
    _refused(_csv(tmp_path, text), *words)


def test_json_that_is_none(tmp_path: Path) -> None:
    path = tmp_path / "roads.geojson"
    path.write_text('{"type": "FeatureCollection", "features": [{"type": "Fea', "utf-8")
    _refused(path, "line 1 is not JSON", "cut short")
    path.write_text("<html>no such page</html>", "utf-8")
    _refused(path, "is not JSON")
    path.write_text('{"type": "Topology"}', "utf-8")
    _refused(path, "'Topology'", "FeatureCollection")
    path.write_text("[1, 2]", "utf-8")
    _refused(path, "FeatureCollection")


def _agency_package(folder: Path, **more: Any) -> Path:
    path = folder / "roads.gpkg"
    lines = shapely.to_wkb(np.array([shapely.LineString(_GOOD)]))
    pyogrio.raw.write(
        path, geometry=lines, field_data=[np.array(["Creek Road"], dtype=object)],
        fields=["name"], geometry_type="LineString", crs="EPSG:4326", layer="roads", **more,
    )  # fmt: skip
    return path


def test_a_geopackage_that_is_damaged_or_none(tmp_path: Path) -> None:
    path = _agency_package(tmp_path)
    whole = path.read_bytes()
    for size in (100, 5000, len(whole) // 2):
        path.write_bytes(whole[:size])
        _refused(path, "cut short")
    path.write_bytes(b"something else" * 400)
    _refused(path, "not a GeoPackage")


def test_the_layer_has_to_be_named_or_there(tmp_path: Path) -> None:
    path = _agency_package(tmp_path)
    _refused(path, "no layer 'raods'", "roads", options=NetworkOptions(layer="raods"))
    pyogrio.raw.write(
        path, geometry=shapely.to_wkb(np.array([shapely.LineString(_GOOD)])),
        field_data=[np.array(["x"], dtype=object)], fields=["name"],
        geometry_type="LineString", crs="EPSG:4326", layer="trails", append=False,
    )  # fmt: skip
    _refused(path, "several layers", "roads, trails", "say which")
    assert read_network(path, options=NetworkOptions(layer="roads")).report.n_segments == 1


def _without_triggers(package: sqlite3.Connection) -> None:
    """They call functions that only the program that wrote the file has."""
    names = package.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall()
    for (name,) in names:
        package.execute(f"DROP TRIGGER {name}")


def test_a_geometry_of_another_program(tmp_path: Path) -> None:
    path = _agency_package(tmp_path)
    with sqlite3.connect(path) as package:
        _without_triggers(package)
        package.execute("UPDATE roads SET geom = x'00010203'")
    package.close()
    _refused(path, "fid 1", "not a GeoPackage line")


def test_files_that_are_not_there_or_of_another_kind(tmp_path: Path) -> None:
    _refused(tmp_path / "none.gpkg", "not there")
    (tmp_path / "roads.dwg").write_text("x")
    _refused(tmp_path / "roads.dwg", "ends in .osm")


def _spoil(path: Path, change: Callable[[dict[str, Any]], None]) -> Path:
    collection = json.loads(path.read_text("utf-8"))
    change(collection)
    path.write_text(json.dumps(collection), "utf-8")
    return path


@pytest.mark.parametrize(("field", "value", "words"), [
    ("surface", "stone", ("surface: 'stone' is not one of gravel",)),
    ("length_m", "long", ("length_m: 'long' is not a figure",)),
    ("segment_id", None, ("segment_id: is empty",)),
    ("is_oneway", "perhaps", ("is_oneway: 'perhaps' is not true or false",)),
])  # fmt: skip
def test_an_export_that_somebody_spoiled(
    tmp_path: Path, field: str, value: Any, words: tuple[str, ...]
) -> None:
    network = read_network(_geojson(tmp_path, _feature(_GOOD))).network
    path = write_network(network, tmp_path / "out.geojson")
    _spoil(path, lambda c: c["features"][0]["properties"].update({field: value}))
    _refused(path, "feature 1", *words)


def test_an_export_that_lost_a_line(tmp_path: Path) -> None:
    network = read_network(_geojson(tmp_path, _feature(_GOOD))).network
    path = write_network(network, tmp_path / "out.geojson")
    _spoil(path, lambda c: c["features"][0].update(geometry=None))
    other = _feature(_GOOD, **json.loads(path.read_text("utf-8"))["features"][0]["properties"])
    _spoil(path, lambda c: c["features"].append(other))
    _refused(path, "feature 1", "no geometry")


def test_an_export_whose_line_was_moved_off_its_node(tmp_path: Path) -> None:
    network = read_network(_geojson(tmp_path, _feature(_GOOD))).network
    path = write_network(network, tmp_path / "out.geojson")
    _spoil(path, lambda c: c["features"][0]["geometry"]["coordinates"][0].__setitem__(0, -107.1))
    _refused(path, "moved away", "keep_lines")
    anew = read_network(path, options=NetworkOptions(keep_lines=False)).report
    assert anew.n_segments >= 1
    assert any("drawn as" in str(problem) for problem in anew.problems)


_SMALL_OSM = b"""<?xml version="1.0" encoding="UTF-8"?>
<osm version="0.6"><node id="1" lat="40.0" lon="-107.0"/><node id="2" lat="40.1" lon="-107.0"/>
<way id="1"><nd ref="1"/><nd ref="2"/><tag k="highway" v="track"/></way></osm>
"""


@pytest.fixture(scope="module")
def good_files(tmp_path_factory: pytest.TempPathFactory) -> dict[str, bytes]:
    folder = tmp_path_factory.mktemp("good")
    source = _geojson(folder, _feature(_GOOD, id="R1", surface="gravel"))
    network = read_network(source).network
    files = {"roads.osm": _SMALL_OSM, "agency.gpkg": _agency_package(folder).read_bytes()}
    for name in ("own.geojson", "own.gpkg", "own.csv"):
        files[name] = write_network(network, folder / name).read_bytes()
    return files


@pytest.mark.parametrize("name", ["roads.osm", "agency.gpkg", "own.geojson", "own.gpkg", "own.csv"])
@settings(
    max_examples=30, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(data=st.data())
def test_whatever_happened_to_a_file_it_is_read_or_refused(
    good_files: dict[str, bytes], tmp_path: Path, name: str, data: st.DataObject
) -> None:
    """Any other exception would be a stack trace on somebody's screen."""
    content = bytearray(good_files[name])
    for _ in range(data.draw(st.integers(1, 4))):
        at = data.draw(st.integers(0, len(content) - 1))
        content[at : at + data.draw(st.integers(0, 60))] = data.draw(st.binary(max_size=8))
    path = tmp_path / name
    path.write_bytes(bytes(content))
    try:
        read_network(path)
    except InputError as error:
        assert name in str(error)  # noqa: PT017


def test_formula_cells_are_refused_and_never_evaluated(tmp_path: Path) -> None:
    path = tmp_path / "roads.csv"
    path.write_text(
        'id,name,wkt\n1,"=HYPERLINK(""http://x"")","LINESTRING (-107 40.5, -107 40.51)"\n'
        '2,@SUM(A1),"LINESTRING (-107 40.51, -107 40.52)"\n'
        '3,Mill Road,"LINESTRING (-107 40.52, -107 40.53)"\n',
        encoding="utf-8",
    )
    message = _refused(path, "row 2, name", "looks like a formula")
    assert "row 3, name" in message


def test_our_own_table_gives_back_a_name_that_looks_like_a_formula(tmp_path: Path) -> None:
    from crossfall.io.export import write_network
    from crossfall.model import Network, Node, Segment

    line = ((-107.0, 40.5), (-107.0, 40.51))
    roads = tuple(
        Segment(f"s{k}", name, "a", "b", 0.0, 1110.0, line)
        for k, name in enumerate(("=1+1", "'s-Gravenweg", "-Lane"))
    )
    network = Network((Node("a", *line[0]), Node("b", *line[1])), roads)
    path = write_network(network, tmp_path / "own.csv")
    assert "'=1+1" in path.read_text(encoding="utf-8")
    assert read_network(path).network == network


def test_lines_in_two_systems_in_one_file_are_refused(tmp_path: Path) -> None:
    path = tmp_path / "mixed.csv"
    path.write_text(
        'id,name,wkt\n1,A,"LINESTRING (-107 40.5, -107 40.51)"\n'
        '2,B,"LINESTRING (330000 4485000, 330100 4485000)"\n',
        encoding="utf-8",
    )
    _refused(path, "are not degrees but metres or feet")


def test_geojson_nested_without_end_is_refused_and_no_mistake_of_ours(tmp_path: Path) -> None:
    path = tmp_path / "deep.geojson"
    path.write_text("[" * 100_000)
    with pytest.raises(InputError, match="nested deeper"):
        read_network(path)
