"""A week is planned, keeps every rule, and says why for what it leaves out."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from crossfall.dispatch import dispatch_week
from crossfall.dispatch.checker import check_plan
from crossfall.errors import Cancelled, InputError
from crossfall.model import Machine, Node, Operator, Place, Segment, Support, Treatment
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
    job_of,
    rules,
    stage,
)


def plan(jobs, network, fleet, gates=None, policy=None, *, n_days=2, iterations=300, **more):
    return dispatch_week(
        jobs,
        network,
        NearGraph(network),
        fleet,
        gates or OpenGates(network),
        policy or rules(),
        first_day=MONDAY,
        n_days=n_days,
        made_at=MADE_AT,
        **({"seconds": 1.0, "seed": 1, "iterations": iterations} | more),
    )


def check(made, jobs, network, fleet, gates=None, policy=None):
    return check_plan(made, jobs, network, fleet, gates or OpenGates(network), policy or rules())


def binding(made, job_id):
    return next(each for each in made.unserved if each.job_id == job_id)


def test_one_road_is_bladed_out_and_back() -> None:
    network, fleet = grid(1, 2), crew()
    jobs = [job("h0-0")]
    made = plan(jobs, network, fleet)
    assert made.served == ("j-h0-0",)
    legs = [leg for itinerary in made.itineraries for leg in itinerary.legs]
    assert [leg.kind for leg in legs] == ["work", "turn", "work"]
    assert [leg.is_forward for leg in legs if leg.kind == "work"] == [True, False]
    # 2 h of worth less a quarter of 34 min: two passes of 16 and one turn of 2
    assert made.benefit_h == pytest.approx(2 - 0.25 * 34 / 60)
    assert check(made, jobs, network, fleet) == ()


def test_out_along_one_side_for_miles_and_back_along_the_other() -> None:
    network, fleet = grid(1, 4), crew()
    jobs = [job(f"h0-{c}") for c in range(3)]
    made = plan(jobs, network, fleet, n_days=1)
    (itinerary,) = made.itineraries
    assert len(made.served) == 3
    assert itinerary.minutes("travel") == 0
    assert itinerary.minutes("turn") == pytest.approx(2.0)
    assert check(made, jobs, network, fleet) == ()


def test_open_windrow_is_capped() -> None:
    network, fleet = grid(1, 4), crew()
    jobs = [job(f"h0-{c}") for c in range(3)]
    policy = rules(open_windrow_m=1600.0)
    made = plan(jobs, network, fleet, policy=policy, n_days=1)
    assert made.itineraries[0].minutes("travel") > 0
    assert check(made, jobs, network, fleet, policy=policy) == ()


@pytest.mark.parametrize("seed", range(4))
def test_open_windrow_is_capped_on_a_whole_county(seed: int) -> None:
    network, fleet = grid(5, 5), crew(2)
    jobs = [job(s.id, passes=(16.0,) * (2 + 2 * (i % 2))) for i, s in enumerate(network.segments)]
    policy = rules(open_windrow_m=3500.0)
    made = plan(jobs, network, fleet, policy=policy, seed=seed, iterations=1500)
    assert check(made, jobs, network, fleet, policy=policy) == ()
    out_and_back = {
        leg.stage_id
        for itinerary in made.itineraries
        for leg, other in zip(itinerary.legs, itinerary.legs[1:], strict=False)
        if leg.kind == "work" and leg.pass_number == 1 and other.stage_id != leg.stage_id
    }
    assert out_and_back


@pytest.mark.parametrize(("n_passes", "ends_far"), [(1, True), (2, False), (3, True), (4, False)])
def test_odd_passes_end_at_the_far_end(n_passes: int, ends_far: bool) -> None:
    network, fleet = grid(1, 2), crew()
    jobs = [job("h0-0", passes=(10.0,) * n_passes)]
    made = plan(jobs, network, fleet, n_days=1)
    (itinerary,) = made.itineraries
    assert (itinerary.minutes("travel") > 0) == ends_far
    assert itinerary.minutes("work") == pytest.approx(10.0 * n_passes)
    assert check(made, jobs, network, fleet) == ()


def test_part_of_a_segment_is_reached_along_it() -> None:
    network, fleet = grid(1, 2), crew()
    jobs = [job("h0-0", from_m=400.0, to_m=800.0, passes=(4.0, 4.0, 4.0))]
    made = plan(jobs, network, fleet, n_days=1)
    (itinerary,) = made.itineraries
    # 0.6 min out to 400 m, three passes, turn on the road, and 1.2 min home from 800 m
    assert itinerary.minutes("travel") == pytest.approx(0.6 + 1.2)
    assert itinerary.minutes("turn") == pytest.approx(3 * 3.0)
    assert check(made, jobs, network, fleet) == ()


def test_a_narrow_end_is_never_turned_at() -> None:
    network = grid(2, 2)
    nodes = tuple(replace(n, turn_min=np.inf) if n.id != "n0-0" else n for n in network.nodes)
    network = replace(network, nodes=nodes)
    fleet, jobs = crew(), [job("h0-0"), job("v0-1")]
    made = plan(jobs, network, fleet, n_days=1)
    assert len(made.served) == 2
    assert check(made, jobs, network, fleet) == ()
    turns = [leg for i in made.itineraries for leg in i.legs if leg.kind == "turn"]
    assert all(leg.from_node == "n0-0" for leg in turns)


def test_one_way_roads_are_gone_round() -> None:
    network = grid(2, 2)
    segments = tuple(replace(s, is_oneway=True) if s.id == "h0-0" else s for s in network.segments)
    network = replace(network, segments=segments)
    fleet, jobs = crew(), [job("h0-0")]
    made = plan(jobs, network, fleet, n_days=1)
    assert made.served == ("j-h0-0",)
    work = [leg for i in made.itineraries for leg in i.legs if leg.kind == "work"]
    assert all(leg.is_forward for leg in work)
    assert check(made, jobs, network, fleet) == ()


def test_stages_keep_their_order_over_days() -> None:
    network, fleet = grid(1, 2), crew(shift_h=2.0)
    first = stage("big", "h0-0", number=1, passes=(30.0, 30.0))
    then = stage("big", "h0-0", number=2, passes=(30.0, 30.0), after=(first.id,))
    last = stage("big", "h0-0", number=3, passes=(30.0, 30.0), after=(then.id,))
    jobs = [job_of("big", first, then, last, benefit_h=9.0)]
    made = plan(jobs, network, fleet, n_days=2)
    assert check(made, jobs, network, fleet) == ()
    assert binding(made, "big").n_stages_done == 2
    made = plan(jobs, network, fleet, n_days=3)
    assert made.served == ("big",)
    assert check(made, jobs, network, fleet) == ()


def truck(number: int, kind="water_truck") -> Machine:
    return Machine(f"T{number}", f"Truck {number}", kind, "yard", capacity=10_000.0)


def test_water_only_days_book_a_water_truck() -> None:
    network = grid(1, 3)
    gates = OpenGates(network, wet={("h0-0", 0), ("h0-1", 0)})
    jobs = [job("h0-0", passes=(120.0, 120.0)), job("h0-1", passes=(120.0, 120.0))]
    driver = Operator("D1", "Driver", "T1", shift_h=5.0)
    fleet = crew(2, extra=(truck(1),), drivers=(driver,))
    made = plan(jobs, network, fleet, gates, n_days=1)
    assert len(made.served) == 1
    assert len(made.bookings) == 1
    assert made.bookings[0].hours == pytest.approx(4.0)
    assert check(made, jobs, network, fleet, gates) == ()


def test_support_is_counted_machine_by_machine() -> None:
    network = grid(1, 3)
    haul = (Support("haul_truck", 2, 5.0),)
    jobs = [job(f"h0-{c}", support=haul, passes=(60.0, 60.0), benefit_h=9.0) for c in range(2)]
    trucks = tuple(truck(i, "haul_truck") for i in range(3))
    drivers = tuple(Operator(f"D{i}", "Driver", f"T{i}", shift_h=8.0) for i in range(3))
    fleet = crew(2, extra=trucks, drivers=drivers)
    made = plan(jobs, network, fleet, n_days=1)
    # 24 truck hours would hold both, but no second pair has 5 h left
    assert len(made.served) == 1
    assert check(made, jobs, network, fleet) == ()


def test_every_road_left_out_has_its_reason() -> None:
    network = grid(3, 3)
    heavy = replace(network.segments[-1], max_mass_t=5.0)
    apart = (
        Node("far", -99.0, 45.0),
        Node("away", -99.0, 45.01),
    )
    lost = Segment("lost", "Lost Road", "far", "away", 0.0, 1112.0, ((-99, 45), (-99, 45.01)))
    network = replace(
        network, nodes=network.nodes + apart, segments=(*network.segments[:-1], heavy, lost)
    )
    gates = OpenGates(network, closed={("v0-0", d) for d in range(5)})
    jobs = [
        job("v0-0"),
        job("lost", to_m=1112.0),
        job(heavy.id),
        job("h0-0", passes=(300.0, 300.0), benefit_h=50.0),
        job("h0-1", benefit_h=0.01),
        job("h1-0", treatment=Treatment.REGRAVELLING),
        job("h1-1", needs_attachment="scarifier"),
        job("v0-1", support=(Support("roller", 1, 2.0),)),
        job("v0-2", after=("nowhere",)),
        replace(job("v1-0"), needs_engineer=True),
        job("h2-0", passes=(200.0, 200.0), benefit_h=30.0),
        job("v1-1", passes=(100.0, 100.0), benefit_h=1.0),
    ]
    fleet = crew(1, skills=(Treatment.BLADING,))
    made = plan(jobs, network, fleet, gates, n_days=1)
    found = {each.job_id: each.binding for each in made.unserved}
    assert found == {
        "j-v0-0": "no_workable_day",
        "j-lost": "unreachable",
        f"j-{heavy.id}": "road_class_closed",
        "j-h0-0": "too_long_for_shift",
        "j-h0-1": "not_worth_hours",
        "j-h1-0": "no_operator",
        "j-h1-1": "no_machine",
        "j-v0-1": "no_support",
        "j-v0-2": "waits_for_other_work",
        "j-v1-0": "engineer_to_confirm",
        "j-v1-1": "higher_priorities",
    }
    assert all(each.reason and each.would_change for each in made.unserved)
    assert check(made, jobs, network, fleet, gates) == ()


def test_windows_that_exclude_everything_give_an_honest_empty_plan() -> None:
    network, fleet = grid(2, 2), crew()
    gates = OpenGates(network, closed={(s.id, d) for s in network.segments for d in range(5)})
    jobs = [job(s.id) for s in network.segments]
    made = plan(jobs, network, fleet, gates)
    assert made.itineraries == ()
    assert made.benefit_h == 0
    assert {each.binding for each in made.unserved} == {"no_workable_day"}
    assert check(made, jobs, network, fleet, gates) == ()


def test_nobody_on_duty_is_no_error_but_a_reason() -> None:
    network, fleet = grid(2, 2), crew(off_days=(day(0), day(1)))
    jobs = [job("h0-0")]
    made = plan(jobs, network, fleet)
    assert binding(made, "j-h0-0").binding == "no_operator"
    assert check(made, jobs, network, fleet) == ()


def test_no_jobs_no_plan() -> None:
    network, fleet = grid(2, 2), crew()
    made = plan([], network, fleet)
    assert (made.itineraries, made.served, made.unserved, made.benefit_h) == ((), (), (), 0.0)


def test_a_machine_without_its_operator_stays_in_the_yard() -> None:
    network = grid(2, 2)
    fleet = crew(2)
    fleet = replace(fleet, operators=(replace(fleet.operators[0], off_days=(day(0),)),))
    made = plan([job("h0-0")], network, fleet, n_days=2)
    assert {(i.machine_id, i.day) for i in made.itineraries} == {("G0", day(1))}


def test_a_trainee_does_not_reshape_alone() -> None:
    network, fleet = grid(2, 2), crew(is_trainee=True)
    jobs = [job("h0-0", treatment=Treatment.RESHAPING), job("v0-0")]
    made = plan(jobs, network, fleet)
    assert made.served == ("j-v0-0",)
    assert binding(made, "j-h0-0").binding == "no_operator"


def test_the_shift_ends_before_dusk() -> None:
    network, fleet = grid(2, 3), crew(shift_h=20.0, shift_start_h=12.0)
    jobs = [job(s.id, passes=(45.0, 45.0), benefit_h=9.0) for s in network.segments]
    made = plan(jobs, network, fleet, n_days=1)
    # Daylight at 45° north on 1 June is about 15.3 h by FAO-56; half of it after 12:30, less 30 min
    assert made.itineraries[0].legs[-1].end_min < 60 * (12.5 + 7.7 - 0.5)
    assert check(made, jobs, network, fleet) == ()


def test_walk_round_and_meal_break_are_there() -> None:
    network, fleet, policy = grid(3, 3), crew(shift_h=10.0), Policy()
    jobs = [job(s.id, passes=(25.0, 25.0), benefit_h=9.0) for s in network.segments]
    made = plan(jobs, network, fleet, policy=policy, n_days=1)
    kinds = [leg.kind for leg in made.itineraries[0].legs]
    assert kinds[0] == "wait"
    assert kinds.count("break") == 1
    assert check(made, jobs, network, fleet, policy=policy) == ()


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda f: replace(f, machines=()), "no available grader"),
        (lambda f: replace(f, operators=()), "no operator"),
        (
            lambda f: replace(f, operators=(replace(f.operators[0], shift_h=0.0),)),
            "shift_h 0",
        ),
        (lambda f: replace(f, places=()), "not a place"),
    ],
)
def test_a_fleet_that_cannot_be_is_refused(change, words: str) -> None:
    network = grid(2, 2)
    with pytest.raises(InputError, match=words):
        plan([job("h0-0")], network, change(crew()))


@pytest.mark.parametrize(
    ("bad", "words"),
    [
        (job("h0-0", passes=(-5.0, 16.0)), "-5 min"),
        (job("h0-0", passes=()), "no pass_minutes"),
        (job("h0-0", to_m=9000.0), "9000 m"),
        (job("nowhere"), "unknown segment"),
        (job("h0-0", benefit_h=np.nan), "benefit_h"),
        (job("h0-0", after=("j-h0-0-1",)), "circle"),
    ],
)
def test_work_that_cannot_be_is_refused(bad, words: str) -> None:
    network = grid(2, 2)
    with pytest.raises(InputError, match=words):
        plan([bad], network, crew())


def test_doubled_ids_are_refused() -> None:
    with pytest.raises(InputError, match="twice"):
        plan([job("h0-0"), job("h0-0")], grid(2, 2), crew())


def test_a_disconnected_yard_is_said() -> None:
    network = grid(2, 2)
    island = (Node("i0", -99.0, 45.0), Node("i1", -99.0, 45.01))
    road = Segment("isle", "Isle Road", "i0", "i1", 0.0, 1112.0, ((-99, 45), (-99, 45.01)))
    network = replace(network, nodes=network.nodes + island, segments=(*network.segments, road))
    fleet, jobs = crew(at=(-99.0, 45.0)), [job("h0-0")]
    made = plan(jobs, network, fleet)
    assert binding(made, "j-h0-0").binding == "unreachable"
    assert check(made, jobs, network, fleet) == ()


def test_stopping_is_obeyed_at_once() -> None:
    network, fleet = grid(4, 4), crew(2)
    calls = 0

    def stop(fraction: float, message: str) -> None:
        nonlocal calls
        calls += 1
        if fraction > 0.2:
            raise Cancelled("stop")

    with pytest.raises(Cancelled):
        plan(
            [job(s.id) for s in network.segments],
            network,
            fleet,
            seconds=30.0,
            iterations=None,
            progress=stop,
        )
    assert calls > 3


@pytest.mark.parametrize("seed", [1, 2])
def test_same_seed_and_rounds_same_plan(seed: int) -> None:
    network, fleet = grid(4, 4), crew(2, shift_h=5.0)
    jobs = [job(s.id, benefit_h=1.0 + i % 5) for i, s in enumerate(network.segments)]
    one = plan(jobs, network, fleet, seed=seed, iterations=400)
    two = plan(jobs, network, fleet, seed=seed, iterations=400)
    assert one == two


def test_too_many_jobs_are_cut_to_what_can_be_searched() -> None:
    network, fleet = grid(6, 6), crew(1)
    jobs = [job(s.id, benefit_h=1.0 + i % 7) for i, s in enumerate(network.segments)]
    policy = rules(most_segments_searched=10)
    made = plan(jobs, network, fleet, policy=policy, n_days=1)
    assert len(made.served) + len(made.unserved) == len(jobs)
    assert made.benefit_bound_h >= made.benefit_h
    assert check(made, jobs, network, fleet, policy=policy) == ()


TREATMENTS = st.sampled_from([Treatment.BLADING, Treatment.RESHAPING, Treatment.SPOT_GRAVEL])


@st.composite
def weeks(draw):
    """A random small week: any passes, part stages, supports, windows, one-way and narrow roads."""
    network = grid(draw(st.integers(2, 3)), draw(st.integers(2, 3)))
    narrow = draw(st.sets(st.sampled_from([n.id for n in network.nodes]), max_size=3))
    one_way = draw(st.sets(st.sampled_from([s.id for s in network.segments]), max_size=2))
    network = replace(
        network,
        nodes=tuple(replace(n, turn_min=np.inf) if n.id in narrow else n for n in network.nodes),
        segments=tuple(
            replace(s, is_oneway=True) if s.id in one_way else s for s in network.segments
        ),
    )
    jobs = []
    for segment in draw(
        st.lists(
            st.sampled_from(network.segments), min_size=1, max_size=7, unique_by=lambda s: s.id
        )
    ):
        job_id, stages = f"j-{segment.id}", []
        cuts = draw(st.sampled_from([(0.0, 1600.0), (0.0, 700.0, 1600.0), (300.0, 900.0)]))
        treatment = draw(TREATMENTS)
        support = draw(
            st.sampled_from(
                [(), (), (Support("haul_truck", 1, 3.0),), (Support("roller", 1, 1.0),)]
            )
        )
        for n, (low, high) in enumerate(itertools.pairwise(cuts)):
            passes = tuple(draw(st.lists(st.floats(5.0, 40.0), min_size=1, max_size=5)))
            stages.append(
                stage(
                    job_id,
                    segment.id,
                    number=n + 1,
                    passes=passes,
                    from_m=low,
                    to_m=high,
                    treatment=treatment,
                    support=support,
                    after=(stages[-1].id,) if stages else (),
                    wait_min=draw(st.sampled_from([0.0, 0.0, 15.0])),
                )
            )
        jobs.append(job_of(job_id, *stages, benefit_h=draw(st.floats(0.0, 8.0))))
    pairs = st.tuples(st.sampled_from([s.id for s in network.segments]), st.integers(0, 2))
    gates = OpenGates(
        network,
        closed=draw(st.sets(pairs, max_size=8)),
        wet=draw(st.sets(pairs, max_size=8)),
        chance=dict.fromkeys(draw(st.sets(pairs, max_size=8)), 0.6),
    )
    drivers = (
        Operator("D1", "Driver", "T1"),
        Operator("D2", "Driver", "T2", shift_h=4.0),
        Operator("D3", "Driver", "T3"),
    )
    fleet = crew(
        draw(st.integers(1, 2)),
        shift_h=draw(st.floats(1.0, 9.0)),
        extra=(truck(1), truck(2, "haul_truck"), truck(3, "roller")),
        drivers=drivers,
    )
    strict = DispatchPolicy(windrow_open_max_min=draw(st.floats(0.0, 40.0)), work_weekdays=(0, 2))
    short = rules(open_windrow_m=2000.0, hour_price=0.5)
    policy = draw(st.sampled_from([Policy(), short, Policy(dispatch=strict)]))
    return jobs, network, fleet, gates, policy


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(weeks(), st.integers(0, 5))
def test_any_small_week_keeps_every_rule(week, seed: int) -> None:
    jobs, network, fleet, gates, policy = week
    made = plan(jobs, network, fleet, gates, policy, n_days=3, iterations=120, seed=seed)
    assert check(made, jobs, network, fleet, gates, policy) == ()
    assert made.benefit_h >= 0
    assert made.benefit_bound_h >= made.benefit_h - 1e-9
    assert len(made.served) + len(made.unserved) == len(jobs)


def test_a_place_off_the_roads_uses_the_nearest_node() -> None:
    network = grid(2, 2)
    fleet = crew()
    off = Place("yard", "Yard", "yard", network.nodes[3].lon + 0.001, network.nodes[3].lat)
    fleet = replace(fleet, places=(off,))
    made = plan([job("h0-0")], network, fleet)
    assert made.itineraries[0].legs[0].from_node == network.nodes[3].id
