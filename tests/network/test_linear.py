"""Metres along roads, sides, stretches, and places that find their way back."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crossfall.errors import InputError
from crossfall.model import Network
from crossfall.network import LinearReference, make_segments
from roads_on_paper import GRAVEL, PLANE, POLICY, lines, noded

FLAT_M = 0.05
"""A straight road of 4 km east differs by this much from a straight line in lon/lat."""


def _network(*, official_m: float | None = None) -> Network:
    """Creek Road, 4 km east then 1 km north, and Mill Lane from its middle."""
    drawn = lines(
        [(0, 0), (4000, 0), (4000, 1000)], [(2000, 0), (2000, 600)],
        facts=[GRAVEL, replace(GRAVEL, name="Mill Lane")],
        official_m=[official_m or float("nan"), float("nan")],
    )  # fmt: skip
    edges, _ = noded(drawn)
    return Network(*make_segments(edges, POLICY))


def test_a_measure_along_a_route_is_a_place_and_comes_back() -> None:
    linear = LinearReference(_network())
    spot = linear.on_route("Creek Road", 4500.0)
    xy = PLANE.line([linear.place(spot.segment_id, spot.at_m)])[0]
    assert xy == pytest.approx([4000, 500], abs=1e-3)
    assert linear.measure(spot.segment_id, spot.at_m) == ("Creek Road", pytest.approx(4500.0))
    assert linear.on_route("Creek Road", 0.0).at_m == 0.0
    end = linear.on_route("Creek Road", 5000.0)
    assert linear.measure(end.segment_id, end.at_m)[1] == pytest.approx(5000, abs=1e-3)


@settings(max_examples=60, deadline=None)
@given(measure=st.floats(1, 4999), aside=st.floats(0.5, 20), is_left=st.booleans())
def test_a_place_beside_the_road_snaps_back(measure: float, aside: float, is_left: bool) -> None:
    linear = _LINEAR
    x, y = (measure, 0.0) if measure < 4000 else (4000.0, measure - 4000)
    dx, dy = (0.0, 1.0) if measure < 4000 else (-1.0, 0.0)
    way = aside if is_left else -aside
    if abs(measure - 4000) < 25 or abs(measure - 2000) < 25:
        return  # near the bend and the junction another road may be nearer
    lon, lat = PLANE.to_lonlat([x + way * dx], [y + way * dy])
    spot = linear.snap(float(lon[0]), float(lat[0]), within_m=25.0)
    assert spot is not None
    assert linear.measure(spot.segment_id, spot.at_m)[1] == pytest.approx(measure, abs=FLAT_M)
    assert spot.offset_m == pytest.approx(aside, abs=FLAT_M)
    assert spot.side == ("left" if is_left else "right")


_LINEAR = LinearReference(_network())


def test_nothing_snaps_from_too_far() -> None:
    lon, lat = PLANE.to_lonlat([1000.0], [40.0])
    assert _LINEAR.snap(float(lon[0]), float(lat[0]), within_m=25.0) is None


def test_metres_of_the_agency_are_stretched_over_the_drawn_line() -> None:
    """5,500 m in the books for 5,000 m drawn: half-way in one is half-way in the other."""
    linear = LinearReference(_network(official_m=5500.0))
    spot = linear.on_route("Creek Road", 2750.0)
    xy = PLANE.line([linear.place(spot.segment_id, spot.at_m)])[0]
    assert xy == pytest.approx([2500, 0], abs=FLAT_M)


def test_a_calibration_ties_measures_to_places() -> None:
    edges, _ = noded(lines([(0, 0), (1000, 0)]))
    network = Network(*make_segments(edges, POLICY))
    (segment,) = network.segments
    linear = LinearReference(
        network, calibrations={segment.id: [(0.0, 0.0), (300.0, 500.0), (1000.0, 1000.0)]}
    )
    xy = PLANE.line([linear.place(segment.id, 150.0)])[0]
    assert xy == pytest.approx([250, 0], abs=FLAT_M)
    assert linear.project(segment.id, *linear.place(segment.id, 150.0)).at_m == pytest.approx(150)
    with pytest.raises(InputError, match="does not rise"):
        LinearReference(network, calibrations={segment.id: [(0.0, 0.0), (300.0, 0.0)]})


def test_a_stretch_follows_the_bend() -> None:
    linear = LinearReference(_network())
    pieces = linear.stretches("Creek Road", 3900.0, 4100.0)
    assert sum(to_m - from_m for _, from_m, to_m in pieces) == pytest.approx(200)
    line = [place for each in pieces for place in linear.stretch(*each)]
    xy = PLANE.line(line)
    assert xy[0] == pytest.approx([3900, 0], abs=FLAT_M)
    assert xy[-1] == pytest.approx([4000, 100], abs=FLAT_M)
    assert any(abs(x - 4000) < FLAT_M and abs(y) < FLAT_M for x, y in xy)


def test_a_stretch_of_a_road_that_crosses_itself_takes_the_right_turn() -> None:
    edges, _ = noded(lines([(0, 0), (200, 0), (200, 100), (100, 100), (100, -100)]))
    network = Network(*make_segments(edges, POLICY))
    linear = LinearReference(network)
    (segment,) = network.segments
    xy = PLANE.line(linear.stretch(segment.id, 50.0, 250.0))
    assert xy == pytest.approx(np.array([[50, 0], [200, 0], [200, 50]]), abs=FLAT_M)


@pytest.mark.parametrize(("call", "message"), [
    (lambda linear: linear.on_route("Creek Road", 5001.0), "runs from 0 to 5000 m"),
    (lambda linear: linear.on_route("Crick Road", 10.0), "'Crick Road' is not in this network"),
    (lambda linear: linear.place("x", 0.0), "'x' is not in this network"),
    (lambda linear: linear.place(linear.network.segments[0].id, 1e5), "lies beyond segment"),
    (lambda linear: linear.stretches("Creek Road", 9.0, 9.0), "is not before"),
])  # fmt: skip
def test_what_is_not_there_is_named(call: object, message: str) -> None:
    with pytest.raises(InputError, match=message):
        call(_LINEAR)  # type: ignore[operator]
