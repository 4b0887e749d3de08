"""What is given out, read by programs that are not ours, and read back to the byte."""

from __future__ import annotations

import csv
import io
import json
import sqlite3
import zipfile
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from defusedxml.ElementTree import fromstring

from crossfall import model as nouns
from crossfall.errors import InputError
from crossfall.io.exports import (
    crew_calendar,
    crew_work,
    day_gpx,
    open311_requests,
    open311_services,
    read_tables,
    work_zone_feed,
    write_everything,
    write_tables,
)
from crossfall.io.exports.open311 import as_xml, request_coming_in
from crossfall.io.exports.schema import TABLES, columns_of
from crossfall.io.network import read_network
from small_district import NOON, TODAY, small_district, small_week

ZONE = ZoneInfo("America/Denver")
MADE = datetime(2026, 5, 12, 13, tzinfo=UTC)


def week(**card_changes: object):
    stored = small_week()
    cards = tuple(replace(card, **card_changes) for card in stored.cards)
    return stored.plan, stored.jobs, cards


def works(now: datetime = MADE, **card_changes: object):
    plan, jobs, cards = week(**card_changes)
    return crew_work(plan, jobs, cards, zone=ZONE, now=now)


def full_district() -> nouns.District:
    """The small district with every table filled and texts that invite trouble."""
    district = small_district()
    records = (
        replace(district.records[0], note='=HYPERLINK("http://x")', cost=nouns.Money(5, "USD", 26)),
        replace(
            district.records[0], id="r2", note='\'quoted, "so"\nand so', from_m=10.0, to_m=90.5
        ),
    )
    return replace(
        district,
        records=records,
        postings=(nouns.LoadPosting("p1", ("s0", "s1"), 5.0, "County", "A. Clerk", NOON),),
        haul_agreements=(
            nouns.HaulAgreement("a1", "Any Haulage", ("s0",), TODAY, TODAY, 100.0, None, None, "B"),
        ),
        load_exemptions=(
            nouns.LoadExemption("x1", ("s0",), "Holder", "Clerk", NOON, TODAY, TODAY),
        ),
        machine_days=(
            nouns.MachineDay(
                "g1-d", "g1", TODAY, 3.0, 2.0, 1.0, 18.0, 60.0,
                (nouns.ClassTravel("local", 60.0, 2.0),), fuel_l=90.5,
            ),
        ),
        pile_entries=(nouns.PileEntry("pit", TODAY, 120.0, "crushed", "e1"),),
    )  # fmt: skip


# Tables ------------------------------------------------------------------------------------


def test_everything_goes_out_comes_in_and_goes_out_the_same(tmp_path):
    district = replace(full_district(), forecasts=())
    first = write_tables(district, tmp_path / "a.zip")
    back = read_tables(first)
    second = write_tables(back, tmp_path / "b.zip")
    assert first.read_bytes() == second.read_bytes()
    for table in TABLES:
        assert tuple(table.of(back)) == tuple(table.of(district)), table.name
    assert back.policy == district.policy
    assert np.array_equal(back.weather[0].rain_mm, district.weather[0].rain_mm)
    assert (back.name, back.is_invented) == (district.name, district.is_invented)


def test_every_table_of_a_district_is_in_the_package():
    kept = {table.name for table in TABLES} | {
        "name", "network", "fleet", "policy", "weather", "is_invented",
        # Explained: forecasts are news of a morning; orders and adopted years belong to the
        # workspace that made them
        "forecasts", "ordered_ids",
    }  # fmt: skip
    from crossfall.io.exports.tables import _single

    assert set(nouns.District.__dataclass_fields__) - kept == set(_single())


def test_a_description_says_type_unit_and_key_of_every_column(tmp_path):
    path = write_tables(full_district(), tmp_path / "a.zip")
    with zipfile.ZipFile(path) as package:
        told = json.loads(package.read("datapackage.json"))
        by_name = {each["name"]: each for each in told["resources"]}
        for table in TABLES:
            schema = by_name[table.name]["schema"]
            rows = list(csv.reader(io.StringIO(package.read(f"{table.name}.csv").decode())))
            assert rows[0] == [each["name"] for each in schema["fields"]]
            for key in schema.get("primaryKey", []):
                assert key in rows[0]
            for foreign in schema.get("foreignKeys", []):
                other = by_name[foreign["reference"]["resource"]]["schema"]
                assert foreign["fields"] in rows[0]
                assert foreign["reference"]["fields"] in [f["name"] for f in other["fields"]]
    fields = {f["name"]: f for f in by_name["segments"]["schema"]["fields"]}
    assert fields["travel_km_h"]["unit"] == "km/h"
    assert fields["length_m"] == {
        "name": "length_m", "type": "number", "unit": "m", "constraints": {"required": True},
    }  # fmt: skip
    assert fields["surface"]["constraints"]["enum"] == ["gravel", "earth", "paved", "unknown"]


