"""Drafts of what is said to residents: only what the records say."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

from crossfall.model import Request, Treatment
from crossfall.records.replies import draft_replies
from small_district import small_network, small_record

ASKED = date(2026, 4, 10)
TODAY = date(2026, 5, 12)
NETWORK = small_network()


def ask(key: str = "q1", **facts: object) -> Request:
    return replace(Request(key, ASKED, "washboard", segment_id="s1"), **facts)


def drafts(requests, *records):
    return draft_replies(requests, records, NETWORK, today=TODAY)


def test_a_draft_says_what_was_done_and_when():
    (draft,) = drafts([ask(), ask("q2", merged_into="q1")], small_record())
    assert draft.request_ids == ("q1", "q2")
    assert draft.record.id == "r1"
    assert draft.text == (
        "Thank you for telling us about Road 1 on 10 April. On Monday 20 April 2026 our crew"
        " smoothed the surface with a grader. If it troubles you still, tell us again and name"
        " request q1."
    )


def test_gravel_stretch_and_windrow_are_told():
    record = small_record(
        treatment=Treatment.SPOT_GRAVEL, from_m=100.0, to_m=220.0, loose_gravel_m3=18.0,
        windrow_side="left",
    )  # fmt: skip
    (draft,) = drafts([ask()], record)
    assert "put gravel on the worn places over 120 m of it." in draft.text
    assert "18 m3 of gravel were placed." in draft.text
    assert "A ridge of gravel is left along the side" in draft.text


def test_what_does_not_answer():
    assert drafts([ask(received_on=date(2026, 4, 21))], small_record()) == (), "work was before"
    assert drafts([ask(segment_id="s0")], small_record()) == ()
    assert drafts([ask(segment_id=None)], small_record()) == ()
    assert drafts([ask(status="closed")], small_record()) == ()
    assert drafts([ask()], small_record(is_finished=False)) == ()
    assert drafts([ask()], small_record(treatment=Treatment.NONE)) == ()
    assert drafts([ask()], small_record(done_on=date(2026, 6, 1))) == (), "that day is to come"
    assert drafts([ask(at_m=500.0)], small_record(from_m=0.0, to_m=300.0)) == ()
    corrected = small_record("r2", supersedes="r1", is_finished=False)
    assert drafts([ask()], small_record(), corrected) == ()


def test_the_last_voice_must_have_been_heard_before_the_work():
    late = ask("q2", merged_into="q1", received_on=date(2026, 4, 25))
    assert drafts([ask(), late], small_record()) == ()
    (draft,) = drafts([ask(), late], small_record(), small_record("r9", done_on=date(2026, 5, 2)))
    assert draft.record.id == "r9"
