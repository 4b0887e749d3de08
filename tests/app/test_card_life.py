"""A card is issued by name when nothing stands against it, and taken back with a reason."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest

from crossfall import model as nouns
from crossfall.errors import InputError, WorkspaceError
from crossfall_app.store import audit, doctor, models, repository
from small_district import NOON, TODAY, small_district, small_week


@pytest.fixture
def district(any_workspace):
    """A small district, stored."""
    given = small_district()
    repository.store_district(given, by="test")
    return given


def ditch_week(**changes):
    """A week whose one card digs a ditch beside a road."""
    week = small_week()
    stage = replace(
        week.jobs[0].stages[0], task="cutting", treatment=nouns.Treatment.DITCH_CLEANING
    )
    job = replace(week.jobs[0], stages=(stage,), **changes)
    return replace(week, jobs=(job,))


def utilities(**changes):
    leave = nouns.Clearance(
        "u1", "utilities", "s0", "26-0417", "one-call centre", TODAY, TODAY + timedelta(days=14)
    )
    return replace(leave, **changes)


def test_a_card_is_issued_by_a_named_person(district):
    repository.save_week(small_week(), by="test")
    with pytest.raises(InputError, match="approved_by is empty"):
        repository.issue_card(1, approved_by=" ", by="test")
    issued = repository.issue_card(1, approved_by="R. Foreman", by="test", at=NOON)
    assert (issued.status, issued.approved_by, issued.approved_at) == ("issued", "R. Foreman", NOON)
    assert len(issued.seal) == 64
    assert repository.load_card(1) == issued
    with pytest.raises(InputError, match="is issued and cannot become issued"):
        repository.issue_card(1, approved_by="R. Foreman", by="test")
    row = models.JobCard.objects.get()
    row.body = row.body.replace("set signs", "no signs ")
    row.save()
    with pytest.raises(WorkspaceError, match="altered"):
        repository.load_card(1)
    assert audit.first_break() is None


def test_a_ditch_waits_for_its_clearance_and_then_carries_its_number(district):
    repository.save_week(ditch_week(), by="test")
    (against,) = repository.card_obstacles(1)
    assert against.kind == "clearance"
    with pytest.raises(InputError, match="no utilities clearance that holds on 2026-05-12"):
        repository.issue_card(1, approved_by="R. Foreman", by="test")
    too_old = utilities(id="u0", valid_from=date(2026, 4, 1), expires_on=date(2026, 5, 11))
    too_short = utilities(id="u2", to_m=500.0)
    repository.add_clearances([too_old, too_short], by="test")
    assert repository.card_obstacles(1)
    repository.add_clearances([utilities()], by="test")
    assert repository.card_obstacles(1) == ()
    issued = repository.issue_card(1, approved_by="R. Foreman", by="test")
    assert (issued.steps[0].text, issued.steps[0].detail) == (
        "Have the utilities clearance with you",
        "26-0417, until 26 May",
    )


def test_an_engineer_has_to_confirm_by_name(district):
    repository.save_week(small_week(jobs=ditch_week(needs_engineer=True).jobs), by="test")
    repository.add_clearances([utilities()], by="test")
    with pytest.raises(InputError, match="an engineer has to confirm it"):
        repository.issue_card(1, approved_by="R. Foreman", by="test")
    issued = repository.issue_card(
        1, approved_by="R. Foreman", confirmed_by="E. Ngineer", by="test"
    )
    assert issued.confirmed_by == "E. Ngineer"


def test_a_treated_road_is_left_alone_until_its_day(district):
    repository.save_week(small_week(), by="test")
    rest = replace(district.dust[0], id="d2", segment_id="s0", no_blade_until=date(2026, 6, 30))
    repository.add_dust([rest], by="test")
    with pytest.raises(InputError, match="dust control rests there until 2026-06-30"):
        repository.issue_card(1, approved_by="R. Foreman", by="test")
    repository.end_rest("d2", TODAY - timedelta(days=1), by="test")
    assert repository.issue_card(1, approved_by="R. Foreman", by="test").status == "issued"


def test_a_mistake_is_withdrawn_with_its_reason_and_written_anew(district):
    repository.save_week(small_week(), by="test")
    repository.issue_card(1, approved_by="R. Foreman", by="test")
    with pytest.raises(InputError, match="withdraw it and say why"):
        repository.next_version(1, by="test")
    with pytest.raises(InputError, match="say why it is withdrawn"):
        repository.withdraw_card(1, because="", by="test")
    taken = repository.withdraw_card(1, because="wrong operator", by="test")
    assert taken.withdrawn_because == "wrong operator"
    second = repository.next_version(
        1, by="test", operator="Second operator", start_clock="6:45", note="Gate is locked"
    )
    assert (second.number, second.version, second.status) == (1, 2, "draft")
    assert (second.operator, second.start_clock) == ("Second operator", "06:45")
    assert second.steps[0].text == "Note from the foreman: Gate is locked"
    assert second.id != taken.id
    assert repository.load_card(1) == second
    assert [(line.version, line.status) for line in repository.card_history(1)] == [
        (2, "draft"),
        (1, "withdrawn"),
    ]
    repository.withdraw_card(1, because="once more", by="test")
    with pytest.raises(InputError, match="expected a time"):
        repository.next_version(1, by="test", start_clock="seven")


def test_a_new_version_replaces_the_note_of_the_old_one(district):
    repository.save_week(small_week(), by="test")
    for note in ("first", "second"):
        repository.withdraw_card(1, because="a better note", by="test")
        card = repository.next_version(1, by="test", note=note)
    notes = [step.text for step in card.steps if "Note from" in step.text]
    assert notes == ["Note from the foreman: second"]


def test_no_card_goes_out_to_a_road_that_is_washed_out(district):
    repository.save_week(small_week(), by="test")
    danger = nouns.Hazard("h2", "s0", 300.0, "washout", NOON, barricaded_at=NOON)
    repository.add_hazards([danger, replace(danger, id="h3", kind="sign_missing")], by="test")
    (against,) = repository.card_obstacles(1)
    assert against.kind == "hazard"
    assert "washout at 300" in against.text
    assert repository.held_up(repository.list_cards())[1] == (against,)
    with pytest.raises(InputError, match=r"card 1 cannot be issued: washout .* \(h2\)"):
        repository.issue_card(1, approved_by="R. Foreman", by="test")
    repository.move_hazard("h2", "repaired_at", NOON, by="test")
    assert repository.issue_card(1, approved_by="R. Foreman", by="test").status == "issued"
    assert [card.number for card in repository.live_cards(["s0", "s1"])] == [1]
    assert repository.live_cards(["s1"]) == ()


def later_week(*, start_min=420.0, clock="07:00", segment_id="s0", from_m=0.0, to_m=780.0):
    """Another plan of the same day, with one card."""
    week = small_week("plan-2")
    stage = replace(week.jobs[0].stages[0], segment_id=segment_id, from_m=from_m, to_m=to_m)
    leg = replace(week.plan.itineraries[0].legs[0], start_min=start_min, end_min=start_min + 14.0)
    return replace(
        week,
        plan=replace(week.plan, itineraries=(replace(week.plan.itineraries[0], legs=(leg,)),)),
        jobs=(replace(week.jobs[0], segment_id=segment_id, stages=(stage,)),),
        cards=(replace(week.cards[0], id="c2", segment_id=segment_id, start_clock=clock),),
    )


def issued_and_planned_again(**changes):
    repository.save_week(small_week(), by="test")
    repository.issue_card(1, approved_by="R. Foreman", by="test")
    repository.save_week(later_week(**changes), by="test")
    return [(each.kind, each.text) for each in repository.card_obstacles(2)]


def test_a_road_is_not_ordered_twice(district):
    ((kind, text),) = issued_and_planned_again(start_min=600.0, clock="10:00")
    assert kind == "ordered"
    assert text.startswith("card 1 of 2026-05-12 is issued and orders the same work there")
    assert repository.held_up(repository.list_cards(status="draft"))[2][0].text == text
    with pytest.raises(InputError, match="card 2 cannot be issued: card 1"):
        repository.issue_card(2, approved_by="R. Foreman", by="test")
    repository.withdraw_card(1, because="planned anew", by="test")
    assert repository.issue_card(2, approved_by="R. Foreman", by="test").status == "issued"


def test_the_next_stretch_of_a_road_is_other_work(district):
    repository.save_week(replace(small_week(), jobs=later_week(to_m=400.0).jobs), by="test")
    repository.issue_card(1, approved_by="R. Foreman", by="test")
    repository.save_week(later_week(start_min=600.0, clock="10:00", from_m=400.0), by="test")
    assert repository.card_obstacles(2) == ()


@pytest.mark.parametrize(("start", "clock", "n"), [(430.0, "07:10", 1), (434.0, "07:14", 0)])
def test_a_machine_is_not_sent_to_two_places_at_once(district, start, clock, n):
    told = issued_and_planned_again(segment_id="s1", start_min=start, clock=clock)
    assert len(told) == n
    assert all("card 1 is issued to Grader 1 for the same hours" in text for _, text in told)


def test_a_card_written_anew_is_not_in_its_own_way(district):
    repository.save_week(small_week(), by="test")
    repository.issue_card(1, approved_by="R. Foreman", by="test")
    repository.withdraw_card(1, because="late", by="test")
    repository.next_version(1, by="test", start_clock="08:00")
    assert repository.issue_card(1, approved_by="R. Foreman", by="test").version == 2


@pytest.mark.parametrize(
    "changes",
    [
        {"approved_by": "Somebody Else"},
        {"confirmed_by": "An Engineer"},
        {"approved_at": NOON - timedelta(days=3)},
        {"approved_by": "", "approved_at": None},
    ],
    ids=lambda each: "-".join(each),
)
def test_the_doctor_sees_an_approval_that_nobody_gave(any_workspace, changes):
    repository.store_district(small_district(), by="test")
    repository.save_week(small_week(), by="test")
    repository.issue_card(1, approved_by="R. Foreman", by="test", at=NOON)
    assert cards_finding(any_workspace).told == "1 cards, none altered"
    models.JobCard.objects.update(**changes)
    found = cards_finding(any_workspace)
    assert not found.is_well
    assert "card 1, version 1: who issued it and when is not what the audit says" in found.told


def test_the_doctor_sees_a_draft_that_was_made_an_order(any_workspace):
    repository.store_district(small_district(), by="test")
    repository.save_week(small_week(), by="test")
    models.JobCard.objects.update(status="issued")
    assert not cards_finding(any_workspace).is_well


def cards_finding(workspace):
    return next(each for each in doctor.examine(workspace) if each.check == "cards")
