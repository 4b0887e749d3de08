"""The commands of a first week, in order, as a person types them."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
import zipfile
from datetime import date

import pytest

from app_files import (
    WEATHER_COLUMNS,
    fleet_toml,
    forecast_json,
    roads_geojson,
    survey_csv,
    weather_csv,
)
from crossfall_app.store import audit, repository
from crossfall_app.workspace import read_workspace

FIRST_DAY = "2026-06-01"


@pytest.fixture
def files(tmp_path):
    """What an agency has lying about."""
    roads_geojson(tmp_path / "roads.geojson")
    fleet_toml(tmp_path / "fleet.toml")
    survey_csv(tmp_path / "survey.csv")
    weather_csv(tmp_path / "gauge.csv")
    forecast_json(tmp_path / "forecast.json")
    return tmp_path


@pytest.fixture
def office(crossfall, files):
    """A workspace with roads, fleet, survey and weather."""
    folder = files / "office"
    assert crossfall("init", folder, "--name", "Four roads", "--currency", "CAD").code == 0
    brought = crossfall(
        "import", files / "roads.geojson", "--accept", "-w", folder,
        "--fleet", files / "fleet.toml", "--conditions", files / "survey.csv",
    )  # fmt: skip
    assert brought.code == 0, brought.err
    read = crossfall("weather", files / "gauge.csv", *WEATHER_COLUMNS, "-w", folder)
    assert read.code == 0, read.err
    ahead = crossfall("weather", files / "forecast.json", "--forecast", "-w", folder)
    assert ahead.code == 0, ahead.err
    return folder


def test_init_says_what_comes_next(crossfall, tmp_path):
    told = crossfall("init", tmp_path / "w", "--units", "us", "--time-zone", "America/Denver")
    assert told.code == 0
    assert "crossfall import" in told.out
    assert read_workspace(tmp_path / "w").config.units == "us"
    assert crossfall("init", tmp_path / "w").is_refused("is a crossfall workspace already")
    assert crossfall("init", tmp_path / "v", "--units", "feet").is_refused("metric or us")
    assert not (tmp_path / "v").exists()


def test_an_import_shows_first_and_writes_on_accept(crossfall, files):
    folder = files / "office"
    crossfall("init", folder)
    shown = crossfall("import", files / "roads.geojson", "-w", folder, "--json")
    assert (shown.code, shown.json["accepted"], shown.json["added"]) == (0, False, 4)
    assert not repository.has_network()
    told = crossfall("import", files / "roads.geojson", "-w", folder)
    assert "4 segments added" in told.out
    assert "nothing was written; add --accept" in told.err
    crossfall("import", files / "roads.geojson", "-w", folder, "--accept")
    assert [each.id for each in repository.load_network().segments] == ["R0", "R1", "R2", "R3"]
    roads_geojson(files / "roads.geojson", n_roads=3, width_m=8.0)
    again = crossfall("import", files / "roads.geojson", "-w", folder, "--accept", "--json").json
    assert (again["added"], again["changed"], again["vanished"]) == (0, 3, 1)
    assert repository.load_network().segments[0].width_m == 8.0
    assert audit.first_break() is None


def test_a_merge_keeps_the_other_roads(crossfall, office, files):
    roads_geojson(files / "part.geojson", n_roads=2, width_m=8.0)
    told = crossfall(
        "import", files / "part.geojson", "-w", office, "--merge", "--accept", "--json"
    )
    assert (told.json["changed"], told.json["vanished"]) == (2, 0)
    assert [each.width_m for each in repository.load_network().segments] == [8.0, 8.0, 7.0, 7.0]


@pytest.mark.slow
def test_the_main_job(crossfall, office):
    told = crossfall("plan", office, "--start", FIRST_DAY, "--seconds", 0.3, "--json")
    assert told.code == 0, told.err
    week = told.json
    assert {
        "jobs_served", "jobs_unserved", "benefit", "benefit_bound", "gap_pct", "unserved",
        "itineraries", "checker_violations", "cost", "wall_s",
    } <= week.keys()  # fmt: skip
    assert week["checker_violations"] == 0
    assert week["jobs_served"] + week["jobs_unserved"] == 4
    assert week["jobs_served"] >= 1
    assert week["benefit"] <= week["benefit_bound"] + 1e-9
    assert 0 <= week["gap_pct"] <= 100
    assert all(each["reason"] for each in week["unserved"])
    assert week["cost"]["low"] <= week["cost"]["likely"] <= week["cost"]["high"]
    stops = [stop for each in week["itineraries"] for stop in each["stops"]]
    assert {stop["treatment"] for stop in stops} == {"blading"}
    assert all(stop["start_min"] < stop["end_min"] for stop in stops)
    kept = repository.latest_week()
    assert kept.plan.id == week["plan"]
    assert len(kept.cards) == week["cards"]

    shown = crossfall("plan", office, "--start", FIRST_DAY, "--seconds", 0.3)
    assert "Four roads: Mon 1 Jun to Fri 5 Jun 2026" in shown.out
    assert "Light blading: Road" in shown.out
    assert "Grader 1" in shown.out
    assert "could be better by" in shown.out

    paper = crossfall("cards", office, "--json", "--units", "us", "--paper", "letter")
    assert paper.json["cards"] == week["cards"]
    with open(paper.json["file"], "rb") as pdf:
        assert pdf.read(5) == b"%PDF-"
    assert crossfall("cards", office, "--day", "2026-07-01").is_refused("has no card for")
    assert crossfall("cards", office, "--paper", "a5").is_refused("expected a4 or letter")


def test_cards_before_a_plan_are_refused(crossfall, office):
    assert crossfall("cards", office).is_refused("there is no plan yet")


@pytest.mark.slow
def test_moisture_and_needs(crossfall, office):
    told = crossfall("moisture", office, "--start", FIRST_DAY, "--days", 3, "--json").json
    assert [each["day"] for each in told["days"]] == ["2026-06-01", "2026-06-02", "2026-06-03"]
    assert all(sum(each["segments"].values()) == 4 for each in told["days"])
    road = crossfall(
        "moisture", office, "--start", FIRST_DAY, "--days", 1, "--road", "Road 2", "--json"
    ).json
    assert [each["segment"] for each in road["days"]] == ["R2"]
    assert road["days"][0]["why"]
    assert crossfall("moisture", office, "--road", "Nowhere", "--start", FIRST_DAY).is_refused(
        "road 'Nowhere' is neither"
    )
    plain = crossfall("moisture", office, "--start", FIRST_DAY).out
    assert "A go begins at 30 % chance of a fit surface" in " ".join(plain.split())
    needs = crossfall("needs", office, "--today", FIRST_DAY, "--json").json
    assert {each["treatment"] for each in needs["needs"]} == {"blading"}
    assert needs["conditions_by_method"] == {"estimated": 4}
    shown = crossfall("needs", office, "--today", FIRST_DAY)
    assert "4 roads need something" in shown.out


@pytest.mark.slow
def test_a_first_week_without_a_survey(crossfall, files):
    folder = files / "office"
    crossfall("init", folder)
    crossfall("import", files / "roads.geojson", "-w", folder, "--graders", 1, "--accept")
    crossfall("weather", files / "gauge.csv", *WEATHER_COLUMNS, "-w", folder)
    crossfall("weather", files / "forecast.json", "--forecast", "-w", folder)
    (files / "bad.csv").write_text("road,last_bladed_on\nRoad 1,2025-10-01\nR3,\n")
    asked = ("needs", folder, "--today", FIRST_DAY, "--bad-roads", files / "bad.csv", "--json")
    before = crossfall(*asked).json
    assert repository.load_district().conditions == ()
    assert {"R1", "R3"} <= {each["segment"] for each in before["needs"]}
    assert all(each["assumed"] for each in before["needs"])
    kept = crossfall(*asked, "--accept").json
    assert kept["conditions_added"] == 2
    told = {each.segment_id: each for each in repository.load_district().conditions}
    assert told.keys() == {"R1", "R3"}
    assert told["R1"].last_bladed_on == date(2025, 10, 1)
    assert told["R1"].method == "estimated"
    week = crossfall("plan", folder, "--start", FIRST_DAY, "--seconds", 0.2, "--json").json
    served = {stop["segment"] for each in week["itineraries"] for stop in each["stops"]}
    assert {"R1", "R3"} <= served
    fleet = repository.load_fleet()
    assert "assumed" in fleet.machines[0].note
    (files / "bad.csv").write_text("road\nRoad 9\n")
    assert crossfall(*asked).is_refused("road 'Road 9' is not in the network")


def test_the_workspace_is_found_where_it_is_said(crossfall, office, monkeypatch, tmp_path):
    asked = ("needs", "--today", FIRST_DAY, "--json")
    assert crossfall(*asked).is_refused("no workspace is named")
    assert crossfall(*asked, "-w", tmp_path).is_refused("is not a crossfall workspace")
    assert crossfall("needs", office, "-w", tmp_path).is_refused("two workspaces are named")
    monkeypatch.chdir(office)
    assert crossfall(*asked).code == 0


def test_backup_restore_and_doctor(crossfall, office, files):
    made = crossfall("backup", office, "--json").json
    assert zipfile.is_zipfile(made["file"])
    roads_geojson(files / "roads.geojson", width_m=9.0)
    crossfall("import", files / "roads.geojson", "-w", office, "--accept")
    assert repository.load_network().segments[0].width_m == 9.0
    back = crossfall("restore", made["file"], office, "--json").json
    assert repository.load_network().segments[0].width_m == 7.0
    assert os.path.exists(back["kept_aside"])
    told = crossfall("doctor", office, "--json")
    assert (told.code, told.json["is_well"]) == (0, True)
    assert "unbroken" in crossfall("doctor", office).out


def test_a_damaged_store_is_diagnosed_and_replaced(crossfall, office):
    from django.db import connections

    made = crossfall("backup", office, "--json").json
    connections["default"].close()
    (office / "crossfall.sqlite3").write_bytes(b"no database" * 500)
    for more in ("-wal", "-shm"):
        (office / f"crossfall.sqlite3{more}").unlink(missing_ok=True)
    sick = crossfall("doctor", office)
    assert sick.code == 2
    assert "!!   database" in sick.out
    assert sick.err.count("\n") == 1
    assert crossfall("plan", office).is_refused("crossfall restore")
    back = crossfall("restore", made["file"], office, "--json")
    assert back.code == 0, back.err
    assert "damaged" in back.json["kept_aside"]
    assert crossfall("doctor", office).code == 0


def test_one_road_is_laid_out(crossfall, office):
    asked = ("design", "Road 1", "--on", FIRST_DAY, "-w", office)
    (job,) = crossfall(*asked, "--json").json["jobs"]
    assert (job["segment_id"], job["treatment"]) == ("R1", "blading")
    assert job["work_h"] == pytest.approx(
        sum(sum(stage["pass_minutes"]) for stage in job["stages"]) / 60
    )
    (asked_for,) = crossfall(*asked, "--treatment", "reshaping", "--json").json["jobs"]
    assert asked_for["work_h"] > job["work_h"]
    assert "Reshape: Road 1 (R1" in crossfall(*asked, "--treatment", "reshaping").out
    assert crossfall(*asked, "--treatment", "paving").is_refused("expected blading, reshaping")
    assert crossfall("design", "Nowhere", "-w", office).is_refused("'Nowhere' is neither")


@pytest.mark.parametrize("name", ["out.geojson", "out.gpkg", "out.csv"])
def test_roads_come_back_as_they_were_handed_out(crossfall, office, files, name):
    assert crossfall("export", files / name, "-w", office).code == 0
    back = crossfall("import", files / name, "-w", office, "--json").json
    assert (back["added"], back["changed"], back["vanished"]) == (0, 0, 0)
    assert crossfall("export", files / name, "-w", office).is_refused("exists already")
    assert crossfall("export", files / name, "--replace", "-w", office).code == 0


def test_fleet_survey_and_policy_come_back_too(crossfall, office, files):
    before = repository.load_district()
    for what, name in (("fleet", "f.toml"), ("conditions", "c.csv"), ("policy", "p.toml")):
        told = crossfall("export", files / name, "--what", what, "-w", office)
        assert told.code == 0, told.err
    folder = files / "second"
    crossfall("init", folder, "--currency", "CAD")
    told = crossfall(
        "import", files / "roads.geojson", "--fleet", files / "f.toml", "--policy",
        files / "p.toml", "--conditions", files / "c.csv", "--accept", "-w", folder,
    )  # fmt: skip
    assert told.code == 0, told.err
    after = repository.load_district()
    assert after.fleet == before.fleet
    assert after.conditions == before.conditions
    assert after.policy == before.policy
    bad = crossfall("export", files / "f.csv", "--what", "fleet", "-w", office)
    assert bad.is_refused("does not end in .toml")
    assert crossfall("export", files / "x.gpkg", "--what", "money", "-w", office).is_refused(
        "money"
    )


@pytest.mark.slow
def test_the_demo_does_the_main_job(crossfall, tmp_path):
    folder = tmp_path / "valley"
    told = crossfall("demo", folder, "--no-serve", "--json", "--seconds", 0.5)
    assert told.code == 0, told.err
    result = told.json
    assert (result["segments"], result["graders"], result["days"]) == (600, 5, 5)
    assert result["checker_violations"] == 0
    assert result["jobs_served"] > 20
    assert result["jobs_unserved"] > 0
    assert result["cards"] >= result["jobs_served"]
    assert result["is_invented"] is True
    assert os.path.getsize(result["cards_file"]) > 100_000
    assert repository.load_district().is_invented
    assert crossfall("demo", folder, "--no-serve", "--seconds", 0.2, "--json").code == 0
    assert len(repository.list_plans()) == 2


def test_the_demo_leaves_real_roads_alone(crossfall, office):
    assert crossfall("demo", office, "--no-serve").is_refused("is a workspace of real roads")


def test_help_loads_nothing_heavy():
    look = (
        "import sys; from crossfall_app.cli.entry import run; run(['--help']);"
        " print(sorted({'numba', 'django', 'scipy', 'shapely', 'typst'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", look], capture_output=True, text=True, check=True)
    assert "Plan the week" in done.stdout
    assert done.stdout.splitlines()[-1] == "[]"


@pytest.mark.slow
def test_ctrl_c_stops_with_one_sentence(crossfall, office, files):
    many = roads_geojson(files / "many.geojson", n_roads=80)
    survey = survey_csv(files / "many.csv", n_roads=80, deformation=2.5)
    crossfall("import", many, "--conditions", survey, "--accept", "-w", office)
    asked = ["plan", str(office), "--start", FIRST_DAY, "--seconds", "60"]
    script = "import sys; from crossfall_app.cli.entry import run; print('ready', flush=True);"
    script += "sys.exit(run(sys.argv[1:]))"
    with subprocess.Popen(
        [sys.executable, "-c", script, *asked],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.default_int_handler),
    ) as child:
        assert child.stdout.readline() == "ready\n"
        time.sleep(2.0)
        child.send_signal(signal.SIGINT)
        out, err = child.communicate(timeout=20)
    assert child.returncode == 130
    assert (out, err) == ("", "crossfall: stopped; no plan was made, and the one before stands\n")
    assert repository.latest_week() is None
