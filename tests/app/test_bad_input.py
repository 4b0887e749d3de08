"""Bad input is one sentence that names the place and what to do; nothing is half written."""

from __future__ import annotations

import json
import os
import signal
import sqlite3
import subprocess
import sys
from datetime import date

import pytest

from app_files import (
    LAT,
    LON,
    WEATHER_COLUMNS,
    fleet_toml,
    forecast_json,
    roads_geojson,
    survey_csv,
    weather_csv,
    write_geojson,
)
from crossfall_app.store import audit, models, repository
from crossfall_app.workspace import DATABASE_VARIABLE, open_workspace

FIRST_DAY = "2026-06-01"


@pytest.fixture
def office(crossfall, tmp_path):
    """A workspace that is ready to plan."""
    folder = tmp_path / "office"
    crossfall("init", folder)
    brought = crossfall(
        "import", roads_geojson(tmp_path / "roads.geojson"), "--accept", "-w", folder,
        "--fleet", fleet_toml(tmp_path / "fleet.toml"),
        "--conditions", survey_csv(tmp_path / "survey.csv"),
    )  # fmt: skip
    assert brought.code == 0, brought.err
    for told in (
        crossfall("weather", weather_csv(tmp_path / "g.csv"), *WEATHER_COLUMNS, "-w", folder),
        crossfall("weather", forecast_json(tmp_path / "f.json"), "--forecast", "-w", folder),
    ):
        assert told.code == 0, told.err
    return folder


@pytest.fixture
def unchanged(office):
    """Fails the test when the store is not as it was before."""
    before = _everything()
    yield office
    open_workspace(office)
    assert _everything() == before


def _everything():
    tables = (
        models.Node, models.Segment, models.PointFeature, models.Condition, models.WeatherRecord,
        models.Forecast, models.Machine, models.Operator, models.Place, models.Pit, models.Plan,
        models.JobCard, models.PolicyVersion, models.Audit,
    )  # fmt: skip
    # As text, for arrays do not compare to one truth
    return {
        table.__name__: [str(row) for row in table.objects.order_by("pk").values_list()]
        for table in tables
    }


def _line(number, *places, **properties):
    given = {"id": f"R{number}", "route": f"Road {number}", "surface": "gravel", **properties}
    geometry = {"type": "LineString", "coordinates": [list(place) for place in places]}
    return {"type": "Feature", "properties": given, "geometry": geometry}


def _imports(crossfall, office, file, *more):
    return crossfall("import", file, "--accept", "-w", office, *more)


