"""The board: tried before it counts, undone, kept by name, and never over somebody else's plan."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.contrib.auth import get_user_model
from django.test import Client

from crossfall.model import PlanWish
from crossfall_app.store import models, repository
from crossfall_app.web.models import Member
from small_district import TODAY

pytestmark = pytest.mark.django_db
STAGE = "s0-1"
TOMORROW = (TODAY + timedelta(days=1)).isoformat()


def _base() -> str:
    return repository.latest_week().plan.id


def _form(**given: str) -> dict[str, str]:
    return {"base": _base(), "stage": STAGE, "machine": "g1", "day": TOMORROW, "act": "pin"} | given


def _foreman(name: str = "Bo Lind") -> Client:
    user = get_user_model().objects.create(username=name.split()[0].lower())
    Member.objects.create(user=user, name=name, role="foreman")
    visitor = Client()
    visitor.force_login(user)
    return visitor


def _place() -> tuple[str, str]:
    (only,) = [
        (each.machine_id, each.day.isoformat())
        for each in repository.latest_week().plan.itineraries
        if STAGE in each.stage_ids
    ]
    return only


def test_a_change_is_shown_with_its_cost_and_counts_only_when_kept(planned_office):
    foreman, before = _foreman(), _base()
    answer = foreman.post("/plan/wish/", _form(), follow=True)
    text = answer.content.decode()
    assert "Tried, not kept yet" in text
    assert "Driving" in text
    assert "new here" in text
    assert _base() == before, "nothing is kept yet"
    answer = foreman.post("/plan/keep/", {"because": "the bridge is closed"}, follow=True)
    assert "is the plan now" in answer.content.decode()
    assert _place() == ("g1", TOMORROW)
    week = repository.latest_week()
    assert week.plan.note.startswith("Bo Lind changed it by hand: Road 0, ")
    assert week.plan.note.endswith("pinned to Grader 1, Wed 13 May. Because: the bridge is closed.")
    assert [card.status for card in week.cards] == ["draft"]
    line = models.Audit.objects.filter(table="plan").order_by("-pk").first()
    assert (line.who, line.before["plan"]) == ("bo", before)


def test_the_last_step_can_be_undone_and_all_dropped(planned_office):
    foreman = _foreman()
    foreman.post("/plan/wish/", _form())
    foreman.post("/plan/wish/", _form(act="out"))
    text = foreman.get("/plan/").content.decode()
    assert "Drop all 2" in text
    foreman.post("/plan/undo/")
    text = foreman.get("/plan/").content.decode()
    assert "pinned to Grader 1" in text
    assert "Drop all" not in text
    foreman.post("/plan/drop/")
    assert "Tried, not kept yet" not in foreman.get("/plan/").content.decode()


def test_work_left_out_by_wish_says_so(planned_office):
    foreman = _foreman()
    foreman.post("/plan/wish/", _form(act="out", machine="", day=""))
    foreman.post("/plan/keep/")
    week = repository.latest_week()
    assert week.plan.served == ()
    assert week.plan.unserved[0].binding == "kept_out"
    assert "Kept out by" in foreman.get("/plan/").content.decode()


def test_two_at_once_get_a_conflict_and_lose_nothing(planned_office):
    first, second, base = _foreman("Ada Moe"), _foreman("Bo Lind"), _base()
    first.post("/plan/wish/", _form())
    second.post("/plan/wish/", _form(act="out"))
    first.post("/plan/keep/")
    kept = _base()
    answer = second.post("/plan/keep/")
    assert answer.status_code == 409
    text = answer.content.decode()
    assert "ada kept another plan first" in text
    assert "pinned to Grader 1" in text, "what the other did is said"
    assert "Road 0" in text, "what this one asked for is not lost"
    assert _base() == kept
    late = second.post("/plan/wish/", _form(base=base))
    assert late.status_code == 409
    shown = second.get("/plan/").content.decode()
    assert "What you tried is not lost" in shown
    second.post("/plan/rebase/")
    second.post("/plan/keep/")
    assert repository.latest_week().plan.served == ()


def test_the_store_itself_refuses_the_slower_of_two(planned_office):
    """Also when both have passed the page's own look: the check is inside the transaction."""
    week = repository.latest_week()
    repository.save_week(week, by="ada", over=week.plan.id)
    n_plans = models.Plan.objects.count()
    with pytest.raises(repository.PlanMovedOnError, match="ada kept another plan"):
        repository.save_week(week, by="bo", over=week.plan.id)
    assert models.Plan.objects.count() == n_plans


def test_work_with_an_issued_card_stays(planned_office):
    foreman = _foreman()
    number = models.JobCard.objects.get().number
    foreman.post("/cards/issue/", {"card": number})
    answer = foreman.post("/plan/wish/", _form(), follow=True)
    assert f"crew has card {number} for this work" in answer.content.decode()
    assert "Withdraw the card first" in foreman.get(f"/plan/work/{STAGE}/").content.decode()
    assert "Tried, not kept yet" not in foreman.get("/plan/").content.decode()


def test_the_plan_before_can_be_brought_back(planned_office):
    foreman, before = _foreman(), _place()
    foreman.post("/plan/wish/", _form())
    foreman.post("/plan/keep/")
    assert _place() != before
    foreman.post("/plan/back/", {"base": _base()})
    assert _place() == before
    assert "Brought back" in repository.latest_week().plan.note
    drafts = models.JobCard.objects.filter(status="draft")
    assert [card.plan.key for card in drafts] == [_base()]


def test_a_wish_set_free_is_gone(planned_office):
    foreman = _foreman()
    foreman.post("/plan/wish/", _form())
    foreman.post("/plan/keep/")
    assert repository.latest_week().plan.wishes == (
        PlanWish("j1", "pin", "g1", TODAY + timedelta(days=1), STAGE),
    )
    foreman.post("/plan/wish/", _form(act="free"))
    foreman.post("/plan/keep/")
    assert repository.latest_week().plan.wishes == ()


@pytest.mark.parametrize(
    ("given", "told"),
    [({"act": "explode"}, "act is"), ({"day": "soon"}, "day is"), ({"machine": "g9"}, "unknown")],
)
def test_bad_steps_are_said_and_change_nothing(planned_office, given, told):
    foreman = _foreman()
    text = foreman.post("/plan/wish/", _form(**given), follow=True).content.decode().lower()
    assert told in text
    assert "Tried, not kept yet" not in text


def test_unknown_work_is_not_found(planned_office):
    foreman = _foreman()
    assert foreman.get("/plan/work/nothing/").status_code == 404
    assert foreman.post("/plan/wish/", _form(stage="nothing")).status_code == 404


def test_the_form_says_what_the_surface_allows(planned_office):
    text = _foreman().get(f"/plan/work/{STAGE}/").content.decode()
    assert "Pin it there" in text
    assert "Grader 1" in text
