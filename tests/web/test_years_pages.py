"""The Years page: asked in the background, shown, moved, adopted, taken away."""

from __future__ import annotations

import csv
import io
from dataclasses import replace
from datetime import UTC, datetime

import pytest

from crossfall.errors import InputError
from crossfall.model import YearsQuestion, YearsStudy
from crossfall.workflow import ask_years
from crossfall_app import runs
from crossfall_app.runs import Run
from crossfall_app.runs.work import work
from crossfall_app.store import repository
from crossfall_app.store import years as kept
from crossfall_app.web import built
from crossfall_app.web.present.measures import Measures
from crossfall_app.web.present.years import CSV_HEAD, question_of, study_data
from small_district import TODAY, small_district, small_network

pytestmark = pytest.mark.django_db
MADE_AT = datetime(2026, 5, 12, 12, tzinfo=UTC)


@pytest.fixture(autouse=True)
def built_years(monkeypatch, built_names) -> None:
    files = built._manifest() | {"years.js": "years.js"}
    monkeypatch.setattr(built, "_manifest", lambda: files)


@pytest.fixture(scope="module")
def study() -> YearsStudy:
    thin = replace(small_network().segments[0], gravel_mm=15.0, adt=150.0)
    district = replace(small_district(), network=small_network(s0=thin))
    question = YearsQuestion(
        first_year=2027, n_years=4, n_draws=10, budget_minor=1_400_000, shares=(1e-5, 0.5, 1.0)
    )
    return ask_years(district, question, today=TODAY)


@pytest.fixture
def key(office, study) -> str:
    return kept.save_study(study, made_at=MADE_AT, by="tests")


def test_before_anything_is_asked_there_is_a_form(office, superintendent):
    text = superintendent.get("/years/").content.decode()
    assert "Work out the years" in text
    assert "Nothing was worked out yet" in text
    assert "promise no thickness" in text
    assert "data-study" not in text
    assert "Pit, m³ a year" in text


def test_without_roads_the_page_says_how_to_bring_them(empty_office, superintendent):
    assert b"crossfall import" in superintendent.get("/years/").content


def test_the_form_starts_a_run_and_the_page_follows_it(office, superintendent, monkeypatch):
    told = {}

    def start(question, **more):
        told.update(more, question=question)
        return Run.objects.create(kind="years", status="running", fraction=0.4, message="70 %")

    monkeypatch.setattr(runs, "start_years", start)
    answer = superintendent.post(
        "/years/start/",
        {"budget": "1,500,000", "n_years": "12", "gravel-0": "4000", "rain": "20", "delay": "3"},
    )
    run = Run.objects.get()
    assert answer.url == f"/years/?run={run.pk}"
    asked = told["question"]
    assert (asked.budget_minor, asked.n_years, asked.first_year) == (150_000_000, 12, 2027)
    assert asked.gravel_m3 == (("Pit", 4000.0),)
    assert asked.rain_factor == pytest.approx(1.2)
    assert told["today"] == TODAY
    text = superintendent.get(answer.url).content.decode()
    assert "Working out the years" in text
    assert 'value="40"' in text
    stopped = superintendent.post(f"/runs/{run.pk}/cancel/")
    assert stopped.url == f"/years/?run={run.pk}"


@pytest.mark.parametrize(
    ("field", "text", "words"),
    [
        ("budget", "plenty", "Money a year is &#x27;plenty&#x27;"),
        ("budget", "0", "Money a year is 0"),
        ("budget", "-4", "Money a year is -4"),
        ("n_years", "1", "Years is 1"),
        ("n_years", "2.5", "expected a whole number"),
        ("first_year", "27", "First_year is 27"),
        ("probability", "100", "Probability is 1"),
        ("gravel-0", "x", "Gravel from Pit is"),
    ],
)
def test_what_cannot_be_asked_is_said_on_the_page(office, superintendent, field, text, words):
    answer = superintendent.post("/years/start/", {field: text}, follow=True)
    assert words in answer.content.decode()
    assert not Run.objects.exists()


def test_the_child_answers_and_keeps_the_study(office):
    question = {"first_year": 2027, "n_years": 3, "n_draws": 10, "shares": [0.5, 1.0]}
    run = Run.objects.create(
        kind="years", arguments={"question": question, "today": TODAY.isoformat()}
    )
    assert work(office, run.pk) == "done"
    run.refresh_from_db()
    found = kept.load_study(run.result)
    assert found is not None
    assert found.study.question.shares == (0.5, 1.0)