def test_keys_that_are_named_are_unique_and_references_hold(tmp_path):
    path = write_tables(full_district(), tmp_path / "a.zip")
    with zipfile.ZipFile(path) as package:
        told = json.loads(package.read("datapackage.json"))
        rows = {
            each["name"]: list(csv.DictReader(io.StringIO(package.read(each["path"]).decode())))
            for each in told["resources"]
            if each["path"].endswith(".csv")
        }
    for each in told["resources"]:
        if "schema" not in each:
            continue
        keys = [
            tuple(row[k] for k in each["schema"].get("primaryKey", ()))
            for row in rows[each["name"]]
        ]
        if each["schema"].get("primaryKey"):
            assert len(keys) == len(set(keys)), each["name"]
        for foreign in each["schema"].get("foreignKeys", ()):
            reference = foreign["reference"]
            known = {row[reference["fields"]] for row in rows[reference["resource"]]}
            named = {row[foreign["fields"]] for row in rows[each["name"]]} - {""}
            assert named <= known, (each["name"], foreign)


def test_a_cell_never_starts_like_a_formula(tmp_path):
    path = write_tables(full_district(), tmp_path / "a.zip")
    with zipfile.ZipFile(path) as package:
        rows = list(csv.DictReader(io.StringIO(package.read("records.csv").decode())))
    assert rows[0]["note"].startswith("'=")
    assert read_tables(path).records[0].note == '=HYPERLINK("http://x")'


def test_the_segments_of_a_package_are_read_as_roads(tmp_path):
    district = full_district()
    with zipfile.ZipFile(write_tables(district, tmp_path / "a.zip")) as package:
        (tmp_path / "segments.csv").write_bytes(package.read("segments.csv"))
    back = read_network(tmp_path / "segments.csv").network
    assert back.segments == district.network.segments


def rezip(path: Path, target: Path, **changes: bytes) -> Path:
    with zipfile.ZipFile(path) as old, zipfile.ZipFile(target, "w") as new:
        for name in old.namelist():
            new.writestr(name, changes.get(name.replace(".", "_"), old.read(name)))
    return target


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("../../evil.csv", "names a file"),
        ("/etc/passwd", "names a file"),
        ("sub/roads.csv", "names a file"),
    ],
)
def test_a_package_cannot_reach_outside_itself(tmp_path, name, words):
    path = tmp_path / "slip.zip"
    with zipfile.ZipFile(path, "w") as package:
        package.writestr(name, b"x")
        package.writestr("datapackage.json", json.dumps({"resources": [{"path": name}]}))
    with pytest.raises(InputError, match=words):
        read_tables(path)
    assert sorted(each.name for each in tmp_path.iterdir()) == ["slip.zip"]


def test_changed_cut_or_foreign_packages_are_refused(tmp_path):
    path = write_tables(full_district(), tmp_path / "a.zip")
    changed = rezip(path, tmp_path / "b.zip", records_csv=b"id\r\n")
    with pytest.raises(InputError, match="is not what the description says"):
        read_tables(changed)
    (tmp_path / "c.zip").write_bytes(path.read_bytes()[:200])
    with pytest.raises(InputError, match="not a ZIP"):
        read_tables(tmp_path / "c.zip")
    with zipfile.ZipFile(tmp_path / "d.zip", "w") as package:
        package.writestr("roads.shp", b"x")
    with pytest.raises(InputError, match=r"has no datapackage\.json"):
        read_tables(tmp_path / "d.zip")
    with pytest.raises(InputError, match="is not there"):
        read_tables(tmp_path / "none.zip")


# GeoPackage and GeoJSON of everything ------------------------------------------------------


def test_a_gis_opens_every_layer(tmp_path):
    pyogrio = pytest.importorskip("pyogrio")
    district = full_district()
    path = write_everything(district, tmp_path / "all.gpkg")
    layers = {str(name): kind for name, kind in pyogrio.list_layers(path)}
    for table in TABLES:
        assert table.name in layers
        read = pyogrio.raw.read(path, layer=table.name)
        assert len(read[3][0]) == len(table.of(district)), table.name
        assert set(read[0]["fields"]) == {c.name for c in columns_of(table)} - {"wkt"}
    assert layers["machine_days"] is None
    meta, _, geometry, _ = pyogrio.raw.read(path, layer="records")
    assert meta["crs"] == "EPSG:4326"
    import shapely

    line = shapely.from_wkb(geometry[1])
    # From 10 to 90.5 m of a segment of 780 m that is drawn as 0.01 degrees
    assert line.length / 0.01 == pytest.approx(80.5 / 780, abs=1e-3)


