"""Cards on paper: right paper, right units, right number of pages, everything on them."""

from __future__ import annotations

import dataclasses
import re
from datetime import UTC, date, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from crossfall.cards.cautions import cautions_for
from crossfall.cards.sketch import Sketcher
from crossfall.design import design_jobs
from crossfall.errors import InputError
from crossfall.model import CardStep, JobCard, Policy, Treatment
from crossfall.network import build_graph
from crossfall.report import card_data, cards_pdf
from crossfall.report.figures import figure, reword
from crossfall.units import convert
from crossroads import condition, need, small_fleet, small_network, wetness

NBSP = "\N{NO-BREAK SPACE}"


def cards_for(treatment, segment="s1"):
    """Cards straight from a job, without a plan: what is on paper is the same."""
    network, fleet = small_network(), small_fleet()
    (job,) = design_jobs(
        [need(treatment, segment)], [condition(segment)], network, build_graph(network), fleet,
        wetness(network, 3.0), Policy(),
    )  # fmt: skip
    road = network.segment_by_id[segment]
    features = network.features_by_segment[segment]
    sketcher = Sketcher.of(network)
    return [
        JobCard(
            id=f"P1-{number:03d}", number=number, version=2, status="issued",
            made_at=datetime(2026, 6, 15, 6, 15, tzinfo=UTC), plan_id="P1", job_id=job.id,
            stage_id=stage.id, segment_id=segment, day=date(2026, 6, 16), machine="Grader 1",
            operator="Ash", title=f"{stage.treatment.label}: {road.route}",
            where=f"{stage.name}, {stage.from_m:,.0f}{NBSP}m to {stage.to_m:,.0f}{NBSP}m",
            start_clock="07:05",
            moisture="Just right: 9 mm the day before, 7.4 % against an optimum of 7 %.",
            steps=tuple(CardStep(*text.split(" — ")) for text in stage.steps),
            quantities=stage.quantities, stakes=stage.stakes,
            cautions=cautions_for(stage, features), end_state=stage.end_state,
            checks=stage.checks, cost=stage.cost, sketch=sketcher.sketch(road, stage),
            assumed=job.assumed, policy_version="1", is_invented=True, from_m=stage.from_m,
            to_m=stage.to_m,
        )
        for number, stage in enumerate(job.stages, start=1)
    ]  # fmt: skip


def pages(pdf: bytes) -> int:
    return len(re.findall(rb"/Type\s*/Page\b(?!s)", pdf))


def sizes(pdf: bytes) -> set[tuple[int, int]]:
    boxes = re.findall(rb"/MediaBox\s*\[\s*0 0 ([\d.]+) ([\d.]+)\s*\]", pdf)
    return {(round(float(w)), round(float(h))) for w, h in boxes}


@pytest.mark.parametrize(("paper", "size"), [("a4", (595, 842)), ("letter", (612, 792))])
@pytest.mark.parametrize("units", ["metric", "us"])
def test_smoothing_takes_one_page_and_a_lift_two_at_most(paper, size, units):
    smoothing = cards_pdf(cards_for(Treatment.BLADING), paper=paper, units=units)
    assert sizes(smoothing) == {size}
    assert pages(smoothing) == 1
    for card in cards_for(Treatment.REGRAVELLING):
        assert pages(cards_pdf([card], paper=paper, units=units)) <= 2


def test_every_treatment_prints():
    for treatment in Treatment:
        if treatment not in {Treatment.NONE, Treatment.ENGINEER}:
            pdf = cards_pdf(cards_for(treatment, "s2"))
            assert pdf.startswith(b"%PDF")


def test_the_same_cards_give_the_same_bytes():
    cards = cards_for(Treatment.BLADING)
    assert cards_pdf(cards) == cards_pdf(cards)


