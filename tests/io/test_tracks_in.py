"""Track files as devices write them, and as they arrive when something went wrong."""

from __future__ import annotations

import json
import tracemalloc
from datetime import UTC, date, datetime, timedelta, timezone
from pathlib import Path

import numpy as np
import pytest

from crossfall.errors import InputError
from crossfall.io.tracks import (
    TrackProfile,
    hours_between,
    match_file,
    open_track,
    read_profile,
    read_snapshots,
)
from crossfall.io.tracks.nmea import checksum
from crossfall.io.tracks.stream import PIECE, seconds_of
from crossfall.model.policy import TracksPolicy
from crossfall.network.fixes import Fixes, together
from track_cases import START_S, as_gpx, crossing, drive

POLICY = TracksPolicy()


def read(path: Path, **told: object) -> tuple[Fixes, dict[str, int]]:
    stream = open_track(path, TrackProfile(**told))
    return together(list(stream.pieces)), dict(stream.left_out)


def put(path: Path, text: str, encoding: str = "utf-8") -> Path:
    path.write_bytes(text.encode(encoding))
    return path


def sentence(body: str) -> str:
    return f"${body}*{checksum(f'${body}*'):02X}\r\n"


# GPX ---------------------------------------------------------------------------------------


def test_gpx_gives_back_what_was_written(tmp_path):
    fixes = drive([((0, 0), (500, 0), 6.0, 1), ((500, 0), (0, 0), 30.0, 0)])
    found, left_out = read(as_gpx(fixes, tmp_path / "day.gpx"))
    assert found.lon.tolist() == fixes.lon.tolist()
    assert found.lat.tolist() == fixes.lat.tolist()
    assert found.blade.tolist() == fixes.blade.tolist()
    assert found.time_s == pytest.approx(fixes.time_s, abs=0.001)
    assert left_out == {}


@pytest.mark.parametrize(
    "head",
    [
        '<!DOCTYPE gpx [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;&a;&a;">]>',
        '<!DOCTYPE gpx [<!ENTITY secret SYSTEM "file:///etc/passwd">]>',
        '<!DOCTYPE gpx SYSTEM "http://127.0.0.1/any.dtd">',
    ],
)
def test_xml_bombs_and_outside_entities_are_refused_unread(tmp_path, head):
    text = f'<?xml version="1.0"?>{head}<gpx><trk><trkseg/></trk></gpx>'
    with pytest.raises(InputError, match="declares a document type or an entity"):
        read(put(tmp_path / "bomb.gpx", text))


