"""One place at a time for machines that help, windrows that do not lie, signs, and weekdays."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest

from crossfall.dispatch import dispatch_week
from crossfall.dispatch.checker import check_plan
from crossfall.errors import InputError
from crossfall.model import Machine, Operator, Support
from crossfall.model.policy import DispatchPolicy, Policy
from dispatch.small_weeks import (
    MADE_AT,
    MONDAY,
    NearGraph,
    OpenGates,
    crew,
    day,
    grid,
    job,
    rules,
)


def plan(jobs, network, fleet, gates=None, policy=None, *, n_days=1, iterations=400, seed=1):
    gates = gates or OpenGates(network, n_days=max(5, n_days))
    policy = policy or rules()
    made = dispatch_week(
        jobs, network, NearGraph(network), fleet, gates, policy, first_day=MONDAY, n_days=n_days,
        made_at=MADE_AT, seconds=1.0, seed=seed, iterations=iterations,
    )  # fmt: skip

    def check(changed=None, **others):
        given = {"jobs": jobs, "fleet": fleet, "policy": policy} | others
        broken = check_plan(
            changed or made, given["jobs"], network, given["fleet"], gates, given["policy"]
        )
        return {each.rule for each in broken}

    assert check() == set()
    return made, check


def with_truck(n_graders=2, *, kind="water_truck", km_h=40.0, **driver):
    truck = Machine("T1", "Truck 1", kind, "yard", capacity=10_000.0, travel_km_h=km_h)
    return crew(n_graders, extra=(truck,), drivers=(Operator("D1", "Driver", "T1", **driver),))


NETWORK = grid(1, 4)
WET = OpenGates(NETWORK, wet={(s.id, d) for s in NETWORK.segments for d in range(5)})


def test_one_truck_goes_from_stage_to_stage() -> None:
    jobs = [job(s.id, passes=(60.0, 60.0), benefit_h=9.0) for s in NETWORK.segments]
    made, check = plan(jobs, NETWORK, with_truck(3), WET)
    # Three graders could do all at once; with one truck they follow each other
    assert len(made.served) == 3
    spans = sorted((each.start_min, each.end_min) for each in made.bookings)
    assert all(later[0] >= before[1] - 0.01 for before, later in itertools.pairwise(spans))
    assert all(end - start >= 120 for start, end in spans)
    assert "support" in check(fleet=with_truck(3, km_h=2.0))


@pytest.mark.parametrize(
    "change",
    [
        {"start_min": 0.0, "end_min": 0.0},
        {"start_min": 500.0},
        {"end_min": 400.0},
        {"start_min": 0.0},
    ],
)
def test_bookings_at_other_times_are_refused(change) -> None:
    jobs = [job("h0-0", passes=(60.0, 60.0), benefit_h=9.0)]
    made, check = plan(jobs, NETWORK, with_truck(1), WET)
    broken = replace(made, bookings=(replace(made.bookings[0], **change),))
    assert "support" in check(broken)


def test_two_stages_with_one_machine_at_once_are_refused() -> None:
    """The plan of a fleet with two trucks does not hold when one truck is given both."""
    fleet = with_truck(2)
    second = Machine("T2", "Truck 2", "water_truck", "yard", capacity=10_000.0)
    fleet = replace(
        fleet,
        machines=(*fleet.machines, second),
        operators=(*fleet.operators, Operator("D2", "Driver", "T2")),
    )
    jobs = [job(s.id, passes=(100.0, 100.0), benefit_h=9.0) for s in NETWORK.segments[:2]]
    policy = rules()
    made, check = plan(jobs, NETWORK, fleet, WET, policy)
    assert {each.machine_id for each in made.bookings} == {"T1", "T2"}
    same = tuple(replace(each, machine_id="T1") for each in made.bookings)
    assert check(replace(made, bookings=same)) == {"support"}


def test_a_machine_comes_from_its_own_yard_in_its_drivers_hours() -> None:
    """A roller at 2 km/h cannot be 4.8 km away and home again within its driver's day."""
    needs = (Support("roller", 1, 1.0),)
    jobs = [job("h0-2", passes=(30.0, 30.0), support=needs, benefit_h=9.0)]
    fleet = with_truck(1, kind="roller", km_h=2.0)
    made, _ = plan(jobs, NETWORK, fleet)
    # 3.2 km out at 2 km/h are 96 min: it leaves with the grader, which is there long before
    assert made.served == ()
    (left,) = made.unserved
    assert left.binding == "no_support"
    quick = with_truck(1, kind="roller", km_h=40.0)
    made, check = plan(jobs, NETWORK, quick)
    assert made.served == ("j-h0-2",)
    assert "support" in check(fleet=with_truck(1, kind="roller", km_h=2.0))
    assert "support" in check(fleet=with_truck(1, kind="roller", shift_start_h=9.0))
    assert "support" in check(fleet=with_truck(1, kind="roller", shift_h=1.1))
    bridge = with_truck(1, kind="roller")
    heavy = replace(bridge, machines=(bridge.machines[0], replace(bridge.machines[1], mass_t=30.0)))
    limited = replace(
        NETWORK, segments=tuple(replace(s, max_mass_t=20.0) for s in NETWORK.segments)
    )
    made, _ = plan(jobs, limited, heavy)
    assert made.unserved[0].binding == "no_support"


