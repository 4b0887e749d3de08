"""Shapefiles, FlatGeobuf and geodatabases as agencies send them, and archives that mean harm."""

from __future__ import annotations

import zipfile
from pathlib import Path

import numpy as np
import pytest
import shapely

from crossfall.errors import InputError, UnitsError
from crossfall.io.network import NetworkOptions, read_network

pyogrio = pytest.importorskip("pyogrio")

LINES = [
    [(-107.0, 40.5), (-107.0, 40.51)],
    [(-107.0, 40.51), (-106.99, 40.51)],
    [(-106.99, 40.51), (-106.99, 40.52)],
]
NAMES = ["Creek Road", "Čermák Lane", "Ridge Road"]


def put(path: Path, lines=LINES, *, crs: str | None = "EPSG:4326", driver: str, **more) -> Path:
    geometry = shapely.to_wkb(np.array([shapely.LineString(line) for line in lines]))
    pyogrio.raw.write(
        path,
        geometry=np.array(geometry, dtype=object),
        field_data=[
            np.array([f"R{k}" for k in range(len(lines))], dtype=object),
            np.array(NAMES[: len(lines)], dtype=object),
            np.array([7.0, np.nan, 6.5][: len(lines)]),
            np.array(["gravel"] * len(lines), dtype=object),
        ],
        fields=["road_id", "name", "width_m", "surface"],
        geometry_type="LineString",
        crs=crs,
        driver=driver,
        **more,
    )
    return path


def in_zip(shapes: Path, target: Path, **names: str) -> Path:
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as archive:
        for part in sorted(shapes.parent.glob(f"{shapes.stem}.*")):
            entry = zipfile.ZipInfo(names.get(part.suffix[1:], part.name))
            archive.writestr(entry, part.read_bytes())
    return target


@pytest.mark.parametrize(
    ("name", "driver"),
    [("r.shp", "ESRI Shapefile"), ("r.fgb", "FlatGeobuf"), ("r.gdb", "OpenFileGDB")],
)
def test_each_format_gives_the_same_roads(tmp_path, name, driver):
    found = read_network(put(tmp_path / name, driver=driver))
    # FlatGeobuf sorts its rows by place
    segments = sorted(found.network.segments, key=lambda each: each.external_id)
    assert [s.route for s in segments] == NAMES
    assert [s.external_id for s in segments] == ["R0", "R1", "R2"]
    assert [s.width_m for s in segments] == [7.0, 7.0, 6.5]
    assert [s.width_method for s in segments][1] == "default"
    assert segments[0].line[0] == pytest.approx((-107.0, 40.5))


def test_a_zipped_shapefile_is_read_where_it_lies(tmp_path):
    shp = put(tmp_path / "r.shp", driver="ESRI Shapefile")
    archive = in_zip(shp, tmp_path / "roads.zip")
    before = sorted(each.name for each in tmp_path.iterdir())
    assert len(read_network(archive).network.segments) == 3
    assert sorted(each.name for each in tmp_path.iterdir()) == before


@pytest.mark.parametrize(
    ("names", "words"),
    [
        ({"prj": "../../r.prj"}, "reaches outside the archive"),
        ({"shp": "/etc/r.shp"}, "reaches outside the archive"),
        ({"dbf": "..\\r.dbf"}, "reaches outside the archive"),
        ({"dbf": "C:/r.dbf"}, "reaches outside the archive"),
    ],
)
def test_names_that_reach_outside_are_refused(tmp_path, names, words):
    shp = put(tmp_path / "r.shp", driver="ESRI Shapefile")
    with pytest.raises(InputError, match=words):
        read_network(in_zip(shp, tmp_path / "slip.zip", **names))
    assert not (tmp_path.parent / "r.prj").exists()


