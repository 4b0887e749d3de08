"""What the keyboard does when somebody stops, pages, forgets or mistypes."""

from __future__ import annotations

import os
import subprocess
import sys

import pytest

from app_files import (
    WEATHER_COLUMNS,
    forecast_json,
    roads_geojson,
    survey_csv,
    weather_csv,
    write_geojson,
)
from crossfall_app.store import repository
from small_district import small_district, small_week

FIRST_DAY = "2026-06-01"


@pytest.fixture
def office(crossfall, tmp_path):
    """Four gravel roads with a survey, in US units."""
    folder = tmp_path / "office"
    assert crossfall("init", folder, "--units", "us").code == 0
    told = crossfall(
        "import", roads_geojson(tmp_path / "r.geojson"), "--graders", 1,
        "--conditions", survey_csv(tmp_path / "s.csv"), "--accept", "-w", folder,
    )  # fmt: skip
    assert told.code == 0, told.err
    return folder


@pytest.fixture
def weathered(crossfall, office, tmp_path):
    crossfall("weather", weather_csv(tmp_path / "g.csv"), *WEATHER_COLUMNS, "-w", office)
    crossfall("weather", forecast_json(tmp_path / "f.json"), "--forecast", "-w", office)
    return office


def _program(*arguments: object, **options: object) -> subprocess.Popen:
    command = [sys.executable, "-m", "crossfall_app", *map(str, arguments)]
    return subprocess.Popen(command, stderr=subprocess.PIPE, text=True, **options)


def test_ctrl_c_while_the_program_loads_is_one_sentence():
    look = (
        "import os, signal, sys; import crossfall_app.cli as cli;"
        "sys.meta_path.insert(0, type('Stop', (), {'find_spec': staticmethod("
        "lambda name, *_: os.kill(os.getpid(), signal.SIGINT) if 'entry' in name else None)}));"
        "cli.main()"
    )
    done = subprocess.run([sys.executable, "-c", look], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stdout) == (130, "")
    assert done.stderr == "crossfall: stopped before it began\n"


def test_a_closed_pager_is_no_mistake(weathered):
    reader, writer = os.pipe()
    os.close(reader)
    with _program("needs", weathered, "--today", FIRST_DAY, stdout=writer) as child:
        os.close(writer)
        err = child.stderr.read()
    assert (child.returncode, err) == (0, "")


def test_last_bladed_without_a_list_is_refused(crossfall, office):
    told = crossfall("needs", office, "--last-bladed", "2026-04-15")
    assert told.is_refused("--last-bladed", "--bad-roads")


def test_a_paved_road_among_the_bad_ones_is_named_with_its_row(crossfall, office, tmp_path):
    line = {"type": "LineString", "coordinates": [[-104.0, 45.0], [-104.0, 45.01]]}
    main = {"id": "M", "route": "Main Street", "surface": "paved"}
    file = write_geojson(
        tmp_path / "main.geojson", [{"type": "Feature", "properties": main, "geometry": line}]
    )
    crossfall("import", file, "--merge", "--accept", "-w", office)
    bad = tmp_path / "bad.csv"
    bad.write_text("road\nRoad 1\nMain Street\n")
    told = crossfall("needs", office, "--today", FIRST_DAY, "--bad-roads", bad)
    assert told.is_refused("bad.csv row 3: Main Street is paved, so it is not bladed")


def test_worth_is_explained_and_figures_are_in_the_agency_s_units(crossfall, weathered, tmp_path):
    assert "Worth: the grader hours" in crossfall("needs", weathered, "--today", FIRST_DAY).out
    told = crossfall("import", roads_geojson(tmp_path / "again.geojson"), "-w", weathered)
    assert " mi in all" in told.out
    assert " km" not in told.out


def test_the_moisture_table_says_where_water_is_needed():
    from crossfall_app.cli.moisture import _open

    # As is, only with water, not at all: 600 roads that all need water are not 600 and 600 more
    row = {"open_cutting": 12, "watered_cutting": 5, "open_hauling": 3, "watered_hauling": 0}
    row |= {"open_blading": 600, "watered_blading": 600, "segments": {"dry": 590, "drying": 10}}
    assert _open(row, "cutting") == "7 / 5 / 588"
    assert _open(row, "hauling") == "3 / 0 / 597"
    assert _open(row, "blading") == "0 / 600 / 0"


@pytest.mark.usefixtures("doors_open")
def test_cards_go_where_they_can_and_on_the_usual_paper(crossfall, tmp_path):
    folder = tmp_path / "valley"
    crossfall("init", folder, "--units", "us")
    repository.store_district(small_district(), by="tests")
    repository.save_week(small_week(), by="tests")
    told = crossfall("cards", folder, "--out", tmp_path / "none" / "c.pdf")
    assert told.is_refused("--out", "is not there")
    told = crossfall("cards", folder, "--out", tmp_path / "c.pdf")
    assert told.code == 0, told.err
    assert "1 job card of plan" in told.out
    pdf = (tmp_path / "c.pdf").read_bytes()
    letter = crossfall("cards", folder, "--out", tmp_path / "l.pdf", "--paper", "letter")
    a4 = crossfall("cards", folder, "--out", tmp_path / "a.pdf", "--paper", "a4")
    assert (letter.code, a4.code) == (0, 0)
    assert len(pdf) == len((tmp_path / "l.pdf").read_bytes())
    assert len(pdf) != len((tmp_path / "a.pdf").read_bytes())


def test_the_doctor_tells_what_a_plan_would_rest_on(crossfall, office, tmp_path):
    told = crossfall("doctor", office, "--json")
    assert told.code == 0
    thin = {each["check"]: each["told"] for each in told.json["findings"] if each["is_warning"]}
    assert thin.keys() == {"weather", "forecast", "fleet", "prices"}
    assert "1 of 1 machines are assumed" in thin["fleet"]
    old = weather_csv(tmp_path / "g.csv")
    old.write_text(old.read_text().replace("2026-", "2021-"))
    assert crossfall("weather", old, "-w", office).code == 0
    assert "ends on 2021-05-31" in crossfall("doctor", office).out


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("plan", "--start", "soon"), ("--start is 'soon'",)),
        (("import", "--graders", 1, "--yard", "home"), ("--yard is 'home'; expected LON,LAT",)),
        (("weather", "x.csv", "--column", "Rain"), ("--column is 'Rain'", "--column rain=Rain")),
        (("weather", "x.csv", "--at", "1,2", "--unit", "in"), ("--unit rain=in",)),
    ],
)
def test_options_are_named_as_they_are_typed(crossfall, office, arguments, words):
    assert crossfall(*arguments, "-w", office).is_refused(*words)