def test_a_cut_off_gpx_is_refused_with_its_line(tmp_path):
    whole = as_gpx(drive([((0, 0), (500, 0), 6.0, 1)]), tmp_path / "a.gpx").read_text()
    with pytest.raises(InputError, match=r"not whole GPX \(line"):
        read(put(tmp_path / "cut.gpx", whole[: len(whole) // 2]))


def test_gpx_points_without_time_or_with_nonsense_are_counted(tmp_path):
    text = (
        '<gpx><wpt lat="1" lon="2"/><rte><rtept lat="1" lon="2"/></rte><trk><trkseg>'
        '<trkpt lat="46" lon="-101"><time>2026-05-04T12:00:00Z</time></trkpt>'
        '<trkpt lat="46" lon="-101"/>'
        '<trkpt lat="north" lon="-101"><time>2026-05-04T12:00:01Z</time></trkpt>'
        '<trkpt lat="46" lon="-101"><time>noon</time></trkpt>'
        "</trkseg></trk></gpx>"
    )
    found, left_out = read(put(tmp_path / "odd.gpx", text))
    assert found.n == 1
    assert left_out == {
        "waypoints and route points": 2,
        "no time": 1,
        "time or place that cannot be read": 2,
    }


def test_xml_that_is_not_gpx_is_refused(tmp_path):
    with pytest.raises(InputError, match="XML but not GPX"):
        read(put(tmp_path / "page.gpx", "<html><body/></html>"))


def test_a_clock_without_a_zone_is_refused_until_it_is_said(tmp_path):
    text = (
        '<gpx><trk><trkseg><trkpt lat="46" lon="-101"><time>2026-05-04T06:00:00</time></trkpt>'
        "</trkseg></trk></gpx>"
    )
    path = put(tmp_path / "local.gpx", text)
    with pytest.raises(InputError, match="has no time zone; say which clock"):
        read(path)
    found, _ = read(path, zone=timezone(timedelta(hours=-6)))
    assert found.time_s.tolist() == [START_S]


def test_a_long_gpx_passes_through_bounded_memory(tmp_path):
    path = tmp_path / "long.gpx"
    with path.open("w") as file:
        file.write("<gpx><trk><trkseg>")
        for k in range(12 * PIECE):
            file.write(
                f'<trkpt lat="46.0" lon="{-101 + k * 1e-7:.7f}">'
                f"<time>{np.datetime64(1_777_896_000 + k, 's')}Z</time></trkpt>\n"
            )
        file.write("</trkseg></trk></gpx>")
    tracemalloc.start()
    n = sum(piece.n for piece in open_track(path).pieces)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert n == 12 * PIECE
    # One piece of fixes as Python figures, and nothing that grows with the file
    assert peak < 16e6
    assert path.stat().st_size > 16e6


# NMEA --------------------------------------------------------------------------------------


def test_the_well_known_sentence_has_its_checksum():
    # The sample that NMEA descriptions commonly print, *47 at its end
    assert checksum("$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47") == 0x47


def test_rmc_brings_its_own_date_over_midnight(tmp_path):
    text = "".join(
        sentence(f"GPRMC,{time},A,4600.000,N,10100.000,W,003.2,090.0,{day},,")
        for time, day in (("235958.00", "040526"), ("235959.50", "040526"), ("000001.00", "050526"))
    )
    found, left_out = read(put(tmp_path / "night.nmea", text))
    start = datetime(2026, 5, 4, 23, 59, 58, tzinfo=UTC).timestamp()
    assert found.time_s.tolist() == [start, start + 1.5, start + 3]
    assert (found.lon[0], found.lat[0]) == (-101.0, 46.0)
    assert left_out == {}


def test_gga_alone_rolls_over_from_the_day_that_is_said(tmp_path):
    text = "".join(
        sentence(f"GPGGA,{time},4600.000,N,10100.000,W,1,08,0.9,545.4,M,46.9,M,,")
        for time in ("235959", "000001", "120000", "235959", "000000")
    )
    path = put(tmp_path / "gga.nmea", text)
    none, left_out = read(path)
    assert none.n == 0
    assert left_out == {"a time without a date; say the first day with --day": 5}
    found, _ = read(path, first_day=date(2026, 5, 4))
    days = [datetime.fromtimestamp(t, UTC).day for t in found.time_s]
    assert days == [4, 5, 5, 5, 6]


def test_bad_checksums_and_broken_lines_are_quarantined_with_counts(tmp_path):
    good = sentence("GPRMC,120000,A,4600.000,N,10100.000,W,003.2,090.0,040526,,")
    text = (
        good
        + good.replace("4600", "4700")
        + "$GPRMC,120001,A,46\r\n"
        + sentence("GPRMC,120002,V,4600.000,N,10100.000,W,003.2,090.0,040526,,")
        + sentence("GPRMC,120003,A,46xx.000,N,10100.000,W,003.2,090.0,040526,,")
        + "garbage \x00\xff\n"
    )
    found, left_out = read(put(tmp_path / "bad.nmea", text, "latin-1"))
    assert found.n == 1
    assert left_out == {
        "bad checksum": 1,
        "lines that are no whole sentence": 2,
        "no fix at that moment": 1,
        "time or place that cannot be read": 1,
    }


def test_a_file_without_sentences_is_refused(tmp_path):
    with pytest.raises(InputError, match="has no NMEA sentence"):
        read(put(tmp_path / "not.nmea", "hello\n"))


# CSV ---------------------------------------------------------------------------------------

CSV = """Device time,Latitude,Longitude,Input 2,Unit
2026-05-04 06:00:00,46.0,-101.0,On,G1
2026-05-04 06:00:05,46.0001,-101.0,Off,G1
2026-05-04 06:00:10,=1+1,-101.0,On,G1
2026-05-04 06:00:15,46.0003,-101.0,,G1
"""


def test_a_table_is_read_by_its_profile(tmp_path):
    put(tmp_path / "avl.csv", CSV)
    put(
        tmp_path / "avl.toml",
        'zone = "America/Denver"\nblade_down = ["On"]\n'
        '[columns]\ntime = "Device time"\nlat = "Latitude"\nlon = "Longitude"\nblade = "Input 2"\n'
        'machine = "Unit"\n',
    )
    stream = open_track(tmp_path / "avl.csv", read_profile(tmp_path / "avl.toml"))
    found = together(list(stream.pieces))
    # 6:00 in Denver in May is 12:00 UTC
    assert found.time_s.tolist() == [START_S, START_S + 5, START_S + 15]
    assert found.blade.tolist() == [1, 0, -1]
    # A formula in place of a figure is counted and never evaluated
    assert dict(stream.left_out) == {"time or place that cannot be read": 1}


def test_a_table_in_local_time_needs_its_zone(tmp_path):
    path = put(tmp_path / "avl.csv", CSV)
    with pytest.raises(InputError, match=r"avl.csv line 2: .*has no time zone"):
        read(path, columns={"time": "Device time"})


def test_several_machines_in_a_table_must_be_told_apart(tmp_path):
    text = CSV + "2026-05-04 06:00:20,46.0004,-101.0,On,G2\n"
    path = put(tmp_path / "avl.csv", text)
    told = {"columns": {"time": "Device time", "machine": "Unit"}, "zone": UTC}
    with pytest.raises(InputError, match=r"several machines \(G1, G2\); say which with --only"):
        read(path, **told)
    found, left_out = read(path, machine="G2", **told)
    assert found.n == 1
    assert left_out["other machines"] == 4


@pytest.mark.parametrize(
    ("text", "encoding", "words"),
    [
        ("time,lat,lon\n2026-05-04T12:00Z,46,-101\n", "utf-16", "not UTF-8"),
        ("zeit,lat,lon,straße\n1,2,3,ü\n", "latin-1", "not UTF-8"),
        ("when,lat,lon\n1,2,3\n", "utf-8", "has no column for time"),
        ("", "utf-8", "has no column for time, lat, lon"),
    ],
)
def test_tables_that_cannot_be_used_say_why(tmp_path, text, encoding, words):
    with pytest.raises(InputError, match=words):
        read(put(tmp_path / "t.csv", text, encoding))


def test_a_mapped_column_that_is_not_there_is_refused(tmp_path):
    with pytest.raises(InputError, match="no column 'Device tim' for time; did you mean Device ti"):
        read(put(tmp_path / "avl.csv", CSV), columns={"time": "Device tim"})


def test_a_profile_with_an_unknown_word_is_refused(tmp_path):
    with pytest.raises(InputError, match="says 'colour'"):
        read_profile(put(tmp_path / "p.toml", 'colour = "red"\n'))
    with pytest.raises(InputError, match="zone is 'Denver'"):
        read_profile(put(tmp_path / "p.toml", 'zone = "Denver"\n'))


def test_seconds_and_milliseconds_are_told_apart():
    assert seconds_of("1777896000", None) == START_S
    assert seconds_of("1777896000000", None) == START_S


# GeoJSON -----------------------------------------------------------------------------------


def test_geojson_points_and_lines_with_times(tmp_path):
    features = [
        {
            "type": "Feature",
            "properties": {"time": "2026-05-04T12:00:00Z", "blade": True},
            "geometry": {"type": "Point", "coordinates": [-101.0, 46.0]},
        },
        {
            "type": "Feature",
            "properties": {"coordTimes": ["2026-05-04T12:00:05Z", "2026-05-04T12:00:10Z"]},
            "geometry": {"type": "LineString", "coordinates": [[-101.0, 46.1], [-101.0, 46.2, 9]]},
        },
        {
            "type": "Feature",
            "properties": {},
            "geometry": {"type": "LineString", "coordinates": [[0, 0], [1, 1]]},
        },
        {"type": "Feature", "properties": {}, "geometry": {"type": "Polygon", "coordinates": []}},
        {"type": "Feature", "properties": {}, "geometry": {"type": "Point", "coordinates": [1, 2]}},
    ]
    path = tmp_path / "t.geojson"
    path.write_text(json.dumps({"type": "FeatureCollection", "features": features}))
    found, left_out = read(path)
    assert found.lat.tolist() == [46.0, 46.1, 46.2]
    assert found.blade.tolist() == [1, -1, -1]
    assert left_out == {
        "lines without a time for every place": 1,
        "features of another kind": 1,
        "no time": 1,
    }


# Snapshots ---------------------------------------------------------------------------------

FLEET = """<?xml version="1.0"?>
<Fleet xmlns="http://standards.iso.org/iso/15143/-3" version="1">
 <Equipment>
  <EquipmentHeader><OEMName>Any</OEMName><EquipmentID>G1</EquipmentID></EquipmentHeader>
  <CumulativeOperatingHours datetime="2026-05-04T06:00:00Z"><Hour>4050.5</Hour>
  </CumulativeOperatingHours>
  <CumulativeOperatingHours datetime="2026-05-04T20:00:00Z"><Hour>4058.0</Hour>
  </CumulativeOperatingHours>
  <FuelUsed datetime="2026-05-04T06:00:00Z"><FuelUnits>gallon</FuelUnits>
   <FuelConsumed>100</FuelConsumed></FuelUsed>
  <FuelUsed datetime="2026-05-04T20:00:00Z"><FuelUnits>gallon</FuelUnits>
   <FuelConsumed>130</FuelConsumed></FuelUsed>
 </Equipment>
 <Equipment><EquipmentHeader><OEMName>Any</OEMName></EquipmentHeader></Equipment>
</Fleet>"""


def test_snapshots_give_hours_and_fuel(tmp_path):
    found = read_snapshots(put(tmp_path / "fleet.xml", FLEET))
    assert found.machines == ("G1",)
    assert [str(problem) for problem in found.problems] == [
        "fleet.xml equipment 2: has no EquipmentID, SerialNumber or PIN"
    ]
    (span,), wrong = hours_between(found.readings)
    assert wrong == ()
    assert span.hours == 7.5
    # 30 US gallons; one is 3.785411784 L by definition
    assert span.fuel_l == pytest.approx(30 * 3.785411784)


def test_snapshots_that_cannot_be_used(tmp_path):
    with pytest.raises(InputError, match="declares a document type or an entity"):
        read_snapshots(put(tmp_path / "b.xml", '<!DOCTYPE a [<!ENTITY b "c">]><Fleet>&b;</Fleet>'))
    with pytest.raises(InputError, match="has no Equipment"):
        read_snapshots(put(tmp_path / "c.xml", "<Fleet/>"))
    with pytest.raises(InputError, match="not whole XML"):
        read_snapshots(put(tmp_path / "d.xml", "<Fleet>"))
    local = FLEET.replace("2026-05-04T06:00:00Z", "2026-05-04T06:00:00")
    found = read_snapshots(put(tmp_path / "e.xml", local))
    assert sum("has no time zone" in str(each) for each in found.problems) == 2


def test_a_counter_cannot_rise_by_more_hours_than_passed(tmp_path):
    found = read_snapshots(put(tmp_path / "f.xml", FLEET.replace("4058.0", "4090.0")))
    spans, wrong = hours_between(found.readings)
    assert spans == ()
    assert "39.5 hours were counted in 14.0 hours" in str(wrong[0])


# The whole way -----------------------------------------------------------------------------


def a_day() -> Fixes:
    far = (1000.0, 0.0)
    return drive(
        [
            ((-900.0, 0.0), (0.0, 0.0), 30.0, 0),
            ((0.0, 0.0), far, 6.0, 1),
            (far, (0.0, 0.0), 7.0, 1),
            ((0.0, 0.0), (0.0, 900.0), 30.0, 0),
        ],
        noise_m=3.0,
    )


def test_a_file_becomes_days_with_passes(tmp_path):
    found = match_file(as_gpx(a_day(), tmp_path / "d.gpx"), crossing(), POLICY)
    (day,) = found.days
    (passes,) = day.passes
    assert (passes.segment_id, passes.n_forward, passes.n_backward) == ("road-east", 1, 1)
    assert not found.is_inferred
    assert found.off_road_pct == 0
    assert "1 worked segment" in found.summary()


def test_blocks_give_the_same_as_the_whole(tmp_path, monkeypatch):
    path = as_gpx(a_day(), tmp_path / "d.gpx")
    whole = match_file(path, crossing(), POLICY)
    monkeypatch.setattr("crossfall.io.tracks.run.BLOCK", 700)
    monkeypatch.setattr("crossfall.io.tracks.stream.PIECE", 100)
    parts = match_file(path, crossing(), POLICY)
    assert parts.n_fixes == whole.n_fixes
    assert [(p.segment_id, p.n_forward, p.n_backward) for p in parts.days[0].passes] == [
        (p.segment_id, p.n_forward, p.n_backward) for p in whole.days[0].passes
    ]
    assert parts.days[0].work_km == pytest.approx(whole.days[0].work_km, rel=0.03)


def test_a_table_with_the_newest_first_is_read_block_by_block(tmp_path, monkeypatch):
    good = a_day()
    whole = match_file(as_gpx(good, tmp_path / "d.gpx"), crossing(), POLICY)
    turned = Fixes(good.time_s[::-1], good.lon[::-1], good.lat[::-1], good.blade[::-1])
    path = as_gpx(turned, tmp_path / "t.gpx")
    found = match_file(path, crossing(), POLICY)
    assert found.set_aside == {}
    assert [(p.n_forward, p.n_backward) for p in found.days[0].passes] == [(1, 1)]
    assert found.days[0].work_km == pytest.approx(whole.days[0].work_km)
    monkeypatch.setattr("crossfall.io.tracks.run.BLOCK", 500)
    monkeypatch.setattr("crossfall.io.tracks.stream.PIECE", 100)
    parts = match_file(path, crossing(), POLICY)
    assert parts.n_fixes == good.n
    assert parts.days[0].work_km == pytest.approx(whole.days[0].work_km, rel=0.05)
    assert [leg.start_s for leg in parts.legs] == sorted(leg.start_s for leg in parts.legs)


def test_jumps_in_clock_and_place_are_counted_and_change_nothing(tmp_path):
    good = a_day()
    clean = match_file(as_gpx(good, tmp_path / "good.gpx"), crossing(), POLICY)
    time_s, lon = good.time_s.copy(), good.lon.copy()
    lon[100] += 0.01
    time_s[300] -= 5000
    found = match_file(
        as_gpx(Fixes(time_s, lon, good.lat, good.blade), tmp_path / "bad.gpx"), crossing(), POLICY
    )
    assert found.set_aside == {"faster than a machine": 1, "clock jumped": 1}
    assert [p.n_passes for p in found.days[0].passes] == [p.n_passes for p in clean.days[0].passes]


def test_a_track_with_nothing_usable_is_refused_with_counts(tmp_path):
    text = "".join(
        sentence(f"GPRMC,12000{n},V,4600.000,N,10100.000,W,003.2,090.0,040526,,") for n in range(5)
    )
    with pytest.raises(InputError, match="no fix that can be used: 5 no fix at that moment"):
        match_file(put(tmp_path / "v.nmea", text), crossing(), POLICY)


def test_unknown_names_and_absent_files(tmp_path):
    with pytest.raises(InputError, match="does not know as a track"):
        open_track(put(tmp_path / "t.kml", "x"))
    with pytest.raises(InputError, match="is not there"):
        open_track(tmp_path / "none.gpx")