def test_the_network_in_it_is_read_back_and_the_bytes_repeat(tmp_path):
    district = full_district()
    for name in ("all.gpkg", "all.geojson"):
        path = write_everything(district, tmp_path / name)
        again = write_everything(district, tmp_path / f"again-{name}")
        assert path.read_bytes() == again.read_bytes()
        back = read_network(path).network
        assert back == district.network
    with sqlite3.connect(tmp_path / "all.gpkg") as package:
        assert package.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        assert package.execute("PRAGMA application_id").fetchone() == (0x47504B47,)


def test_geojson_of_everything_has_the_facts(tmp_path):
    path = write_everything(full_district(), tmp_path / "all.geojson")
    told = json.loads(path.read_text())
    tables = {f["properties"].get("table") for f in told["features"]}
    assert {"conditions", "records", "hazards", "requests", "places", None} <= tables


# WZDx --------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def wzdx(shared_data):
    folder = shared_data / "wzdx" / "schemas" / "4.2"
    if not folder.is_dir():
        pytest.skip("the WZDx schemas are absent")
    jsonschema = pytest.importorskip("jsonschema")
    from referencing import Registry, Resource
    from referencing.jsonschema import DRAFT7

    base = "https://raw.githubusercontent.com/usdot-jpo-ode/wzdx/main/schemas/4.2/"
    place = {"type": "array", "minItems": 2, "items": {"type": "number"}}
    many = {"type": "array", "minItems": 2, "items": place}
    stubs = {
        f"https://geojson.org/schema/{name}.json": {
            "type": "object",
            "required": ["type", "coordinates"],
            "properties": {"type": {"const": name}, "coordinates": many},
        }
        for name in ("LineString", "MultiPoint", "Point")
    }
    schemas = {base + p.name: json.loads(p.read_text()) for p in folder.glob("*.json")} | stubs
    registry = Registry().with_resources(
        (uri, Resource.from_contents(schema, default_specification=DRAFT7))
        for uri, schema in schemas.items()
    )
    return jsonschema.Draft7Validator(
        schemas[base + "WorkZoneFeed.json"],
        registry=registry,
        format_checker=jsonschema.FormatChecker(),
    )


def feed(**card_changes: object):
    return work_zone_feed(
        works(**card_changes),
        small_district().network,
        publisher="Any County",
        source_id="w1",
        made_at=MADE,
    )


@pytest.mark.parametrize("status", ["draft", "issued", "closed", "withdrawn"])
def test_the_feed_fits_the_published_schema(wzdx, status):
    told = feed(status=status)
    assert len(told["features"]) == 2
    assert [error.message for error in wzdx.iter_errors(told)] == []
    # The check bites: a word outside the list is found
    told["features"][0]["properties"]["vehicle_impact"] = "none"
    assert list(wzdx.iter_errors(told))


def test_moving_and_static_and_the_course_of_a_work():
    first = feed(status="issued")["features"][0]["properties"]
    # Ordered for 07:00 local, 13:00 UTC, and it is 13:00
    assert first["event_status"] == "active"
    assert first["work_zone_type"] == "moving"
    assert (first["start_date"], first["end_date"]) == (
        "2026-05-12T13:00:00Z", "2026-05-12T13:14:00Z",
    )  # fmt: skip
    assert first["types_of_work"][0]["type_name"] == "minor-road-defect-repair"
    draft = feed(status="draft")["features"][0]["properties"]
    assert (draft["event_status"], draft["work_zone_type"]) == ("planned", "planned-moving-area")
    assert feed(status="withdrawn")["features"][0]["properties"]["event_status"] == "cancelled"
    plan, jobs, cards = week(status="draft")
    stage = replace(jobs[0].stages[0], task="hauling", treatment=nouns.Treatment.REGRAVELLING)
    haul = crew_work(plan, [replace(jobs[0], stages=(stage,))], cards, zone=ZONE, now=MADE)
    told = work_zone_feed(
        haul, small_district().network, publisher="C", source_id="w", made_at=MADE
    )
    still = told["features"][0]["properties"]
    assert (still["work_zone_type"], still["types_of_work"]) == (
        "static", [{"type_name": "surface-work", "is_architectural_change": True}],
    )  # fmt: skip


