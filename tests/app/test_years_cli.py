"""The years at the keyboard, in the store and in the week: asked, kept, adopted, refused."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

import pytest
from hypothesis import HealthCheck, given, settings

from app_strategies import build
from crossfall import model as nouns
from crossfall.errors import InputError
from crossfall.model import Treatment
from crossfall.programme.district import needs_with_years
from crossfall.workflow import ask_years
from crossfall_app.store import repository
from crossfall_app.store import years as kept
from crossfall_app.store.convert import CONVERTER
from small_district import TODAY, small_district, small_network

MADE_AT = datetime(2026, 5, 12, 12, tzinfo=UTC)


@pytest.fixture
def office(sqlite_workspace):
    """Three roads, one of them nearly bare."""
    thin = replace(small_network().segments[0], gravel_mm=15.0, adt=150.0)
    district = replace(small_district(), network=small_network(s0=thin))
    repository.store_district(district, by="test", invented_today=TODAY)
    return sqlite_workspace


def _ask(**changes) -> nouns.YearsStudy:
    question = nouns.YearsQuestion(
        first_year=2026, n_years=4, n_draws=10, budget_minor=10_000_000, **changes
    )
    return ask_years(repository.load_district(), question, today=TODAY)


def test_all_questions_are_answered_and_kept(crossfall, office):
    here = ("--workspace", office.path)
    told = crossfall("years", "--years", 5, "--budget", 100_000, "--json", *here).json
    assert [each["year"] for each in told["years"]] == [2027, 2028, 2029, 2030, 2031]
    assert told["gap_pct"] >= 0
    assert told["segments"] == 3
    assert len(told["levels"]) == 8
    assert told["budget"] > 0
    assert set(told["gravel_by_pit"]) == {"Pit"}, "gravel comes from the district's own pit"
    assert [each["segment"] for each in told["first_year_work"]] == ["s0"]
    assert len(told["scenarios"]) == 3
    assert {"lower", "upper"} <= set(told["delay"])
    assert "recalled" in " ".join(told["assumed"])
    found = kept.load_study(told["study"])
    assert found is not None
    assert found.study.level(1.0).share == 1.0
    table = crossfall("years", "--years", 3, *here)
    assert table.code == 0
    assert "Levels of money" in table.out
    assert "No other programme within these limits" in " ".join(table.out.split())


def test_a_report_is_written_and_a_level_adopted(crossfall, office, tmp_path):
    here = ("--workspace", office.path)
    paper = tmp_path / "board.pdf"
    told = crossfall("years", "--years", 4, "--report", paper, "--adopt", 110, *here)
    assert told.code == 0, told
    assert paper.read_bytes().startswith(b"%PDF")
    adopted = repository.load_district().years
    assert adopted is not None
    assert adopted.first_year == 2027
    assert crossfall("years", "--adopt", 37, *here).is_refused("--adopt is 37", "expected one of")


def test_the_adopted_gravel_is_among_the_needs_of_its_year(office):
    study = _ask()
    key = kept.save_study(study, made_at=MADE_AT, by="test")
    found = kept.adopt(key, share=1.0, today=TODAY, by="test")
    assert found.first_year == 2026
    district = repository.load_district()
    assert district.years == found
    due = {each.segment_id for each in found.items if 2026 in each.regravel_years}
    assert due == {"s0"}
    needs = needs_with_years((), district, today=TODAY)
    assert [(each.segment_id, each.treatment) for each in needs] == [("s0", Treatment.REGRAVELLING)]
    assert "programme of years" in needs[0].reasons[0].text
    assert needs_with_years(needs, district, today=TODAY) == needs, "never asked for twice"
    done = nouns.WorkRecord("r", "s0", TODAY, Treatment.REGRAVELLING, 4, 9.0, "x")
    assert needs_with_years((), replace(district, records=(done,)), today=TODAY) == ()
    out = replace(district, ordered_ids=frozenset({"s0"}))
    assert needs_with_years((), out, today=TODAY) == ()
    assert needs_with_years((), district, today=TODAY.replace(year=2040)) == ()


def test_the_last_adoption_counts_and_unknown_or_impossible_ones_are_refused(office):
    first = kept.save_study(_ask(), made_at=MADE_AT, by="test")
    second = kept.save_study(_ask(), made_at=MADE_AT, by="test")
    assert first != second
    kept.adopt(first, share=1.0, today=TODAY, by="test")
    kept.adopt(second, share=0.9, today=TODAY, by="test")
    assert repository.load_district().years.id == second
    with pytest.raises(InputError, match="is unknown"):
        kept.adopt("years-1999-1", share=1.0, today=TODAY, by="test")
    study = _ask()
    levels = tuple(
        replace(each, is_feasible=False, why_not="nothing keeps it") for each in study.levels
    )
    third = kept.save_study(replace(study, levels=levels), made_at=MADE_AT, by="test")
    with pytest.raises(InputError, match="cannot be adopted: nothing keeps it"):
        kept.adopt(third, share=1.0, today=TODAY, by="test")


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(study=build(nouns.YearsStudy))
def test_a_study_survives_the_store(study):
    plain = CONVERTER.unstructure(study, nouns.YearsStudy)
    assert CONVERTER.structure(plain, nouns.YearsStudy) == study


def _keep(office, **changes) -> None:
    """A district whose first road has impossible figures, however they got there."""
    from crossfall_app.store.models import Segment

    Segment.objects.filter(pk="s0").update(**changes)


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (("--budget", 0), ("--budget is 0", "more than 0")),
        (("--budget", -5), ("--budget is -5",)),
        (("--years", 0), ("n_years is 0", "1 to 30")),
        (("--years", 31), ("n_years is 31",)),
        (("--rain-mm", 0.07), ("looks like metres",)),
        (("--rain-mm", 5000), ("looks like a year's rain",)),
        (("--rain", -100), ("--rain is -100", "above -100")),
        (("--traffic", -150), ("--traffic is -150", "such as -20")),
        (("--growth", 80), ("growth_pct is 80",)),
        (("--grader-h", -1), ("grader_h is -1",)),
        (("--gravel-m3", "Moon=5"), ("names pits ['Moon']", "Pit")),
        (("--gravel-m3", "Pit=lots"), ("has no figure",)),
        (("--probability", 1), ("probability is 1",)),
        (("--delay", -1), ("delay_years is -1",)),
        (("--from", 20), ("first_year is 20",)),
    ],
)
def test_what_cannot_be_asked_is_named(crossfall, office, options, words):
    assert crossfall("years", *options, "--workspace", office.path).is_refused(*words)
    assert kept.latest_study() is None, "nothing half done is kept"


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"adt": -12.0}, ("adt of segment s0 is -12", "0 to")),
        ({"gravel_mm": 4000.0}, ("gravel_mm of segment s0 is 4000", "1000 mm")),
    ],
)
def test_impossible_roads_are_named(crossfall, office, changes, words):
    _keep(office, **changes)
    assert crossfall("years", "--workspace", office.path).is_refused(*words)


def test_limits_that_nothing_keeps_are_named_with_by_how_much(crossfall, office):
    told = crossfall("years", "--budget", 1, "--workspace", office.path)
    assert told.code == 3
    assert "times the money of year" in told.err
    told = crossfall("years", "--grader-h", 0.1, "--workspace", office.path)
    assert told.code == 3
    assert "times the grader hours of year" in told.err


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("year,budget\n2027,90000\n2029,90000\n", ("no budget for 2028",)),
        ("year,budget,currency\n2027,1,USD\n2028,1,CAD\n2029,1,USD\n", ("in CAD", "in USD")),
        ("year,budget\n2027,0\n", ("budget is '0'", "above 0")),
        ("year,budget\n2027,9e4\n2027,9e4\n", ("2027 is there twice",)),
        ("jahr,budget\n2027,9\n", ("needs the columns year and budget",)),
        ("year,budget,note\n2027,9,x\n", ("unknown columns ['note']",)),
        ("year,budget\nnext,9\n", ("year is 'next'",)),
    ],
)
def test_budget_files_that_do_not_fit_are_named(crossfall, office, tmp_path, text, words):
    file = tmp_path / "budgets.csv"
    file.write_text(text)
    here = ("--workspace", office.path)
    assert crossfall("years", "--years", 3, "--budgets", file, *here).is_refused(*words)


def test_budgets_may_differ_by_year(crossfall, office, tmp_path):
    file = tmp_path / "budgets.csv"
    file.write_text("year,budget\n2027,200000\n2028,100000\n2029,150000\n")
    told = crossfall(
        "years", "--years", 3, "--budgets", file, "--json", "--workspace", office.path
    ).json
    assert told["budget"] == 150_000
    assert told["years"][1]["cost"] <= 100_000


def test_rates_in_two_currencies_are_refused(crossfall, office):
    policy = repository.load_policy()
    rate = policy.costs.haul_truck
    odd = replace(rate, likely=replace(rate.likely, currency="CAD"))
    costs = replace(policy.costs, haul_truck=odd)
    repository.save_policy(replace(policy, version="2", costs=costs), by="test")
    told = crossfall("years", "--workspace", office.path)
    assert told.is_refused("haul truck", "CAD", "one currency")


def test_fitting_needs_readings(crossfall, office):
    here = ("--workspace", office.path)
    told = crossfall("fit", "--json", *here).json
    assert told["proposed"] is None
    assert crossfall("fit", "--accept", *here).is_refused("nothing to accept")


def test_a_fit_is_shown_and_taken_over(crossfall, office):
    looks = [
        nouns.Condition(
            f"s{road}", TODAY.replace(year=year), 4, 4, 4, 4, 4,
            method="measured", gravel_mm=float(100 - loss * (year - 2020)),
        )
        for road, loss in ((0, 9.0), (1, 8.0), (2, 8.5))
        for year in (2021, 2022, 2023, 2024, 2025)
    ]  # fmt: skip
    repository.add_conditions(looks, by="test")
    here = ("--workspace", office.path)
    told = crossfall("fit", "--json", *here).json
    assert told["gravel_loss"]["factor"] < 0.9
    assert not told["accepted"]
    assert repository.load_policy().version != told["proposed"]["version"]
    assert crossfall("fit", "--accept", *here).code == 0
    policy = repository.load_policy()
    assert policy.programme.factors.by_group
    assert policy.programme.factors.gravel_loss == pytest.approx(told["gravel_loss"]["factor"])


def test_a_country_of_files_is_planned(crossfall, office, tmp_path):
    pytest.importorskip("pyarrow", reason="needs the extra crossfall[scale]")
    here = ("--workspace", office.path)
    parts, out = tmp_path / "parts", tmp_path / "out"
    assert crossfall("country", "write", parts, *here).code == 0
    told = crossfall(
        "country", "plan", parts, out, "--workers", 0, "--years", 4, "--from", 2027, "--json", *here
    ).json
    assert told["segments"] == 3
    assert told["years"][0]["year"] == 2027
    assert len(list(out.glob("*.parquet"))) == 1
    again = crossfall("country", "plan", parts, out, "--workers", 0, *here)
    assert again.is_refused("holds results already")
    none = crossfall("country", "plan", tmp_path, tmp_path / "o", "--workers", 0, *here)
    assert none.is_refused("no .parquet files")
    zero = crossfall("country", "plan", parts, tmp_path / "p", "--workers", 0, "--budget", 0, *here)
    assert zero.is_refused("budget")
    deaf = crossfall(
        "country", "plan", parts, tmp_path / "q", "--scheduler", "tcp://127.0.0.1:9", *here
    )
    assert deaf.is_refused("no scheduler answers")
