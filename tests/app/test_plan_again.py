"""A week is planned again: what crews have orders for is left alone, and the plan says so."""

from __future__ import annotations

from dataclasses import replace

import pytest

from crossfall.model import Violation
from crossfall_app.runs import planning
from crossfall_app.runs.planning import plan_from_store
from crossfall_app.store import repository
from small_district import NOON, TODAY, small_condition, small_district


@pytest.fixture
def planned(sqlite_workspace):
    """A stored week with every card issued."""
    looks = (small_condition(), small_condition("s1"))
    repository.store_district(
        replace(small_district(), conditions=looks, hazards=(), dust=()), by="test"
    )
    repository.save_week(plan().week, by="test")
    cards = repository.list_cards()
    assert cards
    for card in cards:
        repository.issue_card(card.number, approved_by="R. Foreman", by="test")
    return cards


def plan():
    return plan_from_store(first_day=TODAY, n_days=3, seconds=0, seed=1, made_at=NOON)


def test_roads_with_issued_cards_are_not_ordered_again(planned):
    ordered = {card.segment_id for card in planned}
    again = plan().week
    assert not ordered & {need.segment_id for need in again.needs}
    assert not ordered & {card.segment_id for card in again.cards}
    assert len(again.conditions) == 3
    assert again.plan.note.startswith("Left out, for card")
    assert all(str(card.number) in again.plan.note for card in planned)
    assert "issued there already: Road" in again.plan.note


def test_the_hours_of_issued_cards_are_taken(planned):
    """Who has a card in hand is not sent to another road while doing it."""
    first = repository.latest_week().plan
    again = plan().week
    assert again.violations == ()
    held = [each for each in again.plan.reserved if each.kind == "orders"]
    machines = {(each.machine_id, each.day) for each in first.itineraries}
    assert {(each.machine_id, each.day) for each in held} >= machines
    for each in again.plan.itineraries:
        for order in held:
            if order.holds(each.machine_id, each.operator_id, each.day):
                begin, end = each.legs[0].start_min, each.legs[-1].end_min
                assert begin >= order.end_min or end <= order.start_min
    for each in first.itineraries:
        (own,) = [o for o in held if (o.machine_id, o.day) == (each.machine_id, each.day)]
        assert own.start_min == each.legs[0].start_min
        assert own.end_min == pytest.approx(each.legs[-1].end_min)


def test_a_withdrawn_card_frees_its_road(planned):
    for card in planned:
        repository.withdraw_card(card.number, because="rain", by="test")
    again = plan().week
    assert {card.segment_id for card in again.cards} == {card.segment_id for card in planned}
    assert again.plan.note == ""


def test_a_plan_that_breaks_a_rule_is_not_shown(crossfall, sqlite_workspace, monkeypatch):
    repository.store_district(small_district(), by="test")
    broken = Violation("one_place", "g1 on 2026-05-12", "two places at once")

    def broken_plan(**given):
        planned = plan_from_store(**given)
        return replace(planned, week=replace(planned.week, violations=(broken, broken)))

    monkeypatch.setattr(planning, "plan_from_store", broken_plan)
    command = ("plan", sqlite_workspace.path, "--start", TODAY, "--days", 2, "--seconds", 0)
    told = crossfall(*command, "--json")
    assert (told.code, told.json["checker_violations"]) == (1, 2)
    assert told.json["violations"][0]["message"] == "two places at once"
    assert "crossfall's own mistake: the plan broke its own rules and is not shown" in told.err
    told = crossfall(*command)
    assert (told.code, told.out) == (1, "")
    assert repository.latest_week() is None


def test_the_count_is_the_checkers_own(crossfall, sqlite_workspace):
    repository.store_district(replace(small_district(), hazards=(), dust=()), by="test")
    told = crossfall(
        "plan", sqlite_workspace.path, "--start", TODAY, "--days", 2, "--seconds", 0, "--json"
    )
    assert (told.code, told.json["checker_violations"]) == (0, 0), told.err
