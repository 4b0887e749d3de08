"""Whatever happened to a track file on its way, it is read or refused in one sentence."""

from __future__ import annotations

import json

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from crossfall.errors import InputError
from crossfall.io.tracks import TrackProfile, match_file, open_track, read_snapshots
from crossfall.io.tracks.nmea import checksum
from crossfall.model.policy import TracksPolicy
from crossfall.network.fixes import Fixes, together
from crossfall.network.road_index import RoadIndex
from track_cases import START_S, as_gpx, crossing, drive

_SETTINGS = settings(
    max_examples=120, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
_FIXES = drive([((0, 0), (60, 0), 6.0, 1), ((60, 0), (0, 0), 30.0, 0)], pause_s=10.0)


@pytest.fixture(scope="module")
def whole(tmp_path_factory) -> dict[str, bytes]:
    """One good file of each kind."""
    folder = tmp_path_factory.mktemp("whole")
    gpx = as_gpx(_FIXES, folder / "a.gpx").read_bytes()
    rows = zip(_FIXES.time_s.tolist(), _FIXES.lon.tolist(), _FIXES.lat.tolist(), strict=True)
    table = "time,lon,lat\n" + "".join(f"{t!r},{x!r},{y!r}\n" for t, x, y in rows)
    body = "$GPRMC,120000,A,4600.000,N,10100.000,W,003.2,090.0,040526,,*"
    points = [
        {
            "type": "Feature",
            "properties": {"time": t},
            "geometry": {"type": "Point", "coordinates": [x, y]},
        }
        for t, x, y in zip(
            _FIXES.time_s.tolist(), _FIXES.lon.tolist(), _FIXES.lat.tolist(), strict=True
        )
    ]
    fleet = (
        "<Fleet><Equipment><EquipmentHeader><EquipmentID>g1</EquipmentID></EquipmentHeader>"
        '<CumulativeOperatingHours datetime="2026-05-12T12:00:00Z"><Hour>100</Hour>'
        "</CumulativeOperatingHours></Equipment></Fleet>"
    )
    return {
        ".gpx": gpx,
        ".csv": table.encode(),
        ".nmea": f"{body}{checksum(body):02X}\r\n".encode() * 20,
        ".geojson": json.dumps({"type": "FeatureCollection", "features": points}).encode(),
        ".xml": fleet.encode(),
    }


@pytest.mark.parametrize("kind", [".gpx", ".csv", ".nmea", ".geojson", ".xml"])
@_SETTINGS
@given(data=st.data())
def test_a_spoiled_file_is_read_or_refused(whole, tmp_path, kind, data):
    content = bytearray(whole[kind])
    for _ in range(data.draw(st.integers(0, 6))):
        at = data.draw(st.integers(0, len(content) - 1))
        what = data.draw(st.sampled_from(["flip", "cut", "drop", "put"]))
        if what == "flip":
            content[at] = data.draw(st.integers(0, 255))
        elif what == "cut":
            del content[at:]
        elif what == "drop":
            del content[at : at + data.draw(st.integers(1, 40))]
        else:
            content[at:at] = data.draw(
                st.sampled_from([b"\0", b"<", b"NaN", b"1e999", b'"', b"\xff\xfe", b"[", b"-"])
            )
        if not content:
            break
    path = tmp_path / f"spoiled{kind}"
    path.write_bytes(bytes(content))
    told = path.name
    try:
        if kind == ".xml":
            read_snapshots(path)
        else:
            together(list(open_track(path, TrackProfile()).pieces))
    except InputError as error:
        told = str(error)
    assert path.name in told
    assert "\n" not in told


_COORDINATE = st.floats(allow_nan=True, allow_infinity=True)


@_SETTINGS
@given(
    st.lists(
        st.tuples(
            st.one_of(st.floats(START_S, START_S + 5000), _COORDINATE),
            st.one_of(st.floats(-101.01, -100.99), _COORDINATE),
            st.one_of(st.floats(45.99, 46.01), _COORDINATE),
            st.sampled_from([-1, 0, 1]),
        ),
        max_size=40,
    )
)
def test_any_fixes_at_all_are_matched_or_set_aside(rows):
    from crossfall.network.fixes import runs, set_aside
    from crossfall.network.legs import find_legs
    from crossfall.network.matching import match
    from crossfall.network.passes import count_passes

    policy, network = TracksPolicy(), crossing()
    roads = RoadIndex(network, search_m=policy.search_m)
    columns = list(zip(*rows, strict=True)) or [(), (), (), ()]
    fixes = Fixes(
        np.array(columns[0], dtype=float),
        np.array(columns[1], dtype=float),
        np.array(columns[2], dtype=float),
        np.array(columns[3], dtype=np.int8),
    )
    kept, why = set_aside(fixes, policy)
    assert kept.n + sum(why.values()) == fixes.n
    assert np.all(np.diff(kept.time_s) > 0)
    legs = []
    for part in runs(kept, longest_gap_s=policy.longest_gap_s):
        course = match(part, roads, policy)
        assert course.segment.shape == (part.n,)
        on = course.segment >= 0
        at, length = course.at_m[on], roads.length_m[course.segment[on]]
        assert np.all((at >= -1e-6) & (at <= length + 1e-6))
        assert np.all(np.diff(course.point_time_s) >= 0)
        legs += find_legs(part, course, roads, policy)
    for leg in legs:
        assert leg.end_s >= leg.start_s
        assert min(leg.from_m, leg.to_m) >= -1e-6
        assert max(leg.from_m, leg.to_m) <= network.segments[leg.segment].length_m + 1e-6
    for passes in count_passes(legs, network, policy):
        assert passes.n_passes >= 1
        assert 0 <= passes.from_m < passes.to_m <= 1000.0 + 1e-6
        assert passes.covered_m <= 1000.0 + 1e-6


def test_an_empty_file_of_each_kind_is_refused(tmp_path):
    for name in ("e.gpx", "e.csv", "e.nmea", "e.geojson"):
        (tmp_path / name).write_bytes(b"")
        with pytest.raises(InputError, match=name):
            match_file(tmp_path / name, crossing(), TracksPolicy())
