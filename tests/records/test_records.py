"""Closing cards, what stays open, and what work makes of conditions."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime

import pytest

from crossfall.errors import InputError, UnitsError
from crossfall.model import (
    Condition,
    CostRange,
    JobCard,
    Money,
    Network,
    Node,
    Operation,
    Segment,
    Sketch,
    Stage,
    Treatment,
    WorkRecord,
)
from crossfall.records import close_card, conditions_after, open_ends

DAY = date(2026, 5, 18)
NO_MONEY = Money(0, "USD", 2026)

STAGE = Stage(
    id="j/1",
    job_id="j",
    number=1,
    name="Blade",
    segment_id="s",
    from_m=0.0,
    to_m=1600.0,
    task="light_blading",
    treatment=Treatment.BLADING,
    operations=(Operation("smooth", 2, 6.5),),
    pass_minutes=(18.0, 18.0),
    steps=("Blade",),
    end_state="closed",
)
CARD = JobCard(
    id="c7",
    number=7,
    version=1,
    status="issued",
    made_at=datetime(2026, 5, 17, 20, 0),  # noqa: DTZ001
    plan_id="p",
    job_id="j",
    stage_id="j/1",
    segment_id="s",
    day=DAY,
    machine="grader 1",
    operator="somebody",
    title="Light blading, Mill Road",
    where="0 to 1600 m",
    start_clock="06:30",
    moisture="workable",
    steps=(),
    quantities=(),
    stakes=(),
    cautions=(),
    end_state="closed",
    checks=(),
    cost=CostRange(NO_MONEY, NO_MONEY, NO_MONEY),
    sketch=Sketch((), (), ()),
)
NETWORK = Network(
    (Node("a", 0, 45), Node("b", 0.02, 45)),
    (Segment("s", "Mill Road", "a", "b", 0.0, 1600.0, ((0.0, 45.0), (0.02, 45.0))),),
)
WORN = Condition(
    "s",
    date(2026, 5, 1),
    crown=3.5,
    drainage=3.0,
    gravel=4.0,
    deformation=2.5,
    defects=2.5,
    method="measured",
    corrugation_mm=30.0,
    windrow_side="left",
)


def _record(**changes: object) -> WorkRecord:
    return replace(
        WorkRecord("r1", "s", DAY, Treatment.BLADING, 2, 0.8, "somebody"),
        **changes,  # type: ignore[arg-type]
    )


def test_a_closed_card_says_what_was_done() -> None:
    record = close_card(CARD, STAGE, by="O. Sedge", hours=0.9)
    assert (record.segment_id, record.treatment, record.n_passes) == ("s", Treatment.BLADING, 2)
    assert (record.from_m, record.to_m, record.card_id) == (0.0, 1600.0, "c7")
    assert record.done_on == DAY


@pytest.mark.parametrize(
    ("arguments", "error", "words"),
    [
        ({"hours": 0.0}, InputError, "hours is 0"),
        ({"hours": float("nan")}, InputError, "hours is nan"),
        ({"hours": 54.0}, UnitsError, "looks like minutes"),
        ({"hours": 1.0, "by": " "}, InputError, "by is empty"),
        ({"hours": 1.0, "n_passes": -1}, InputError, "cannot be negative"),
        ({"hours": 1.0, "is_finished": False}, InputError, "n_passes is missing"),
        ({"hours": 1.0, "from_m": 900.0, "to_m": 100.0}, InputError, "not inside the stage"),
        ({"hours": 1.0, "is_windrow_in_travelled_way": True}, InputError, "windrow_side"),
    ],
)
def test_impossible_reports_are_refused(
    arguments: dict, error: type[Exception], words: str
) -> None:
    with pytest.raises(error, match=words):
        close_card(CARD, STAGE, **({"by": "O. Sedge"} | arguments))


def test_only_an_issued_card_of_this_stage_is_closed() -> None:
    with pytest.raises(InputError, match="is withdrawn"):
        close_card(replace(CARD, status="withdrawn"), STAGE, by="x", hours=1)
    with pytest.raises(InputError, match="orders stage"):
        close_card(replace(CARD, stage_id="other"), STAGE, by="x", hours=1)


def test_a_windrow_in_the_travelled_way_is_due_the_same_day() -> None:
    (end,) = open_ends([_record(windrow_side="left", is_windrow_in_travelled_way=True)])
    assert end.due == DAY
    assert end.is_in_travelled_way
    assert end.is_overdue(date(2026, 5, 19))


def test_later_grading_closes_a_windrow_and_a_correction_replaces_its_record() -> None:
    left = _record(windrow_side="left")
    assert len(open_ends([left])) == 1
    assert open_ends([left, _record(id="r2", done_on=date(2026, 5, 20))]) == ()
    assert open_ends([left, _record(id="r2", supersedes="r1")]) == ()


def test_unfinished_work_stays_open_until_the_same_work_is_finished() -> None:
    begun = _record(treatment=Treatment.RESHAPING, is_finished=False)
    assert [end.kind for end in open_ends([begun])] == ["unfinished"]
    bladed = _record(id="r2", done_on=date(2026, 5, 20))
    assert [end.kind for end in open_ends([begun, bladed])] == ["unfinished"]
    done = _record(id="r3", done_on=date(2026, 5, 21), treatment=Treatment.RESHAPING)
    assert open_ends([begun, bladed, done]) == ()


def test_blading_mends_the_ride_but_opens_no_ditch() -> None:
    (after,) = conditions_after([WORN], [_record()], network=NETWORK)
    assert after.deformation > WORN.deformation
    assert after.defects > WORN.defects
    assert after.drainage == WORN.drainage
    assert after.gravel == WORN.gravel
    assert after.corrugation_mm is None
    assert after.windrow_side is None
    assert after.last_bladed_on == DAY
    assert after.method == "estimated"


def test_half_the_length_mends_half() -> None:
    half = _record(from_m=0.0, to_m=800.0, is_finished=False)
    (whole,) = conditions_after([WORN], [_record()], network=NETWORK)
    (part,) = conditions_after([WORN], [half], network=NETWORK)
    assert part.deformation - WORN.deformation == pytest.approx(
        (whole.deformation - WORN.deformation) / 2
    )
    assert part.corrugation_mm == WORN.corrugation_mm


def test_work_before_the_look_changes_nothing() -> None:
    assert conditions_after([WORN], [_record(done_on=date(2026, 4, 1))]) == (WORN,)
