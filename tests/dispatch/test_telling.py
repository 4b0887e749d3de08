"""Figures, steps, tracks and what-ifs say what the plan says."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from datetime import date

import pytest

from crossfall.dispatch import dispatch_week
from crossfall.dispatch.figures import figures_of
from crossfall.dispatch.turn_by_turn import gpx_of, heading, steps_of
from crossfall.dispatch.what_if import Question, what_if
from crossfall.errors import InputError
from crossfall.model.policy import Policy
from dispatch.small_weeks import MADE_AT, MONDAY, NearGraph, OpenGates, crew, grid, job

NETWORK = grid(4, 4)
FLEET = crew(1, shift_h=4.5)
GATES = OpenGates(NETWORK)
JOBS = [job(s.id, benefit_h=1.0 + i % 4) for i, s in enumerate(NETWORK.segments)]


def week(fleet=FLEET, gates=GATES):
    return dispatch_week(
        JOBS, NETWORK, NearGraph(NETWORK), fleet, gates, Policy(), first_day=MONDAY, n_days=2,
        made_at=MADE_AT, seconds=1.0, seed=1, iterations=600,
    )  # fmt: skip


@pytest.fixture(scope="module")
def plan():
    return week()


def test_figures_add_up(plan) -> None:
    figures = figures_of(plan, JOBS, NETWORK)
    work = sum(i.minutes("work") for i in plan.itineraries) / 60
    assert figures.hours["work"] == pytest.approx(work)
    assert sum(figures.machine_hours.values()) == pytest.approx(figures.out_h)
    assert sum(figures.district_hours.values()) == pytest.approx(work)
    # All days are certain here, so worth less the price of hours is the plan's benefit
    worth = sum(figures.class_worth_h.values())
    assert worth - 0.25 * figures.out_h == pytest.approx(plan.benefit_h)
    assert 0 < figures.deadhead_pct < 100
    assert "blade down" in figures.summary()


def test_steps_cover_the_day_without_a_gap(plan) -> None:
    for itinerary in plan.itineraries:
        steps = steps_of(itinerary, NETWORK)
        total = itinerary.legs[-1].end_min - itinerary.legs[0].start_min
        assert sum(step.minutes for step in steps) == pytest.approx(total)
        assert steps[0].text == "Walk-round and grease"
        assert any("pass 2 of 2" in step.text for step in steps)
        assert [s.clock for s in steps] == sorted(s.clock for s in steps)
        nodes = {node for each in NETWORK.segments for node in (each.from_node, each.to_node)}
        turns = [step.text.split() for step in steps if step.kind == "turn"]
        assert turns, "it turns somewhere"
        assert not nodes & {word for words in turns for word in words}


def test_headings() -> None:
    by_id = NETWORK.segment_by_id
    assert heading(by_id["h0-0"], True) == "east"
    assert heading(by_id["h0-0"], False) == "west"
    assert heading(by_id["v0-0"], True) == "north"


def test_the_track_is_valid_and_follows_the_roads(plan) -> None:
    itinerary = plan.itineraries[0]
    root = ET.fromstring(gpx_of(itinerary, NETWORK))
    space = {"g": "http://www.topografix.com/GPX/1/1"}
    points = root.findall(".//g:trkpt", space)
    moves = [leg for leg in itinerary.legs if leg.kind in ("travel", "work")]
    assert len(points) >= 2 * len(moves)
    times = [point.find("g:time", space).text for point in points]
    assert times == sorted(times)
    node = NETWORK.node_by_id[moves[0].from_node]
    assert float(points[0].get("lat")) == pytest.approx(node.lat, abs=1e-5)
    assert float(points[0].get("lon")) == pytest.approx(node.lon, abs=1e-5)


def test_one_more_grader_helps_and_rain_hurts(plan) -> None:
    questions = tuple(Question(kind) for kind in ("grader", "hour", "rain", "overtime"))
    grader, hour, rain, overtime = what_if(
        plan, JOBS, NETWORK, NearGraph(NETWORK), FLEET, GATES, Policy(), made_at=MADE_AT,
        iterations=400, questions=questions,
    )  # fmt: skip
    assert grader.change_h > hour.change_h > 0 > rain.change_h
    assert overtime.change_h >= -0.01 * plan.benefit_h
    assert "more" in grader.summary()
    assert "less" in rain.summary()


def test_rain_outside_the_plan_is_refused(plan) -> None:
    with pytest.raises(InputError, match="a day of the plan"):
        what_if(
            plan, JOBS, NETWORK, NearGraph(NETWORK), FLEET, GATES, Policy(), made_at=MADE_AT,
            questions=(Question("rain", date(2027, 1, 1)),),
        )  # fmt: skip
