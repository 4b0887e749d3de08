"""What a track proposes: the right card, as done or as begun, and what nobody ordered."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from crossfall.errors import InputError
from crossfall.model import Treatment
from crossfall.model.policy import TracksPolicy
from crossfall.network.passes import SegmentPasses
from crossfall.network.work_days import WorkDay
from crossfall.records.from_tracks import (
    machine_days,
    note_of,
    propose_work,
    record_without_card,
)
from small_district import TODAY, small_fleet, small_network, small_week

POLICY = TracksPolicy()
FLEET = small_fleet()


def passes(segment_id: str = "s0", **changes: object) -> SegmentPasses:
    told = SegmentPasses(
        segment_id, 1, 1, 0.0, 780.0, 780.0, 800.0, 900.0, 1560.0, 0.0, 900.0, "known",
        6.5, 0.1, 0, 6.7,
    )  # fmt: skip
    return replace(told, **changes)


def day(*done: SegmentPasses, on: date = TODAY) -> WorkDay:
    return WorkDay(on, done, 0.4, 1.0, 0.5, 3.1, 30.0, (), "known")


def orders():
    week = small_week()
    (card,) = week.cards
    return [(replace(card, status="issued"), week.jobs[0].stages[0])]


def propose(*done: SegmentPasses, on: date = TODAY, given=None):
    found = propose_work(
        [day(*done, on=on)],
        small_network(),
        orders() if given is None else given,
        FLEET.machines[0],
        FLEET.operators[0],
        POLICY,
    )
    return found[0] if len(found) == 1 else found


def test_all_passes_over_the_whole_length_propose_the_card_as_done():
    work = propose(passes())
    assert (work.card_number, work.is_finished, work.n_passes) == (1, True, 2)
    assert work.hours == pytest.approx(900 / 3600)
    assert work.operator == "First operator"
    assert work.would == "reports card 1 as done and closes it"
    assert work.doubts == ()


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"n_backward": 0}, "1 of 2 ordered passes were seen"),
        ({"to_m": 400.0, "covered_m": 400.0}, "51 % of the ordered length was reached"),
        ({"covered_m": 500.0}, "280 m in between were not worked"),
    ],
)
def test_less_than_ordered_is_proposed_as_begun(changes, words):
    work = propose(passes(**changes))
    assert work.card_number == 1
    assert not work.is_finished
    assert any(words in doubt for doubt in work.doubts)


def test_a_card_of_another_machine_day_or_road_is_left_alone():
    assert propose(passes("s1")).card_number is None
    assert propose(passes(), on=date(2026, 5, 30)).card_number is None
    (card, stage) = orders()[0]
    assert propose(passes(), given=[(replace(card, machine="Grader 9"), stage)]).card_number is None


def test_a_card_is_used_once():
    first, second = propose_work(
        [day(passes()), day(passes(), on=date(2026, 5, 13))],
        small_network(), orders(), FLEET.machines[0], None, POLICY,
    )  # fmt: skip
    assert (first.card_number, second.card_number) == (1, None)
    assert first.operator == "Grader 1"


def test_fast_legs_and_an_inferred_blade_are_doubts_and_stand_in_the_note():
    work = propose(passes(blade="inferred", n_fast=2, fastest_km_h=11.2))
    assert any("inferred from speed" in doubt for doubt in work.doubts)
    assert any("check: risk of corrugation" in doubt for doubt in work.doubts)
    assert "check: risk of corrugation, 2 legs" in note_of(work)


def test_passes_nobody_ordered_become_blading_that_can_be_refused():
    work = propose(passes("s2"))
    record = record_without_card(work, track="abc")
    assert record.treatment is Treatment.BLADING
    assert (record.segment_id, record.n_passes, record.done_on) == ("s2", 2, TODAY)
    assert record.id == "track-abc-20260512-s2"
    with pytest.raises(InputError, match="card 1 ordered this work"):
        record_without_card(propose(passes()), track="abc")


def test_the_sums_of_a_day_stay():
    (kept,) = machine_days(
        [day(passes())], "g1", track="abc", source="d.gpx", engine_h={TODAY: 7.5}
    )
    assert (kept.id, kept.work_km, kept.engine_h, kept.fuel_l) == (
        "g1-20260512-abc", 3.1, 7.5, None,
    )  # fmt: skip
