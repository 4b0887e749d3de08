"""Day sheets: everybody sent out has one, by the clock, with passes that alternate."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from crossfall.cards import make_day_sheets
from crossfall.cards.in_turn import in_turn
from crossfall.design import design_jobs
from crossfall.errors import InputError
from crossfall.model import (
    District,
    Itinerary,
    Leg,
    Plan,
    Policy,
    SupportBooking,
    Treatment,
)
from crossfall.network import build_graph
from crossfall.report import day_sheets_pdf, sheet_data
from crossroads import TODAY, condition, need, small_fleet, small_network, wetness


@pytest.fixture(scope="module")
def parts():
    """A morning: the passes of two roads take turns; a lift with the machines that help."""
    network, fleet = small_network(), small_fleet()
    needs = [
        need(Treatment.BLADING, "s2"),
        need(Treatment.BLADING, "s3"),
        need(Treatment.REGRAVELLING, "s1"),
    ]
    jobs = design_jobs(
        needs, [condition("s1", gravel_mm=40.0)], network, build_graph(network), fleet,
        wetness(network, 4.0), Policy(),
    )  # fmt: skip
    one, two = jobs[0].stages[0], jobs[1].stages[0]
    lift = next(stage for stage in jobs[2].stages if stage.stakes)
    at, legs = (
        420.0,
        [Leg("wait", 400.0, 415.0, "n0", "n0"), Leg("travel", 415.0, 420.0, "n0", "n2", "s2")],
    )
    for stage, number, ahead in [(one, 1, True), (two, 1, True), (two, 2, False), (one, 2, False),
                                 (one, 3, True), (one, 4, False)]:  # fmt: skip
        segment = network.segment_by_id[stage.segment_id]
        ends = (segment.from_node, segment.to_node)
        legs.append(
            Leg("work", at, at + 20, *(ends if ahead else ends[::-1]), stage.segment_id, stage.id,
                number, ahead, segment.length_m)
        )  # fmt: skip
        at += 20
    legs.append(Leg("break", at, at + 30, "n0", "n0"))
    day_two = tuple(
        Leg("work", 420.0 + 30 * n, 450.0 + 30 * n, "n0", "n1", "s1", lift.id, n + 1, n % 2 == 0,
            lift.to_m - lift.from_m)
        for n in range(lift.n_passes)
    )  # fmt: skip
    bookings = tuple(
        SupportBooking(lift.id, TODAY, machine, 5.0, 420.0, 720.0)
        for machine in ("t1", "t2", "w1", "r1")
    )
    plan = Plan(
        "P1", datetime(2026, 6, 15, 6, tzinfo=UTC), TODAY, 1,
        (Itinerary("g1", "o0", TODAY, tuple(legs)), Itinerary("g2", "o1", TODAY, day_two)),
        bookings, (), (), 0.0, 0.0, 1,
    )  # fmt: skip
    district = District("Crossroads", network, fleet, is_invented=True)
    return plan, jobs, district, lift, one, two


def sheets_of(parts):
    plan, jobs, district, *_ = parts
    return make_day_sheets(plan, jobs, (), district)


def test_everybody_who_is_sent_out_has_a_sheet(parts):
    sheets = sheets_of(parts)
    assert [(s.operator, s.kind) for s in sheets] == [
        ("Ash", "grader"), ("Birch", "grader"), ("Elm", "haul_truck"), ("Fir", "haul_truck"),
        ("Cedar", "water_truck"), ("Dogwood", "roller"),
    ]  # fmt: skip
    assert all(s.lines and s.keep and s.is_invented for s in sheets)


def test_passes_of_two_roads_stand_in_the_order_they_are_driven(parts):
    lines = [line for line in sheets_of(parts)[0].lines if line.kind == "work"]
    assert [(line.where.split(",")[0], line.what.split(" of")[0]) for line in lines] == [
        ("Willow Lane", "Pass 1"), ("Heron Road", "Passes 1–2"), ("Willow Lane", "Passes 2–4"),
    ]  # fmt: skip
    clocks = [line.start for line in sheets_of(parts)[0].lines]
    assert clocks == sorted(clocks)


def test_the_card_says_which_passes_come_between_its_own(parts):
    plan, _, _, lift, one, two = parts
    (step,) = in_turn(plan.itineraries[0], one, {two.id: "Heron Road (Light blading)"})
    assert step.text == "In turn with another road: A is Heron Road (Light blading)"
    assert step.detail == "pass 1 here, then passes 1–2 on A, then passes 2–4 here"
    assert in_turn(plan.itineraries[0], two, {}) == ()
    assert in_turn(plan.itineraries[1], lift, {}) == ()


def test_drivers_share_the_loads_and_nobody_is_left_short(parts):
    lift = parts[3]
    loads = next(row.value for row in lift.quantities if row.name == "loads")
    told = [s.lines[0].what for s in sheets_of(parts) if s.kind == "haul_truck"]
    each = [int(text.split()[1]) for text in told]
    assert sum(each) >= loads
    assert all(number == -(-loads // 2) for number in each)
    assert all("Osier pit" in text and "2 trucks share" in text for text in told)


def test_water_and_roller_know_what_and_with_whom(parts):
    by_kind = {s.kind: s.lines[0] for s in sheets_of(parts)}
    assert by_kind["water_truck"].what.startswith("Water ")
    assert "with Birch, Grader 2" in by_kind["water_truck"].detail
    assert by_kind["roller"].what.startswith("Roll 6 passes")


def test_on_paper_each_has_a_page_in_both_systems(parts):
    sheets = sheets_of(parts)
    for paper, units in (("a4", "metric"), ("letter", "us")):
        pdf = day_sheets_pdf(sheets, paper=paper, units=units)
        assert pdf.startswith(b"%PDF")
    us = sheet_data(sheets[2], units="us")
    assert "yd³" in us["lines"][0]["what"]
    assert "Local codes" in us["law"]


def test_no_sheet_and_unknown_paper_are_refused(parts):
    with pytest.raises(InputError, match="sheets is empty"):
        day_sheets_pdf(())
    with pytest.raises(InputError, match="paper is 'a5'"):
        day_sheets_pdf(sheets_of(parts), paper="a5")
