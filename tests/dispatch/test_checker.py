"""The checker finds every fault that is put into a good plan."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from crossfall.dispatch import dispatch_week
from crossfall.dispatch.checker import check_plan
from crossfall.model import Machine, Operator, Plan, Support, Treatment
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
    rules,
    stage,
)

NETWORK = grid(3, 3)
POLICY = Policy()
GATES = OpenGates(NETWORK, wet={("v0-0", d) for d in range(5)})
TRUCKS = (
    Machine("T1", "Truck 1", "water_truck", "yard"),
    Machine("T2", "Truck 2", "haul_truck", "yard"),
)
FLEET = crew(
    2,
    extra=TRUCKS,
    drivers=(Operator("D1", "Driver", "T1"), Operator("D2", "Driver", "T2")),
)
HAUL = (Support("haul_truck", 1, 2.0),)


def _jobs():
    first = stage("big", "h2-0", number=1, passes=(20.0,) * 4, to_m=800.0, support=HAUL)
    then = stage(
        "big", "h2-0", number=2, passes=(20.0,) * 3, from_m=800.0, after=(first.id,), support=HAUL
    )
    # Worth little on days after the first, so that both graders go out at once
    rest = [job(s.id, benefit_h=3.0) for s in NETWORK.segments if s.id != "h2-0"]
    return [job_of("big", first, then, benefit_h=9.0), *rest]


JOBS = _jobs()


@pytest.fixture(scope="module")
def good() -> Plan:
    made = dispatch_week(
        JOBS,
        NETWORK,
        NearGraph(NETWORK),
        FLEET,
        GATES,
        POLICY,
        first_day=MONDAY,
        n_days=1,
        made_at=MADE_AT,
        seconds=1.0,
        seed=3,
        iterations=400,
    )
    assert check(made) == set()
    assert len(made.itineraries) == 2
    assert made.bookings
    return made


def check(plan, *, jobs=JOBS, network=NETWORK, fleet=FLEET, gates=GATES, policy=POLICY) -> set[str]:
    return {v.rule for v in check_plan(plan, jobs, network, fleet, gates, policy)}


def with_legs(plan, change, n=0):
    """The plan with the legs of one itinerary changed."""
    days = list(plan.itineraries)
    days[n] = replace(days[n], legs=tuple(change(list(days[n].legs))))
    return replace(plan, itineraries=tuple(days))


def first(legs, kind):
    return next(i for i, leg in enumerate(legs) if leg.kind == kind)


def edit(legs, i, **changes):
    legs[i] = replace(legs[i], **changes)
    return legs


def test_a_missing_pass(good) -> None:
    found = check(
        with_legs(good, lambda legs: [g for i, g in enumerate(legs) if i != first(legs, "work")])
    )
    assert {"passes", "clock"} <= found


def test_a_pass_counted_twice(good) -> None:
    def change(legs):
        i = first(legs, "work")
        return edit(legs, i, pass_number=2)

    assert "passes" in check(with_legs(good, change))


def test_a_pass_of_no_stage_and_on_the_wrong_road(good) -> None:
    def nameless(legs):
        return edit(legs, first(legs, "work"), stage_id="unheard-of")

    def elsewhere(legs):
        i = first(legs, "work")
        other = next(s.id for s in NETWORK.segments if s.id != legs[i].segment_id)
        return edit(legs, i, segment_id=other)

    assert "passes" in check(with_legs(good, nameless))
    assert "passes" in check(with_legs(good, elsewhere))


def test_a_pass_of_part_of_its_stage(good) -> None:
    def change(legs):
        i = first(legs, "work")
        return edit(legs, i, to_m=(legs[i].from_m + legs[i].to_m) / 2)

    assert {"passes", "path"} <= check(with_legs(good, change))


def test_a_pass_too_fast(good) -> None:
    def change(legs):
        i = first(legs, "work")
        return edit(legs, i, end_min=legs[i].end_min - 5)

    assert {"passes", "clock"} <= check(with_legs(good, change))


def test_all_passes_on_one_side() -> None:
    network = grid(1, 2)
    jobs = [job("h0-0", passes=(10.0,) * 4)]
    fleet, policy = crew(), rules()
    made = dispatch_week(
        jobs, network, NearGraph(network), fleet, OpenGates(network), policy,
        first_day=MONDAY, n_days=1, made_at=MADE_AT, seconds=1.0, seed=1, iterations=20,
    )  # fmt: skip

    def change(legs):
        return [
            replace(g, is_forward=True, from_node="n0-0", to_node="n0-1", from_m=0.0, to_m=1600.0)
            if g.kind == "work"
            else g
            for g in legs
        ]

    found = check(
        with_legs(made, change), jobs=jobs, network=network, fleet=fleet,
        gates=OpenGates(network), policy=policy,
    )  # fmt: skip
    assert "direction" in found


def test_overlapping_times(good) -> None:
    def change(legs):
        i = first(legs, "work")
        return edit(legs, i, start_min=legs[i].start_min - 10)

    assert "clock" in check(with_legs(good, change))


def test_time_running_backwards(good) -> None:
    def change(legs):
        i = first(legs, "work")
        return edit(legs, i, end_min=legs[i].start_min - 10)

    assert "clock" in check(with_legs(good, change))


def test_a_gap_in_the_path(good) -> None:
    def change(legs):
        # Take a travelling leg out and close the clock over it
        i = first(legs, "travel")
        lost = legs[i].end_min - legs[i].start_min
        return legs[:i] + [
            replace(g, start_min=g.start_min - lost, end_min=g.end_min - lost)
            for g in legs[i + 1 :]
        ]

    found = {
        rule
        for n in range(2)
        if any(g.kind == "travel" for g in good.itineraries[n].legs)
        for rule in check(with_legs(good, change, n))
    }
    assert "path" in found


def test_a_missing_turn(good) -> None:
    def change(legs):
        i = first(legs, "turn")
        lost = legs[i].end_min - legs[i].start_min
        return legs[:i] + [
            replace(g, start_min=g.start_min - lost, end_min=g.end_min - lost)
            for g in legs[i + 1 :]
        ]

    assert "turn" in check(with_legs(good, change))


def test_a_turn_where_nobody_can(good) -> None:
    nodes = tuple(replace(n, turn_min=np.inf) for n in NETWORK.nodes)
    assert "turn" in check(good, network=replace(NETWORK, nodes=nodes))


def test_a_drive_too_fast(good) -> None:
    slow = replace(NETWORK, segments=tuple(replace(s, travel_km_h=20.0) for s in NETWORK.segments))
    assert "speed" in check(good, network=slow)


def test_against_a_one_way_road(good) -> None:
    one_way = tuple(replace(s, is_oneway=True) for s in NETWORK.segments)
    assert "one-way" in check(good, network=replace(NETWORK, segments=one_way))


def test_too_heavy_for_a_bridge(good) -> None:
    light = tuple(replace(s, max_mass_t=10.0) for s in NETWORK.segments)
    assert "mass" in check(good, network=replace(NETWORK, segments=light))


def test_a_yard_elsewhere(good) -> None:
    places = tuple(replace(p, lat=p.lat + 0.1) for p in FLEET.places)
    assert "path" in check(good, fleet=replace(FLEET, places=places))


def test_the_wrong_day(good) -> None:
    days = (replace(good.itineraries[0], day=day(9)), good.itineraries[1])
    gates = OpenGates(NETWORK, n_days=10)
    assert "days" in check(replace(good, itineraries=days), gates=gates)


def test_a_closed_window(good) -> None:
    gates = OpenGates(NETWORK, closed={(s.id, 0) for s in NETWORK.segments})
    assert "window" in check(good, gates=gates)


def test_out_too_long_too_early_or_after_dark(good) -> None:
    def change_people(**changes):
        people = tuple(
            replace(o, **changes) if o.machine_id.startswith("G") else o for o in FLEET.operators
        )
        return replace(FLEET, operators=people)

    assert "shift" in check(good, fleet=change_people(shift_h=2.0))
    assert "shift" in check(good, fleet=change_people(shift_start_h=9.0))
    assert "shift" in check(
        good, policy=replace(POLICY, dispatch=replace(POLICY.dispatch, dusk_margin_min=600.0))
    )


def test_no_walk_round_and_no_meal(good) -> None:
    rules_changed = replace(POLICY.dispatch, pretrip_min=60.0, break_min=60.0, break_latest_h=3.0)
    longer = replace(POLICY, dispatch=rules_changed)
    assert {"shift", "break"} <= check(good, policy=longer)


def test_the_wrong_people(good) -> None:
    def people(**changes):
        return replace(
            FLEET,
            operators=tuple(
                replace(o, **changes) if o.id == good.itineraries[0].operator_id else o
                for o in FLEET.operators
            ),
        )

    assert "crew" in check(good, fleet=people(off_days=(day(0),)))
    assert "crew" in check(good, fleet=people(machine_id="T1"))
    assert "skill" in check(good, fleet=people(skills=(Treatment.DUST_CONTROL,)))
    broken = tuple(replace(m, is_available=False) for m in FLEET.machines)
    assert "crew" in check(good, fleet=replace(FLEET, machines=broken))
    same = tuple(replace(i, operator_id="P0") for i in good.itineraries)
    assert "one place" in check(replace(good, itineraries=same))
    twice = (*good.itineraries, good.itineraries[0])
    assert "one place" in check(replace(good, itineraries=twice))


def test_work_that_the_crew_may_not_do(good) -> None:
    def jobs(**changes):
        return [replace(j, stages=tuple(replace(s, **changes) for s in j.stages)) for j in JOBS]

    assert "attachment" in check(good, jobs=jobs(needs_attachment="scarifier"))
    trainees = replace(FLEET, operators=tuple(replace(o, is_trainee=True) for o in FLEET.operators))
    assert "skill" in check(good, jobs=jobs(treatment=Treatment.RESHAPING), fleet=trainees)
    unsigned = [replace(j, needs_engineer=True) for j in JOBS]
    assert "engineer" in check(good, jobs=unsigned)


def test_the_wrong_order(good) -> None:
    big = JOBS[0]
    turned = (replace(big.stages[0], after=("big-2",)), replace(big.stages[1], after=()))
    if {"big-1", "big-2"} <= {s for i in good.itineraries for s in i.stage_ids}:
        assert "order" in check(good, jobs=[replace(big, stages=turned), *JOBS[1:]])
    lonely = replace(JOBS[1], stages=(replace(JOBS[1].stages[0], after=("nothing",)),))
    assert "order" in check(good, jobs=[JOBS[0], lonely, *JOBS[2:]])


def test_support_not_booked_or_booked_too_much(good) -> None:
    assert "support" in check(replace(good, bookings=()))
    more = tuple(replace(b, hours=9.0) for b in good.bookings)
    assert "support" in check(replace(good, bookings=more))
    elsewhen = tuple(replace(b, day=day(1)) for b in good.bookings)
    assert "support" in check(replace(good, bookings=elsewhen))
    wrong = tuple(
        replace(b, machine_id="T1" if b.machine_id == "T2" else "T2") for b in good.bookings
    )
    assert "support" in check(replace(good, bookings=wrong))


def test_too_much_open_windrow() -> None:
    network, fleet = grid(1, 4), crew()
    jobs = [job(f"h0-{c}") for c in range(3)]
    made = dispatch_week(
        jobs, network, NearGraph(network), fleet, OpenGates(network), rules(),
        first_day=MONDAY, n_days=1, made_at=MADE_AT, seconds=1.0, seed=1, iterations=200,
    )  # fmt: skip
    found = check(
        made, jobs=jobs, network=network, fleet=fleet, gates=OpenGates(network),
        policy=rules(open_windrow_m=2000.0),
    )  # fmt: skip
    assert found == {"windrow"}


def test_false_accounts(good) -> None:
    assert "accounts" in check(replace(good, benefit_h=good.benefit_h + 1))
    assert "accounts" in check(replace(good, benefit_bound_h=good.benefit_h - 1))
    assert "accounts" in check(replace(good, served=good.served[1:]))
    assert "accounts" in check(good, jobs=[*JOBS, job_of("more", stage("more", "h0-0"))])


def test_passes_spread_over_two_shifts(good) -> None:
    legs = good.itineraries[0].legs
    cut = max(i for i, leg in enumerate(legs) if leg.kind == "work")
    days = (
        replace(good.itineraries[0], legs=legs[:cut]),
        good.itineraries[1],
        replace(good.itineraries[0], legs=legs[cut:], day=day(1)),
    )
    assert "one shift" in check(replace(good, itineraries=days, n_days=2))
