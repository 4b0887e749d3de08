"""What OpenStreetMap tags mean here, one by one; and a small file written by hand."""

from __future__ import annotations

from pathlib import Path

import pytest

from crossfall.io.network import read_network
from crossfall.io.network.tags import (
    is_oneway,
    level_of,
    mass_limit_t,
    metres,
    point_kind,
    surface_of,
)


@pytest.mark.parametrize(("tags", "surface", "source"), [
    ({"surface": "asphalt"}, "paved", "tag"),
    ({"surface": "compacted"}, "gravel", "tag"),
    ({"surface": "dirt"}, "earth", "tag"),
    ({"surface": "unpaved"}, "gravel", "inferred"),
    ({"surface": "unpaved", "tracktype": "grade5"}, "earth", "inferred"),
    ({"tracktype": "grade1"}, "paved", "inferred"),
    ({"tracktype": "grade2"}, "gravel", "inferred"),
    ({"surface": "gravel", "tracktype": "grade5"}, "gravel", "tag"),
    ({"surface": "gravel;dirt"}, "gravel", "tag"),
    ({"surface": "tartan"}, "unknown", "unknown"),
    ({}, "unknown", "unknown"),
])  # fmt: skip
def test_surfaces(tags: dict[str, str], surface: str, source: str) -> None:
    assert surface_of(tags) == (surface, source)


@pytest.mark.parametrize(("said", "expected"), [
    ("5", 5.0), ("5,5", 5.5), ("5.5 m", 5.5), ("20 ft", 6.096), ("12'", 3.6576), ("wide", None),
])  # fmt: skip
def test_widths(said: str, expected: float | None) -> None:
    assert metres(said) == (None if expected is None else pytest.approx(expected))


@pytest.mark.parametrize(("said", "expected"), [
    ("7.5", 7.5), ("10 t", 10.0), ("20000 lbs", 9.0718474), ("8 st", 7.25747792), ("none", None),
])  # fmt: skip
def test_mass_limits(said: str, expected: float | None) -> None:
    """A pound is 0.45359237 kg, a short ton 2,000 of them, exactly."""
    limit = mass_limit_t({"maxweight": said})
    assert limit == (None if expected is None else pytest.approx(expected))


def test_directions_levels_and_points() -> None:
    assert is_oneway({"oneway": "yes"}) == 1
    assert is_oneway({"oneway": "-1"}) == -1
    assert is_oneway({"junction": "roundabout"}) == 1
    assert is_oneway({"junction": "roundabout", "oneway": "no"}) == 0
    assert level_of({"bridge": "yes"}) == 1
    assert level_of({"tunnel": "yes"}) == -1
    assert level_of({"bridge": "yes", "layer": "2"}) == 2
    assert level_of({"layer": "high"}) == 0
    assert point_kind({"barrier": "cattle_grid"}) == ("cattle_guard", True)
    assert point_kind({"man_made": "survey_point"}) == ("survey_monument", False)
    assert point_kind({"amenity": "bench"}) is None


_OSM = """<?xml version="1.0" encoding="UTF-8"?>
<osm version="0.6">
 <node id="1" lat="40.000" lon="-107.0"/>
 <node id="2" lat="40.004" lon="-107.0"><tag k="railway" v="level_crossing"/></node>
 <node id="3" lat="40.005" lon="-107.0"/>
 <node id="4" lat="40.006" lon="-107.0"/>
 <node id="5" lat="40.010" lon="-107.0"><tag k="barrier" v="gate"/></node>
 <node id="6" lat="40.004" lon="-107.001"/>
 <node id="7" lat="40.004" lon="-106.999"/>
 <node id="8" lat="40.008" lon="-107.001"/>
 <node id="9" lat="40.008" lon="-106.999"/>
 <node id="10" lat="40.002" lon="-107.0"/>
 <node id="11" lat="40.002" lon="-107.001"/>
 <node id="12" lat="40.009" lon="-107.0001"><tag k="man_made" v="survey_point"/></node>
 <node id="13" lat="40.0055" lon="-107.001"/>
 <node id="14" lat="40.0055" lon="-106.999"/>
 <way id="100"><nd ref="1"/><nd ref="10"/><nd ref="2"/><nd ref="3"/>
  <tag k="highway" v="unclassified"/><tag k="name" v="Creek  Road"/><tag k="surface" v="gravel"/>
  <tag k="width" v="6"/></way>
 <way id="101"><nd ref="3"/><nd ref="4"/><tag k="highway" v="unclassified"/>
  <tag k="name" v="Creek Road"/><tag k="surface" v="wood"/><tag k="bridge" v="yes"/>
  <tag k="maxweight" v="9"/></way>
 <way id="102"><nd ref="4"/><nd ref="5"/><tag k="highway" v="unclassified"/>
  <tag k="name" v="Creek Road"/><tag k="surface" v="gravel"/><tag k="width" v="6"/></way>
 <way id="103"><nd ref="6"/><nd ref="2"/><nd ref="7"/><tag k="railway" v="rail"/></way>
 <way id="104"><nd ref="8"/><nd ref="9"/><tag k="waterway" v="stream"/>
  <tag k="tunnel" v="culvert"/></way>
 <way id="105"><nd ref="11"/><nd ref="10"/><tag k="highway" v="service"/>
  <tag k="service" v="driveway"/></way>
 <way id="106"><nd ref="13"/><nd ref="14"/><tag k="waterway" v="stream"/></way>
 <way id="107"><nd ref="8"/><nd ref="13"/><tag k="power" v="line"/></way>
 <way id="108"><nd ref="1"/><nd ref="999"/><tag k="highway" v="track"/></way>
</osm>
"""


def test_a_road_with_everything_on_it(tmp_path: Path) -> None:
    path = tmp_path / "creek.osm"
    path.write_text(_OSM, "utf-8")
    found = read_network(path)
    (road,) = found.network.segments
    assert (road.route, road.surface, road.surface_source) == ("Creek Road", "gravel", "tag")
    assert (road.from_node, road.to_node) == ("n1", "n5")
    assert (road.width_m, road.max_mass_t, road.external_id) == (6.0, 9.0, "w100")
    assert road.length_m == pytest.approx(1110.3, abs=0.2)
    spots = {f.kind: (f.id, round(f.at_m or 0), f.side) for f in found.network.features}
    assert spots == {
        "driveway": ("driveway-w105", 222, "left"),
        "rail_crossing": ("rail_crossing-n2", 444, "both"),
        "bridge": ("bridge-w101", 611, "both"),
        "culvert": ("culvert-w104", 888, "both"),
        "survey_monument": ("survey_monument-n12", 999, "left"),
        "gate": ("gate-n5", 1110, "both"),
    }
    drawn = {(each.kind, each.line[0]) for each in found.network.backdrop}
    assert drawn == {("rail", (-107.001, 40.004)), ("stream", (-107.001, 40.0055))}, (
        "a culvert is under the road, not behind it"
    )
    bridge = next(f for f in found.network.features if f.kind == "bridge")
    assert bridge.max_mass_t == 9.0
    assert found.report.left_out == {"driveways and parking": 1}
    assert found.report.n_zero_length == 1
