"""Nobody is double-booked, roads keep their quiet hours, and habits only pull."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest

from crossfall.dispatch import dispatch_week
from crossfall.dispatch.checker import check_plan
from crossfall.dispatch.shifts import on_duty
from crossfall.errors import InputError
from crossfall.model import (
    CrewCalendar,
    Machine,
    Operator,
    OtherWork,
    Reservation,
    RoadBan,
    Support,
)
from crossfall.model.calendar import free_stretches
from dispatch.small_weeks import MADE_AT, MONDAY, NearGraph, OpenGates, crew, day, grid, job, rules

NETWORK = grid(1, 5)
JOBS = [job(s.id, passes=(40.0, 40.0), benefit_h=5.0) for s in NETWORK.segments]


def plan(calendar, *, jobs=JOBS, network=NETWORK, fleet=None, policy=None, n_days=1, **more):
    fleet, policy = fleet or crew(), policy or rules()
    gates = OpenGates(network)
    made = dispatch_week(
        jobs, network, NearGraph(network), fleet, gates, policy, first_day=MONDAY, n_days=n_days,
        made_at=MADE_AT, seconds=1.0, seed=1, iterations=300, calendar=calendar, **more,
    )  # fmt: skip

    def check(changed=None, around=calendar):
        broken = check_plan(changed or made, jobs, network, fleet, gates, policy, calendar=around)
        return {each.rule for each in broken}

    assert check() == set()
    return made, check


def reserved(start_h, end_h, *, n=0, machine="G0", operator=None, kind="shop"):
    return Reservation(
        f"R{n}-{start_h}", day(n), 60 * start_h, 60 * end_h, kind, machine, operator
    )  # fmt: skip


def test_the_longer_part_of_the_day_is_left() -> None:
    made, _ = plan(CrewCalendar((reserved(9.5, 10.5),)))
    (itinerary,) = made.itineraries
    assert itinerary.legs[0].start_min >= 10.5 * 60
    assert made.reserved[0].kind == "shop"
    # Eight hours from half past six less the hour: three and a half before, three and a half after
    made, check = plan(CrewCalendar((reserved(9.0, 10.0),)))
    (itinerary,) = made.itineraries
    assert itinerary.legs[0].start_min >= 10 * 60
    assert check(around=CrewCalendar((reserved(11.0, 11.5),))) == {"reserved"}
    assert check(around=CrewCalendar((reserved(11.0, 11.5, machine=None, operator="P0"),))) == {
        "reserved"
    }


def test_a_whole_day_in_the_shop_and_somebody_else_who_can_drive() -> None:
    made, _ = plan(CrewCalendar((reserved(0.0, 24.0),)))
    assert made.itineraries == ()
    assert {each.binding for each in made.unserved} == {"no_operator"}
    two = replace(crew(), operators=(*crew().operators, Operator("P9", "Other", "G0")))
    made, _ = plan(CrewCalendar((reserved(0.0, 24.0, machine=None, operator="P0"),)), fleet=two)
    assert {each.operator_id for each in made.itineraries} == {"P9"}


def test_a_truck_that_is_promised_elsewhere_cannot_help() -> None:
    truck = Machine("T1", "Truck", "water_truck", "yard")
    fleet = crew(extra=(truck,), drivers=(Operator("D1", "Driver", "T1"),))
    need = (Support("water_truck", 1, 1.0),)
    jobs = [job("h0-0", passes=(40.0, 40.0), support=need, benefit_h=9.0)]
    made, check = plan(CrewCalendar((reserved(6.5, 10.0, machine="T1"),)), jobs=jobs, fleet=fleet)
    assert all(each.start_min >= 600 for each in made.bookings)
    assert check(around=CrewCalendar((reserved(10.0, 14.5, machine="T1"),))) <= {"support"}
    made, _ = plan(CrewCalendar((reserved(0.0, 24.0, machine="T1"),)), jobs=jobs, fleet=fleet)
    assert made.unserved[0].binding == "no_support"


def test_other_work_goes_to_the_day_on_which_the_roads_ask_for_least() -> None:
    mowing = OtherWork("mow", "mowing", 6.0, ("G0",), day(0), day(4), "mowing at the pit")
    gates = OpenGates(NETWORK, closed={(s.id, 2) for s in NETWORK.segments})
    made = dispatch_week(
        JOBS, NETWORK, NearGraph(NETWORK), crew(), gates, rules(), first_day=MONDAY, n_days=5,
        made_at=MADE_AT, seconds=1.0, seed=1, iterations=50,
        calendar=CrewCalendar(other_work=(mowing,)),
    )  # fmt: skip
    (held,) = made.reserved
    assert held.day == day(2)
    assert held.end_min - held.start_min == 360
    assert held.machine_id == "G0"


def test_other_work_without_room_is_told_and_work_for_later_is_not() -> None:
    long = OtherWork("long", "signs", 9.0, ("G0",), day(0), day(1), "signs on Mill Road")
    later = OtherWork("later", "signs", 9.0, ("G0",), day(0), day(9))
    made, _ = plan(CrewCalendar(other_work=(long, later)), n_days=2)
    assert made.reserved == ()
    assert made.note == "No room this week for signs on Mill Road (9 h by Tue 2)."


def test_two_pieces_of_other_work_do_not_overlap() -> None:
    some = tuple(OtherWork(f"W{k}", "mowing", 3.0, ("P0",), day(0), day(0)) for k in range(2))
    made, _ = plan(CrewCalendar(other_work=some))
    first, second = sorted(made.reserved, key=lambda each: each.start_min)
    assert first.end_min <= second.start_min


def test_no_blade_is_down_while_the_school_bus_runs() -> None:
    roads = tuple(s.id for s in NETWORK.segments)
    bus = RoadBan("bus", roads[:2], 390.0, 510.0, "school bus")
    made, check = plan(CrewCalendar(bans=(bus,)))
    for leg in made.itineraries[0].legs:
        if leg.kind == "work" and leg.segment_id in roads[:2]:
            assert leg.start_min >= 510 - 0.01
    everywhere = replace(bus, segment_ids=roads)
    assert check(around=CrewCalendar(bans=(everywhere,))) == {"barred"}
    assert check(around=CrewCalendar(bans=(replace(everywhere, weekdays=(5, 6)),))) == set()
    assert check(around=CrewCalendar(bans=(replace(everywhere, first_day=day(1)),))) == set()


def test_a_road_barred_all_day_is_left_out_with_that_reason() -> None:
    harvest = RoadBan("corn", ("h0-0",), 420.0, 1000.0, "grain trucks")
    made, _ = plan(CrewCalendar(bans=(harvest,)))
    (left,) = made.unserved
    assert left.binding == "barred_hours"
    assert "07:00-16:40: grain trucks" in left.reason


def test_overtime_is_used_when_allowed_and_when_it_pays() -> None:
    fleet = crew(shift_h=4.0, max_overtime_h=2.0)
    none, _ = plan(None, fleet=fleet)
    end = max(leg.end_min for leg in none.itineraries[0].legs)
    assert end <= (6.5 + 4) * 60 + 0.01
    some, check = plan(None, fleet=fleet, policy=rules(is_overtime_planned=True))
    end = max(leg.end_min for leg in some.itineraries[0].legs)
    assert (6.5 + 4) * 60 < end <= (6.5 + 6) * 60 + 0.01
    assert some.benefit_h > none.benefit_h
    assert "accounts" in check(replace(some, benefit_h=some.benefit_h + 1.5))
    poor = [job(s.id, passes=(40.0, 40.0), benefit_h=1.5) for s in NETWORK.segments]
    policy = rules(is_overtime_planned=True, overtime_price=10.0)
    dear, _ = plan(None, jobs=poor, fleet=fleet, policy=policy)
    none, _ = plan(None, jobs=poor, fleet=fleet)
    assert dear.benefit_h == pytest.approx(none.benefit_h, rel=1e-6)


def test_home_beats_pull_and_no_more() -> None:
    """Two machines in one yard, two roads of two districts: each goes home."""
    network = grid(1, 3)
    east = tuple(
        replace(s, district="West" if s.id == "h0-0" else "East") for s in network.segments
    )
    network = replace(network, segments=east)
    fleet = crew(2)
    people = tuple(
        replace(o, home_district=where)
        for o, where in zip(fleet.operators, ("East", "West"), strict=True)
    )
    jobs = [job(s.id, passes=(200.0, 200.0), benefit_h=9.0) for s in network.segments]
    fleet = replace(fleet, operators=people)
    made, _ = plan(None, jobs=jobs, network=network, fleet=fleet)
    went = {i.machine_id: {leg.segment_id for leg in i.legs if leg.kind == "work"}
            for i in made.itineraries}  # fmt: skip
    assert went == {"G0": {"h0-1"}, "G1": {"h0-0"}}


def test_a_road_that_has_waited_long_goes_first_among_equals() -> None:
    network = grid(1, 3)
    jobs = [job(s.id, passes=(200.0, 200.0), benefit_h=9.0) for s in network.segments]
    for late in ("h0-0", "h0-1"):
        policy = rules(overdue_worth_h=2.0)
        made, _ = plan(None, jobs=jobs, network=network, policy=policy, overdue=(late,))
        assert made.served == (f"j-{late}",)
        assert made.benefit_h < 9.0


def test_free_stretches() -> None:
    assert free_stretches(0, 10, []) == [(0, 10)]
    assert free_stretches(0, 10, [(0, 10)]) == []
    assert free_stretches(0, 10, [(2, 4), (3, 5), (9, 20)]) == [(0, 2), (5, 9)]
    assert free_stretches(5, 10, [(0, 3), (20, 30)]) == [(5, 10)]


def test_a_machine_out_on_the_road_takes_the_first_stretch() -> None:
    held = CrewCalendar((reserved(9.0, 10.0),))
    fleet = crew()
    found = on_duty(fleet, fleet.machines[0], MONDAY, dusk=1200.0, calendar=held, is_out=True)
    assert found is not None
    assert (found.start_min, found.end_min) == (390, 540)


@pytest.mark.parametrize(
    ("calendar", "words"),
    [
        (CrewCalendar((reserved(8.0, 9.0, machine="G7"),)), "unknown machine 'G7'"),
        (CrewCalendar((reserved(8.0, 9.0, operator="P7"),)), "unknown operator 'P7'"),
        (
            CrewCalendar(other_work=(OtherWork("o", "shop", 1.0, ("Z",), day(0), day(1)),)),
            "neither a machine nor an operator",
        ),
    ],
)
def test_strangers_are_refused(calendar, words) -> None:
    with pytest.raises(InputError, match=words):
        plan(calendar)


@pytest.mark.parametrize(
    "make",
    [
        lambda: Reservation("r", MONDAY, 60.0, 50.0, "shop", "G0"),
        lambda: Reservation("r", MONDAY, 60.0, 90.0, "shop"),
        lambda: Reservation("r", MONDAY, 60.0, 90.0, "holiday", "G0"),
        lambda: OtherWork("o", "shop", 0.0, ("G0",), MONDAY, MONDAY),
        lambda: OtherWork("o", "shop", 1.0, (), MONDAY, MONDAY),
        lambda: OtherWork("o", "shop", 1.0, ("G0",), MONDAY, MONDAY - timedelta(days=1)),
        lambda: RoadBan("b", (), 60.0, 90.0, "bus"),
        lambda: RoadBan("b", ("s",), 60.0, 90.0, "bus", weekdays=(7,)),
        lambda: RoadBan("b", ("s",), 90.0, 60.0, "bus"),
    ],
)
def test_what_cannot_be_true_is_refused(make) -> None:
    with pytest.raises(InputError):
        make()
