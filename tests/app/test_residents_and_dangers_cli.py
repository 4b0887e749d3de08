"""Hazards, requests and hauls at the keyboard, and surveys with their bad rows and photos."""

from __future__ import annotations

import csv
import json
from datetime import date, timedelta

import pytest

from app_files import fleet_toml, roads_geojson, survey_csv
from crossfall.model import Treatment, WorkRecord
from crossfall_app.store import audit, models, repository
from pictures import jpeg
from small_district import NOON, TODAY, small_district, small_week


@pytest.fixture
def office(crossfall, tmp_path):
    """Four roads, one grader, a survey."""
    roads_geojson(tmp_path / "roads.geojson")
    fleet_toml(tmp_path / "fleet.toml")
    folder = tmp_path / "office"
    assert crossfall("init", folder, "--time-zone", "America/Denver").code == 0
    told = crossfall(
        "import", tmp_path / "roads.geojson", "--accept", "-w", folder,
        "--fleet", tmp_path / "fleet.toml",
    )  # fmt: skip
    assert told.code == 0, told.err
    return folder


def test_a_hazard_from_notice_to_repair(crossfall, office):
    told = crossfall(
        "hazard", "report", "Road 1", "--kind", "washout", "--at-m", 120, "--noticed",
        "2026-05-12T06:10", "--by", "M. Field", "--note", "half the lane", "-w", office, "--json",
    ).json  # fmt: skip
    key = told["hazard"]
    assert (told["segment"], told["at_m"], told["noticed_by"]) == ("R1", 120.0, "M. Field")
    assert told["noticed_at"] == "2026-05-12T06:10:00-06:00"
    early = crossfall("hazard", "barricade", key, "--at", "2026-05-12T06:00", "-w", office)
    assert early.is_refused("before the hazard was noticed")
    moved = crossfall(
        "hazard", "barricade", key, "--at", "2026-05-12T06:45", "--by", "Crew 2", "-w", office
    )
    assert "barricaded 2026-05-12 06:45" in moved.out
    assert crossfall("hazard", "barricade", key, "-w", office).is_refused("barricaded_at already")
    shown = crossfall("hazard", "list", "-w", office)
    assert "Washout, Road 1 at 120 m" in " ".join(shown.out.split())
    assert "1 danger is open" in shown.out
    crossfall("hazard", "repair", key, "--at", "2026-05-13T15:00", "-w", office)
    assert "No danger is open" in crossfall("hazard", "list", "-w", office).out
    (row,) = crossfall("hazard", "list", "--all", "-w", office, "--json").json["hazards"]
    assert row["barricaded_by"] == "Crew 2"
    assert row["repaired_at"] is not None
    assert audit.first_break() is None


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("Road 9",), "neither a segment's key nor a road's name; did you mean Road"),
        (("Road 1", "--kind", "pothole"), "kind is 'pothole'; expected washout"),
        (("Road 1", "--at-m", "9999"), "is not on Road 1"),
        (("R1", "--at-m", "-3"), "at_m is -3"),
        (("R1", "--noticed", "2999-01-01T00:00"), "after now"),
        (("R1", "--noticed", "noon"), "expected a time such as"),
    ],
)
def test_hazards_that_cannot_be(crossfall, office, arguments, words):
    assert crossfall("hazard", "report", *arguments, "-w", office).is_refused(words)
    assert not models.Hazard.objects.exists()


@pytest.fixture
def calls(tmp_path):
    entries = [
        {"service_request_id": str(n), "status": "open", "description": "washboard",
         "requested_datetime": f"2026-05-0{n}T09:00:00-06:00", "lat": 45.0001,
         "long": -103.985 + (n == 3) / 50, "first_name": "Ann"}
        for n in (1, 2, 3)
    ]  # fmt: skip
    entries[2]["lat"] = 45.2
    path = tmp_path / "open311.json"
    path.write_text(json.dumps(entries))
    return path