def test_one_event_each_way_that_know_each_other_by_names_that_stay():
    east, west = feed()["features"]
    assert [f["properties"]["core_details"]["direction"] for f in (east, west)] == [
        "eastbound", "westbound",
    ]  # fmt: skip
    assert east["geometry"]["coordinates"] == west["geometry"]["coordinates"][::-1]
    related = east["properties"]["core_details"]["related_road_events"]
    assert related == [{"type": "related-work-zone", "id": west["id"]}]
    assert [f["id"] for f in feed(version=2, status="issued")["features"]] == [
        east["id"], west["id"],
    ]  # fmt: skip


def test_a_feed_says_whose_it_is():
    with pytest.raises(InputError, match="publisher is empty"):
        work_zone_feed((), small_district().network, publisher=" ", source_id="w", made_at=MADE)
    with pytest.raises(InputError, match="without a zone"):
        work_zone_feed(
            (), small_district().network, publisher="C", source_id="w",
            made_at=MADE.replace(tzinfo=None),
        )  # fmt: skip


# iCalendar ---------------------------------------------------------------------------------


def calendar(method: str = "PUBLISH", **card_changes: object) -> str:
    return crew_calendar(
        works(**card_changes), name="Crews", domain="w1", made_at=MADE, method=method
    )


def events(text: str):
    icalendar = pytest.importorskip("icalendar")
    return icalendar.Calendar.from_ical(text).walk("VEVENT")


def test_another_program_reads_the_calendar():
    title = "Light blading, Straße №5; \\ and so on " + "long " * 30
    (event,) = events(calendar(status="issued", title=title))
    assert str(event["SUMMARY"]) == title
    assert event.decoded("DTSTART") == datetime(2026, 5, 12, 13, 0, tzinfo=UTC)
    assert event.decoded("DTEND") == datetime(2026, 5, 12, 13, 14, tzinfo=UTC)
    assert str(event["STATUS"]) == "CONFIRMED"
    assert "set signs" in str(event["DESCRIPTION"])


def test_a_card_keeps_its_name_and_counts_its_versions():
    (first,) = events(calendar())
    (moved,) = events(calendar(version=2, day=TODAY + timedelta(days=1)))
    assert str(first["UID"]) == str(moved["UID"]) == "card-1@w1"
    assert (int(first["SEQUENCE"]), int(moved["SEQUENCE"])) == (0, 1)
    assert moved.decoded("DTSTART").day == 13
    (gone,) = events(calendar(version=2, status="withdrawn", withdrawn_because="rain"))
    assert (int(gone["SEQUENCE"]), str(gone["STATUS"])) == (2, "CANCELLED")
    assert "Withdrawn: rain" in str(gone["DESCRIPTION"])


def test_a_cancellation_holds_withdrawn_work_only():
    assert events(calendar("CANCEL", status="issued")) == []
    text = calendar("CANCEL", status="withdrawn")
    assert "METHOD:CANCEL" in text
    assert len(events(text)) == 1


def test_of_two_versions_the_newer_is_told():
    plan, jobs, (card,) = week(status="issued")
    both = crew_work(
        plan, jobs, [replace(card, status="withdrawn"), replace(card, version=2)],
        zone=ZONE, now=MADE,
    )  # fmt: skip
    (event,) = events(crew_calendar(both, name="C", domain="d", made_at=MADE))
    assert int(event["SEQUENCE"]) == 1


def test_lines_are_folded_at_75_octets_and_end_as_the_standard_says():
    text = calendar(title="ü" * 200)
    assert text.endswith("END:VCALENDAR\r\n")
    assert all(len(line.encode()) <= 75 for line in text.split("\r\n"))
    assert "\n" not in text.replace("\r\n", "")


# GPX ---------------------------------------------------------------------------------------


def test_a_day_as_gpx_has_the_way_the_times_and_the_stakes():
    plan, jobs, _ = week()
    stakes = (nouns.Stake(1, 50.0, "lift 1, load 1"), nouns.Stake(2, 120.0, "lift 1, <load> 2"))
    stage = replace(jobs[0].stages[0], stakes=stakes, from_m=100.0)
    text = day_gpx(
        plan.itineraries, [replace(jobs[0], stages=(stage,))], small_district().network,
        zone=ZONE, name="Grader 1 & more",
    )  # fmt: skip
    root = fromstring(text)
    space = "{http://www.topografix.com/GPX/1/1}"
    names = [each.findtext(f"{space}name") for each in root.iter(f"{space}wpt")]
    assert names == ["Road 0: blade", "stake 1", "stake 2"]
    places = [float(each.get("lon")) for each in root.iter(f"{space}wpt")]
    # 100, 150 and 220 m along 780 m that are drawn as 0.01 degrees from -104
    assert places == pytest.approx([-104 + 0.01 * m / 780 for m in (100.0, 150.0, 220.0)], abs=1e-6)
    times = [each.findtext(f"{space}time") for each in root.iter(f"{space}trkpt")]
    assert times == ["2026-05-12T07:00:00-06:00", "2026-05-12T07:14:00-06:00"]


