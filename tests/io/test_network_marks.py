"""Where to look after an import: near misses, crossings, odd lines; on a map."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest
from defusedxml.ElementTree import fromstring

from crossfall.errors import InputError
from crossfall.io.network import NetworkOptions, read_calibrations, read_events, read_network
from crossfall.model import Network, Node, PointFeature, Segment
from crossfall.network import LineEvent, LocalPlane, resnap
from crossfall.network.linear import LinearReference
from crossfall.report.import_map import import_key, import_map, import_page

PLANE = LocalPlane(-101.0, 46.0)


def roads(path: Path, *lines: list[tuple[float, float]], **said: object) -> Path:
    """A GeoJSON of lines given in metres."""
    features = []
    for k, line in enumerate(lines):
        lon, lat = PLANE.to_lonlat([x for x, _ in line], [y for _, y in line])
        features.append(
            {
                "type": "Feature",
                "properties": {"id": f"R{k}", "route": f"Road {k}", "surface": "gravel"} | said,
                "geometry": {
                    "type": "LineString",
                    "coordinates": [list(p) for p in zip(lon.tolist(), lat.tolist(), strict=True)],
                },
            }
        )
    path.write_text(json.dumps({"type": "FeatureCollection", "features": features}))
    return path


def marks(path: Path) -> dict[str, list]:
    found: dict[str, list] = {}
    for mark in read_network(path).report.marks:
        found.setdefault(mark.kind, []).append(mark)
    return found


def test_a_near_miss_and_a_crossing_have_their_places(tmp_path):
    path = roads(
        tmp_path / "r.geojson",
        [(0, 0), (1000, 0)],
        [(1003, 0), (2000, 0)],
        [(500, -300), (500, 300)],
    )
    found = marks(path)
    (gap,) = found["gap"]
    x, y = PLANE.to_plane([gap.lon], [gap.lat])
    assert (x[0], y[0]) == pytest.approx((1000, 0), abs=4)
    (crossing,) = found["crossing"]
    x, y = PLANE.to_plane([crossing.lon], [crossing.lat])
    assert (x[0], y[0]) == pytest.approx((500, 0), abs=0.1)
    assert "R0" in crossing.text
    assert len(found["not_joined"]) == 2


def test_a_line_that_crosses_itself_is_told_with_its_place(tmp_path):
    path = roads(tmp_path / "r.geojson", [(0, 0), (400, 400), (400, 0), (0, 300)])
    found = read_network(path)
    (mark,) = [m for m in found.report.marks if m.kind == "self_crossing"]
    x, y = PLANE.to_plane([mark.lon], [mark.lat])
    # y = x meets y = 300 - 0.75 x at 1200/7
    assert (x[0], y[0]) == pytest.approx((1200 / 7, 1200 / 7), abs=0.1)
    assert any("crosses or runs back over itself" in str(p) for p in found.report.problems)


def test_a_ring_road_does_not_cross_itself_and_a_doubled_line_is_counted(tmp_path):
    ring = [(0, 0), (400, 0), (400, 400), (0, 400), (0, 0)]
    assert "self_crossing" not in marks(roads(tmp_path / "r.geojson", ring))
    line = [(0, 0), (900, 0)]
    twice = read_network(roads(tmp_path / "t.geojson", line, line[::-1], [(900, 0), (900, 500)]))
    assert twice.report.n_duplicates == 1
    assert len(twice.network.segments) == 2


def test_an_unknown_surface_is_marked(tmp_path):
    path = roads(tmp_path / "r.geojson", [(0, 0), (900, 0)], surface="unknown")
    options = NetworkOptions(include_unknown=True)
    report = read_network(path, options=options).report
    assert [m.kind for m in report.marks] == ["unknown_surface"]


def test_the_map_is_whole_xml_with_every_kind_of_line(tmp_path):
    network = read_network(
        roads(tmp_path / "r.geojson", [(0, 0), (1000, 0)], [(1000, 0), (1000, 900)])
    ).network
    one, other = network.segments
    gone = (replace(one, id="old", line=((-101.0, 46.0), (-101.0, 46.01))),)
    svg = import_map(
        network, added={one.id}, changed={other.id}, gone=gone,
        marks=[("gaps", -101.0, 46.0, 'a <b> & "c"')],
    )  # fmt: skip
    root = fromstring(svg)
    paths = [each for each in root.iter("{http://www.w3.org/2000/svg}path") if each.get("stroke")]
    dashed = [each for each in paths if each.get("stroke-dasharray") == "5 4"]
    assert len(dashed) == 1
    assert len({each.get("stroke") for each in paths}) >= 3
    assert root.find(".//{http://www.w3.org/2000/svg}title").text == 'a <b> & "c"'
    assert "style=" not in svg
    page = import_page("roads", "told <x>", svg, [("gaps", 1.0, 2.0, "<script>")], {"added"})
    assert "<script>" not in page
    assert "&lt;script&gt;" in page
    assert [entry["dash"] for entry in import_key({"gone"})] == ["yes"]


# Calibration and re-snapping ---------------------------------------------------------------


def one_road(length_m: float, *bends: tuple[float, float]) -> Network:
    ends = [(0.0, 0.0), *bends, (1000.0, 0.0)]
    lon, lat = PLANE.to_lonlat([x for x, _ in ends], [y for _, y in ends])
    line = tuple(zip(lon.tolist(), lat.tolist(), strict=True))
    nodes = (Node("a", *line[0]), Node("b", *line[-1]))
    return Network(nodes, (Segment("s", "Mill Road", "a", "b", 0.0, length_m, line),))


def test_a_calibration_moves_events_to_where_the_posts_stand(tmp_path):
    network = one_road(1000.0)
    (tmp_path / "c.csv").write_text(
        "segment_id,measure_m,drawn_m\ns,0,0\ns,500,300\ns,1000,1000\n", encoding="utf-8"
    )
    (tmp_path / "e.csv").write_text(
        "segment_id,from_m,to_m,name,value\ns,250,500,width_m,6.5\n", encoding="utf-8"
    )
    pairs = read_calibrations(tmp_path / "c.csv", network)
    (event,) = read_events(tmp_path / "e.csv", network, calibrations=pairs)
    # 250 of 500 counted metres lie halfway along the first 300 drawn ones
    assert (event.from_m, event.to_m) == pytest.approx((150.0, 300.0), abs=1e-6)
    (plain,) = read_events(tmp_path / "e.csv", network)
    assert (plain.from_m, plain.to_m) == (250.0, 500.0)


def test_a_calibration_by_places_reads_them_off_the_line(tmp_path):
    network = one_road(1000.0)
    lon, lat = PLANE.to_lonlat([0.0, 300.0, 1000.0], [4.0, 4.0, 4.0])
    rows = [
        f"s,{m},{x!r},{y!r}"
        for m, x, y in zip((0, 500, 1000), lon.tolist(), lat.tolist(), strict=True)
    ]
    (tmp_path / "c.csv").write_text("segment_id,measure_m,lon,lat\n" + "\n".join(rows))
    pairs = read_calibrations(tmp_path / "c.csv", network)["s"]
    assert [round(drawn) for _, drawn in pairs] == [0, 300, 1000]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("segment_id,measure_m\n", "has no row|expected|too few"),
        ("segment_id,measure_m,drawn_m,colour\ns,0,0,x\n", "unknown column 'colour'"),
        ("segment_id,measure_m,drawn_m\nx,0,0\n", "segment 'x' is not on the map"),
        ("segment_id,measure_m,drawn_m\ns,0,0\n", "do not rise together"),
        ("segment_id,measure_m,drawn_m\ns,0,0\ns,10,5\ns,20,5\n", "do not rise together"),
        ("segment_id,measure_m,drawn_m\ns,zero,0\n", "measure_m is 'zero'"),
        ("segment_id,measure_m,lon,lat\ns,0,-100.0,46.0\n", "m off segment s"),
    ],
)
def test_calibrations_that_do_not_fit_are_refused(tmp_path, text, words):
    (tmp_path / "c.csv").write_text(text)
    with pytest.raises(InputError, match=words):
        read_calibrations(tmp_path / "c.csv", one_road(1000.0))


def test_events_and_features_stay_where_they_lie_when_the_road_is_drawn_anew():
    old, new = one_road(1000.0), one_road(1083.0, (400.0, 200.0))
    old = replace(old, segments=(replace(old.segments[0], line=new.segments[0].line),))
    # The same line, counted longer by the agency: metres stretch, places stay
    lon, lat = LinearReference(old).place("s", 700.0)
    feature = PointFeature("f", "culvert", lon, lat, "s", 700.0)
    event = LineEvent("s", 400.0, 700.0, "width_m", "6", "left")
    done = resnap([event], [feature], LinearReference(old), LinearReference(new), within_m=15.0)
    (kept,) = done.events
    assert (kept.from_m, kept.to_m) == pytest.approx((433.2, 758.1), abs=0.1)
    assert kept.side == "left"
    assert done.features[0].at_m == pytest.approx(758.1, abs=0.1)
    assert (done.lost_events, done.lost_features) == ((), ())


def test_a_road_drawn_the_other_way_turns_its_sides():
    old = one_road(1000.0)
    (segment,) = old.segments
    turned = replace(segment, line=segment.line[::-1], from_node="b", to_node="a")
    new = replace(old, segments=(turned,))
    event = LineEvent("s", 100.0, 300.0, "width_m", "6", "left")
    done = resnap([event], [], LinearReference(old), LinearReference(new), within_m=15.0)
    (kept,) = done.events
    assert (kept.from_m, kept.to_m, kept.side) == (
        pytest.approx(700.0, abs=0.1), pytest.approx(900.0, abs=0.1), "right",
    )  # fmt: skip


def test_what_finds_no_road_near_its_place_is_handed_back():
    old = one_road(1000.0)
    lon, lat = PLANE.to_lonlat([0.0, 1000.0], [500.0, 500.0])
    line = tuple(zip(lon.tolist(), lat.tolist(), strict=True))
    far = replace(old, segments=(replace(old.segments[0], line=line),))
    event = LineEvent("s", 100.0, 300.0, "width_m", "6")
    feature = PointFeature("f", "gate", old.segments[0].line[0][0], 46.0, "s", 0.0)
    done = resnap([event], [feature], LinearReference(old), LinearReference(far), within_m=15.0)
    assert done.lost_events == (event,)
    assert done.lost_features[0].segment_id is None
