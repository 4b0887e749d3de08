"""The desk: only what changed is read again, own changes are always seen, nothing stays stale."""

from __future__ import annotations

import time

import pytest
from django.test import Client

from crossfall.model import Observation
from crossfall_app.store import repository
from crossfall_app.store.fresh import changes_since, refreshed
from crossfall_app.web import desk as desks
from crossfall_app.web.desk import a_moment_old, last_line, this_morning
from crossfall_app.web.guard import OwnChangesFirst
from small_district import TODAY, small_condition, small_record, small_week

pytestmark = pytest.mark.django_db


def _changes() -> None:
    repository.add_conditions([small_condition("s2", crown=1.0)], by="tests")
    repository.add_records([small_record("r7", segment_id="s0")], by="tests")
    repository.add_observations(
        [Observation("ob9", TODAY, -104.0, 45.0, "dust", segment_id="s1")], by="tests"
    )
    repository.call_crew("o1", TODAY, "off", by="tests")


def test_reading_again_in_parts_gives_what_a_whole_load_gives(planned_office):
    before, line = repository.load_district(), last_line()
    _changes()
    changes = changes_since(line)
    assert changes.parts == {"conditions", "records", "observations", "calls"}
    assert (changes.is_all, changes.is_week) == (False, False)
    now, whole = refreshed(before, changes), repository.load_district()
    for name in ("conditions", "records", "observations", "fleet", "edges", "hazards"):
        assert getattr(now, name) == getattr(whole, name), name


def test_what_is_not_known_asks_for_the_whole(planned_office):
    line = last_line()
    repository.save_forecast(repository.load_district().forecasts[0], by="tests")
    assert changes_since(line).is_all


def test_what_stands_on_other_parts_is_kept(planned_office):
    desk = this_morning()
    made = []
    desk.once("week", lambda: made.append("week"), of=("week",))
    desk.once("any", lambda: made.append("any"))
    repository.call_crew("o1", TODAY, "wet", by="tests")
    then = this_morning()
    assert then is not desk
    assert then.sheet is desk.sheet, "the word for one person moves no surface"
    then.once("week", lambda: made.append("week"), of=("week",))
    then.once("any", lambda: made.append("any"))
    assert made == ["week", "any", "any"]
    repository.save_week(small_week(), by="tests")
    this_morning().once("week", lambda: made.append("week"), of=("week",))
    assert made[-1] == "week"


def test_a_moment_old_will_do_but_never_without_own_changes(planned_office, monkeypatch):
    began = []
    monkeypatch.setattr(desks, "_lay_beside", began.append)
    desk = this_morning()
    repository.call_crew("o1", TODAY, "wet", by="tests")
    with a_moment_old(0):
        assert this_morning() is desk
        assert len(began) == 1, "a new one is being laid"
    with a_moment_old(last_line()):
        assert this_morning() is not desk
    repository.call_crew("o1", TODAY, "go", by="tests")
    assert this_morning() is not desk, "outside, only the newest will do"


def test_a_desk_that_cannot_be_renewed_is_not_shown_for_long(planned_office, monkeypatch):
    monkeypatch.setattr(desks, "_lay_beside", lambda place: None)
    desk = this_morning()
    repository.call_crew("o1", TODAY, "wet", by="tests")
    with a_moment_old(0):
        assert this_morning() is desk
        monkeypatch.setattr(desks.time, "monotonic", lambda: time.time() + 1e9)
        assert this_morning() is not desk


def test_who_changes_something_sees_it_and_others_may_wait(
    planned_office, superintendent, monkeypatch
):
    monkeypatch.setattr(OwnChangesFirst, "is_on", True)
    monkeypatch.setattr(desks, "_lay_beside", lambda place: None)
    from django.contrib.auth import get_user_model

    other = Client()
    other.force_login(get_user_model().objects.get(username="superintendent"))
    other.get("/")
    superintendent.post("/crew/o1/", {"call": "wet"})
    repository.add_records(
        [small_record("r2", windrow_side="left", is_windrow_in_travelled_way=True)], by="tests"
    )
    assert "Windrow left" not in other.get("/").content.decode(), "that may wait a moment"
    assert "Windrow left" in superintendent.get("/").content.decode()
    for nonsense in ("-5", "x", "9" * 40):
        other.cookies["crossfall_seen"] = nonsense
        assert other.get("/").status_code == 200
