"""What a new import would change, before it is accepted."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from crossfall.io.network import (
    NetworkOptions,
    carry_over,
    compare,
    read_network,
    settle_surfaces,
)
from crossfall.model import Network


def _roads(folder: Path, *rows: str) -> Network:
    path = folder / "roads.csv"
    path.write_text("\n".join(["id,name,surface,width_m,wkt", *rows]) + "\n", "utf-8")
    return read_network(path).network


_CREEK = 'a,Creek Road,gravel,7,"LINESTRING (-107 40, -107 40.01)"'
_MILL = 'b,Mill Lane,,,"LINESTRING (-107 40.01, -107.01 40.01)"'


def test_the_same_file_changes_nothing(tmp_path: Path) -> None:
    network = _roads(tmp_path, _CREEK, _MILL)
    difference = compare(network, _roads(tmp_path, _CREEK, _MILL))
    assert difference.is_empty
    assert difference.n_same == 2
    assert difference.summary() == "Nothing changes: 2 segments are as they were."


def test_added_changed_and_vanished_are_told_apart(tmp_path: Path) -> None:
    old = _roads(tmp_path, _CREEK, _MILL)
    ridge = 'c,Ridge Road,earth,,"LINESTRING (-107 40, -107.01 39.995)"'
    new = _roads(tmp_path, _CREEK.replace("gravel,7", "paved,8"), ridge)
    difference = compare(old, new)
    assert [s.id for s in difference.added] == ["c"]
    assert [s.id for s in difference.vanished] == ["b"]
    (change,) = difference.changed
    assert change.segment_id == "a"
    assert {name: (a, b) for name, a, b in change.fields} == {
        "surface": ("gravel", "paved"),
        "is_maintained": (True, False),
        "width_m": (7.0, 8.0),
    }
    assert difference.replaced == frozenset()
    shown = difference.summary()
    for text in (
        "1 segment added",
        "1 changed",
        "1 vanished",
        "surface gravel → paved",
        "1 gone",
    ):
        assert text in shown


def test_a_split_road_is_traced(tmp_path: Path) -> None:
    old = _roads(tmp_path, _CREEK)
    side = 'd,Side Road,gravel,,"LINESTRING (-107 40.004, -107.01 40.004)"'
    difference = compare(old, _roads(tmp_path, _CREEK, side))
    assert difference.replaced == {"a"}
    children = {each.child_id for each in difference.lineage}
    assert len(children) == 2
    covered = sum(each.to_m - each.from_m for each in difference.lineage)
    assert covered == pytest.approx(old.segments[0].length_m, abs=40)


def test_what_people_settled_is_carried_over(tmp_path: Path) -> None:
    imported = _roads(tmp_path, _CREEK, _MILL)
    settled = settle_surfaces(imported, {"b": "earth"})
    mill = settled.segment_by_id["b"]
    assert (mill.surface, mill.surface_source, mill.is_maintained) == ("earth", "agency", True)
    settled = replace(
        settled,
        segments=tuple(
            replace(s, gravel_mm=60.0, gravel_method="measured", drainage="poor")
            if s.id == "b"
            else s
            for s in settled.segments
        ),
    )
    again = carry_over(settled, _roads(tmp_path, _CREEK, _MILL))
    assert compare(settled, again).is_empty
    told = carry_over(settled, _roads(tmp_path, _CREEK, _MILL.replace("Lane,", "Lane,paved")))
    assert told.segment_by_id["b"].surface == "paved"


def test_the_parts_of_a_split_road_inherit_what_was_settled(tmp_path: Path) -> None:
    settled = settle_surfaces(_roads(tmp_path, _MILL), {"b": "earth"})
    side = 'd,Side Road,gravel,,"LINESTRING (-107.004 40.01, -107.004 40)"'
    again = carry_over(settled, _roads(tmp_path, _MILL, side))
    parts = [s for s in again.segments if s.route == "Mill Lane"]
    assert len(parts) == 2
    assert {(s.surface, s.surface_source, s.is_maintained) for s in parts} == {
        ("earth", "agency", True)
    }
    assert {s.surface for s in again.segments if s.route == "Side Road"} == {"gravel"}


def test_features_that_come_and_go(shared_data: Path) -> None:
    network = read_network(shared_data / "nets" / "liechtenstein-2013.osm.pbf").network
    fewer = replace(network, features=network.features[5:])
    assert len(compare(network, fewer).features_vanished) == 5
    moved = replace(
        network, features=(replace(network.features[0], side="left"), *network.features[1:])
    )
    difference = compare(fewer, moved)
    assert len(difference.features_added) == 5
    assert "Point features" in difference.summary()
    difference = compare(network, moved)
    assert len(difference.features_changed) == (0 if network.features[0].side == "left" else 1)


def test_asking_for_unknown_roads_shows_as_changes_only(shared_data: Path) -> None:
    path = shared_data / "nets" / "colorado-routt.osm"
    one = read_network(path).network
    other = read_network(path, options=NetworkOptions(include_unknown=True)).network
    difference = compare(one, other)
    assert {change.segment_id for change in difference.changed} | {
        s.id for s in difference.vanished
    }
    assert all(s.surface == "unknown" for s in difference.vanished)