def test_everything_a_crew_needs_is_on_the_card():
    (card,) = cards_for(Treatment.RESHAPING)
    data = card_data(card)
    said = {each["key"] for each in data["cautions_left"] + data["cautions_right"]}
    assert said | {"local_codes"} == {each.key for each in card.cautions}
    assert "never replaces" in data["law"]
    assert len(data["steps"]) == len(card.steps)
    assert data["number"] == "001"
    assert data["tag"] == "card"
    assert data["version"] == "2"
    assert data["invented"] is True
    assert "USD" in data["cost"]
    assert "prices" in data["cost"]
    assert data["actuals"][:4] == ["start", "end", "passes", "blade hours"]
    assert data["end"]
    assert data["assumed"]


def test_a_draft_says_so():
    (card,) = cards_for(Treatment.BLADING)
    assert card_data(dataclasses.replace(card, status="draft"))["tag"] == "draft"


def test_us_units_leave_no_metric_figure():
    metric = re.compile(rf"\d[ {NBSP}](m|mm|km|m3|m³|L|t|km/h)\b")
    for treatment in (Treatment.RESHAPING, Treatment.REGRAVELLING, Treatment.DITCH_CLEANING):
        for card in cards_for(treatment):
            data = card_data(card, units="us")
            for key in ("where", "moisture", "end", "assumed", "stake_note"):
                assert not metric.search(data[key]), data[key]
            for step in data["steps"]:
                assert not metric.search(step["text"] + step["detail"]), step
            for row in data["quantities"]:
                assert row["unit"] not in {"m", "mm", "m³", "L", "t", "km"}
                assert not metric.search(row["note"])
            for text in data["checks"]:
                assert not metric.search(text)
            for each in data["cautions_left"] + data["cautions_right"]:
                assert not metric.search(each["text"] + each["at"])


def test_stakes_stand_in_columns_from_the_segments_start():
    card = cards_for(Treatment.REGRAVELLING)[-1]
    data = card_data(card)
    flat = [row for column in data["stakes"] for row in column]
    assert [row["number"] for row in flat] == [str(s.number) for s in card.stakes]
    assert flat[0]["at"] == f"{card.from_m + card.stakes[0].at_m:,.0f}"
    assert len(data["stakes"]) <= 6


def test_the_sketch_shows_features_scale_north_and_both_ends():
    (card,) = cards_for(Treatment.BLADING)
    drawn = card_data(card)["map"]
    assert ">N<" in drawn
    assert ">500 m<" in drawn
    assert ">0 m<" in drawn
    assert ">1,609 m<" in drawn
    assert ">B<" in drawn
    assert "County Highway 4" in drawn
    assert "bridge" in card_data(card)["key"]
    assert "ft<" in card_data(card, units="us")["map"]


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        ({"paper": "a5"}, "paper is 'a5'"),
        ({"units": "imperial"}, "units is 'imperial'"),
    ],
)
def test_unknown_paper_and_units_are_refused(asked, words):
    with pytest.raises(InputError, match=words):
        cards_pdf(cards_for(Treatment.BLADING), **asked)


def test_a_card_with_a_link_carries_a_code_and_still_fits():
    cards = cards_for(Treatment.BLADING, "s2")
    plain, linked = cards_pdf(cards), cards_pdf(cards, link="https://roads.example/cards/")
    assert pages(linked) == pages(plain) == 1
    assert len(linked) > len(plain)


def test_no_cards_is_refused():
    with pytest.raises(InputError, match="cards is empty"):
        cards_pdf([])


@given(st.floats(0, 99999))
def test_feet_on_paper_are_the_exact_conversion(metres):
    value, unit = figure(metres, "m", "us")
    assert unit == "ft"
    assert abs(float(value.replace(",", "")) - convert(metres, "m", "ft")) <= 0.5 + 1e-9


@pytest.mark.parametrize(
    ("metric", "us"),
    [
        ("305 mm", "12 in"),
        ("8 km/h", "5 mph"),
        ("25 °C", "77 °F"),
        ("a 30 m ramp", "a 100 ft ramp"),
        ("1,609 m", "5,279 ft"),
        ("0.3 m", "1 ft"),
        ("4 %", "4 %"),
        ("10 mm/day", "10 mm/day"),
        ("culvert 12 metal", "culvert 12 metal"),
    ],
)
def test_text_is_reworded_by_unit(metric, us):
    assert reword(metric, "us").replace(NBSP, " ") == us
