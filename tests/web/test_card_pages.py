"""Cards at the office: issued by name, held up with a reason, withdrawn, written anew, printed."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from crossfall import model as nouns
from crossfall_app.store import repository
from small_district import TODAY, small_week

pytestmark = pytest.mark.django_db


def _text(client, address: str, status: int = 200) -> str:
    answer = client.get(address)
    assert answer.status_code == status, answer.content[:300]
    return " ".join(answer.content.decode().replace("\N{NO-BREAK SPACE}", " ").split())


def _post(client, address: str, **given: object) -> str:
    answer = client.post(address, given, follow=True)
    assert answer.status_code == 200, answer.content[:300]
    return " ".join(answer.content.decode().replace("\N{NO-BREAK SPACE}", " ").split())


@pytest.fixture
def ditch_office(office):
    """A planned week whose one card digs a ditch."""
    week = small_week()
    stage = replace(
        week.jobs[0].stages[0], task="cutting", treatment=nouns.Treatment.DITCH_CLEANING
    )
    job = replace(week.jobs[0], stages=(stage,), needs_engineer=True)
    repository.save_week(replace(week, jobs=(job,)), by="tests")
    return office


def test_a_draft_is_issued_in_a_name(planned_office, superintendent):
    text = _text(superintendent, "/cards/")
    assert "1 card, 1 draft" in text
    told = _post(superintendent, "/cards/issue/", card=1, approved_by="R. Foreman", back="card")
    assert "1 card is issued in the name of R. Foreman." in told
    assert "Issued by" in told
    assert repository.load_card(1).seal in told
    assert "by R. Foreman" in _text(superintendent, "/cards/")
    again = _post(superintendent, "/cards/issue/", card=1, approved_by="R. Foreman")
    assert "is issued and cannot become issued" in again


def test_nobody_issues_without_a_name_or_a_card(planned_office, superintendent):
    assert "a named person issues a card" in _post(superintendent, "/cards/issue/", card=1)
    assert "No card was chosen" in _post(superintendent, "/cards/issue/", approved_by="R. F.")
    assert repository.load_card(1).status == "draft"


def test_a_ditch_is_held_up_until_the_clearance_and_the_engineer(ditch_office, superintendent):
    text = _text(superintendent, "/cards/")
    assert "1 held up" in text
    assert "Held up: an engineer has to confirm it" in text
    page = _text(superintendent, "/cards/1/")
    assert "Cannot be issued yet" in page
    assert "no utilities clearance that holds on 2026-05-12 covers 0 to 780 m" in page
    assert "Put a clearance on file" in page
    refused = _post(superintendent, "/cards/issue/", card=1, approved_by="R. Foreman")
    assert "cannot be issued" in refused
    filed = _post(
        superintendent, "/cards/1/clearance/", kind="utilities", reference="26-0417",
        granted_by="one-call centre", valid_from="2026-05-11", expires_on="2026-05-25",
    )  # fmt: skip
    assert "Put a clearance on file" not in filed
    half = _post(superintendent, "/cards/issue/", card=1, approved_by="R. Foreman")
    assert "an engineer has to confirm it" in half
    done = _post(
        superintendent, "/cards/issue/", card=1, approved_by="R. Foreman",
        confirmed_by="E. Ngineer", back="card",
    )  # fmt: skip
    assert "26-0417, until 25 May" in done
    assert "E. Ngineer" in done


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"kind": "moon"}, "kind is &#x27;moon&#x27;"),
        ({"reference": " "}, "Reference is empty"),
        ({"expires_on": "2026-05-01"}, "expires on 2026-05-01, before it begins"),
        ({"valid_from": "soon"}, "expected a day"),
    ],
)
def test_a_bad_clearance_is_refused(ditch_office, superintendent, given, words):
    form = {
        "kind": "utilities", "reference": "1", "granted_by": "they", "valid_from": "2026-05-11",
        "expires_on": "2026-05-25",
    }  # fmt: skip
    text = _post(superintendent, "/cards/1/clearance/", **(form | given))
    assert words.lower() in text.lower()
    assert [each.id for each in repository.load_district().clearances] == ["k1"]


def test_withdraw_and_write_anew(planned_office, superintendent):
    _post(superintendent, "/cards/issue/", card=1, approved_by="R. Foreman")
    assert "say why it is withdrawn" in _post(superintendent, "/cards/1/withdraw/", because="")
    text = _post(superintendent, "/cards/1/withdraw/", because="bridge closed")
    assert "This card is withdrawn." in text
    assert "bridge closed" in text
    assert "No card" in _text(superintendent, "/cards/")
    assert "bridge closed" in _text(superintendent, "/cards/?status=withdrawn")
    text = _post(
        superintendent, "/cards/1/again/", operator="Second", start="8:15", note="Go south"
    )
    assert "version 2" in text
    assert "Note from the foreman: Go south" in text
    assert "start 08:15" in text
    old = _text(superintendent, "/cards/1/?version=1")
    assert "There is a newer version of this card" in old
    assert superintendent.get("/cards/1/?version=7").status_code == 404
    assert superintendent.get("/cards/1/?version=x").status_code == 404
    assert superintendent.get("/cards/1.pdf?version=1").status_code == 200


def test_paper_is_chosen(planned_office, superintendent):
    sizes = {}
    for paper in ("a4", "letter"):
        answer = superintendent.get(f"/cards.pdf?card=1&paper={paper}&units=us")
        assert answer.content.startswith(b"%PDF")
        sizes[paper] = answer.content
    assert sizes["a4"] != sizes["letter"]
    assert superintendent.get("/cards.pdf?paper=a3").status_code == 400
    assert superintendent.get("/cards.pdf?units=feet").status_code == 400
    assert superintendent.get("/cards.pdf?card=7").status_code == 404
    assert superintendent.get("/cards.pdf?card=x").status_code == 400
    assert superintendent.get("/cards.pdf?machine=Grader 9").status_code == 404
    assert superintendent.get("/cards.pdf?machine=Grader 1").status_code == 200
    assert superintendent.get("/cards/?status=lost").status_code == 400


def test_a_machine_and_a_day_are_chosen(planned_office, superintendent):
    assert "Light blading Road 0" in _text(superintendent, f"/cards/?day={TODAY}&machine=Grader 1")
    assert "No card is like that" in _text(superintendent, f"/cards/?day={date(2026, 5, 13)}")


def test_strangers_change_nothing(planned_office, stranger):
    for address in ("/cards/issue/", "/cards/1/withdraw/", "/cards/1/again/"):
        answer = stranger.post(address, {"card": 1, "approved_by": "x", "because": "x"})
        assert answer.status_code == 302
        assert "/door/" in answer.headers["Location"]
    assert repository.load_card(1).status == "draft"


def test_a_look_changes_nothing(planned_office, superintendent):
    for address in ("/cards/issue/", "/cards/1/withdraw/", "/cards/1/again/"):
        assert superintendent.get(address).status_code == 405


def test_the_list_and_the_paper_show_the_newest_plan_unless_asked(planned_office, superintendent):
    repository.issue_card(1, approved_by="R. Foreman", by="tests")
    repository.save_week(small_week("plan-2"), by="tests")
    text = _text(superintendent, "/cards/")
    assert "1 card, 1 draft" in text
    assert "1 card of earlier plans can still be worked by" in text
    assert 'href="/cards/1/"' not in text
    text = _text(superintendent, "/cards/?plan=all")
    assert "2 cards, 1 draft" in text
    assert 'href="/cards/1/"' in text
    newest = superintendent.get("/cards.pdf").content
    both = superintendent.get("/cards.pdf?plan=all").content
    assert len(both) > len(newest) + 1000


def test_day_sheets_stand_on_screen_and_on_paper(planned_office, superintendent):
    day = repository.latest_week().plan.itineraries[0].day.isoformat()
    answer = superintendent.get(f"/day-sheets/?day={day}")
    assert answer.status_code == 200
    assert "Day sheets" in answer.content.decode()
    paper = superintendent.get(f"/day-sheets.pdf?day={day}&paper=letter&units=us")
    assert paper["Content-Type"] == "application/pdf"
    assert paper.content.startswith(b"%PDF")
    assert superintendent.get("/day-sheets/?day=soon").status_code == 400
    assert superintendent.get(f"/day-sheets.pdf?day={day}&paper=a5").status_code == 400
    assert superintendent.get("/day-sheets.pdf?day=2001-01-01").status_code == 404


def test_without_a_plan_nobody_is_sent_out(office, superintendent):
    assert "Nobody is sent out" in superintendent.get("/day-sheets/").content.decode()
