"""The calculators at the keyboard: no workspace, figures with units, one sentence when wrong."""

from __future__ import annotations

import json

import pytest

from crossfall.design.alone import ALONE

SAND_AND_ROCK = """sieve_mm,rock_passing_pct,sand_passing_pct
19,100,100
4.75,10,90
2.36,5,70
"""


@pytest.fixture
def files(tmp_path):
    """What a laboratory and a shop hand over."""
    (tmp_path / "pit.csv").write_text(
        "sieve_mm,passing_pct\n25,100\n19,98\n12.5,80\n4.75,60\n2.36,30\n0.075,10\n"
    )
    (tmp_path / "trh.csv").write_text("sieve_mm,passing_pct\n26.5,96\n4.75,56\n2,42\n0.425,35\n")
    (tmp_path / "piles.csv").write_text(SAND_AND_ROCK)
    (tmp_path / "ours.toml").write_text(
        '[[specification]]\nname = "ours"\nsource = "our board"\n'
        "bands = [[19.0, 100, 100], [4.75, 40, 60]]\n"
    )
    (tmp_path / "strict.toml").write_text(
        '[[specification]]\nname = "strict"\nsource = "our board"\n'
        "bands = [[19.0, 100, 100], [4.75, 40, 60], [2.36, 60, 65]]\n"
    )
    (tmp_path / "piles.toml").write_text(
        '[[pile]]\nname = "rock"\nprice_per_t = 12.0\nplasticity = "NP"\n'
        'passing_pct = { "19" = 100, "4.75" = 10 }\n'
        '[[pile]]\nname = "sand"\nprice_per_t = 5\navailable_share = 0.5\n'
        'passing_pct = { "19" = 100, "4.75" = 90 }\n'
    )
    (tmp_path / "edges.toml").write_text(
        '[[edge]]\nname = "plain"\nset_price = 300\nlife_h = 60\n'
        '[[edge]]\nname = "bits"\nset_price = 1800\nlife_h = 600\nchange_h = 1\n'
    )
    return tmp_path


def test_a_regravel_without_a_network_has_the_figures_of_the_check(crossfall):
    told = crossfall(
        "design", "regravelling", "--length-m", 1600, "--width-m", 7, "--depth-mm", 75,
        "--edge-slope", 0, "--payload-t", 16, "--body-m3", 10, "--json",
    )  # fmt: skip
    assert told.code == 0, told.err
    sums = {row["name"]: row["value"] for row in told.json["job"]["quantities"]}
    # 7.0 m by 75 mm by 1,600 m, bulking 1.25: closed form, as in the method's check values
    assert sums["compacted gravel"] == pytest.approx(840.0)
    assert sums["loose gravel"] == pytest.approx(1050.0)
    assert sums["gravel, dry mass"] == pytest.approx(1764.0)
    stakes = [stake for stage in told.json["job"]["stages"] for stake in stage["stakes"]]
    assert len(stakes) == sums["loads"] >= 105


@pytest.mark.parametrize("treatment", [each.value for each in ALONE])
def test_every_treatment_is_said_in_full(crossfall, treatment):
    told = crossfall("design", treatment, "--length-km", 1.6, "--culvert-at-m", 400)
    assert told.code == 0, told.err
    for words in (
        "h of the grader",
        "h on the job",
        "At shift end:",
        "prices)",
        "licensed practice",
    ):
        assert words in told.out
    assert "None" not in told.out


def test_stakes_loads_and_machines_are_said(crossfall):
    told = crossfall(
        "design", "regravelling", "--length-m", 400, "--depth-mm", 75, "--stakes", "--trucks", 5
    )
    assert "stakes, about" in told.out
    assert "1: 0 m" in told.out
    assert "slowest:" in told.out
    assert "idle" in told.out
    assert "Roll 6 passes" in told.out


