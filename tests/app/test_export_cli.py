"""`crossfall export` of open formats, and a whole district from one workspace to another."""

from __future__ import annotations

import json
import zipfile

import pytest

from crossfall_app.store import repository
from small_district import small_district, small_week


@pytest.fixture
def office(sqlite_workspace):
    """A district with one planned week."""
    repository.store_district(small_district(), by="test")
    repository.save_week(small_week(), by="test")
    return sqlite_workspace.path


def contents(path) -> dict[str, bytes]:
    with zipfile.ZipFile(path) as package:
        return {name: package.read(name) for name in package.namelist()}


@pytest.mark.parametrize(
    ("what", "name", "start"),
    [
        ("everything", "all.gpkg", b"SQLite format 3"),
        ("everything", "all.geojson", b'{"type": "FeatureCollection"'),
        ("everything", "all.zip", b"PK"),
        ("work-zones", "feed.json", b"{"),
        ("calendar", "crews.ics", b"BEGIN:VCALENDAR\r\n"),
        ("cancelled", "gone.ics", b"BEGIN:VCALENDAR\r\n"),
        ("routes", "week.gpx", b"<?xml"),
        ("requests", "r.json", b"["),
        ("requests", "r.xml", b"<?xml"),
    ],
)
def test_each_kind_is_written_once_and_not_over_another(
    crossfall, office, tmp_path, what, name, start
):
    file = tmp_path / name
    told = crossfall("export", file, "--what", what, "-w", office)
    assert told.code == 0, told.err
    assert file.read_bytes().startswith(start)
    assert crossfall("export", file, "--what", what, "-w", office).is_refused("exists already")
    assert list(tmp_path.glob("*.part")) == []


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("x.pdf", "--what", "everything"), "does not end in .gpkg or .geojson or .zip"),
        (("x.ics", "--what", "moon"), "what is 'moon'"),
        (("x.ics", "--what", "calendar", "--plan", "p9"), "plan 'p9' is unknown"),
        (("x.gpx", "--what", "routes", "--machine", "g9"), "machine 'g9' is not in the fleet"),
        (("x.gpkg", "--machine", "g1"), "--machine is for the calendar"),
        (("no/where/x.gpkg",), "is not there"),
    ],
)
def test_what_cannot_be_written_is_refused(
    crossfall, office, tmp_path, monkeypatch, arguments, words
):
    monkeypatch.chdir(tmp_path)
    assert crossfall("export", *arguments, "-w", office).is_refused(words)
    assert list(tmp_path.glob("x.*")) == []


def test_the_calendar_of_one_machine_and_the_name_that_stays(crossfall, office, tmp_path):
    first, again = tmp_path / "a.ics", tmp_path / "b.ics"
    crossfall("export", first, "--what", "calendar", "--machine", "g1", "-w", office)
    crossfall("export", again, "--what", "calendar", "-w", office)
    uid = [line for line in first.read_text().splitlines() if line.startswith("UID")]
    assert uid == [line for line in again.read_text().splitlines() if line.startswith("UID")]
    other = tmp_path / "c.ics"
    crossfall("export", other, "--what", "calendar", "--machine", "Roller", "-w", office)
    assert "BEGIN:VEVENT" not in other.read_text()


def test_a_replanned_week_cancels_what_it_dropped(crossfall, office, tmp_path):
    repository.issue_card(1, approved_by="F. Foreman", by="test")
    repository.withdraw_card(1, because="rain", by="test")
    crossfall("export", tmp_path / "c.ics", "--what", "cancelled", "-w", office)
    text = (tmp_path / "c.ics").read_text()
    assert "METHOD:CANCEL" in text
    assert "UID:card-1@crossfall-" in text
    assert "SEQUENCE:1" in text


def test_a_whole_district_moves_to_an_empty_workspace(crossfall, office, tmp_path):
    file, other = tmp_path / "all.zip", tmp_path / "other"
    assert crossfall("export", file, "--what", "everything", "-w", office).code == 0
    assert crossfall("init", other).code == 0
    shown = crossfall("import", file, "-w", other)
    assert shown.code == 0, shown.err
    assert "3 segments" in shown.out
    assert "nothing was written" in shown.err
    assert crossfall("import", file, "--accept", "-w", other).code == 0
    again = tmp_path / "again.zip"
    assert crossfall("export", again, "--what", "everything", "-w", other).code == 0
    # Explained: the name is the workspace's own, out of its settings
    before, after = contents(file), contents(again)
    titles = [json.loads(each.pop("datapackage.json")) for each in (before, after)]
    assert [title.pop("title") for title in titles] == ["Test district", "Road district"]
    assert titles[0] == titles[1]
    assert before == after
    told = crossfall("import", file, "--accept", "-w", other)
    assert told.is_refused("holds a network already")


def test_a_changed_package_leaves_the_workspace(crossfall, office, tmp_path):
    other = tmp_path / "other"
    crossfall("export", tmp_path / "all.zip", "--what", "everything", "-w", office)
    data = bytearray((tmp_path / "all.zip").read_bytes())
    at = data.index(b"records.csv") + 60
    data[at] ^= 0xFF
    (tmp_path / "bad.zip").write_bytes(bytes(data))
    crossfall("init", other)
    told = crossfall("import", tmp_path / "bad.zip", "--accept", "-w", other)
    assert told.code == 2
    assert "Traceback" not in told.err
    assert not repository.has_network()


def test_the_feed_is_json_with_both_directions(crossfall, office, tmp_path):
    crossfall("export", tmp_path / "f.json", "--what", "work-zones", "-w", office)
    told = json.loads((tmp_path / "f.json").read_text())
    assert told["feed_info"]["version"] == "4.2"
    assert len(told["features"]) == 2
