"""The condition summary: shares that add up, the worst first, and what is only assumed."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from dataclasses import replace
from datetime import UTC, date, datetime

import pytest

from crossfall.errors import InputError
from crossfall.model import Condition, Need, Treatment
from crossfall.report.condition_map import RATING_COLOUR, condition_map
from crossfall.report.condition_summary import condition_summary_data, condition_summary_pdf
from small_district import TODAY, small_district, small_network

DISTRICT = small_district()
MADE = datetime(2026, 5, 12, 7, tzinfo=UTC)


def look(segment: str, score: float, **facts: object) -> Condition:
    made = Condition(segment, TODAY, *(5 * [score]), method="estimated")
    return replace(made, **facts)


LOOKS = (look("s0", 5.0, method="measured"), look("s1", 2.0, drainage=1.0), look("s2", 3.0))
NEED = Need("n", "s1", Treatment.DITCH_CLEANING, "a ditch that holds 300 mm of water", (), 0.5, ())


def data(looks=LOOKS, **options):
    return condition_summary_data(DISTRICT, looks, (NEED,), today=TODAY, **options)


def test_shares_and_lengths_add_up():
    told = data()
    # Three stretches of 0.78 km, one each excellent, fair and, with the worst score at 1, failed
    assert [(row["label"], row["n"], row["share"]) for row in told["ratings"]] == [
        ("5 Excellent", 1, "33 %"), ("4 Good", 0, "0 %"), ("3 Fair", 1, "33 %"),
        ("2 Poor", 0, "0 %"), ("1 Failed", 1, "33 %"),
    ]  # fmt: skip
    assert sum(row["percent"] for row in told["ratings"]) == pytest.approx(100, abs=0.01)
    assert told["figures"][0]["value"] == "2.3 km"
    assert told["figures"][1]["value"] == "3.0"
    (only,) = told["classes"]
    assert (only["name"], only["mean"]) == ("local", "3.0")
    assert only["cells"] == ["33 %", "0 %", "33 %", "0 %", "33 %"]


def test_the_worst_come_first_with_their_cause():
    first, second, third = data()["worst"]
    assert (first["road"], first["rating"], first["lowest"]) == ("Road 1", "1", "drainage 1.0")
    assert first["need"] == "Clean ditch"
    assert first["cause"].replace("\N{NO-BREAK SPACE}", " ") == "a ditch that holds 300 mm of water"
    assert (second["road"], second["need"]) == ("Road 2", "nothing due")
    assert third["how"] == "measured"


def test_how_it_is_known_is_said():
    told = data((look("s0", 4.0), look("s1", 4.0, method="default")))
    assert [(row["method"], row["share"]) for row in told["how"]] == [
        ("estimated", "50 %"), ("default", "50 %"),
    ]  # fmt: skip
    assert told["key"][-1]["label"] == "dashed: nobody has looked yet"
    assert "stroke-dasharray" in told["map"]


def test_us_units_reach_every_figure():
    told = data(units="us")
    assert told["figures"][0]["value"] == "1.5 mi"
    assert "11¾ in" in " ".join(told["worst"][0]["cause"].split())


def test_the_map_is_sound_and_draws_every_road():
    network = small_network()
    drawn = condition_map(network, {"s0": 5, "s1": 1}, title="A & B")
    root = ET.fromstring(drawn)
    strokes = [each.get("stroke") for each in root.iter() if each.tag.endswith("path")]
    assert strokes.count(RATING_COLOUR[5]) == 1
    assert strokes.count(RATING_COLOUR[1]) == 1
    assert strokes.index(RATING_COLOUR[1]) > strokes.index(RATING_COLOUR[5]), "the worst on top"
    assert "#dcd8cc" in strokes, "the road nobody rated is drawn to find one's way by"


@pytest.mark.parametrize(("paper", "units"), [("a4", "metric"), ("letter", "us")])
def test_paper_is_made_the_same_twice(paper, units):
    made = [
        condition_summary_pdf(
            DISTRICT, LOOKS, (NEED,), today=TODAY, made_at=MADE, paper=paper, units=units
        )
        for _ in range(2)
    ]
    assert made[0].startswith(b"%PDF-")
    assert made[0] == made[1]


@pytest.mark.parametrize(
    ("looks", "options", "message"),
    [
        ((), {}, "no maintained road has a condition"),
        (LOOKS, {"paper": "a5"}, "paper is 'a5'; expected one of a4, letter"),
        (LOOKS, {"units": "feet"}, "units is 'feet'"),
    ],
)
def test_what_cannot_be_printed_is_refused(looks, options, message):
    with pytest.raises(InputError, match=message):
        condition_summary_pdf(DISTRICT, looks, (), today=date(2026, 5, 12), made_at=MADE, **options)
