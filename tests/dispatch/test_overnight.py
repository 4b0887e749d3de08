"""Machines that stay out overnight: when it pays, what it costs, and what is checked."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

import pytest

from crossfall.dispatch import dispatch_week
from crossfall.dispatch.checker import check_plan
from crossfall.dispatch.overnight import Rides
from crossfall.dispatch.replan import replan_week
from crossfall.model import Place, Stay
from dispatch.small_weeks import MADE_AT, MONDAY, NearGraph, OpenGates, crew, day, grid, job, rules

NETWORK = grid(1, 25, travel_km_h=90.0)
"""A road of 38 km; the work is at its far end, an hour's drive for the grader."""
FAR = [s for s in NETWORK.segments if int(s.id.split("-")[1]) >= 16]
JOBS = [job(s.id, passes=(50.0, 50.0), benefit_h=4.0) for s in FAR]
FLEET = crew()
OUT = rules(may_stay_out=True, pickup_km_h=90.0)


def plan(policy, *, fleet=FLEET, n_days=2):
    gates = OpenGates(NETWORK)
    made = dispatch_week(
        JOBS, NETWORK, NearGraph(NETWORK), fleet, gates, policy, first_day=MONDAY, n_days=n_days,
        made_at=MADE_AT, seconds=1.0, seed=1, iterations=600,
    )  # fmt: skip

    def check(changed=None, rules_then=policy):
        return {
            each.rule
            for each in check_plan(changed or made, JOBS, NETWORK, fleet, gates, rules_then)
        }

    assert check() == set()
    return made, check


def test_a_night_out_saves_the_drive_home_and_does_more() -> None:
    home, _ = plan(rules())
    assert home.stays == ()
    away, _ = plan(OUT)
    (stay,) = away.stays
    assert stay.night_of == MONDAY
    assert away.benefit_h > home.benefit_h
    assert away.benefit_h <= away.benefit_bound_h
    first, second = away.itineraries
    assert first.legs[-1].to_node == second.legs[0].from_node == stay.node
    # The ride is at most 90 km/h, and it comes out of both shifts
    node = NETWORK.node_by_id[stay.node]
    km = 1.6 * round((node.lon + 100.0) / (NETWORK.nodes[1].lon + 100.0))
    assert stay.shuttle_min == pytest.approx(km / 90 * 60, rel=1e-6)
    assert first.legs[-1].end_min + stay.shuttle_min <= (6.5 + 8) * 60 + 0.01
    assert second.legs[0].start_min >= 6.5 * 60 + stay.shuttle_min - 0.01


def test_the_checker_sees_through_a_false_night() -> None:
    made, check = plan(OUT)
    (stay,) = made.stays
    assert check(rules_then=rules(pickup_km_h=90.0)) == {"night"}
    assert "night" in check(replace(made, stays=(replace(stay, shuttle_min=1.0),)))
    assert "night" in check(replace(made, stays=(replace(stay, node="n0-3"),)))
    assert "path" in check(replace(made, stays=()))
    assert "night" in check(replace(made, stays=(*made.stays, Stay("G0", day(1), "n0-20"))))
    assert "night" in check(replace(made, stays=(replace(stay, place_id="nowhere"),)))
    assert "accounts" in check(replace(made, benefit_h=made.benefit_h + 0.3))


def test_a_camp_near_the_work() -> None:
    spot = NETWORK.node_by_id["n0-20"]
    camp = Place("camp", "Camp", "camp", spot.lon, spot.lat)
    fleet = replace(FLEET, places=(*FLEET.places, camp))
    made, _ = plan(OUT, fleet=fleet, n_days=3)
    assert made.stays
    for stay in made.stays:
        assert stay.place_id in ("", "camp")
        assert stay.node == "n0-20" or not stay.place_id


def test_nothing_is_gained_where_the_yard_is_near() -> None:
    near = grid(1, 3)
    made = dispatch_week(
        [job(s.id) for s in near.segments], near, NearGraph(near), FLEET, OpenGates(near), OUT,
        first_day=MONDAY, n_days=2, made_at=MADE_AT, seconds=1.0, seed=1, iterations=100,
    )  # fmt: skip
    assert made.stays == ()


def test_the_rest_of_the_week_knows_who_stays_out() -> None:
    made, _ = plan(OUT)
    gates = OpenGates(NETWORK)
    for now in (datetime(2026, 6, 1, 9), datetime(2026, 6, 2, 5), datetime(2026, 6, 2, 10)):  # noqa: DTZ001
        again = replan_week(
            made, JOBS, NETWORK, NearGraph(NETWORK), FLEET, gates, OUT, now=now, made_at=now,
            iterations=60,
        )  # fmt: skip
        broken = check_plan(again.plan, JOBS, NETWORK, FLEET, gates, OUT, since=again.since)
        assert broken == ()
        assert again.plan.itineraries[-1].legs[-1].to_node == "n0-0"


def test_rides_are_the_shortest() -> None:
    rides = Rides.of(NETWORK, OUT.dispatch)
    assert rides.minutes("n0-0", ["n0-0", "n0-3"]) == pytest.approx([0.0, 4.8 / 90 * 60])
