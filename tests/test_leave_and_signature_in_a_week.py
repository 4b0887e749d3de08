"""From the desk to the road: what waits for leave or a signature is left out, and then planned."""

from __future__ import annotations

import dataclasses
from datetime import UTC, date, datetime

import numpy as np
import pytest

from crossfall.cards import make_cards, obstacles
from crossfall.design import design_jobs
from crossfall.design.clearances import hold_for_leave
from crossfall.dispatch import dispatch_week
from crossfall.dispatch.checker import check_plan
from crossfall.judgement import judge_gates, surface_state
from crossfall.model import (
    BenefitPart,
    Clearance,
    DesignSignature,
    District,
    Policy,
    Station,
    Treatment,
    WeatherRecord,
)
from crossfall.network import build_graph
from crossroads import TODAY, condition, need, small_fleet, small_network

MADE = datetime(2026, 6, 15, 6, tzinfo=UTC)
N_DAYS = 5


@pytest.fixture(scope="module")
def desk():
    """Three roads after a good rain, and everything a plan asks for."""
    n_days = 70
    weather = WeatherRecord(
        Station("w", "Yard gauge", -100.0, 45.0), date(2026, 4, 17),
        np.where(np.arange(n_days) % 3 == 2, 6.0, 0.0), np.full(n_days, 8.0),
        np.full(n_days, 18.0), source="invented", is_invented=True,
    )  # fmt: skip
    network = small_network()
    low = dataclasses.replace(network.segment_by_id["s2"], max_mass_t=18.4, gravel_mm=160.0)
    segments = tuple(low if each.id == "s2" else each for each in network.segments)
    network = dataclasses.replace(network, segments=segments)
    district = District("Crossroads", network, small_fleet(), weather=(weather,), is_invented=True)
    state = surface_state(district, first_day=TODAY, n_days=N_DAYS)
    gates = judge_gates(state, district.fleet, district.policy)
    return district, state, gates


def planned(desk, *needs, clearances=(), signatures=()):
    district, state, gates = desk
    graph, policy = build_graph(district.network), Policy()
    worth = (BenefitPart("all", 40.0),)
    needs = [dataclasses.replace(each, benefit=worth) for each in needs]
    jobs = design_jobs(
        needs, [condition(each.segment_id) for each in needs], district.network, graph,
        district.fleet, state, policy, signatures=signatures,
    )  # fmt: skip
    jobs = hold_for_leave(
        jobs, district.network.features_by_segment, clearances, first_day=TODAY, n_days=N_DAYS
    )
    plan = dispatch_week(
        jobs, district.network, graph, district.fleet, gates, policy, first_day=TODAY,
        n_days=N_DAYS, made_at=MADE, seconds=0.5, seed=1,
    )  # fmt: skip
    assert check_plan(plan, jobs, district.network, district.fleet, gates, policy) == ()
    return plan, jobs, needs


def ticket(**changes):
    usual = Clearance(
        "c1", "utilities", "s2", "26-77", "Locating Centre", date(2026, 6, 10), date(2026, 6, 30)
    )
    return dataclasses.replace(usual, **changes)


CULVERT = need(Treatment.CULVERT_CLEARING, "s2")
SPOTS = need(Treatment.SPOT_GRAVEL, "s2")


def test_a_culvert_waits_for_its_ticket_and_then_is_planned(desk):
    plan, _, _ = planned(desk, CULVERT)
    (left,) = plan.unserved
    assert left.binding == "no_clearance"
    assert "utilities clearance" in left.reason
    assert "put on file" in left.would_change
    plan, jobs, needs = planned(desk, CULVERT, clearances=[ticket()])
    assert plan.unserved == ()
    (card,) = make_cards(
        plan, jobs, needs, dataclasses.replace(desk[0], clearances=(ticket(),)), desk[2]
    )
    assert any("26-77" in step.detail for step in card.steps)


def test_it_is_planned_only_on_days_on_which_the_ticket_holds(desk):
    late = ticket(valid_from=date(2026, 6, 18), expires_on=date(2026, 6, 18))
    plan, _, _ = planned(desk, CULVERT, clearances=[late])
    days = {each.day for each in plan.itineraries if each.stage_ids}
    assert days <= {date(2026, 6, 18)}
    assert days or plan.unserved[0].binding == "no_clearance"


def test_the_checker_refuses_digging_on_another_day(desk):
    plan, jobs, _ = planned(desk, CULVERT, clearances=[ticket()])
    district, _, gates = desk
    worked = next(each.day for each in plan.itineraries if each.stage_ids)
    moved = hold_for_leave(
        jobs, district.network.features_by_segment,
        [ticket(valid_from=date(2026, 7, 1), expires_on=date(2026, 7, 9))],
        first_day=worked, n_days=1,
    )  # fmt: skip
    found = check_plan(plan, moved, district.network, district.fleet, gates, Policy())
    assert "leave" in {each.rule for each in found}


def test_an_unsigned_design_is_left_out_and_a_signed_one_is_planned_and_may_be_issued(desk):
    plan, jobs, _ = planned(desk, SPOTS)
    assert jobs[0].needs_engineer
    (left,) = plan.unserved
    assert left.binding == "engineer_to_confirm"
    word = DesignSignature(
        "g1", "s2", Treatment.SPOT_GRAVEL, "R. Alder", "P.E. 4711", TODAY, limit_t=33.0
    )
    plan, jobs, needs = planned(desk, SPOTS, signatures=[word])
    assert not jobs[0].needs_engineer
    assert plan.unserved == ()
    (card,) = make_cards(plan, jobs, needs, desk[0], desk[2])
    assert card.confirmed_by == "R. Alder, P.E. 4711, 2026-06-15"
    against = obstacles(
        card, jobs[0], jobs[0].stages[0], features=(), clearances=(),
    )  # fmt: skip
    assert against == ()


def test_a_card_of_an_unsigned_design_cannot_be_issued(desk):
    _, jobs, _ = planned(desk, CULVERT, clearances=[ticket()])
    held = dataclasses.replace(jobs[0], needs_engineer=True)
    plan, same, needs = planned(desk, CULVERT, clearances=[ticket()])
    (card,) = make_cards(plan, same, needs, desk[0], desk[2])
    kinds = [
        each.kind
        for each in obstacles(
            card, held, held.stages[0], features=(), clearances=[ticket()]
        )
    ]  # fmt: skip
    assert kinds == ["engineer"]
