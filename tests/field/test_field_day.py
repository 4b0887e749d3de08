"""From facts to what the records say, and who has been silent for too long."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from crossfall.cards.cab import cab_passes
from crossfall.model import FieldFact, Leg
from crossfall.model.policy.cab import CabPolicy
from crossfall.records.field_day import (
    card_reports,
    hazard_of,
    looks_of_facts,
    observations_of_facts,
)
from crossfall.records.lone_worker import overdue_workers, workers_out
from small_district import TODAY, small_condition, small_network, small_week

DAWN = datetime(2026, 5, 12, 13, tzinfo=UTC)


def told(*said, card: str | None = "c1", machine: str = "g1", start: datetime = DAWN):
    """Facts one minute after the other."""
    return [
        FieldFact(
            f"f{i}", "phone", i, kind, start + timedelta(minutes=i), payload, card, machine,
            number=i, by="First operator",
        )
        for i, (kind, payload) in enumerate(said, start=1)
    ]  # fmt: skip


def test_a_finished_job():
    (report,) = card_reports(
        told(
            ("pass_done", {"pass": 1}),
            ("pass_done", {"pass": 2}),
            ("pass_done", {"pass": 2}),
            ("loads", {"loads": 3}),
            ("loads", {"loads": 2}),
            ("water", {"litres": 4000.0}),
            ("windrow", {"side": "left"}),
            ("job_done", {"note": "smooth now"}),
            ("hours", {"hours": 2.0}),
            ("hours", {"hours": 2.5}),
        )
    )
    assert (report.n_passes, report.n_loads, report.water_l) == (2, 5, 4000.0)
    assert report.is_done
    assert report.hours == 2.5, "the last word on the hours"
    assert report.windrow_side == "left"
    assert "smooth now" in report.notes
    assert report.summary().startswith("done; 2 passes, 2.5 h")


def test_a_job_that_was_left_says_why():
    (report,) = card_reports(
        told(("pass_done", {"pass": 1}), ("not_done", {"reason": "too_wet", "to_m": 300.0}))
    )
    assert report.is_given_up
    assert (report.reason, report.to_m, report.n_passes) == ("too wet", 300.0, 1)
    assert report.summary() == "left: too wet; 1 passes"


def test_a_job_taken_up_again_is_done():
    (report,) = card_reports(told(("not_done", {"reason": "machine"}), ("job_done", {})))
    assert report.is_done
    assert not report.is_given_up


@pytest.mark.parametrize(
    ("kind", "payload", "hazard"),
    [
        ("sign_missing", {"at_m": 20.0}, "sign_missing"),
        ("rock", {"is_in_travelled_way": True}, "obstruction"),
        ("rock", {"is_in_travelled_way": False}, None),
        ("culvert", {"state": "open"}, "other"),
        ("culvert", {"state": "blocked"}, None),
        ("soft_spot", {}, None),
    ],
)
def test_dangers_are_told_apart_from_the_rest(kind, payload, hazard):
    card = small_week().cards[0]
    (fact,) = told((kind, payload))
    found = hazard_of(fact, card)
    assert (found.kind if found else None) == hazard
    if found:
        assert found.segment_id == card.segment_id
        assert found.noticed_at == fact.at
        assert found.noticed_by == "First operator"
    assert hazard_of(fact, None) is None


def test_the_surface_as_it_felt_goes_to_the_moisture_model():
    card = small_week().cards[0]
    facts = told(("felt", {"felt": "dust"}), ("felt", {"felt": "just_right"}), card=card.id)
    (seen,) = observations_of_facts(facts, {card.id: card}, small_network(), TODAY)
    assert (seen.felt, seen.segment_id, seen.observed_on) == (
        "just_right", card.segment_id, TODAY,
    )  # fmt: skip
    assert seen.observer == "First operator"


def test_a_blocked_culvert_is_a_look_that_changes_nothing_else():
    card = small_week().cards[0]
    was = small_condition(card.segment_id)
    facts = told(("culvert", {"state": "blocked", "at_m": 390.0}), ("soft_spot", {}), card=card.id)
    (look,) = looks_of_facts(facts, {card.id: card}, [was], TODAY)
    assert look.is_culvert_blocked
    assert "culvert blocked at 390 m" in look.note
    assert (look.crown, look.gravel_mm) == (was.crown, was.gravel_mm)
    opened = [
        *facts,
        *told(("culvert", {"state": "opened"}), card=card.id, start=DAWN + timedelta(hours=1)),
    ]
    opened = [FieldFact(**{**_words(each), "id": f"x{i}"}) for i, each in enumerate(opened)]
    (after,) = looks_of_facts(opened, {card.id: card}, [was], TODAY)
    assert not after.is_culvert_blocked


def _words(fact):
    return {name: getattr(fact, name) for name in fact.__dataclass_fields__}


def test_passes_are_shown_in_the_order_they_are_driven():
    week = small_week()
    stage = week.jobs[0].stages[0]
    segment = small_network().segment_by_id[stage.segment_id]
    legs = [
        Leg("work", 500.0 - n, 501.0 - n, "n0", "n1", segment.id, stage.id, n, n % 2 == 0,
            700.0, stage.to_m, stage.from_m)
        for n in range(1, stage.n_passes + 1)
    ]  # fmt: skip
    passes = cab_passes(stage, segment, legs)
    assert [each.number for each in passes] == list(range(stage.n_passes, 0, -1))
    assert {each.n_passes for each in passes} == {stage.n_passes}
    assert {each.heading for each in passes} <= {"eastbound", "westbound"}
    assert (passes[0].speed_low_km_h, passes[0].speed_high_km_h) == (5.0, 8.0)
    plain = cab_passes(stage, segment)
    assert [each.is_forward for each in plain] == [n % 2 == 0 for n in range(stage.n_passes)]


def test_a_lone_worker_who_falls_silent_is_overdue():
    policy = CabPolicy()
    facts = told(("shift_start", {"is_alone": True, "who": "Pat"}), card=None)
    silent = timedelta(hours=policy.check_in_h) + timedelta(minutes=1)
    began = facts[0].at
    just_out = began + silent
    assert [each.who for each in workers_out(facts, now=just_out)] == ["Pat"]
    assert overdue_workers(facts, now=just_out) == (), "within grace"
    late = just_out + timedelta(minutes=policy.overdue_min)
    (worker,) = overdue_workers(facts, now=late)
    assert worker.minutes_late(late) > policy.overdue_min
    facts += told(("check_in", {"via": "radio"}), card=None, start=late)[:0] or [
        FieldFact("r", "office", 1, "check_in", late, {"via": "radio"}, None, "g1")
    ]
    assert overdue_workers(facts, now=late) == ()
    assert workers_out(facts, now=late)[0].heard_by == "radio"


def test_any_fact_is_a_sign_of_life():
    facts = told(("shift_start", {"is_alone": True}), card=None)
    later = facts[0].at + timedelta(hours=3)
    assert overdue_workers(facts, now=later)
    facts.append(
        FieldFact(
            "p", "phone", 2, "pass_done", later - timedelta(minutes=30), {"pass": 1}, "c1", "g1"
        )
    )
    assert overdue_workers(facts, now=later) == ()


def test_expected_back_holds_for_everybody_and_can_be_moved():
    back = (DAWN + timedelta(hours=1)).isoformat()
    facts = told(("shift_start", {"is_alone": False, "expected_back": back}), card=None)
    late = DAWN + timedelta(hours=1, minutes=20)
    assert len(overdue_workers(facts, now=late)) == 1
    moved = (DAWN + timedelta(hours=2)).isoformat()
    edit = {"target": "shift/g1/expected_back", "value": moved}
    facts.append(FieldFact("e", "phone", 2, "edit", late, edit, None, "g1", number=2))
    assert overdue_workers(facts, now=late) == ()
    # Touched by mistake and undone: the earlier time holds again
    facts.append(FieldFact("u", "phone", 3, "undo", late, {"of": "e"}, None, "g1", number=3))
    assert len(overdue_workers(facts, now=late)) == 1


def test_the_end_of_a_shift_ends_the_question():
    facts = told(("shift_start", {"is_alone": True}), ("shift_end", {}), card=None)
    assert workers_out(facts, now=DAWN + timedelta(hours=12)) == ()


def test_who_works_without_having_begun_a_shift_is_out_all_the_same():
    facts = told(("pass_done", {"pass": 1}))
    assert len(workers_out(facts, now=DAWN + timedelta(minutes=5))) == 1
