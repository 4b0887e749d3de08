"""Ditches, culverts and work zones screened at the keyboard, and a road sifted in place."""

from __future__ import annotations

import json
import os
import subprocess
import sys

import pytest
from typer.testing import CliRunner

from crossfall.errors import CrossfallError, InputError, UnitsError
from crossfall_app.cli.entry import build

DITCH = ("--ditch-depth-m", "0.5", "--slope-pct", "1")
RAIN = ("--runoff-c", "0.5", "--rain-mm-h", "60", "--area-ha", "3")


def run(*words: str) -> str:
    done = CliRunner().invoke(build(), list(words), catch_exceptions=True)
    if isinstance(done.exception, CrossfallError):
        raise done.exception
    assert done.exit_code == 0, done.output
    return done.stdout


def test_a_ditch_is_screened_and_an_engineer_confirms():
    told = json.loads(run("design", "ditch", *DITCH, *RAIN, "--json"))
    # 0.5 × 60 mm/h × 3 ha / 360, arithmetic
    assert told["flow_m3_s"] == pytest.approx(0.25)
    assert told["needs_engineer"] is True
    words = run("design", "ditch", *DITCH, *RAIN)
    assert "engineer to confirm" in words
    assert "Assumed: roughness_n 0.03" in words


def test_the_same_ditch_in_us_units():
    us = run("design", "ditch", "--ditch-depth-ft", "1.64042", "--slope-pct", "1",
             "--runoff-c", "0.5", "--rain-in-h", "2.3622", "--area-ac", "7.41316",
             "--units", "us")  # fmt: skip
    # 0.25 m³/s is 8.8 ft³/s
    assert "8.8 ft³/s comes" in us
    assert "m³" not in us


def test_every_distance_of_a_work_zone_is_in_feet_when_feet_are_asked_for():
    us = run("design", "zone", "--posted-mph", "45", "--stay-min", "240", "--adt", "120",
             "--units", "us").replace("\N{NO-BREAK SPACE}", " ")  # fmt: skip
    # Rural signs stand 500 ft apart; devices no more than the speed in mph, taken as feet
    assert "signs 500 ft, 500 ft and 500 ft" in us
    assert "at most 45 ft apart" in us


def test_a_surveyed_ditch_says_where_water_stands(tmp_path):
    survey = tmp_path / "levels.csv"
    survey.write_text("at_m,level_m\n0,10.0\n50,9.5\n100,9.6\n150,8.9\n")
    told = run("design", "ditch", "--levels", str(survey), "--ditch-depth-m", "0.5", *RAIN)
    assert "stands or runs back at 50 to 100 m" in told
    assert "mend the fall first" in told


def test_a_culvert_is_only_ever_obviously_too_small():
    words = ("design", "culvert", "--diameter-in", "18", "--slope-pct", "1")
    assert "obviously too small" in run(*words, "--flow-m3-s", "1.0")
    assert "not obviously too small" in run(*words, "--flow-m3-s", "0.05")


def test_a_work_zone_of_45_mph():
    """Published: 500 ft rural signs; 540 ft taper for 12 ft at 45 mph, 180 ft on a shoulder."""
    words = ("design", "zone", "--posted-mph", "45", "--offset-ft", "12")
    told = json.loads(run(*words, "--beside", "--json"))
    assert told["sign_a_m"] / 0.3048 == pytest.approx(500)
    assert told["taper_m"] / 0.3048 == pytest.approx(180, abs=0.5)
    assert told["merging"]["taper_m"] / 0.3048 == pytest.approx(540, abs=0.5)
    assert told["duration"] == "short term"
    mobile = json.loads(run(*words, "--stay-min", "10", "--adt", "600", "--json"))
    assert (mobile["duration"], mobile["needs_shadow"]) == ("mobile", True)