def test_a_plan_as_gpx_is_read_back_as_a_track(tmp_path):
    from crossfall.io.tracks import open_track

    plan, jobs, _ = week()
    text = day_gpx(plan.itineraries, jobs, small_district().network, zone=ZONE, name="d")
    (tmp_path / "d.gpx").write_text(text, encoding="utf-8")
    stream = open_track(tmp_path / "d.gpx")
    n = sum(piece.n for piece in stream.pieces)
    assert n == 2
    assert dict(stream.left_out) == {"waypoints and route points": 1}


def test_a_day_on_a_road_that_is_gone_is_refused():
    plan, jobs, _ = week()
    other = replace(small_district().network, segments=small_district().network.segments[1:])
    other = replace(other, features=())
    with pytest.raises(InputError, match="is not on the map; plan again"):
        day_gpx(plan.itineraries, jobs, other, zone=ZONE, name="d")
    with pytest.raises(InputError, match="no day to write"):
        day_gpx((), jobs, other, zone=ZONE, name="d")


# Open311 -----------------------------------------------------------------------------------


def test_requests_go_out_as_open311_and_come_back(tmp_path):
    from crossfall.io.requests import read_requests

    district = small_district()
    asked = (
        *district.requests,
        nouns.Request(
            "q2", TODAY, "Dust: at the farm", -104.0, 45.0, "s0", "closed",
            datetime(2026, 5, 11, 8, tzinfo=UTC), "Road 0", closed_on=TODAY, reply="Watered.",
        ),
    )  # fmt: skip
    rows = open311_requests(asked, district.network, zone=ZONE)
    assert {row["service_request_id"] for row in rows} == {"q1", "q2"}
    second = next(row for row in rows if row["service_request_id"] == "q2")
    assert (second["service_code"], second["status_notes"]) == ("dust", "Watered.")
    assert second["requested_datetime"] == "2026-05-11T08:00:00+00:00"
    (tmp_path / "r.json").write_text(json.dumps(rows))
    back = read_requests(tmp_path / "r.json", today=TODAY, zone=ZONE)
    assert back.n_bad == 0
    assert {each.id for each in back.requests} == {"q1", "q2"}
    assert back.n_private == 0


def test_requests_are_chosen_by_status_and_day():
    district = small_district()
    chosen = open311_requests(district.requests, district.network, zone=ZONE, status="closed")
    assert chosen == []
    assert open311_requests(
        district.requests, district.network, zone=ZONE, first_day=date(2027, 1, 1)
    ) == []  # fmt: skip
    with pytest.raises(InputError, match="status is 'done'"):
        open311_requests(district.requests, district.network, zone=ZONE, status="done")


def test_the_xml_is_well_formed_whatever_people_write():
    rows = [{"description": 'a <b> & "c" \x00\x1b', "lat": 1.5, "address": None}]
    root = fromstring(as_xml(rows, root="service_requests", each="request").encode())
    assert root.findtext("request/description") == 'a <b> & "c" '
    assert root.find("request/address").text is None
    services = as_xml(open311_services(agency="C"), root="services", each="service")
    assert len(list(fromstring(services.encode()))) == len(open311_services(agency="C"))


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"service_code": "pizza"}, "service_code is 'pizza'"),
        ({"description": " "}, "description is empty"),
        ({"lat": ""}, "lat and long come together"),
        ({"lat": "", "long": "", "address_string": ""}, "where is it"),
        ({"lat": "91"}, "lat is 91"),
        ({"long": "east"}, "long is 'east'"),
    ],
)
def test_a_request_that_comes_in_is_checked(changes, words):
    given = {
        "service_code": "dust", "lat": "45", "long": "-104", "description": "very dusty",
        "first_name": "Pat", "phone": "555",
    }  # fmt: skip
    request, code = request_coming_in(given, key="k", now=MADE)
    assert (request.text, request.lon, code) == ("Dust: very dusty", -104.0, "dust")
    assert "Pat" not in repr(request)
    with pytest.raises(InputError, match=words):
        request_coming_in(given | changes, key="k", now=MADE)
