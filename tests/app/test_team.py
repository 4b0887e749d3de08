"""What a team changes at once, on each database: plans, the word for a crew, events, open ends."""

from __future__ import annotations

import threading
from dataclasses import replace

import pytest
from django.db import connection

from crossfall.errors import InputError
from crossfall.model import PlanWish
from crossfall_app.runs import board
from crossfall_app.store import audit, books, models, repository
from crossfall_app.store.fresh import changes_since, refreshed
from small_district import NOON, TODAY, small_condition, small_district, small_record, small_week


@pytest.fixture
def team(any_workspace):
    """A small district with a planned week."""
    repository.store_district(small_district(), by="test")
    repository.save_week(small_week(), by="test")
    return any_workspace


def _together(*works) -> list[Exception | None]:
    """Do some works at the same moment, each on a connection of its own."""
    ends: list[Exception | None] = [None] * len(works)
    start = threading.Barrier(len(works))

    def one(number: int) -> None:
        start.wait(timeout=20)
        try:
            works[number]()
        except Exception as error:  # noqa: BLE001 - told to the test, whatever it was
            ends[number] = error
        finally:
            connection.close()

    threads = [threading.Thread(target=one, args=(n,)) for n in range(len(works))]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=60)
    return ends


def test_of_two_who_keep_a_plan_at_once_one_gets_a_conflict(team):
    """The check is inside the transaction that locks: however they meet, one plan is kept."""
    base = repository.latest_week()

    def keep(name: str):
        week = replace(base, plan=replace(base.plan, id=f"by-{name}"))
        return lambda: repository.save_week(week, by=name, over=base.plan.id)

    ends = _together(keep("ada"), keep("bo"), keep("cy"))
    lost = [end for end in ends if end is not None]
    assert len(lost) == 2
    assert all(isinstance(end, repository.PlanMovedOnError) for end in lost)
    assert models.Plan.objects.count() == 2
    assert audit.first_break() is None


def test_wishes_come_back_as_they_were_kept(team):
    base = repository.latest_week()
    wish = PlanWish("j1", "pin", "g1", TODAY, "s0-1")
    now = board.board_moment(base.plan, NOON, is_invented=True)
    trial = board.try_wishes(base, (wish,), repository.load_district(), now=now)
    kept = board.keep_trial(trial, by="ada", note="Ada pinned it.", made_at=NOON)
    again = repository.load_week(kept.plan.id)
    assert again.plan.wishes == (wish,)
    assert again.plan.note == "Ada pinned it."
    assert repository.week_before(kept.plan.id).plan.id == base.plan.id


def test_words_given_at_once_are_all_on_record_and_the_last_counts(team):
    works = [
        lambda call=call: repository.call_crew("o1", TODAY, call, by=call)
        for call in ("hold", "wet", "off")
    ]
    assert _together(*works) == [None, None, None]
    last = models.CrewCall.objects.order_by("-pk").first()
    assert repository.crew_calls(TODAY) == {"o1": last.call}
    assert models.CrewCall.objects.count() == 3
    assert audit.first_break() is None


def test_an_event_code_is_opened_once(team):
    works = [
        lambda name=name: books.open_event("flood", name, TODAY, by=name) for name in ("ada", "bo")
    ]
    ends = _together(*works)
    assert sum(end is None for end in ends) == 1
    assert any(isinstance(end, InputError) for end in ends), "and the other is told in a sentence"
    assert models.Event.objects.count() == 1
    books.put_under("flood", "record", ["r1"], by="ada")
    assert books.load_event("flood").records == {"r1"}


def test_what_stays_open_needs_a_name_on_each_database(team):
    with pytest.raises(InputError, match="nobody is named"):
        books.approve_end("r1", "windrow", approved_by=" ", today=TODAY, is_delineated=True,
                          is_height_limited=True, by="x")  # fmt: skip
    books.approve_end("r1", "windrow", approved_by="Ada Moe", today=TODAY, is_delineated=True,
                      is_height_limited=True, by="ada")  # fmt: skip
    assert books.end_approvals()["r1", "windrow"].approved_by == "Ada Moe"


def test_reading_again_in_parts_is_the_same_on_each_database(team):
    before, line = repository.load_district(), models.Audit.objects.order_by("-pk").first().pk
    repository.add_conditions([small_condition("s2", crown=1.0)], by="test")
    repository.add_records([small_record("r7", segment_id="s0")], by="test")
    now, whole = refreshed(before, changes_since(line)), repository.load_district()
    assert (now.conditions, now.records) == (whole.conditions, whole.records)