@pytest.mark.parametrize(
    ("words", "kind", "said"),
    [
        (("ditch", *DITCH), InputError, "needs --runoff-c, --rain-mm-h, --area-ha"),
        (("ditch", "--slope-pct", "1", *RAIN), InputError, "needs --ditch-depth-m"),
        (("ditch", *DITCH[:2], *RAIN), InputError, "add --slope-pct or --levels"),
        (("ditch", *DITCH[:2], "--slope-pct", "0.01", *RAIN), UnitsError, "looks like a ratio"),
        (("ditch", *DITCH[:2], "--slope-pct", "0", *RAIN), InputError, "slope_pct is 0"),
        (("ditch", *DITCH, *RAIN, "--over-h", "24"), InputError, "a day's depth"),
        (("ditch", *DITCH, *RAIN, "--area-ac", "1"), InputError, "given twice"),
        (("ditch", *DITCH, *RAIN, "--length-m", "9"), InputError, "goes with a treatment"),
        (("ditch", *DITCH, *RAIN, "--adt", "9"), InputError, "adt does not go with ditch"),
        (("culvert", "--slope-pct", "1"), InputError, "needs --diameter-mm"),
        (("zone", "--posted-mph", "450"), InputError, "posted_km_h is 724"),
        (("blading", "--length-m", "9", "--adt", "9"), InputError, "goes with ditch"),
        (("reshaping", "--length-m", "90", "--sift-gap-mm", "900"), InputError, "sift_gap_mm"),
    ],
)
def test_what_cannot_be_screened_is_refused(words, kind, said):
    with pytest.raises(kind, match=said):
        run("design", *words)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("at_m,height\n0,1\n", "expected at_m, level_m"),
        ("at_m,level_m\n0,1\n0,2\n", "stands twice"),
        ("at_m,level_m\n0,1\n", "expected at least two"),
        ("at_m,level_m\n0,1\n9,high\n", "is not two figures"),
        ("at_m,level_m\n0,1\n9,1\n", "a level ditch carries nothing"),
    ],
)
def test_a_survey_that_cannot_be_is_refused(tmp_path, text, said):
    survey = tmp_path / "levels.csv"
    survey.write_text(text)
    with pytest.raises(InputError, match=said):
        run("design", "ditch", "--levels", str(survey), "--ditch-depth-m", "0.5", *RAIN)


@pytest.fixture
def road_top(tmp_path):
    file = tmp_path / "road.csv"
    file.write_text("sieve_mm,passing_pct\n75,100\n25,80\n4.75,40\n0.425,20\n0.075,8\n")
    return str(file)


def test_a_road_is_sifted_in_place(road_top):
    """Arithmetic: 1,000 m × 7 m × 50 mm × 2.1 t/m³ = 735 t, of which 80 % × 0.9 fall through."""
    told = json.loads(
        run("gravel", "sift", road_top, "--length-m", "1000", "--gap-mm", "25",
            "--processed-price-per-t", "12", "--json")
    )  # fmt: skip
    assert told["kept_t"] == pytest.approx(735 * 0.72)
    assert told["oversize_t"] == pytest.approx(735 * 0.28)
    assert told["oversize_m3"] == pytest.approx(350 * 0.28 * 1.25)
    assert told["passing_pct"]["4.75"] == pytest.approx(50.0)
    assert told["saved_per_t"] == pytest.approx(12 - told["cost_per_t"])
    words = run("gravel", "sift", road_top, "--length-m", "1000", "--gap-mm", "25")
    assert "never into a ridge along the shoulder" in words


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--depth-mm", "95"), "20 mm of the 100 mm that are there stay uncut"),
        (("--gap-mm", "300"), "gap_mm is 300"),
        (("--through-share", "0"), "efficiency is 0"),
        (("--hour-price", "-1"), "hour_price is -1"),
    ],
)
def test_what_cannot_be_sifted_is_refused(road_top, words, said):
    usual = ["--length-m", "1000", *(() if "--gap-mm" in words else ("--gap-mm", "25"))]
    with pytest.raises(InputError, match=said):
        run("gravel", "sift", road_top, *usual, *words)


def test_what_a_gravel_foretells_is_drawn(tmp_path):
    file = tmp_path / "pit.csv"
    file.write_text(
        "sieve_mm,passing_pct\n37.5,100\n26.5,96\n25,96\n19,95\n12.5,80\n4.75,56\n2.36,44\n2,42\n"
        "0.425,35\n0.075,10\n"
    )
    drawing = tmp_path / "zones.svg"
    told = run("gravel", "check", str(file), "--spec", "Iowa 11", "--linear-shrinkage-pct", "5",
               "--zones", str(drawing))  # fmt: skip
    assert "Gc 30.2, Sp 175: good" in told
    svg = drawing.read_text()
    for words in ("ravels", "erodes", "slippery", "corrugates", "dusty near", "pit", "recalled"):
        assert words in svg
    with pytest.raises(InputError, match="zones needs the linear shrinkage"):
        run("gravel", "check", str(file), "--spec", "Iowa 11", "--zones", str(drawing))


@pytest.mark.parametrize(
    "words",
    [
        ("design", "dust_control", "--length-km", "1"),
        ("design", "ditch", *DITCH, *RAIN),
        ("design", "zone", "--posted-mph", "45"),
    ],
)
def test_a_calculator_needs_no_workspace_and_no_store(tmp_path, words):
    """In a process of its own, as a foreman would run it in any folder."""
    bare = {k: v for k, v in os.environ.items() if k not in ("DJANGO_SETTINGS_MODULE",)}
    done = subprocess.run(
        [sys.executable, "-m", "crossfall_app", *words, "--json"],
        cwd=tmp_path, env=bare, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    told = json.loads(done.stdout)
    if "rates" in told:
        assert {each["name"] for each in told["rates"]} >= {"grader", "operator"}
        assert all(each["currency"] and each["year"] and each["source"] for each in told["rates"])
