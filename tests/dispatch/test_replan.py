"""The rest of the week anew: what is done stays done, little else moves, all of it is listed."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta

import pytest

from crossfall.dispatch import dispatch_week
from crossfall.dispatch.checker import check_plan
from crossfall.dispatch.replan import replan_week
from crossfall.dispatch.standing import since_of
from crossfall.errors import InputError
from crossfall.model import Plan
from crossfall.model.policy import Policy
from dispatch.small_weeks import (
    MADE_AT,
    MONDAY,
    NearGraph,
    OpenGates,
    crew,
    day,
    grid,
    job,
    job_of,
    stage,
)

NETWORK = grid(5, 5)
FLEET = crew(2)
POLICY = Policy()
N_DAYS = 3
NOON = datetime(2026, 6, 1, 11, 0)  # noqa: DTZ001 - local clock of the district


def _jobs():
    jobs = []
    for i, s in enumerate(NETWORK.segments):
        if i % 9 == 4:
            first = stage(f"j-{s.id}", s.id, number=1, to_m=800.0, passes=(9.0,) * 4)
            then = stage(
                f"j-{s.id}", s.id, number=2, from_m=800.0, passes=(9.0,) * 3, after=(first.id,)
            )
            jobs.append(job_of(f"j-{s.id}", first, then, benefit_h=3.0 + i % 4))
        else:
            jobs.append(job(s.id, passes=(16.0,) * (2 + i % 3), benefit_h=1.0 + i % 5))
    return jobs


JOBS = _jobs()
GATES = OpenGates(NETWORK)


@pytest.fixture(scope="module")
def plan() -> Plan:
    made = dispatch_week(
        JOBS, NETWORK, NearGraph(NETWORK), FLEET, GATES, POLICY, first_day=MONDAY, n_days=N_DAYS,
        made_at=MADE_AT, seconds=2.0, seed=1, iterations=1500,
    )  # fmt: skip
    assert check_plan(made, JOBS, NETWORK, FLEET, GATES, POLICY) == ()
    assert len(made.itineraries) == 2 * N_DAYS
    return made


def again(plan, *, jobs=JOBS, fleet=FLEET, gates=GATES, now=NOON, iterations=600, **more):
    found = replan_week(
        plan, jobs, NETWORK, NearGraph(NETWORK), fleet, gates, POLICY, now=now, made_at=now,
        seconds=2.0, seed=1, iterations=iterations, **more,
    )  # fmt: skip
    broken = check_plan(found.plan, jobs, NETWORK, fleet, gates, POLICY, since=found.since)
    assert broken == ()
    return found


def test_where_everything_stands(plan) -> None:
    since = since_of(plan, NETWORK, NOON)
    assert since.clock_min == 660
    assert {s.machine_id for s in since.standings} == {"G0", "G1"}
    assert all(660 <= s.clock_min < 660 + 60 for s in since.standings)
    today = [i for i in plan.itineraries if i.day == MONDAY]
    ended = {
        leg.stage_id
        for i in today
        for leg in i.legs
        if leg.kind == "work" and leg.end_min <= 660 and leg.stage_id
    }
    begun = since.done | {half.stage_id for half in since.half_done}
    assert ended <= begun


def test_before_the_day_and_after_it(plan) -> None:
    early = since_of(plan, NETWORK, datetime(2026, 6, 1, 5, 0))  # noqa: DTZ001
    assert (early.done, early.half_done, early.standings) == (frozenset(), (), ())
    late = since_of(plan, NETWORK, datetime(2026, 6, 2, 23, 0))  # noqa: DTZ001
    two_days = {s for i in plan.itineraries if i.day < day(2) for s in i.stage_ids}
    assert late.done == two_days
    assert all(s.came is None for s in late.standings)


def test_nothing_happened_nothing_moves(plan) -> None:
    found = again(plan)
    assert found.n_kept >= 0.9 * found.n_planned
    assert found.open_windrows == ()
    worked = {s for i in found.plan.itineraries for s in i.stage_ids}
    assert not worked & found.since.done


@pytest.mark.parametrize("minute", range(0, 420, 35))
def test_at_any_minute_the_rest_keeps_every_rule(plan, minute: int) -> None:
    again(plan, now=datetime(2026, 6, 1, 7, 0) + timedelta(minutes=minute), iterations=60)  # noqa: DTZ001


def test_a_broken_grader_moves_only_its_own_work(plan) -> None:
    machines = tuple(replace(m, is_available=m.id != "G0") for m in FLEET.machines)
    found = again(plan, fleet=replace(FLEET, machines=machines))
    assert {i.machine_id for i in found.plan.itineraries} == {"G1"}
    mine = [m for m in found.moves if m.before and m.before[0] == "G0"]
    assert mine
    assert any("does not go out" in m.reason for m in mine)
    own = [s for i in plan.itineraries if i.machine_id == "G1" for s in i.stage_ids]
    still = [s for s in own if s not in found.since.done]
    kept = {s for i in found.plan.itineraries if i.machine_id == "G1" for s in i.stage_ids}
    assert len(kept & set(still)) >= 0.5 * len(still)
    half = [h.stage_id for h in found.since.half_done if h.machine_id == "G0"]
    taken_over = {s for i in found.plan.itineraries for s in i.stage_ids}
    for stage_id in half:
        flagged = [w for w in found.open_windrows if w.stage_id == stage_id]
        assert flagged or stage_id in taken_over


def test_rain_at_noon_closes_roads_but_not_an_open_windrow(plan) -> None:
    wet = OpenGates(NETWORK, closed={(s.id, 0) for s in NETWORK.segments})
    found = again(plan, gates=wet)
    today = {s for i in found.plan.itineraries if i.day == MONDAY for s in i.stage_ids}
    assert today == {h.stage_id for h in found.since.half_done}
    assert any("no longer fit" in m.reason for m in found.moves)


def test_a_request_that_cannot_wait_is_taken_in(plan) -> None:
    idle = next(s.id for s in NETWORK.segments)
    urgent = job_of("urgent", stage("urgent", idle, passes=(10.0, 10.0), number=1), benefit_h=60.0)
    found = again(plan, jobs=[*JOBS, urgent])
    assert "urgent" in found.plan.served
    assert any(m.kind == "added" and m.job_id == "urgent" for m in found.moves)
    assert found.n_kept >= 0.85 * found.n_planned
    assert "stay as they were" in found.summary()


def test_a_sick_operator(plan) -> None:
    people = tuple(replace(o, off_days=(day(1),)) if o.id == "P1" else o for o in FLEET.operators)
    found = again(plan, fleet=replace(FLEET, operators=people))
    assert ("G1", day(1)) not in {(i.machine_id, i.day) for i in found.plan.itineraries}


def test_outside_the_plan_is_refused(plan) -> None:
    with pytest.raises(InputError, match="one of the 3 days"):
        again(plan, now=datetime(2026, 6, 9, 8, 0))  # noqa: DTZ001


def test_yesterdays_plan_is_kept_unless_it_pays(plan) -> None:
    made = dispatch_week(
        JOBS, NETWORK, NearGraph(NETWORK), FLEET, GATES, POLICY, first_day=MONDAY, n_days=N_DAYS,
        made_at=MADE_AT, seconds=2.0, seed=9, iterations=800, previous=plan,
    )  # fmt: skip
    assert check_plan(made, JOBS, NETWORK, FLEET, GATES, POLICY) == ()
    old = {(s, i.machine_id, i.day) for i in plan.itineraries for s in i.stage_ids}
    new = {(s, i.machine_id, i.day) for i in made.itineraries for s in i.stage_ids}
    assert len(old & new) >= 0.8 * len(old)
    assert made.benefit_h >= plan.benefit_h - 1.5