def test_feet_inches_and_miles_give_the_same_job(crossfall):
    metric = crossfall(
        "design", "regravelling", "--length-m", 1609.344, "--width-m", 7.3152, "--depth-mm", 76.2,
        "--json",
    )  # fmt: skip
    us = crossfall(
        "design", "regravelling", "--length-mi", 1, "--width-ft", 24, "--depth-in", 3, "--json"
    )
    assert us.json["job"]["work_h"] == pytest.approx(metric.json["job"]["work_h"])
    shown = crossfall("design", "blading", "--length-mi", 1, "--units", "us")
    assert "0 ft to 5,280 ft" in shown.out
    assert " m:" not in shown.out


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["regravelling"], ["needs a length"]),
        (["blading", "--length-m", "-5"], ["length_m is -5", "expected 1 to"]),
        (["blading", "--length-m", "900", "--length-ft", "3000"], ["given twice"]),
        (["regravelling", "--length-m", "900", "--depth-mm", "3"], ["inches are times 25.4"]),
        (["blading", "--length-m", "900", "--width-m", "24"], ["feet are times 0.3048"]),
        (
            ["reshaping", "--length-m", "900", "--crossfall-pct", "0.04"],
            ["looks like a ratio", "percent"],
        ),
        (["reshaping", "--length-m", "900", "--treatment", "blading"], ["go with a road's name"]),
        (["Creek Road", "--length-m", "900"], ["goes with a treatment's name"]),
        (["engineer", "--length-m", "900"], ["goes with a treatment's name"]),
        (["blading", "--length-m", "900", "--units", "feet"], ["expected 'metric' or 'us'"]),
        (["culvert_clearing", "--length-m", "900", "--culvert-at-m", "901"], ["culverts_at_m"]),
    ],
)
def test_what_cannot_be_is_refused_in_one_sentence(crossfall, options, words):
    assert crossfall("design", *options).is_refused(*words)


def test_a_posted_limit_that_keeps_every_truck_out_lays_nothing_out(crossfall):
    told = crossfall("design", "regravelling", "--length-m", 900, "--limit-t", 11, "--truck-t", 11)
    assert told.code == 3
    assert "lets no loaded truck in" in told.err


def test_a_check_names_the_sieves_that_are_out(crossfall, files):
    told = crossfall("gravel", "check", files / "pit.csv", "--spec", "iowa 11")
    assert told.code == 0
    assert "does not meet it; out: 4.75 mm 60 (wants 30 to 55)" in told.out
    figures = crossfall("gravel", "check", files / "pit.csv", "--spec", "Iowa 11", "--json").json
    assert (figures["is_met"], figures["is_verified"]) == (False, True)
    assert [row["what"] for row in figures["rows"] if row["is_met"] is False] == ["4.75 mm"]


def test_a_check_foretells_and_draws(crossfall, files):
    chart = files / "chart.svg"
    told = crossfall(
        "gravel", "check", files / "trh.csv", "--specs", files / "one.toml",
        "--linear-shrinkage-pct", 5,
    )  # fmt: skip
    assert told.is_refused("one.toml does not exist")
    (files / "one.toml").write_text(
        '[[specification]]\nname = "one"\nsource = "us"\nbands = [[26.5, 95, 100]]\n'
    )
    told = crossfall(
        "gravel", "check", files / "trh.csv", "--specs", files / "one.toml",
        "--linear-shrinkage-pct", 5, "--chart", chart,
    )  # fmt: skip
    # TRH 20 (1990): Gc = (96 - 42) 56 / 100, Sp = 5 x 35; the limits are recalled
    assert "Gc 30.2, Sp 175: good" in told.out
    assert chart.read_text().startswith("<svg")


def test_a_blend_is_the_cheapest_one(crossfall, files):
    told = crossfall(
        "gravel", "blend", files / "piles.csv", "--specs", files / "ours.toml",
        "--price-per-t", "rock=12", "--price-per-t", "sand=5", "--json",
    )  # fmt: skip
    assert told.json["shares"] == pytest.approx({"rock": 0.375, "sand": 0.625})
    assert told.json["price_per_t"] == pytest.approx(7.625)
    assert told.json["held_by"] == ["4.75 mm at most 60"]
    less = crossfall("gravel", "blend", files / "piles.toml", "--specs", files / "ours.toml")
    assert "50.0 % rock, 50.0 % sand" in less.out


def test_a_blend_that_cannot_be_names_the_sieves_and_exits_with_3(crossfall, files):
    told = crossfall(
        "gravel", "blend", files / "piles.csv", "--specs", files / "strict.toml",
        "--price-per-t", "rock=12", "--price-per-t", "sand=5",
    )  # fmt: skip
    assert told.code == 3
    assert told.out == ""
    assert "no mix of these piles meets strict" in told.err
    assert "2.36 mm at least 60" in told.err or "4.75 mm at most 60" in told.err
    assert "misses by" in told.err