def test_a_question_that_nothing_keeps_ends_the_run_with_its_reason(office):
    question = {"first_year": 2027, "n_years": 3, "n_draws": 10, "budget_minor": 10.0}
    run = Run.objects.create(
        kind="years", arguments={"question": question, "today": TODAY.isoformat()}
    )
    assert work(office, run.pk) == "failed"
    run.refresh_from_db()
    assert "times the money of year" in run.error
    assert kept.latest_study() is None


def test_the_page_stands_without_its_script(key, superintendent, study):
    text = superintendent.get("/years/").content.decode()
    assert f'data-study="/years/{key}/study.json"' in text
    assert 'type="range" id="money"' in text
    assert "No other programme within these limits" in text
    assert text.count("data-road=") == 3
    assert "What this rests on, and what is not known" in text
    assert "nothing keeps the limits" in text, "a level that cannot be is shown with its reason"
    assert " style=" not in text
    less = superintendent.get("/years/?share=0.5").content.decode()
    assert study.level(0.5).gravel_mm[-1] != study.level(1.0).gravel_mm[-1]
    assert f"{study.level(0.5).gravel_mm[-1]:.0f} mm" in less


@pytest.mark.parametrize("query", ["share=nan", "share=x", "year=1e99", "study=none", "run=7"])
def test_odd_addresses_do_no_harm(key, superintendent, query):
    assert superintendent.get(f"/years/?{query}").status_code == 200


def test_the_script_gets_levels_and_charts(key, superintendent, study):
    told = superintendent.get(f"/years/{key}/study.json").json()
    assert [each["share"] for each in told["levels"]] == [0.5, 1.0]
    assert set(told["charts"]) == {
        "curve", "money", "gravel", "roughness", "thin", "pits", "worth",
    }  # fmt: skip
    assert told["levels"][1]["due"] == {"s0": [2027]} or "s0" in told["levels"][1]["due"]
    us = study_data(study, Measures("us"))
    assert " in" in us["levels"][0]["sentences"][0]


def test_tables_are_taken_away(key, superintendent, study):
    text = superintendent.get(f"/years/{key}/years.csv?share=0.5").content.decode()
    rows = list(csv.DictReader(io.StringIO(text)))
    assert tuple(rows[0]) == CSV_HEAD
    assert len(rows) == 4
    assert float(rows[0]["mean_gravel_mm"]) == study.level(0.5).gravel_mm[0]
    assert float(rows[0]["budget"]) == 7_000
    roads = superintendent.get(f"/years/{key}/roads.csv").content.decode().splitlines()
    assert len(roads) == 4
    assert superintendent.get(f"/years/{key}/years.csv?share=0.00001").status_code == 404


def test_the_report_is_a_paper(key, superintendent):
    answer = superintendent.get(f"/years/{key}/report.pdf?share=1.0")
    assert answer.headers["Content-Type"] == "application/pdf"
    assert answer.content.startswith(b"%PDF")
    assert superintendent.get("/years/none/report.pdf").status_code == 404
    assert superintendent.get(f"/years/{key}/report.pdf?share=0.00001").status_code == 404


def test_a_level_is_adopted_and_named_on_the_page(key, superintendent):
    answer = superintendent.post(f"/years/{key}/adopt/", {"share": "1.0"}, follow=True)
    text = answer.content.decode()
    assert "are among the needs of the week" in text
    assert f"{key} is in force" in text
    assert repository.load_district().years.id == key
    assert superintendent.post(f"/years/{key}/adopt/", {}).status_code == 400
    again = superintendent.post(f"/years/{key}/adopt/", {"share": "0.00001"}, follow=True)
    assert "cannot be adopted" in again.content.decode()


def test_figures_are_read_as_people_write_them():
    read = question_of({"budget": "1 500 000", "rain": "2,5"}, [], Measures(), usual_year=2027)
    assert read.budget_minor == 150_000_000
    assert read.rain_factor == pytest.approx(1.025)
    us = question_of({"gravel-0": "1000"}, ["Pit"], Measures("us"), usual_year=2027)
    assert us.gravel_m3[0][1] == pytest.approx(764.555, abs=0.01)
    with pytest.raises(InputError, match="years of waiting"):
        question_of({"delay": "soon"}, [], Measures(), usual_year=2027)
