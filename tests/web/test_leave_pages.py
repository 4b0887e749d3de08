"""Permissions are filed and run out; designs wait for a signature, get one, and lose it again."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest

from crossfall import model as nouns
from crossfall_app.store import repository
from small_district import TODAY, small_week

pytestmark = pytest.mark.django_db
ADDRESS = "/permissions/"


def _text(client) -> str:
    answer = client.get(ADDRESS)
    assert answer.status_code == 200
    return " ".join(answer.content.decode().replace("\N{NO-BREAK SPACE}", " ").split())


def _post(client, where: str, **given: object) -> str:
    answer = client.post(f"{ADDRESS}{where}/", given, follow=True)
    assert answer.status_code == 200
    return " ".join(answer.content.decode().replace("\N{NO-BREAK SPACE}", " ").split())


@pytest.fixture
def held_office(office):
    """A plan with a ditch that has no ticket and a regravel that has no signature."""
    week = small_week()
    (job,) = week.jobs
    stage = replace(
        job.stages[0], id="d-1", job_id="d", name="Clean ditch", leave_days=(),
        leave_lacks=("utilities",), treatment=nouns.Treatment.DITCH_CLEANING,
    )  # fmt: skip
    ditch = replace(job, id="d", need_id="need-d", stages=(stage,))
    asks = replace(
        job, id="e", need_id="need-e", segment_id="s1", stages=(), needs_engineer=True,
        treatment=nouns.Treatment.REGRAVELLING, assumed=("Regravel is not laid out: a limit",),
    )  # fmt: skip
    left = (
        nouns.Unserved("d", "s0", "no_clearance", "No ticket.", "File it."),
        nouns.Unserved("e", "s1", "engineer_to_confirm", "Engineer.", "Sign."),
    )
    plan = replace(week.plan, unserved=(*week.plan.unserved, *left))
    repository.save_week(replace(week, plan=plan, jobs=(job, ditch, asks)), by="tests")
    return office


def test_what_waits_is_shown_and_filing_takes_it_off(held_office, superintendent):
    assert "Clean ditch" in _text(superintendent)
    text = _post(
        superintendent, "file", road="s0", kind="utilities", reference="26-77",
        granted_by="Locating Centre", expires_on=(TODAY + timedelta(days=20)).isoformat(),
    )  # fmt: skip
    assert "It is on file" in text
    assert "Nothing waits for leave" in text
    assert "26-77" in text
    made = repository.load_district().clearances[-1]
    assert (made.segment_id, made.valid_from, made.to_m) == ("s0", TODAY, None)


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"road": "nowhere"}, "name a maintained road"),
        ({"kind": "moon"}, "Kind is missing"),
        ({"reference": " "}, "Reference is empty"),
        ({"expires_on": ""}, "Last day is empty"),
        ({"expires_on": "2020-01-01"}, "before it begins"),
        ({"from": "far"}, "expected a figure"),
    ],
)
def test_a_permission_that_cannot_be_is_refused(held_office, superintendent, given, said):
    usual = {
        "road": "s0", "kind": "utilities", "reference": "1", "granted_by": "Centre",
        "expires_on": (TODAY + timedelta(days=3)).isoformat(),
    }  # fmt: skip
    before = len(repository.load_district().clearances)
    assert said in _post(superintendent, "file", **(usual | given))
    assert len(repository.load_district().clearances) == before


SIGNED = {
    "road": "s1", "treatment": "regravelling", "signed_by": "R. Alder", "capacity": "P.E. 4711",
    "limit": "26",
}  # fmt: skip


def test_a_design_is_signed_and_the_word_taken_back(held_office, superintendent):
    assert "is not laid out: a limit" in _text(superintendent)
    text = _post(superintendent, "sign", **SIGNED)
    assert "R. Alder, P.E. 4711" in text
    assert "stands" in text
    (word,) = repository.load_district().signatures
    assert (word.limit_t, word.signed_on, word.is_withdrawn) == (26.0, TODAY, False)
    text = _post(superintendent, "sign", **(SIGNED | {"take_back": "1", "note": "bridge moved"}))
    assert "It is taken back" in text
    assert [each.is_withdrawn for each in repository.load_district().signatures] == [False, True]


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"signed_by": ""}, "Signed_by is empty"),
        ({"capacity": " "}, "Capacity is empty"),
        ({"treatment": "engineer"}, "expected blading"),
        ({"limit": "-3"}, "Limit_t is -3"),
        ({"until": "2020-01-01"}, "before signed_on"),
    ],
)
def test_a_signature_that_cannot_be_is_refused(held_office, superintendent, given, said):
    assert said in _post(superintendent, "sign", **(SIGNED | given))
    assert repository.load_district().signatures == ()


def test_the_page_says_so_when_there_is_no_plan(office, superintendent):
    assert "There is no plan yet" in _text(superintendent)
