"""The morning sheet: the word for each person, what is due, and what turned since yesterday."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.contrib.auth import get_user_model
from django.test import Client

from crossfall.errors import InputError
from crossfall.judgement.turned import Turned
from crossfall_app.store import models, repository
from crossfall_app.web.models import Member
from crossfall_app.web.present.due import due_lines, turned_rows
from crossfall_app.web.present.measures import Measures
from small_district import TODAY, small_district, small_record

pytestmark = pytest.mark.django_db


def _viewer() -> Client:
    user = get_user_model().objects.create(username="vera")
    Member.objects.create(user=user, name="Vera Ost", role="viewer")
    visitor = Client()
    visitor.force_login(user)
    return visitor


def test_the_word_for_one_person_takes_one_touch(planned_office, superintendent):
    text = superintendent.get("/").content.decode()
    assert "The crew today" in text
    assert 'value="go" aria-pressed="true"' in text
    answer = superintendent.post("/crew/o1/", {"call": "wet"}, follow=True)
    text = answer.content.decode()
    assert "Wet-day work" in text
    assert 'value="wet" aria-pressed="true"' in text
    assert repository.crew_calls(TODAY) == {"o1": "wet"}
    line = models.Audit.objects.filter(table="crewcall").get()
    assert (line.before["call"], line.after["call"]) == ("go", "wet")


def test_the_last_word_counts_and_all_stay_on_record(planned_office, superintendent):
    for call in ("hold", "hold", "go"):
        superintendent.post("/crew/o1/", {"call": call})
    assert repository.crew_calls(TODAY) == {"o1": "go"}
    assert models.CrewCall.objects.count() == 2, "the same word twice is one"


def test_who_is_not_in_is_not_planned_with(planned_office, superintendent):
    superintendent.post("/crew/o1/", {"call": "off"})
    (operator,) = repository.load_fleet().operators
    assert TODAY in operator.off_days
    assert "Not in today" in superintendent.get("/").content.decode()
    superintendent.post("/crew/o1/", {"call": "go"})
    assert repository.load_fleet().operators[0].off_days == ()


def test_words_that_are_none_are_refused(planned_office, superintendent):
    answer = superintendent.post("/crew/o1/", {"call": "fly"}, follow=True)
    assert "Call is" in answer.content.decode()
    answer = superintendent.post("/crew/o9/", {"call": "go"}, follow=True)
    assert "not on the crew" in answer.content.decode()
    assert not models.CrewCall.objects.exists()
    with pytest.raises(InputError, match="expected one of go, hold, wet, off"):
        repository.call_crew("o1", TODAY, "", by="tests")


def test_a_viewer_sees_the_word_and_no_buttons(planned_office):
    text = _viewer().get("/").content.decode()
    assert "The crew today" in text
    assert "aria-pressed" not in text
    assert 'action="/runs/plan/"' not in text


def test_due_and_overdue_come_the_most_late_first(planned_office, superintendent):
    left = small_record(
        "r2",
        windrow_side="left",
        is_windrow_in_travelled_way=True,
        done_on=TODAY - timedelta(days=3),
    )
    repository.add_records([left], by="tests")
    text = superintendent.get("/").content.decode()
    assert text.index("Windrow left") < text.index("Today&#x27;s cards")
    assert text.index("Today&#x27;s cards") < text.index("washboard at the bend")


def test_nothing_due_says_so():
    district = small_district()
    quiet = type(district)(name="q", network=district.network, fleet=district.fleet)
    assert due_lines(quiet, (), (), (), {}, Measures("metric"), TODAY) == ()


def test_turns_are_told_in_roads():
    turned = (
        Turned("light_blading", ("s0", "s1"), ()),
        Turned("cutting", (), ("s2",)),
        Turned("emergency", ("s0",), ()),
    )
    rows = turned_rows(turned, small_district())
    assert [(row["label"], row["n_opened"], row["n_closed"]) for row in rows] == [
        ("Light blading", 2, 0),
        ("Cutting and reshaping", 0, 1),
    ]
    assert rows[0]["opened"] == "Road 0, Road 1"