def test_what_no_truck_is_free_for_is_said_so() -> None:
    jobs = [job(s.id, passes=(150.0, 150.0), benefit_h=9.0) for s in NETWORK.segments]
    made, _ = plan(jobs, NETWORK, with_truck(3), WET)
    assert len(made.served) == 1
    assert {each.binding for each in made.unserved} == {"no_support"}
    assert all("water truck" in each.reason for each in made.unserved)


def best_shared(jobs, network, price: float, most_min: float) -> float:
    """Best worth of two graders and one truck over every order, nobody ever waiting.

    All stages need the truck, of two passes along one road each: grader and truck end where they
    began, by their choice of the first pass's direction.
    """
    at = {s.id: (int(s.from_node[-1]), int(s.to_node[-1])) for s in network.segments}
    pace = network.segments[0].length_m * 0.06 / network.segments[0].travel_km_h

    def runs(order):
        """Every way to drive an order: from when to when it works where, and minutes out."""
        for ways in itertools.product((0, 1), repeat=len(order)):
            here, clock, spans = 0, 0.0, []
            for j, way in zip(order, ways, strict=True):
                place = at[j.segment_id][way]
                clock += abs(place - here) * pace
                spans.append((clock, clock + j.stages[0].work_min, place))
                clock, here = spans[-1][1], place
            if clock + here * pace <= most_min:
                yield spans, clock + here * pace

    best = 0.0
    for owner in itertools.product((0, 1, 2), repeat=len(jobs)):
        mine = [[j for j, o in zip(jobs, owner, strict=True) if o == g] for g in (0, 1)]
        worth = sum(j.benefit_h for part in mine for j in part)
        for one in itertools.permutations(mine[0]):
            for two in itertools.permutations(mine[1]):
                for (spans, out), (more, out2) in itertools.product(runs(one), runs(two)):
                    value = worth - price * (out + out2) / 60
                    truck = [(0.0, 0.0, 0), *sorted(spans + more)]
                    if value > best and all(
                        b[0] >= a[1] + abs(a[2] - b[2]) * pace - 1e-6
                        for a, b in itertools.pairwise(truck)
                    ):
                        best = value
    return best


@pytest.mark.parametrize("seed", range(5))
def test_sharing_a_truck_is_best_by_every_order_tried(seed: int) -> None:
    rng = np.random.default_rng(seed)
    network = grid(1, 5, turn_min=0.0)
    jobs = [
        job(s.id, passes=(float(rng.uniform(15, 30)),) * 2, benefit_h=float(rng.uniform(1, 3)))
        for s in network.segments
    ]
    gates = OpenGates(network, wet={(s.id, 0) for s in network.segments})
    policy = rules(turn_min=0.0, hour_price=0.5, open_windrow_m=0.0, water_truck_share=0.5)
    fleet = with_truck(2, shift_h=9.0)
    people = tuple(replace(o, shift_h=2.6) if o.id[0] == "P" else o for o in fleet.operators)
    fleet = replace(fleet, operators=people)
    made, _ = plan(jobs, network, fleet, gates, policy, iterations=3000)
    best = best_shared(jobs, network, 0.5, 2.6 * 60 - 0.05)
    assert made.benefit_h == pytest.approx(best, abs=1e-6)
    assert made.benefit_bound_h >= best - 1e-9


def gaps(made):
    """Minutes between passes of the same stage, over the whole plan."""
    found = []
    for itinerary in made.itineraries:
        left = {}
        for leg in itinerary.legs:
            if leg.kind == "work":
                if leg.stage_id in left:
                    found.append(leg.start_min - left[leg.stage_id])
                left[leg.stage_id] = leg.end_min
    return found


def test_a_windrow_lies_no_longer_than_it_may() -> None:
    network = grid(1, 6)
    jobs = [job(s.id) for s in network.segments]
    long, check = plan(jobs, network, crew(), policy=rules(windrow_open_max_min=600.0))
    # Out along one side for five miles: 4 × 16 min out, a turn and 4 × 16 min back
    assert max(gaps(long)) == pytest.approx(130.0)
    assert check(policy=rules(windrow_open_max_min=90.0)) == {"windrow"}
    short, _ = plan(jobs, network, crew(), policy=rules(windrow_open_max_min=90.0))
    assert max(gaps(short)) <= 90.0
    assert len(short.served) == 5
    assert len(plan(jobs, network, crew(), policy=rules(windrow_open_max_min=2.0))[0].served) == 5


@pytest.mark.parametrize("most", [5.0, 20.0, 32.0, 60.0])
def test_no_windrow_lies_over_the_meal_unless_the_next_pass_comes_in_time(most: float) -> None:
    network = grid(2, 3)
    policy = Policy(dispatch=DispatchPolicy(windrow_open_max_min=most))
    jobs = [job(s.id, passes=(38.0, 38.0), benefit_h=9.0) for s in network.segments]
    made, _ = plan(jobs, network, crew(shift_h=10.0), policy=policy)
    kinds = [leg.kind for leg in made.itineraries[0].legs]
    assert kinds.count("break") == 1
    assert max(gaps(made)) <= most


