"""Pins and forbids: honoured by the search, believed by the checker, and told where they bind."""

from __future__ import annotations

from datetime import datetime, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crossfall.dispatch import dispatch_week
from crossfall.dispatch.checker import check_plan
from crossfall.dispatch.replan import replan_week
from crossfall.errors import InputError
from crossfall.model import Plan, PlanWish
from crossfall.model.policy import Policy
from dispatch.small_weeks import MADE_AT, MONDAY, NearGraph, OpenGates, crew, grid, job

NETWORK = grid(6, 6)
FLEET = crew(2)
POLICY = Policy()
JOBS = [
    job(s.id, passes=(20.0,) * (2 + i % 3), benefit_h=1.0 + i % 5)
    for i, s in enumerate(NETWORK.segments)
]
GATES = OpenGates(NETWORK)
START = datetime(2026, 6, 1, 0, 0)  # noqa: DTZ001 - local clock of the district
DAYS = [MONDAY + timedelta(days=d) for d in range(2)]


def _plan() -> Plan:
    return dispatch_week(
        JOBS, NETWORK, NearGraph(NETWORK), FLEET, GATES, POLICY, first_day=MONDAY, n_days=2,
        made_at=MADE_AT, seconds=1.0, seed=1, iterations=400,
    )  # fmt: skip


PLAN = _plan()


def _again(*wishes: PlanWish):
    found = replan_week(
        PLAN, JOBS, NETWORK, NearGraph(NETWORK), FLEET, GATES, POLICY, now=START, made_at=START,
        seconds=1.0, seed=1, iterations=120, wishes=wishes,
    )  # fmt: skip
    broken = check_plan(found.plan, JOBS, NETWORK, FLEET, GATES, POLICY, since=found.since)
    assert broken == ()
    return found


def _places(plan: Plan) -> dict[str, tuple[str, object]]:
    return {key: (each.machine_id, each.day) for each in plan.itineraries for key in each.stage_ids}


def _first_stage() -> tuple[str, str, tuple[str, object]]:
    stage_id, place = next(iter(_places(PLAN).items()))
    job_id = next(j.id for j in JOBS if any(s.id == stage_id for s in j.stages))
    return stage_id, job_id, place


def test_a_pin_moves_the_work_and_says_what_gave_way():
    stage_id, job_id, (machine_id, day) = _first_stage()
    other = next(d for d in DAYS if d != day)
    found = _again(PlanWish(job_id, "pin", machine_id, other))
    assert _places(found.plan)[stage_id] == (machine_id, other)
    assert {move.stage_id for move in found.moves} >= {stage_id}
    assert found.plan.wishes == (PlanWish(job_id, "pin", machine_id, other),)


def test_work_that_was_left_out_is_pulled_in():
    out = PLAN.unserved[0]
    found = _again(PlanWish(out.job_id, "pin", "G1", DAYS[0]))
    assert out.job_id in found.plan.served
    assert any(move.kind == "added" and move.job_id == out.job_id for move in found.moves)


def test_a_forbid_without_a_place_keeps_the_work_out_and_says_so():
    stage_id, job_id, _ = _first_stage()
    found = _again(PlanWish(job_id, "forbid"))
    assert stage_id not in _places(found.plan)
    (left,) = [each for each in found.plan.unserved if each.job_id == job_id]
    assert left.binding == "kept_out"
    assert "asked" in left.reason


def test_the_limit_holds_with_wishes_too():
    found = _again(PlanWish(JOBS[0].id, "forbid"), PlanWish(JOBS[3].id, "pin", "G0", DAYS[1]))
    assert found.plan.benefit_h <= found.plan.benefit_bound_h + 1e-9


@settings(max_examples=12, deadline=None)
@given(st.data())
def test_no_plan_breaks_a_wish(data):
    """Whatever is asked for, the work is where it was asked to be, or left out with a reason."""
    picked = data.draw(
        st.lists(st.sampled_from(JOBS), min_size=1, max_size=4, unique_by=lambda j: j.id)
    )
    wishes = []
    for each in picked:
        kind = data.draw(st.sampled_from(["pin", "forbid"]))
        machine = data.draw(st.sampled_from(["G0", "G1", None]))
        day = data.draw(st.sampled_from([*DAYS, None]))
        if kind == "pin" and machine is None and day is None:
            machine = "G0"
        wishes.append(PlanWish(each.id, kind, machine, day))
    plan = _again(*wishes).plan
    places = _places(plan)
    for wish in wishes:
        stages = next(j for j in JOBS if j.id == wish.job_id).stages
        for stage in stages:
            if stage.id in places:
                assert wish.covers(*places[stage.id]) == (wish.kind == "pin")
            else:
                assert wish.job_id in {left.job_id for left in plan.unserved}


@pytest.mark.parametrize(
    ("wish", "told"),
    [
        (PlanWish("no-such", "pin", "G0"), "not among the jobs"),
        (PlanWish(JOBS[0].id, "pin", "G9"), "unknown"),
        (PlanWish(JOBS[0].id, "pin"), "neither a machine nor a day"),
        (PlanWish(JOBS[0].id, "forbid", stage_id="no-such"), "not one of"),
    ],
)
def test_wishes_that_cannot_be_true_are_refused(wish, told):
    with pytest.raises(InputError, match=told):
        _again(wish)


def test_a_week_planned_from_nothing_honours_wishes_too():
    wishes = (PlanWish(JOBS[7].id, "pin", "G1", DAYS[1]), PlanWish(JOBS[9].id, "forbid"))
    plan = dispatch_week(
        JOBS, NETWORK, NearGraph(NETWORK), FLEET, GATES, POLICY, first_day=MONDAY, n_days=2,
        made_at=MADE_AT, seconds=1.0, seed=1, iterations=200, wishes=wishes,
    )  # fmt: skip
    assert check_plan(plan, JOBS, NETWORK, FLEET, GATES, POLICY) == ()
    assert _places(plan)[JOBS[7].stages[0].id] == ("G1", DAYS[1])
    assert JOBS[9].stages[0].id not in _places(plan)
    assert plan.wishes == wishes
