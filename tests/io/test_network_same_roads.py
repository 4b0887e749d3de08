"""Roads that come back under other ids, roads drawn with tags, and parts that do not meet."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from crossfall.io.network import compare, keep_ids, read_network
from crossfall.io.network.report import NetworkImport
from crossfall.model import Network

_CREEK = [[-107.0, 40.0], [-107.0, 40.01]]
_MILL = [[-107.0, 40.005], [-107.01, 40.005]]
"""Ends in the middle of the first: a T that shares no vertex."""


def _read(folder: Path, *features: dict[str, Any]) -> NetworkImport:
    path = folder / "roads.geojson"
    path.write_text(json.dumps({"type": "FeatureCollection", "features": features}))
    return read_network(path)


def _road(line: list[list[float]], **properties: Any) -> dict[str, Any]:
    geometry = {"type": "LineString", "coordinates": line}
    return {"type": "Feature", "properties": properties, "geometry": geometry}


def _network(folder: Path, *rows: tuple[str, list[list[float]]]) -> Network:
    return _read(folder, *(_road(line, id=key, surface="gravel") for key, line in rows)).network


def test_our_columns_count_beside_a_highway_column(tmp_path: Path) -> None:
    found = _read(
        tmp_path,
        _road(
            _CREEK, highway="unclassified", name="Creek Road", surface="gravel", width_m=6.1,
            adt=85, gravel_mm=120,
        ),
    )  # fmt: skip
    (road,) = found.network.segments
    assert (road.route, road.width_m, road.adt, road.gravel_mm) == ("Creek Road", 6.1, 85, 120)
    assert (road.surface, road.surface_source, road.is_maintained) == ("gravel", "agency", True)


def test_a_width_in_feet_beside_a_highway_column(tmp_path: Path) -> None:
    found = _read(tmp_path, _road(_CREEK, highway="track", surface="dirt", width_ft=20))
    assert found.network.segments[0].width_m == pytest.approx(6.096)


def test_a_t_of_drawn_lines_is_joined_and_one_of_an_extract_is_not(tmp_path: Path) -> None:
    tags = {"highway": "unclassified", "surface": "gravel"}
    drawn = _read(tmp_path, _road(_CREEK, **tags), _road(_MILL, **tags))
    assert (drawn.report.n_components, drawn.report.parts) == (1, ())
    names = ({"@id": "way/1", "name": "Creek Road"}, {"@id": "way/2", "name": "Mill Lane"})
    extract = _read(
        tmp_path, *(_road(x, **tags, **n) for x, n in zip((_CREEK, _MILL), names, strict=True))
    )
    assert extract.report.n_components == 2
    assert extract.report.parts == ("Mill Lane (0.9 km) at -107.00000,40.00500",)
    assert "Not joined to it: Mill Lane (0.9 km) at -107.00000,40.00500" in (
        extract.report.summary()
    )


def test_a_road_under_a_new_id_keeps_the_old_one(tmp_path: Path) -> None:
    far = [[-107.05, 40.0], [-107.05, 40.01]]
    old = _network(tmp_path, ("a", _CREEK), ("b", far))
    moved = [[-107.00002, 40.0], [-107.00002, 40.01]]
    new = _network(tmp_path, ("x1", moved), ("b", far))
    same, named = keep_ids(old, new)
    assert named == {"x1": "a"}
    assert [each.id for each in same.segments] == ["a", "b"]
    difference = compare(old, same)
    assert (difference.added, difference.vanished) == ((), ())


def test_a_road_drawn_the_other_way_is_turned(tmp_path: Path) -> None:
    old = _network(tmp_path, ("a", _CREEK))
    same, named = keep_ids(old, _network(tmp_path, ("x1", _CREEK[::-1])))
    assert named == {"x1": "a"}
    assert same.segments[0].line[0] == old.segments[0].line[0]
    nodes = same.node_by_id
    assert nodes[same.segments[0].from_node].lat == pytest.approx(40.0)


def test_half_of_a_road_is_another_road(tmp_path: Path) -> None:
    old = _network(tmp_path, ("a", _CREEK))
    new = _network(tmp_path, ("x1", [[-107.0, 40.0], [-107.0, 40.005]]))
    assert keep_ids(old, new) == (new, {})