def test_a_long_way_round_between_passes_is_no_way() -> None:
    """Along a one-way road the grader comes round for each pass: 3 roads of 2.4 min each."""
    network = grid(2, 2)
    segments = tuple(replace(s, is_oneway=True) if s.id == "h0-0" else s for s in network.segments)
    network = replace(network, segments=segments)
    jobs = [job("h0-0")]
    assert plan(jobs, network, crew(), policy=rules(windrow_open_max_min=8.0))[0].served
    made, _ = plan(jobs, network, crew(), policy=rules(windrow_open_max_min=7.0))
    (left,) = made.unserved
    assert left.binding == "too_long_for_shift"
    assert "7 min" in left.reason


def test_signs_take_their_time_on_the_spot() -> None:
    jobs = [job("h0-1", wait_min=15.0), job("h0-2", wait_min=15.0, from_m=400.0, to_m=900.0)]
    made, check = plan(jobs, NETWORK, crew())
    (itinerary,) = made.itineraries
    waits = [leg for leg in itinerary.legs if leg.kind == "wait"]
    assert [leg.end_min - leg.start_min for leg in waits] == [15.0, 15.0]
    # 4 h of worth, less a quarter of every hour out, signs too
    out_min = itinerary.legs[-1].end_min - itinerary.legs[0].start_min
    assert made.benefit_h == pytest.approx(4 - 0.25 * out_min / 60)
    longer = [replace(j, stages=tuple(replace(s, wait_min=20.0) for s in j.stages)) for j in jobs]
    assert check(jobs=longer) == {"signs"}
    hasty = tuple(leg for leg in itinerary.legs if leg.kind != "wait")
    assert "signs" in check(replace(made, itineraries=(replace(itinerary, legs=hasty),)))
    nameless = tuple(
        replace(leg, stage_id=None) if leg.kind == "wait" else leg for leg in itinerary.legs
    )
    assert "signs" in check(replace(made, itineraries=(replace(itinerary, legs=nameless),)))
    with pytest.raises(InputError, match="wait_min"):
        plan([job("h0-1", wait_min=-1.0)], NETWORK, crew())


def test_signs_for_other_work_do_not_count_as_walk_round() -> None:
    jobs = [job("h0-0", wait_min=15.0)]
    _, check = plan(jobs, NETWORK, crew())
    assert "shift" in check(policy=rules(pretrip_min=15.0))


def test_crews_go_out_on_working_days() -> None:
    """1 June 2026 is a Monday."""
    jobs = [job(s.id, passes=(200.0, 200.0), benefit_h=9.0) for s in NETWORK.segments]
    closed = {(s.id, d) for s in NETWORK.segments for d in range(4)}
    gates = OpenGates(NETWORK, n_days=7, closed=closed)
    made, check = plan(jobs, NETWORK, crew(), gates, n_days=7)
    assert {each.day for each in made.itineraries} == {day(4)}
    saturdays = rules(work_weekdays=(0, 1, 2, 3, 4, 5))
    more, _ = plan(jobs, NETWORK, crew(), gates, saturdays, n_days=7)
    assert {each.day for each in more.itineraries} == {day(4), day(5)}
    saturday = replace(made.itineraries[0], day=day(5))
    assert check(replace(made, itineraries=(saturday,))) == {"weekday"}
    with pytest.raises(InputError, match="work_weekdays"):
        plan(jobs, NETWORK, crew(), policy=rules(work_weekdays=(1, 7)))


def test_a_road_that_is_fit_only_at_the_weekend_is_told_so() -> None:
    closed = {("h0-0", d) for d in range(5)}
    gates = OpenGates(NETWORK, n_days=7, closed=closed)
    made, _ = plan([job("h0-0")], NETWORK, crew(), gates, n_days=7)
    (left,) = made.unserved
    assert left.binding == "no_workable_day"
    assert "Sat 6, Sun 7" in left.reason


def test_reasons_count_jobs_not_pieces_of_work() -> None:
    """Two roads of many parts fill the day: that is two jobs, whatever their parts."""
    network = grid(1, 4)
    jobs = []
    for s in network.segments[:2]:
        whole = job(s.id, passes=(20.0, 20.0), benefit_h=9.0)
        stage = whole.stages[0]
        parts = tuple(
            replace(stage, id=f"{stage.id}-{n}", number=n, from_m=400.0 * n, to_m=400.0 * (n + 1))
            for n in range(4)
        )
        jobs.append(replace(whole, stages=parts))
    jobs.append(job("h0-2", passes=(100.0, 100.0), benefit_h=3.0))
    made, _ = plan(jobs, network, crew(shift_h=7.0))
    (left,) = made.unserved
    assert left.binding == "higher_priorities"
    assert "2 other jobs, whole or in part, 2 of them" in left.reason