def test_links_bombs_and_several_files_are_refused(tmp_path):
    shp = put(tmp_path / "r.shp", driver="ESRI Shapefile")
    link = zipfile.ZipInfo("r.shp")
    link.external_attr = 0o120777 << 16
    with zipfile.ZipFile(tmp_path / "link.zip", "w") as archive:
        archive.writestr(link, "/etc/passwd")
    with pytest.raises(InputError, match="holds a link"):
        read_network(tmp_path / "link.zip")
    with zipfile.ZipFile(tmp_path / "bomb.zip", "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("r.shp", b"\0" * 20_000_000)
    with pytest.raises(InputError, match="swells"):
        read_network(tmp_path / "bomb.zip")
    put(tmp_path / "q.shp", driver="ESRI Shapefile")
    two = in_zip(shp, tmp_path / "two.zip")
    with zipfile.ZipFile(two, "a") as archive:
        archive.write(tmp_path / "q.shp", "q.shp")
    with pytest.raises(InputError, match="holds 2 road files"):
        read_network(two)
    (tmp_path / "cut.zip").write_bytes(two.read_bytes()[:300])
    with pytest.raises(InputError, match="not a ZIP"):
        read_network(tmp_path / "cut.zip")


def test_a_text_that_names_another_file_does_not_pass_for_one(tmp_path):
    shp = put(tmp_path / "r.shp", driver="ESRI Shapefile")
    text = (
        "<OGRVRTDataSource><OGRVRTLayer name='r'><SrcDataSource>/etc/passwd</SrcDataSource>"
        "</OGRVRTLayer></OGRVRTDataSource>"
    )
    shp.write_text(text)
    with pytest.raises(InputError, match="does not begin as a"):
        read_network(shp)
    (tmp_path / "r.fgb").write_text(text)
    with pytest.raises(InputError, match="does not begin as a"):
        read_network(tmp_path / "r.fgb")
    (tmp_path / "x.gdb").mkdir()
    with pytest.raises(InputError, match="no file geodatabase"):
        read_network(tmp_path / "x.gdb")


def test_a_shapefile_without_its_parts_says_which(tmp_path):
    shp = put(tmp_path / "r.shp", driver="ESRI Shapefile")
    shp.with_suffix(".dbf").unlink()
    with pytest.raises(InputError, match=r"has no r\.dbf beside it"):
        read_network(shp)


def utm() -> list[list[tuple[float, float]]]:
    import pyproj

    to = pyproj.Transformer.from_crs("EPSG:4326", "EPSG:26913", always_xy=True)
    return [[to.transform(*place) for place in line] for line in LINES]


def test_the_prj_is_believed_and_a_missing_one_asked_for(tmp_path):
    shp = put(tmp_path / "m.shp", utm(), crs="EPSG:26913", driver="ESRI Shapefile")
    (a, _, _) = read_network(shp).network.segments
    assert a.line[0] == pytest.approx((-107.0, 40.5), abs=1e-6)
    shp.with_suffix(".prj").unlink()
    with pytest.raises(UnitsError, match="are not degrees but metres or feet"):
        read_network(shp)
    told = NetworkOptions(crs="EPSG:26913")
    assert read_network(shp, options=told).network.segments[0].line[0] == pytest.approx(
        (-107.0, 40.5), abs=1e-6
    )


def test_feet_in_a_metre_system_and_degrees_in_any_are_noticed(tmp_path):
    feet = [[(x / 0.3048, y / 0.3048) for x, y in line] for line in utm()]
    shp = put(tmp_path / "f.shp", feet, crs="EPSG:26913", driver="ESRI Shapefile")
    with pytest.raises(UnitsError, match="look like feet"):
        read_network(shp)
    shp = put(tmp_path / "d.shp", LINES, crs="EPSG:26913", driver="ESRI Shapefile")
    with pytest.raises(UnitsError, match="look like degrees"):
        read_network(shp)


def test_without_the_extra_it_says_what_to_do(tmp_path, monkeypatch):
    shp = put(tmp_path / "r.shp", driver="ESRI Shapefile")
    monkeypatch.setitem(__import__("sys").modules, "pyogrio", None)
    with pytest.raises(InputError, match=r"install crossfall\[gis\]"):
        read_network(shp)


def test_a_damaged_shapefile_is_refused(tmp_path):
    shp = put(tmp_path / "r.shp", driver="ESRI Shapefile")
    shp.write_bytes(shp.read_bytes()[:120])
    with pytest.raises(InputError):
        read_network(shp)
