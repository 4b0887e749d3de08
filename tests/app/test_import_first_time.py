"""What a person meets who brings in files for the first time, and again a year later."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime

import pytest

from app_files import LAT, LON, fleet_toml, roads_geojson, survey_csv
from crossfall.io.export import write_network
from crossfall.model import LoadPosting, Treatment, WorkRecord
from crossfall.network import split_segment
from crossfall_app.store import repository


@pytest.fixture
def office(crossfall, tmp_path):
    """Four roads with a survey, one grader."""
    folder = tmp_path / "office"
    crossfall("init", folder)
    told = crossfall(
        "import", roads_geojson(tmp_path / "r.geojson"), "--graders", 1,
        "--conditions", survey_csv(tmp_path / "s.csv"), "--accept", "-w", folder,
    )  # fmt: skip
    assert told.code == 0, told.err
    assert "Fleet: 1 grader; 1 operator\n" in told.out
    return folder


def test_renumbered_roads_keep_their_looks(crossfall, office, tmp_path):
    file = roads_geojson(tmp_path / "again.geojson")
    file.write_text(file.read_text().replace('"id": "R', '"id": "NEW-'))
    told = crossfall("import", file, "--accept", "-w", office)
    assert "4 roads came back under another id and keep the one" in told.out
    assert "R0 (there NEW-0)" in told.out
    assert len(repository.load_district().conditions) == 4


def test_looks_that_would_be_lost_are_counted_loudly(crossfall, office, tmp_path):
    file = roads_geojson(tmp_path / "two.geojson", n_roads=2)
    told = crossfall("import", file, "-w", office)
    assert "CAREFUL: 2 looks hang on segments that vanish" in told.out
    assert "--merge" in told.out
    told = crossfall("import", file, "--json", "-w", office)
    assert told.json["facts_on_vanished"] == {"looks": 2}
    assert "CAREFUL" not in crossfall("import", file, "--merge", "-w", office).out


def test_a_signed_load_limit_that_would_bind_nobody_is_said_loudly(crossfall, office, tmp_path):
    roads = [each.id for each in repository.load_district().network.segments]
    up = datetime(2026, 3, 1, tzinfo=UTC)
    limit = LoadPosting("limit-1", tuple(roads), 6.0, "The board", "A. Chair", up)
    old = replace(limit, id="limit-0", down_at=datetime(2026, 3, 20, tzinfo=UTC))
    repository.add_postings([limit, old], by="tests")
    file = roads_geojson(tmp_path / "two.geojson", n_roads=2)
    told = crossfall("import", file, "-w", office)
    assert "1 signed load limits hang on segments that vanish" in told.out
    assert crossfall("import", file, "--json", "-w", office).json["facts_on_vanished"] == {
        "looks": 2, "signed load limits": 1,
    }  # fmt: skip


def test_a_yard_in_another_country_is_refused(crossfall, office):
    told = crossfall("import", "--graders", 1, "--yard", f"{-LON},{LAT}", "-w", office)
    assert told.is_refused("--yard 104,45 is", "km from the nearest road", "west is negative")


def test_a_fleet_file_is_taken_where_roads_are_expected(crossfall, office, tmp_path):
    told = crossfall("import", fleet_toml(tmp_path / "fleet.toml"), "--accept", "-w", office)
    assert (told.code, "Fleet: 1 grader; 1 operator" in told.out) == (0, True)
    assert "read as the fleet" in told.err
    assert [each.id for each in repository.load_fleet().machines] == ["g1"]


def test_a_survey_or_a_policy_given_as_roads_is_told_its_option(crossfall, office, tmp_path):
    told = crossfall("import", survey_csv(tmp_path / "again.csv"), "-w", office)
    assert told.is_refused("is a survey, not roads; say --conditions")
    (tmp_path / "p.toml").write_text('version = "1"\n')
    assert crossfall("import", tmp_path / "p.toml", "-w", office).is_refused("--policy")


def test_a_pit_without_its_price_is_said_to_be_only_drawn(crossfall, office, tmp_path):
    file = fleet_toml(tmp_path / "fleet.toml")
    place = f'[[place]]\nid = "p1"\nname = "North pit"\nkind = "pit"\nlon = {LON}\nlat = {LAT}\n'
    file.write_text(file.read_text() + place)
    told = crossfall("import", "--fleet", file, "-w", office)
    assert "CAREFUL: North pit is only drawn on the map" in told.out
    assert 'place = "p1"' in told.out


def test_options_are_named_as_they_are_typed(crossfall, office):
    told = crossfall("import", "--graders", 1, "--width-unit", "ft", "-w", office)
    assert told.is_refused("--width-unit is for roads")


def test_facts_of_a_road_that_is_split_are_found_on_its_parts(crossfall, office, tmp_path):
    old = repository.load_district()
    road = old.network.segments[0]
    work = WorkRecord(
        "w-1", road.id, date(2026, 5, 4), Treatment.BLADING, 3, 2.0, "somebody", n_loads=3
    )
    repository.add_records([work], by="tests")
    limit = LoadPosting(
        "limit-1", (road.id,), 6.0, "The board", "A. Chair", datetime(2026, 3, 1, tzinfo=UTC)
    )
    repository.add_postings([limit], by="tests")
    split, lineage = split_segment(old.network, road.id, [0.4 * road.length_m])
    file = write_network(split, tmp_path / "split.geojson")
    told = crossfall("import", file, "-w", office)
    assert "1 looks, 1 records of work, 1 signed load limits follow their road" in told.out
    assert "CAREFUL" not in told.out
    told = crossfall("import", file, "--accept", "--json", "-w", office)
    assert (told.json["vanished"], told.json["facts_lost"]) == (1, {})
    now = repository.load_district()
    parts = [each.child_id for each in lineage]
    assert [each.segment_id for each in now.records] == parts
    assert sum(each.hours for each in now.records) == pytest.approx(2.0)
    assert now.records[0].hours == pytest.approx(0.8, rel=0.05)
    assert sum(each.n_loads for each in now.records) == 3
    assert len(now.conditions) == len(old.conditions) + 1
    assert now.postings[0].segment_ids == tuple(parts)
    # The roads as they were, again: nothing was moved in the books, so all is back
    file = write_network(old.network, tmp_path / "old.geojson")
    assert crossfall("import", file, "--accept", "-w", office).code == 0
    back = repository.load_district()
    assert back.records == (work,)
    assert back.conditions == old.conditions
    assert back.postings == (limit,)