def test_requests_from_file_to_reply(crossfall, office, calls):
    shown = crossfall("requests", "import", calls, "-w", office, "--json").json
    assert (shown["accepted"], shown["new"], shown["merged"]) == (False, 3, 1)
    assert shown["unplaced"] == ["3"]
    assert not models.Request.objects.exists()
    told = crossfall("requests", "import", calls, "-w", office, "--accept")
    assert "3 are new, 1 of them about a matter that is open" in told.out
    assert "left out of 3" in told.out
    again = crossfall("requests", "import", calls, "-w", office, "--accept", "--json").json
    assert (again["new"], again["known_already"]) == (0, 3)
    (matter, lost) = crossfall("requests", "list", "-w", office, "--json").json["matters"]
    assert (matter["request"], matter["voices"], matter["segment"]) == ("1", 2, "R1")
    assert matter["draft"] is None
    assert (lost["request"], lost["segment"]) == ("3", None)
    assert crossfall("requests", "reply", "1", "-w", office).is_refused("no finished work answers")

    placed = crossfall("requests", "place", "3", "R2", "-w", office)
    assert "Request 3 is about R2" in placed.out
    assert crossfall("requests", "place", "3", "R9", "-w", office).is_refused("not on the map")

    work = WorkRecord("w1", "R1", date(2026, 5, 8), Treatment.BLADING, 2, 1.0, "Crew")
    repository.add_records([work], by="tests")
    draft = crossfall("requests", "reply", "2", "-w", office)
    assert draft.out.startswith("Thank you for telling us about Road 1 on 1 May. On Friday 8 May")
    assert "a draft for 1, 2" in draft.err
    assert models.Request.objects.filter(status="closed").count() == 0, "reading closes nothing"
    done = crossfall("requests", "reply", "1", "--approve", "S. Board", "-w", office, "--json").json
    assert (done["requests"], done["record"]) == (["1", "2"], "w1")
    kept = {each.id: each for each in repository.load_district().requests}
    assert kept["2"].reply_approved_by == "S. Board"
    assert kept["2"].reply == done["reply"]
    assert (kept["2"].status, kept["3"].status) == ("closed", "open")
    assert crossfall("requests", "reply", "1", "-w", office).is_refused("is not open")
    own = crossfall(
        "requests",
        "reply",
        "3",
        "--text",
        "That is a private lane.",
        "--approve",
        " ",
        "-w",
        office,
    )
    assert own.is_refused("approved by a named person")
    assert audit.first_break() is None


def test_a_bad_request_holds_the_file_up_unless_good_ones_are_wanted(crossfall, office, calls):
    entries = json.loads(calls.read_text())
    entries[1]["lat"] = 145.0
    calls.write_text(json.dumps(entries))
    asked = ("requests", "import", calls, "-w", office, "--accept")
    assert crossfall(*asked).is_refused("entry 2, lat", "expected degrees")
    told = crossfall(*asked, "--keep-good", "--json").json
    assert (told["new"], len(told["problems"])) == (2, 1)


def test_a_haul_from_agreement_to_statement(crossfall, office):
    made = crossfall(
        "haul", "add", "A company", "--road", "Road 1", "--road", "R2", "--from", "2026-05-04",
        "--to", "2026-05-13", "--tonnes", 4000, "--bond", 25000, "-w", office, "--json",
    ).json  # fmt: skip
    assert made == {"agreement": "HA-2026-1", "segments": ["R1", "R2"], "trucks_a_day": 40.0}
    work = WorkRecord("w1", "R1", date(2026, 5, 8), Treatment.BLADING, 2, 1.0, "Crew")
    other = WorkRecord("w2", "R3", date(2026, 5, 8), Treatment.BLADING, 2, 1.0, "Crew")
    repository.add_records([work, other], by="tests")
    assert (
        "is booked to HA-2026-1" in crossfall("haul", "book", "HA-2026-1", "w1", "-w", office).out
    )
    assert crossfall("haul", "book", "HA-2026-1", "w1", "-w", office).is_refused("already")
    assert crossfall("haul", "book", "HA-2026-1", "w2", "-w", office).is_refused("not on the route")
    leave = crossfall(
        "haul", "exempt", "A company", "--road", "R1", "--from", "2026-05-04", "--to", "2026-05-06",
        "--granted-by", "S. Board", "--axle-t", 9, "--agreement", "HA-2026-1", "-w", office,
    )  # fmt: skip
    assert "granted by S. Board and logged" in leave.out
    told = crossfall("haul", "list", "-w", office, "--json").json
    (agreement,), (exemption,) = told["agreements"], told["exemptions"]
    assert agreement["records"] == ["w1"]
    assert agreement["bond"] == 25000.0
    assert "no survey before the haul on 2 of 2 segments" in agreement["missing"]
    assert (exemption["granted_by"], exemption["axle_t"]) == ("S. Board", 9.0)
    assert "4,000 t over 2 segments" in " ".join(
        crossfall("haul", "list", "-w", office).out.split()
    )
    late = crossfall(
        "haul", "add", "A company", "--road", "R1", "--from", "2026-05-04", "--to", "2026-05-01",
        "--tonnes", 5, "-w", office,
    )  # fmt: skip
    assert late.is_refused("before it begins")


