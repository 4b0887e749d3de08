"""The one button that plans: what it starts, how it is followed, what is said when it is over."""

from __future__ import annotations

from types import SimpleNamespace
from uuid import uuid4

import pytest

from crossfall.errors import InputError
from crossfall_app import runs
from crossfall_app.runs import Run
from crossfall_app.web.present.runs import run_row
from small_district import TODAY

pytestmark = pytest.mark.django_db


def test_button_starts_a_run(office, superintendent, monkeypatch):
    told = {}

    def start(**arguments):
        told.update(arguments)
        return Run.objects.create(kind="plan", status="running", fraction=0.4, message="Looking")

    monkeypatch.setattr(runs, "start_plan", start)
    answer = superintendent.post("/runs/plan/", {"days": "3"})
    run = Run.objects.get()
    assert answer.url == f"/?run={run.pk}"
    assert (told["first_day"], told["n_days"], told["by"]) == (TODAY, 3, "superintendent")
    text = superintendent.get(answer.url).content.decode()
    assert 'value="40"' in text
    assert "Stop planning" in text
    assert "Plan the week</button>" not in text, "one run at a time"
    row = superintendent.get(f"/runs/{run.pk}/").json()
    assert (row["percent"], row["message"], row["is_working"]) == (40, "Looking", True)


def test_a_second_press_says_why_not(office, superintendent, monkeypatch):
    def busy(**_):
        raise InputError("a plan by somebody is under way; wait for it, or stop it first")

    monkeypatch.setattr(runs, "start_plan", busy)
    answer = superintendent.post("/runs/plan/", {"days": "3"}, follow=True)
    assert b"A plan by somebody is under way" in answer.content


@pytest.mark.parametrize("days", ["0", "99", "-1", "many", ""])
def test_odd_numbers_of_days_are_refused(office, superintendent, days):
    assert superintendent.post("/runs/plan/", {"days": days}).status_code == 400
    assert not Run.objects.exists()


def test_stop(office, superintendent):
    run = Run.objects.create(kind="plan", status="queued")
    superintendent.post(f"/runs/{run.pk}/cancel/")
    run.refresh_from_db()
    assert run.status == "cancelled"
    text = superintendent.get(f"/?run={run.pk}").content.decode()
    assert "Planning was stopped" in text


def test_unknown_run(office, superintendent):
    assert superintendent.get(f"/runs/{uuid4()}/").status_code == 404
    assert superintendent.get("/?run=nonsense").status_code == 200


@pytest.mark.parametrize(
    ("status", "words", "has_result"),
    [
        ("done", "The plan is ready.", True),
        ("cancelled", "the earlier plan stands", False),
        ("failed", "Planning failed: no grader", False),
        ("interrupted", "start it again", False),
    ],
)
def test_what_is_said_when_it_is_over(status, words, has_result):
    run = SimpleNamespace(
        pk="x",
        kind="plan",
        status=status,
        message="",
        error="no grader",
        fraction=1.0,
        is_cancel_wanted=False,
    )
    row = run_row(run)
    assert words in row["message"]
    assert (row["has_result"], row["is_working"]) == (has_result, False)
