"""Settings: every change is a version or a line of the audit, and what cannot be is refused."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.contrib.auth import get_user_model
from django.test import Client

from crossfall.model import Policy
from crossfall.model.policy.setting import settings_of
from crossfall_app.store import models, repository
from crossfall_app.web.models import Member
from crossfall_app.web.present.figures import next_version, rooms
from small_district import TODAY

pytestmark = pytest.mark.django_db
TURN = "v:dispatch.turn_min"


def _version() -> str:
    return repository.load_policy().version


def _keep(superintendent, **given):
    form = {"version": _version(), "room": "dispatch"} | given
    return superintendent.post("/settings/figures/keep/", form, follow=True).content.decode()


def test_a_changed_figure_is_a_new_version_with_its_reason(office, superintendent):
    before = _version()
    text = _keep(superintendent, **{TURN: "3.5"}, note="timed by the crew")
    assert "1 figure changed" in text
    assert "timed by the crew" in text
    assert "<del>2</del> → 3.5" in text
    assert repository.load_policy().dispatch.turn_min == 3.5
    assert _version() == TODAY.isoformat()
    line = models.Audit.objects.filter(table="policy").order_by("-pk").first()
    assert (line.before, line.after) == ({"dispatch.turn_min": 2.0}, {"dispatch.turn_min": 3.5})
    superintendent.post("/settings/figures/back/", {"version": before, "room": "dispatch"})
    assert repository.load_policy().dispatch.turn_min == 2.0
    assert _version() == before
    assert len(repository.policy_history()) == 2, "nothing was thrown away"


@pytest.mark.parametrize(
    ("field", "value", "told"),
    [
        (TURN, "-1", "expected 0 to 30"),
        (TURN, "soon", "expected a figure"),
        (TURN, "nan", "is nan"),
    ],
)
def test_figures_out_of_range_are_refused(office, superintendent, field, value, told):
    before = _version()
    assert told in _keep(superintendent, **{field: value})
    assert _version() == before


def test_nothing_changed_makes_no_version(office, superintendent):
    assert "Nothing was changed" in _keep(superintendent, **{TURN: "2"})
    assert models.PolicyVersion.objects.count() == 1


def test_two_who_type_at_once_lose_nothing(office, superintendent):
    old = _version()
    _keep(superintendent, **{TURN: "4"})
    text = _keep(superintendent, version=old, **{TURN: "5"})
    assert "while you were typing" in text
    assert repository.load_policy().dispatch.turn_min == 4.0


def test_a_rate_carries_year_and_source(office, superintendent):
    form = {
        "low:costs.grader": "80", "likely:costs.grader": "101.50", "high:costs.grader": "130",
        "year:costs.grader": "2026", "source:costs.grader": "our own books", "room": "costs",
    }  # fmt: skip
    _keep(superintendent, **form)
    rate = repository.load_policy().costs.grader
    assert (rate.low_minor, rate.likely.minor, rate.high_minor) == (8000, 10150, 13000)
    assert (rate.likely.year, rate.likely.source) == (2026, "our own books")
    assert rate.likely.method == "measured"
    text = _keep(superintendent, **(form | {"low:costs.grader": "900"}))
    assert "in this order" in text
    assert "say where the figure comes from" in _keep(
        superintendent, **(form | {"source:costs.grader": " "})
    )


def test_every_setting_is_on_some_page_with_what_it_rests_on(office, superintendent):
    for room, _, _ in rooms(Policy()):
        text = superintendent.get(f"/settings/figures/?room={room}").content.decode()
        mine = [row for row in settings_of(Policy()) if row.path.split(".")[0] == room]
        assert text.count('class="figure-what"') == len(mine)
    assert superintendent.get("/settings/figures/?room=nothing").status_code == 404


def test_a_figure_is_found_by_a_word(office, superintendent):
    text = superintendent.get("/settings/figures/?q=windrow").content.decode()
    assert "open windrow" in text
    assert (
        "No figure is like that"
        in superintendent.get("/settings/figures/?q=xyzzy").content.decode()
    )


def test_versions_of_one_day_are_told_apart():
    assert next_version([], "2026-05-12") == "2026-05-12"
    assert next_version(["2026-05-12", "2026-05-12.2"], "2026-05-12") == "2026-05-12.3"


def _fleet(superintendent, **given):
    return superintendent.post("/settings/fleet/", given, follow=True).content.decode()


def test_a_machine_is_changed_added_and_taken_off(office, superintendent):
    text = _fleet(
        superintendent, act="machine", id="g1", name="Big grader", home="yard", note="new tyres"
    )
    assert "not ready: new tyres" in text
    _fleet(superintendent, act="machine", name="Roller", kind="roller", home="yard")
    fleet = repository.load_fleet()
    assert [(each.name, each.is_available) for each in fleet.machines] == [
        ("Big grader", False),
        ("Roller", True),
    ]
    roller = fleet.machines[1].id
    _fleet(superintendent, act="machine-gone", id=roller)
    assert len(repository.load_fleet().machines) == 1
    assert models.Machine.objects.filter(pk=roller, is_current=False).exists(), "kept as history"
    assert "runs that machine" in _fleet(superintendent, act="machine-gone", id="g1")


def test_a_person_is_changed_and_has_days_off(office, superintendent):
    _fleet(
        superintendent, act="person", id="o1", name="Ola Moe", machine="g1", shift="9",
        starts="5:45", is_trainee="1",
    )  # fmt: skip
    day = TODAY + timedelta(days=3)
    _fleet(superintendent, act="off", id="o1", day=day.isoformat())
    (person,) = repository.load_fleet().operators
    assert (person.name, person.shift_h, person.shift_start_h) == ("Ola Moe", 9.0, 5.75)
    assert person.is_trainee
    assert person.off_days == (day,)
    _fleet(superintendent, act="on", id="o1", day=day.isoformat())
    assert repository.load_fleet().operators[0].off_days == ()


def test_a_word_for_one_day_does_not_become_a_day_off_on_file(office, superintendent):
    repository.call_crew("o1", TODAY, "off", by="tests")
    _fleet(superintendent, act="person", id="o1", name="Ola Moe", machine="g1")
    assert repository.load_fleet(with_words=False).operators[0].off_days == ()


@pytest.mark.parametrize(
    ("given", "told"),
    [
        ({"act": "burn"}, "act is"),
        ({"act": "machine", "id": "g9", "name": "x"}, "unknown"),
        ({"act": "machine", "name": "x", "kind": "boat", "home": "yard"}, "kind is"),
        ({"act": "machine", "name": " ", "kind": "roller", "home": "yard"}, "name is empty"),
        ({"act": "person", "name": "x", "machine": "g9"}, "machine is not"),
        ({"act": "person", "name": "x", "machine": "g1", "shift": "30"}, "expected 0 to 16"),
        ({"act": "off", "id": "o1", "day": "soon"}, "day is"),
    ],
)
def test_what_cannot_be_is_refused(office, superintendent, given, told):
    before = models.Audit.objects.count()
    assert told in _fleet(superintendent, **given).lower()
    assert models.Audit.objects.count() == before


def test_a_foreman_looks_and_only_the_superintendent_changes(office):
    user = get_user_model().objects.create(username="bo")
    Member.objects.create(user=user, name="Bo Lind", role="foreman")
    foreman = Client()
    foreman.force_login(user)
    text = foreman.get("/settings/figures/?room=dispatch").content.decode()
    assert "readonly" in text
    assert "Keep as a new version" not in text
    assert foreman.post("/settings/figures/keep/", {"version": _version()}).status_code == 403
    assert foreman.post("/settings/fleet/", {"act": "machine"}).status_code == 403