def test_scalping_says_yield_price_and_where_the_oversize_goes(crossfall, files):
    told = crossfall(
        "gravel", "scalp", files / "pit.csv", "--top-mm", 12.5, "--feed-price-per-t", 3,
        "--screening-price-per-t", 1.2, "--processed-price-per-t", 9, "--json",
    )  # fmt: skip
    assert told.json["yield_share"] == pytest.approx(0.8)
    assert told.json["cost_per_t"] == pytest.approx(4.2 / 0.8)
    assert told.json["saved_per_t"] == pytest.approx(9 - 4.2 / 0.8)
    assert "never into a ridge" in told.json["oversize"]


def test_edges_assume_no_saving(crossfall, files):
    told = crossfall("gravel", "edges", files / "edges.toml", "--speed-km-h", 8, "--efficiency", 1)
    assert "plain 0.625, bits 0.375" in told.out
    assert "no saving in bladings is counted" in told.err
    measured = crossfall(
        "gravel", "edges", "--edge", "plain=300/60", "--edge", "bits=1800/600",
        "--bladings-ratio", "bits=0.8", "--speed-km-h", 8, "--efficiency", 1, "--json",
    )  # fmt: skip
    assert measured.json["edges"][1]["cost_per_km_with_saving"] == pytest.approx(0.3)


@pytest.mark.parametrize(
    ("content", "words"),
    [
        ("sieve_in,passing_pct\n1,100\n", ["'sieve_in'", "inches are times 25.4"]),
        ("sieve_mm,passing_pct\n19,100\n", ["1 sieve(s)"]),
        ("sieve_mm,passing_pct\n19,0.9\n4.75,0.5\n", ["not shares"]),
        ("sieve_mm,passing_pct\n19,60\n4.75,80\n", ["a finer sieve cannot pass more"]),
        ("sieve_mm,passing_pct\n19,100\n19,90\n", ["19 mm sieve stands twice"]),
        ("sieve_mm,passing_pct\n19,many\n", ["'many'", "row 2"]),
        ('sieve_mm,passing_pct\n19,"98,5"\n', ["decimal point"]),
        ("sieve_mm\n19\n", ["lacks sieve_mm or a column"]),
        ("", ["is empty"]),
    ],
)
def test_a_bad_gradation_is_refused_in_one_sentence(crossfall, tmp_path, content, words):
    file = tmp_path / "bad.csv"
    file.write_text(content)
    assert crossfall("gravel", "check", file, "--spec", "Iowa 11").is_refused(*words)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["check", "pit.csv"], ["spec is missing", "Iowa 11"]),
        (["check", "pit.csv", "--spec", "Iowa 12"], ["'Iowa 12'", "Iowa 11"]),
        (["check", "pit.csv", "--spec", "Iowa 11", "--plasticity", "none"], ["plasticity"]),
        (["blend", "piles.csv", "--spec", "Iowa 10"], ["no price for 'rock'"]),
        (["blend", "piles.csv", "--spec", "Iowa 11", "--price-per-t", "rock=12",
          "--price-per-t", "sand=5"], ["rock has no 25 mm sieve"]),
        (["blend", "piles.toml", "--spec", "Iowa 10", "--price-per-t", "rock=1"], ["too many"]),
        (["scalp", "pit.csv", "--top-mm", "19", "--efficiency", "90"], ["efficiency is 90"]),
        (["edges"], ["there is no edge"]),
        (["edges", "--edge", "plain=300"], ["PRICE/HOURS"]),
        (["edges", "--edge", "plain=300/60", "--bladings-ratio", "bits=1"], ["unknown edge"]),
        (["edges", "pit.csv"], ["not TOML"]),
    ],
)  # fmt: skip
def test_bad_options_are_refused_in_one_sentence(crossfall, files, arguments, words):
    given = [files / each if "." in each and not each[0].isdigit() else each for each in arguments]
    assert crossfall("gravel", *given).is_refused(*words)


def test_a_file_with_an_unknown_key_is_refused(crossfall, files):
    (files / "edges.toml").write_text('[[edge]]\nname = "plain"\nprice = 300\nlife_h = 60\n')
    assert crossfall("gravel", "edges", files / "edges.toml").is_refused("'price'", "set_price")
    (files / "ours.toml").write_text('[[specification]]\nname = "o"\nsource = "s"\nbands = [[1]]\n')
    told = crossfall("gravel", "check", files / "pit.csv", "--specs", files / "ours.toml")
    assert told.is_refused("[sieve_mm, low_pct, high_pct]")


def test_json_is_one_object(crossfall, files):
    told = crossfall("gravel", "edges", files / "edges.toml", "--json")
    assert json.loads(told.out)["currency"] == "USD"