def test_a_truncated_pbf(crossfall, unchanged, tmp_path):
    import osmium
    from osmium.osm.mutable import Node, Way

    whole = tmp_path / "whole.osm.pbf"
    with osmium.SimpleWriter(str(whole)) as writer:
        for n in range(2000):
            writer.add_node(Node(id=n + 1, location=(LON + n / 1000, LAT)))
        for n in range(1999):
            writer.add_way(Way(id=n + 1, nodes=[n + 1, n + 2], tags={"highway": "track"}))
    file = tmp_path / "cut.osm.pbf"
    file.write_bytes(whole.read_bytes()[: whole.stat().st_size // 2])
    assert _imports(crossfall, unchanged, file).is_refused("cut.osm.pbf")


def test_geojson_in_feet(crossfall, unchanged, tmp_path):
    lines = [
        _line(n, (3_100_000 + 2600 * n, 400_000), (3_102_600 + 2600 * n, 400_000)) for n in (0, 1)
    ]
    file = write_geojson(tmp_path / "feet.geojson", lines)
    assert _imports(crossfall, unchanged, file).is_refused("feet.geojson")


def test_an_empty_layer(crossfall, unchanged, tmp_path):
    file = write_geojson(tmp_path / "empty.geojson", [])
    assert _imports(crossfall, unchanged, file).is_refused("empty.geojson")


def test_an_empty_geopackage(crossfall, unchanged, tmp_path):
    file = tmp_path / "empty.gpkg"
    with sqlite3.connect(file) as package:
        package.execute("PRAGMA application_id = 1196444487")
    assert _imports(crossfall, unchanged, file).is_refused("empty.gpkg")


def test_duplicate_ids(crossfall, unchanged, tmp_path):
    lines = [_line(7, (LON, LAT), (LON + 0.01, LAT)), _line(7, (LON, LAT), (LON, LAT + 0.01))]
    file = write_geojson(tmp_path / "twice.geojson", lines)
    assert _imports(crossfall, unchanged, file).is_refused("twice.geojson", "R7")


def test_zero_length_lines(crossfall, unchanged, tmp_path):
    lines = [_line(1, (LON, LAT), (LON + 0.01, LAT)), _line(2, (LON, LAT), (LON, LAT))]
    file = write_geojson(tmp_path / "point.geojson", lines)
    assert _imports(crossfall, unchanged, file).is_refused("point.geojson", "2")


def test_zero_length_lines_can_be_left_out(crossfall, office, tmp_path):
    lines = [_line(1, (LON, LAT), (LON + 0.01, LAT)), _line(2, (LON, LAT), (LON, LAT))]
    file = write_geojson(tmp_path / "point.geojson", lines)
    told = _imports(crossfall, office, file, "--skip-bad", "--json")
    assert (told.code, told.json["segments"]) == (0, 1)


@pytest.mark.parametrize(
    ("option", "text", "words"),
    [
        ("--column", "colour=COL", ("colour",)),
        ("--column", "width_m=BREADTH", ("BREADTH", "roads.geojson")),
        ("--column", "width_m", ("ours=theirs",)),
        ("--surface", "AGG=stones", ("stones", "gravel")),
    ],
)
def test_unknown_columns(crossfall, unchanged, tmp_path, option, text, words):
    told = _imports(crossfall, unchanged, tmp_path / "roads.geojson", option, text)
    assert told.is_refused(*words)


def test_latitude_and_longitude_exchanged(crossfall, unchanged, tmp_path):
    lines = [_line(n, (LAT, LON + n / 100), (LAT, LON + (n + 1) / 100)) for n in (0, 1)]
    file = write_geojson(tmp_path / "swapped.geojson", lines)
    assert _imports(crossfall, unchanged, file).is_refused("swapped.geojson")
    assert _imports(crossfall, unchanged, file, "--near", f"{LAT},{LON}").is_refused("longitude")


def test_a_file_that_is_not_there(crossfall, unchanged, tmp_path):
    assert _imports(crossfall, unchanged, tmp_path / "none.osm").is_refused("none.osm")
    assert _imports(crossfall, unchanged, tmp_path / "roads.dwg").is_refused("roads.dwg")
    assert crossfall("weather", tmp_path / "none.csv", "-w", unchanged).is_refused("none.csv")
    for option in ("--fleet", "--conditions", "--policy"):
        told = crossfall("import", option, tmp_path / "none.toml", "-w", unchanged, "--accept")
        assert told.is_refused("none.toml")


def test_a_weather_gap(crossfall, unchanged, tmp_path):
    file = weather_csv(tmp_path / "gap.csv", gap=range(40, 60))
    told = crossfall("weather", file, *WEATHER_COLUMNS, "-w", unchanged)
    assert told.is_refused("gap.csv", "2026-05-11 to 2026-05-30", "--keep-gaps")


def test_a_weather_gap_that_is_kept_is_unknown_never_dry(crossfall, office, tmp_path):
    models.WeatherRecord.objects.all().delete()
    file = weather_csv(tmp_path / "gap.csv", gap=range(40, 60))
    told = crossfall("weather", file, *WEATHER_COLUMNS, "--keep-gaps", "-w", office)
    assert told.code == 0, told.err
    told = crossfall("plan", office, "--start", FIRST_DAY, "--seconds", 0.1, "--json")
    assert told.code == 3
    assert told.err.startswith("crossfall: not one of 4 jobs can be done")
    assert told.err.count("\n") == 1
    assert told.json["jobs_served"] == 0
    assert {each["binding"] for each in told.json["unserved"]} == {"no_workable_day"}


def test_a_forecast_in_other_units(crossfall, unchanged, tmp_path):
    file = forecast_json(tmp_path / "furlongs.json", rain_unit="furlong")
    told = crossfall("weather", file, "--forecast", "-w", unchanged)
    assert told.is_refused("furlongs.json", "furlong")
    content = json.loads(forecast_json(tmp_path / "hot.json").read_text())
    for name in content["daily"]:
        if name.startswith("temperature"):
            content["daily"][name] = [68.0] * 6
    (tmp_path / "hot.json").write_text(json.dumps(content))
    told = crossfall("weather", tmp_path / "hot.json", "--forecast", "-w", unchanged)
    assert told.is_refused("hot.json")


def test_weather_in_other_units(crossfall, unchanged, tmp_path):
    columns = [word.replace("rain=mm", "rain=in") for word in WEATHER_COLUMNS]
    told = crossfall("weather", tmp_path / "g.csv", *columns, "-w", unchanged)
    assert told.is_refused("g.csv")
    file = weather_csv(tmp_path / "g.csv")
    file.write_text(file.read_text().replace("rain_mm", "Rain"))
    told = crossfall("weather", file, "--column", "rain=Rain", "-w", unchanged)
    assert told.is_refused("--unit rain=mm")
    told = crossfall("weather", tmp_path / "g.csv", "-w", unchanged)
    assert told.is_refused("g.csv", "columns")


def test_a_second_file_that_is_bad_spoils_the_first(crossfall, unchanged, tmp_path):
    good = weather_csv(tmp_path / "good.csv", first_day=date(2025, 1, 1))
    (tmp_path / "bad.csv").write_text("date,rain_mm,tmin_c,tmax_c\n2026-01-01,wet,1,2\n")
    told = crossfall("weather", good, tmp_path / "bad.csv", *WEATHER_COLUMNS, "-w", unchanged)
    assert told.is_refused("bad.csv")


def test_a_start_before_the_weather(crossfall, unchanged):
    told = crossfall("plan", unchanged, "--start", "2019-06-01", "--seconds", 0.1)
    assert told.is_refused("2019-06-01")


def test_a_start_long_after_the_weather(crossfall, unchanged):
    told = crossfall("plan", unchanged, "--start", "2026-09-01", "--seconds", 0.1)
    assert told.is_refused("2026-09-01")


def test_no_grader(crossfall, unchanged, tmp_path):
    file = fleet_toml(tmp_path / "roller.toml", kind="roller")
    told = crossfall("import", "--fleet", file, "--accept", "-w", unchanged)
    assert told.is_refused("roller.toml", "grader")


def test_no_fleet_at_all(crossfall, office):
    models.Operator.objects.update(is_current=False)
    models.Machine.objects.update(is_current=False)
    told = crossfall("plan", office, "--start", FIRST_DAY, "--seconds", 0.1)
    assert told.is_refused("grader")
    assert models.Plan.objects.count() == 0


@pytest.mark.parametrize("hours", [0.0, -3.0, 40.0])
def test_a_shift_of_zero_hours(crossfall, unchanged, tmp_path, hours):
    file = fleet_toml(tmp_path / "idle.toml", shift_h=hours)
    told = crossfall("import", "--fleet", file, "--accept", "-w", unchanged)
    assert told.is_refused("idle.toml", "shift_h")


def test_a_bad_survey_spoils_the_whole_import(crossfall, unchanged, tmp_path):
    roads = roads_geojson(tmp_path / "more.geojson", n_roads=6)
    file = survey_csv(tmp_path / "survey.csv", n_roads=7)
    told = _imports(crossfall, unchanged, roads, "--conditions", file)
    assert told.is_refused("survey.csv", "R6")


def test_a_bad_policy(crossfall, unchanged, tmp_path):
    file = tmp_path / "policy.toml"
    for text, words in (
        ("[moisture]\nrain_limit_mm = 4.0\n", ("version",)),
        ('version = "2"\n[moisture]\nrain_limit = 4.0\n', ("rain_limit",)),
        ('version = "2"\n[moisture]\nrain_limit_mm = "much"\n', ("rain_limit_mm",)),
        ('version = "2"\n[network]\nsnap_m = -4.0\n', ("snap_m", "0 to 20")),
        ('version = "1"\n[moisture]\nrain_limit_mm = 4.0\n', ("new version",)),
        ("version = ", ("policy.toml",)),
    ):
        file.write_text(text)
        told = crossfall("import", "--policy", file, "--accept", "-w", unchanged)
        assert told.is_refused(*words), text


def test_a_policy_that_is_good(crossfall, office, tmp_path):
    file = tmp_path / "policy.toml"
    file.write_text('version = "2"\n[moisture]\nrain_limit_mm = 4.0\n')
    assert crossfall("import", "--policy", file, "--accept", "-w", office).code == 0
    assert repository.load_policy().moisture.rain_limit_mm == 4.0


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("plan", "--days", "0"), ("--days",)),
        (("plan", "--days", "15"), ("--days",)),
        (("plan", "--start", "soon"), ("2026-05-12",)),
        (("plan", "--dayz", "3"), ("--dayz",)),
        (("plam",), ("plam",)),
        (("import",), ("nothing to import",)),
        (("import", "--graders", "2", "--yard", "somewhere"), ("LON,LAT",)),
        (("import", "--yard", "1,2", "--graders", "2", "--fleet", "x.toml"), ("both",)),
        (("weather", "x.json", "--forecast", "--unit", "rain=mm"), ("observed",)),
        (("weather", "x.csv", "--issued", "2026-05-01"), ("--forecast",)),
        (("run", "7"), ("not the name of a run",)),
        (("needs", "--accept", "--today", FIRST_DAY), ("nothing to accept",)),
    ],
)
def test_words_that_make_no_sense(crossfall, unchanged, monkeypatch, arguments, words):
    monkeypatch.chdir(unchanged)
    assert crossfall(*arguments).is_refused(*words)


