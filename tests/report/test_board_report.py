"""The report for the board and its charts: every figure from the study, pages that fit."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
import xml.etree.ElementTree as ET
from dataclasses import replace
from datetime import UTC, datetime

import pytest

from crossfall.errors import InputError
from crossfall.model import YearsQuestion, YearsStudy
from crossfall.report.board import board_report_data, board_report_pdf
from crossfall.report.board_words import (
    amount,
    answers,
    how_sure,
    scenario_rows,
    what_to_keep_back,
)
from crossfall.report.charts import chart_names, measure, to_svg, years_chart
from crossfall.report.years_map import live_years_map, years_key, years_map
from crossfall.workflow import ask_years
from small_district import TODAY, small_district, small_network

MADE_AT = datetime(2026, 5, 12, 12, tzinfo=UTC)


@pytest.fixture(scope="module")
def district():
    thin = replace(small_network().segments[0], gravel_mm=15.0, adt=150.0)
    return replace(small_district(), network=small_network(s0=thin))


@pytest.fixture(scope="module")
def study(district) -> YearsStudy:
    question = YearsQuestion(
        first_year=2027,
        n_years=6,
        n_draws=20,
        budget_minor=1_000_000,
        shares=(0.00001, 0.5, 1.0),
        gravel_m3=(("Pit", 4000.0),),
        grader_h=900.0,
    )
    return ask_years(district, question, today=TODAY)


def _labels(svg: str) -> set[str]:
    root = ET.fromstring(svg)
    return {each.text for each in root.iter() if each.tag.endswith("text") and each.text}


@pytest.mark.parametrize("name", chart_names())
@pytest.mark.parametrize("units", ["metric", "us"])
def test_every_chart_draws_and_carries_its_own_data(study, name, units) -> None:
    spec = years_chart(study, name, units=units, width=400)
    assert "url" not in json.dumps(spec.get("data", {})), "nothing is fetched"
    assert "description" in spec
    svg = to_svg(spec)
    assert svg.startswith("<svg")
    assert "<image" not in svg
    assert _labels(svg)


def test_a_chart_shows_the_level_it_is_asked_for(study) -> None:
    few, most = (years_chart(study, "gravel", share=share, width=400) for share in (0.5, 1.0))
    assert few["params"][0]["value"] == 0.5
    assert few["data"] == most["data"], "a page moves between levels without asking again"
    assert to_svg(few) != to_svg(most)
    shown = {row["share"] for row in few["data"]["values"]}
    assert shown == {0.5, 1.0}, "a level that nothing keeps has no curve"


def test_charts_speak_the_agencys_units(study) -> None:
    level = study.level(1.0)
    factor, sign = measure("thickness", "us")
    rows = years_chart(study, "gravel", units="us")["data"]["values"]
    last = [row for row in rows if row["share"] == 1.0][-1]
    assert last["middle"] == pytest.approx(level.gravel_mm[-1] / 25.4)
    assert (sign, factor) == ("in", pytest.approx(1 / 25.4))
    assert any(
        "Mean gravel, in" in each
        for each in _labels(to_svg(years_chart(study, "gravel", units="us", width=400)))
    )


def test_words_carry_the_studys_figures(study) -> None:
    level = study.level(1.0)
    said = " ".join(answers(study, level))
    assert amount(level.budget_minor, study) in said
    assert f"{level.gravel_mm[-1]:.0f} mm in 2032" in said
    assert f"more than {level.gap_pct:.2f} %" in said
    assert "plan the years again" in said or "should not be planned with" in said
    us = " ".join(answers(study, level, system="us"))
    assert f"{level.gravel_mm[-1] / 25.4:.1f} in in 2032" in us
    assert not re.search(r"\bmm\b|\bkm\b", us)
    hopeless = study.levels[0]
    assert not hopeless.is_feasible
    assert answers(study, hopeless) == (
        f"With {amount(hopeless.budget_minor, study)} a year: {hopeless.why_not}.",
    )
    assert [row[0] for row in scenario_rows(study)][:2] == ["As expected", "A fifth more rain"]


def test_the_paper_has_every_part_and_says_what_is_not_known(study, district) -> None:
    book = board_report_data(study, district)
    assert {"curve", "money", "gravel", "roughness", "thin", "worth", "pits"} == set(book["charts"])
    assert book["levels"][0][2].startswith("Not possible")
    assert any("recalled" in each for each in book["assumed"])
    assert "Graders work at most 900 hours a year." in book["limits"]
    assert any("4,000 m³" in each for each in book["limits"])
    assert [each[1] for each in book["roads"]] == ["s0"]
    with pytest.raises(InputError, match="cannot be reported on"):
        board_report_data(study, district, share=0.0)
    with pytest.raises(InputError, match="paper is 'a5'"):
        board_report_pdf(study, district, made_at=MADE_AT, paper="a5")
    with pytest.raises(InputError, match="units is"):
        board_report_data(study, district, units="imperial")


@pytest.mark.parametrize(("paper", "units"), [("a4", "metric"), ("letter", "us")])
def test_the_report_has_four_to_six_pages_of_words(study, district, tmp_path, paper, units) -> None:
    pdf = board_report_pdf(study, district, made_at=MADE_AT, paper=paper, units=units)
    again = board_report_pdf(study, district, made_at=MADE_AT, paper=paper, units=units)
    assert pdf == again, "the same study gives the same paper"
    if shutil.which("pdftotext") is None:
        pytest.skip("pdftotext is not installed")
    file = tmp_path / "board.pdf"
    file.write_bytes(pdf)
    text = subprocess.run(
        ["pdftotext", "-layout", str(file), "-"], capture_output=True, text=True, check=True
    ).stdout
    pages = [each for each in text.split("\f") if each.strip()]
    assert 4 <= len(pages) <= 6
    assert all(len(each.split()) > 40 for each in pages)
    for words in ("The years ahead", "What less money costs", "What this rests on"):
        assert words in text
    assert "{" not in text


def test_the_map_shows_who_is_due_when(district) -> None:
    due = {"s0": (2027,), "s1": (2030, 2034), "s2": ()}
    svg = years_map(district.network, due, first_year=2027)
    ET.fromstring(svg)
    assert svg.count("#7a0f3c") == 1
    assert svg.count("#3f9a78") == 1
    live = live_years_map(district.network)
    assert re.findall(r'data-road="(\w+)"', live) == ["s0", "s1", "s2"]
    assert "style=" not in live, "pages allow no style of their own"
    assert [each["label"] for each in years_key(2027, 3)] == ["2027", "2028", "2029", "not at all"]


def test_a_proven_gap_is_never_rounded_down(study) -> None:
    level = replace(study.level(1.0), lower=99_999.0, upper=100_000.0, gap_pct=0.001)
    said = how_sure(study, replace(level, avoidable_gap_pct=0.081))
    assert "more than 0.01 % of all costs (0.09 % of" in said
    assert "(0.08 % of" in how_sure(study, replace(level, avoidable_gap_pct=0.08))


def test_a_contingency_that_is_not_reached_is_not_promised(study) -> None:
    kept, sure = (100_000.0,) * 6, (0.9, 0.95, 0.9, 0.71, 0.85, 0.9)
    said = what_to_keep_back(replace(study, kept_back_minor=kept, p_kept=sure))
    assert said.startswith("No programme was found whose budget holds in 80 of 100")
    assert "2030 is the least sure: it holds in 71 of 100" in said
    said = what_to_keep_back(replace(study, kept_back_minor=kept, p_kept=(0.8,) * 6))
    assert said.startswith("So that each year's budget holds in at least 80 of 100")
