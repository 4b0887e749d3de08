"""Points beside, on and across roads."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from crossfall.model import Segment
from crossfall.network import FoundLine, FoundPoint, LocalPlane, attach_features, make_segments
from crossfall.network.features import segment_shapes, side_of
from roads_on_paper import GRAVEL, PLANE, POLICY, lines, noded


def _segments() -> tuple[Segment, ...]:
    drawn = lines(
        [(0, 0), (1000, 0)], [(1000, 0), (1000, 400)],
        facts=[GRAVEL, replace(GRAVEL, name="State Road", surface="paved", is_maintained=False)],
    )  # fmt: skip
    edges, _ = noded(drawn)
    return make_segments(edges, POLICY)[1]


def _at(x: float, y: float) -> tuple[float, float]:
    lon, lat = PLANE.to_lonlat([x], [y])
    return float(lon[0]), float(lat[0])


def _line(*places: tuple[float, float]) -> tuple[tuple[float, float], ...]:
    return tuple(_at(*place) for place in places)


def test_metre_and_side_face_increasing_measure() -> None:
    segments = _segments()
    points = [
        FoundPoint("gate", "g", *_at(250, 0)),
        FoundPoint("survey_monument", "m", *_at(400, 6), must_touch=False),
        FoundPoint("well", "w", *_at(600, -9), must_touch=False),
        FoundPoint("driveway", "d", *_at(700, 0), towards=_at(700, -30)),
    ]
    found = attach_features(segments, points, [], PLANE, POLICY).features
    assert [(f.id, round(f.at_m or 0), f.side) for f in found] == [
        ("gate-g", 250, "both"),
        ("survey_monument-m", 400, "left"),
        ("well-w", 600, "right"),
        ("driveway-d", 700, "right"),
    ]


def test_what_must_touch_and_what_is_too_far_is_left_out_and_counted() -> None:
    points = [
        FoundPoint("gate", "g", *_at(250, 3)),
        FoundPoint("well", "w", *_at(600, 26), must_touch=False),
    ]
    attached = attach_features(_segments(), points, [], PLANE, POLICY)
    assert attached.features == ()
    assert attached.n_left_out == {"gate": 1, "well": 1}


def test_at_a_junction_the_maintained_road_gets_the_point() -> None:
    segments = _segments()
    found = attach_features(
        segments, [FoundPoint("sign", "s", *_at(1000, 0))], [], PLANE, POLICY
    ).features
    ours = next(s for s in segments if s.is_maintained)
    assert found[0].segment_id == ours.id
    assert found[0].at_m == pytest.approx(ours.length_m, abs=1e-3)


def test_lines_are_points_where_they_cross() -> None:
    wire = FoundLine("overhead_line", "w1", _line((300, -50), (300, 50), (500, 50), (500, -50)))
    along = FoundLine("pipeline", "p1", _line((0, 30), (900, 30)))
    found = attach_features(_segments(), [], [wire, along], PLANE, POLICY).features
    assert [(f.id, round(f.at_m or 0)) for f in found] == [
        ("overhead_line-w1", 300),
        ("overhead_line-w1-2", 500),
    ]


def test_a_stream_at_a_culvert_is_that_culvert() -> None:
    stream = FoundLine("stream", "s", _line((300, -50), (300, 50)))
    other = FoundLine("stream", "t", _line((600, -50), (600, 50)))
    culvert = FoundLine("culvert", "c", _line((305, -8), (305, 8)))
    found = attach_features(_segments(), [], [stream, other, culvert], PLANE, POLICY).features
    assert sorted((f.kind, round(f.at_m or 0)) for f in found) == [
        ("culvert", 305),
        ("stream", 600),
    ]


def test_sides_hold_at_the_ends_and_on_a_bend() -> None:
    segments = _segments()
    shape = segment_shapes(segments, PLANE)[0]
    assert side_of(shape, np.array([0.0, 5.0]), on_road_m=1.0) == "left"
    assert side_of(shape, np.array([1000.0, -5.0]), on_road_m=1.0) == "right"
    assert side_of(shape, np.array([500.0, 0.5]), on_road_m=1.0) == "both"


def test_nothing_in_nothing_out() -> None:
    assert attach_features([], [], [], LocalPlane(0, 0), POLICY).features == ()
