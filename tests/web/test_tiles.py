"""Vector tiles: each road where it lies, one for each small square far out, true to the network."""

from __future__ import annotations

import math
from base64 import b64decode
from dataclasses import replace

import mapbox_vector_tile
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crossfall.errors import InputError
from crossfall.model import Network, Node, Segment
from crossfall_app.web import tiles as kept
from crossfall_app.web.desk import this_morning
from crossfall_app.web.present.themes import theme_codes
from crossfall_app.web.tiles import CLOSEST, EXTENT, NAMED_FROM, fingerprint, make_tiles
from crossfall_app.web.views import roads as views


def _grid(n: int, step: float = 0.01) -> Network:
    nodes = tuple(
        Node(f"{i}-{j}", -97 + j * step, 42 + i * step) for i in range(n) for j in range(n)
    )
    segments = tuple(
        Segment(
            f"s{i}-{j}", f"Road {i}", f"{i}-{j}", f"{i}-{j + 1}", 0.0, 800.0,
            ((-97 + j * step, 42 + i * step), (-97 + (j + 1) * step, 42 + i * step)),
            surface="gravel", surface_source="agency", is_maintained=(i + j) % 5 > 0,
        )
        for i in range(n)
        for j in range(n - 1)
    )  # fmt: skip
    return Network(nodes, segments)


NETWORK = _grid(30)
TILES = make_tiles(NETWORK, (f"at {s.id}" for s in NETWORK.segments), None)


def _features(zoom: int, x: int, y: int) -> list[dict]:
    content = TILES.tile(zoom, x, y)
    return mapbox_vector_tile.decode(content)["roads"]["features"] if content else []


def _on_map(lon: float, lat: float, zoom: int) -> tuple[float, float]:
    """By the textbook formula of the web's maps, apart from the code under test."""
    x = (lon + 180) / 360 * 2**zoom
    y = (1 - math.asinh(math.tan(math.radians(lat))) / math.pi) / 2 * 2**zoom
    return x, y


@settings(max_examples=40, deadline=None)
@given(st.sampled_from(NETWORK.segments), st.sampled_from([11, 12, 13]))
def test_a_road_lies_where_it_lies(segment, zoom):
    """Both ends, to a quarter of a screen point, in the tile that the formula names."""
    (x, y), (x2, y2) = (_on_map(*point, zoom) for point in segment.line)
    features = _features(zoom, int(x), int(y))
    number = NETWORK.segments.index(segment)
    (mine,) = [each for each in features if each["properties"]["i"] == number]
    # The decoder turns rows upside down
    ends = [(px, EXTENT - py) for px, py in mine["geometry"]["coordinates"]]
    want = [((px - int(x)) * EXTENT, (py - int(y)) * EXTENT) for px, py in ((x, y), (x2, y2))]
    assert ends[0] == pytest.approx(want[0], abs=2)
    if abs(want[1][0]) < EXTENT:
        assert ends[-1] == pytest.approx(want[1], abs=2)


def test_close_in_every_road_is_there_with_its_name():
    seen = {}
    for x, y in TILES.over(12):
        for each in _features(12, x, y):
            seen[each["properties"]["id"]] = each["properties"]
    assert set(seen) == {segment.id for segment in NETWORK.segments}
    told = seen["s3-4"]
    assert (told["route"], told["where"], told["is_ours"]) == ("Road 3", "at s3-4", True)
    assert not seen["s0-0"]["is_ours"]


def test_far_out_few_roads_stand_for_all_and_nothing_is_named():
    (tile,) = TILES.over(5)
    features = _features(5, *tile)
    assert 0 < len(features) < len(NETWORK.segments) / 4
    assert all("id" not in each["properties"] for each in features)
    assert NAMED_FROM > 5


@pytest.mark.parametrize("place", [(-1, 0, 0), (CLOSEST + 1, 0, 0), (3, 8, 0), (3, 0, -1)])
def test_tiles_that_are_none_are_refused(place):
    with pytest.raises(InputError, match="is none"):
        TILES.tile(*place)


def test_the_sea_is_empty():
    assert TILES.tile(6, 0, 0) == b""


def test_a_tile_is_made_once_and_kept(tmp_path):
    tiles = replace(TILES, folder=tmp_path)
    n = tiles.pre_make()
    files = sorted((tmp_path / tiles.version).iterdir())
    assert len(files) == n
    assert not [each for each in files if each.suffix == ".part"]
    files[-1].write_bytes(b"kept")
    zoom, x, y = (int(part) for part in files[-1].stem.split("-"))
    assert tiles.tile(zoom, x, y) == b"kept"


def test_the_version_changes_with_the_network_only():
    segment = replace(NETWORK.segments[0], route="Other Road")
    other = Network(NETWORK.nodes, (segment, *NETWORK.segments[1:]))
    assert fingerprint(NETWORK) == fingerprint(_grid(30)) != fingerprint(other)


@pytest.mark.django_db
def test_a_large_network_is_drawn_from_tiles(planned_office, superintendent, monkeypatch):
    monkeypatch.setattr(views, "FROM_SEGMENTS", 2)
    monkeypatch.setattr(kept.Tiles, "pre_make", lambda self: 0)
    answer = superintendent.get("/roads.json").json()
    assert "segments" not in answer
    address = answer["tiles"].format(z=12, x=0, y=0)
    version = address.split("/")[2]
    tile = superintendent.get(address)
    assert tile.status_code == 200
    assert "immutable" in tile["Cache-Control"]
    assert superintendent.get(f"/tiles/{version}/99/0/0.mvt").status_code == 404
    assert superintendent.get("/tiles/other/1/0/0.mvt").status_code == 404
    desk = this_morning()
    coloured = views._coloured(desk)
    for key, told in theme_codes(desk.district, coloured).items():
        codes = b64decode(answer["codes"][key]["codes"])
        for segment, code in zip(desk.district.network.segments, codes, strict=True):
            assert told["names"][code] == coloured.features[segment.id][key]


@pytest.mark.django_db
def test_the_list_of_a_large_network_is_looked_up(planned_office, superintendent, monkeypatch):
    monkeypatch.setattr(views, "FROM_SEGMENTS", 2)
    monkeypatch.setattr(views, "_MOST_LISTED", 2)
    text = superintendent.get("/roads/").content.decode()
    assert "The 2 most pressing of 3 stretches" in text
    text = superintendent.get("/roads/?q=road+2").content.decode()
    assert text.count("data-box=") == 1
    assert "1 found" in text