def test_good_rows_are_kept_and_bad_ones_handed_back(crossfall, office, tmp_path):
    path = survey_csv(tmp_path / "survey.csv")
    rows = path.read_text().splitlines()
    rows[0] += ",photos,crossfall_pct"
    rows[1:] = [f"{rows[1]},a.jpg a.jpg,4", f"{rows[2]},,0.04", f"{rows[3]},,3", f"{rows[4]},,"]
    rows[4] = rows[4].replace("R3", "R9")
    path.write_text("\n".join(rows) + "\n")
    (tmp_path / "a.jpg").write_bytes(jpeg(exif=b"SECRET"))
    asked = ("import", "--conditions", path, "-w", office, "--accept")
    assert crossfall(*asked).is_refused("row 3, crossfall_pct", "row 5, segment_id")
    assert not models.Condition.objects.exists()
    told = crossfall(*asked, "--keep-good", "--json").json
    assert told["conditions"] == 2
    assert len(told["rows_not_taken"]) == 2
    kept = {each.segment_id: each for each in repository.load_district().conditions}
    assert kept.keys() == {"R0", "R2"}
    (name,) = kept["R0"].photos
    assert b"SECRET" not in (office / "photos" / name).read_bytes()
    with open(told["not_taken_file"], newline="") as back:
        left = list(csv.DictReader(back))
    assert [row["segment_id"] for row in left] == ["R1", "R9"]
    assert "write 4" in left[0]["problem"]


def test_a_survey_is_not_believed_before_its_day(crossfall, office, tmp_path):
    path = survey_csv(tmp_path / "survey.csv")
    path.write_text(path.read_text().replace("2026-05-31", "2999-05-31"))
    told = crossfall("import", "--conditions", path, "-w", office, "--accept")
    assert told.is_refused("observed_on: is 2999-05-31, after today")


@pytest.mark.parametrize(
    ("data", "words"), [(None, "is not beside the survey"), (b"%PDF-1.7", "is not a picture")]
)
def test_a_survey_whose_photo_cannot_be_used_leaves_nothing(
    crossfall, office, tmp_path, data, words
):
    path = survey_csv(tmp_path / "survey.csv", n_roads=1)
    head, row = path.read_text().splitlines()
    path.write_text(f"{head},photos\n{row},a.jpg\n")
    if data is not None:
        (tmp_path / "a.jpg").write_bytes(data)
    told = crossfall("import", "--conditions", path, "-w", office, "--accept")
    assert told.is_refused("photos: a.jpg", words)
    assert not models.Condition.objects.exists()
    assert not list((office / "photos").iterdir())


def test_a_bad_photo_spoils_its_own_row_only(crossfall, office, tmp_path):
    path = survey_csv(tmp_path / "survey.csv")
    head, *rows = path.read_text().splitlines()
    names = ("good.jpg", "big.jpg", "words.jpg", "gone.jpg")
    lines = [f"{row},{name}" for row, name in zip(rows, names, strict=True)]
    path.write_text("\n".join((f"{head},photos", *lines)) + "\n")
    (tmp_path / "good.jpg").write_bytes(jpeg())
    (tmp_path / "big.jpg").write_bytes(b"\xff\xd8\xff" + bytes(50_000_000))
    (tmp_path / "words.jpg").write_bytes(b"no picture")
    asked = ("import", "--conditions", path, "-w", office)
    told = crossfall(*asked, "--accept")
    assert told.is_refused(
        "row 3, photos: big.jpg has 50.0 MB", "row 4", "row 5", "lists every one"
    )
    told = crossfall(*asked, "--keep-good", "--accept", "--json").json
    assert told["conditions"] == 1
    assert len(told["rows_not_taken"]) == 3
    assert len(list((office / "photos").iterdir())) == 1
    with open(told["not_taken_file"], newline="") as back:
        left = {row["photos"]: row["problem"] for row in csv.DictReader(back)}
    assert left.keys() == {"big.jpg", "words.jpg", "gone.jpg"}
    assert "is not a picture" in left["words.jpg"]
    assert "is not beside the survey" in left["gone.jpg"]