_KILLED_IN_THE_MIDDLE = """
import sys, time
from pathlib import Path
from crossfall_app.workspace import open_workspace

open_workspace(Path(sys.argv[-1]))
from crossfall_app.store import network_rows

def wait_to_be_killed(*_, **__):
    print("half written", flush=True)
    time.sleep(60)

from crossfall_app.cli import entry

network_rows.audit.note = wait_to_be_killed
sys.exit(entry.run(sys.argv[1:]))
"""


@pytest.mark.parametrize(
    "database", ["sqlite", pytest.param("postgresql", marks=pytest.mark.postgres)]
)
def test_an_import_killed_in_the_middle(request, database, crossfall, tmp_path):
    folder = tmp_path / "office"
    if database == "postgresql":
        os.environ[DATABASE_VARIABLE] = request.getfixturevalue("postgres").empty_database()
    crossfall("init", folder)
    crossfall("import", roads_geojson(tmp_path / "a.geojson"), "--accept", "-w", folder)
    before = _everything()
    wider = roads_geojson(tmp_path / "b.geojson", n_roads=30, width_m=9.0)
    arguments = ["import", str(wider), "--accept", "-w", str(folder)]
    with subprocess.Popen(
        [sys.executable, "-c", _KILLED_IN_THE_MIDDLE, *arguments], stdout=subprocess.PIPE, text=True
    ) as child:
        assert child.stdout.readline() == "half written\n"
        os.kill(child.pid, signal.SIGKILL)
    assert child.returncode == -signal.SIGKILL
    open_workspace(folder)
    assert _everything() == before
    assert len(repository.load_network().segments) == 4
    assert audit.first_break() is None
    assert crossfall("doctor", folder).code == 0
    # And the import simply works the next time
    told = crossfall("import", wider, "--accept", "-w", folder, "--json")
    assert (told.code, told.json["added"], told.json["changed"]) == (0, 26, 4)