def test_the_condition_on_paper(crossfall, office, tmp_path):
    survey_csv(tmp_path / "survey.csv", n_roads=3)
    crossfall("import", "--conditions", tmp_path / "survey.csv", "-w", office, "--accept")
    paper = tmp_path / "condition.pdf"
    told = crossfall("condition", paper, "--today", "2026-06-01", "-w", office, "--json").json
    assert paper.read_bytes().startswith(b"%PDF-")
    assert told["known"] == {"estimated": "75 %", "default": "25 %"}
    assert sum(each["segments"] for each in told["ratings"].values()) == 4
    again = ("condition", paper, "--today", "2026-06-01", "-w", office)
    assert crossfall(*again).is_refused("exists already")
    assert "4 Good" in crossfall(*again, "--replace").out
    assert crossfall("condition", tmp_path / "a.txt", "-w", office).is_refused(
        "does not end in .pdf"
    )


def test_a_washed_out_road_names_the_cards_to_take_back(crossfall, sqlite_workspace):
    folder = sqlite_workspace.path
    repository.store_district(small_district(), by="test", invented_today=TODAY)
    repository.save_week(small_week(), by="test")
    report = ("hazard", "report", "s0", "--at-m", 300, "--kind")
    told = crossfall(*report, "washout", "-w", folder, "--json")
    assert told.code == 0, told.err
    assert told.json["cards_to_withdraw"] == [], "a draft is in nobody's hands"
    repository.move_hazard(told.json["hazard"], "repaired_at", NOON + timedelta(hours=11), by="t")
    repository.issue_card(1, approved_by="R. Foreman", by="test")
    sign = crossfall(*report, "sign_missing", "-w", folder, "--json")
    assert sign.json["cards_to_withdraw"] == []
    assert crossfall(*report, "washout", "-w", folder, "--json").json["cards_to_withdraw"] == [1]
    spoken = crossfall(*report, "culvert_collapse", "-w", folder)
    assert "card 1 is issued there, for Grader 1 on 2026-05-12" in spoken.out + spoken.err


def test_a_haul_ends_before_its_time_with_a_reason(crossfall, office):
    crossfall(
        "haul", "add", "A company", "--road", "Road 1", "--from", "2026-05-01", "--to",
        "2026-05-10", "--tonnes", "2000", "-w", office,
    )  # fmt: skip
    end = ("haul", "end", "HA-2026-1", "-w", office)
    assert crossfall(*end, "--on", "2026-05-05", "--because", " ").is_refused("say why it ends")
    for day in ("2026-05-10", "2026-04-30"):
        told = crossfall(*end, "--on", day, "--because", "x")
        assert told.is_refused("expected an earlier last day within it")
    told = crossfall(*end, "--on", "2026-05-05", "--because", "the mill closed", "--json").json
    assert (told["last_day"], told["tonnes"]) == ("2026-05-05", 1000.0)
    (agreement,) = repository.load_district().haul_agreements
    assert "the mill closed" in agreement.note
    assert models.Audit.objects.filter(action="end", table="haulagreement").count() == 1
    assert audit.first_break() is None


def test_needs_tell_all_of_one_road(crossfall, office):
    told = crossfall("needs", office, "--road", "Road 1").out
    assert "Worth" in told or "Nothing is due there." in told
    assert crossfall("needs", office, "--road", "Rode 1").is_refused("did you mean Road 1")
    rows = crossfall("needs", office, "--road", "R1", "--json").json["needs"]
    assert {row["segment"] for row in rows} <= {"R1"}
    for row in rows:
        assert sum(row["worth_parts_h"].values()) == pytest.approx(row["worth_h"], abs=0.01)


def test_thickness_is_screened_at_the_keyboard(crossfall, office):
    layers = crossfall("thickness", office, "--years", 5, "--json").json["layers"]
    assert {row["segment"] for row in layers} == {"R0", "R1", "R2", "R3"}
    for row in layers:
        left = max(row["there_mm"] - 5 * row["loss_mm_year"], 0)
        assert row["left_mm"] == pytest.approx(left, abs=0.1)
    told = crossfall("thickness", office)
    assert "an engineer confirms" in told.err
    assert crossfall("thickness", office, "--years", 0).is_refused("years is 0")
