"""Jobs for every treatment: stages fit a shift, volumes are kept, water is never negative."""

from __future__ import annotations

import dataclasses
import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crossfall.design import design_job, design_jobs
from crossfall.errors import InputError
from crossfall.model import Policy, Rate, Segment, Treatment
from crossfall.network import build_graph
from crossroads import condition, need, small_fleet, small_network, wetness

WORKED = tuple(t for t in Treatment if t not in {Treatment.NONE, Treatment.ENGINEER})


@pytest.fixture(scope="module")
def network():
    return small_network()


@pytest.fixture(scope="module")
def graph(network):
    return build_graph(network)


def one(network, graph, treatment, *, segment="s1", pct=3.0, policy=None, fleet=None, **found):
    jobs = design_jobs(
        [need(treatment, segment)],
        [condition(segment, **found)],
        network,
        graph,
        fleet or small_fleet(),
        wetness(network, pct),
        policy or Policy(),
    )
    return jobs[0]


@pytest.mark.parametrize("treatment", WORKED)
@pytest.mark.parametrize("segment", ["s1", "s2", "s3"])
def test_every_stage_fits_a_shift_and_says_how_it_ends(network, graph, treatment, segment):
    job = one(network, graph, treatment, segment=segment)
    assert job.stages
    limit = (8.0 - Policy().design.stage.overhead_h) * 60
    for stage in job.stages:
        assert stage.work_min + stage.wait_min <= limit + 1e-6
        assert stage.pass_minutes
        assert stage.end_state
        assert stage.steps
        assert stage.checks
        assert stage.to_m > stage.from_m
        if stage.operations:
            assert len(stage.pass_minutes) == sum(o.n_passes for o in stage.operations)
        assert stage.cost.low.minor <= stage.cost.likely.minor <= stage.cost.high.minor
    assert job.cost.likely.minor == pytest.approx(
        sum(stage.cost.likely.minor for stage in job.stages), abs=len(job.stages)
    )


@pytest.mark.parametrize("treatment", WORKED)
def test_precedence_names_earlier_stages_only(network, graph, treatment):
    job = one(network, graph, treatment)
    seen: set[str] = set()
    for stage in job.stages:
        assert set(stage.after) <= seen
        seen.add(stage.id)
    assert len(seen) == len(job.stages)


def test_hours_are_added_pass_by_pass_at_each_speed(network, graph):
    job = one(network, graph, Treatment.RESHAPING)
    length_km = 1609.3 / 1000
    added = sum(o.n_passes * length_km / (o.speed_km_h * 0.83) for o in job.stages[0].operations)
    assert job.work_h == pytest.approx(added, rel=1e-12)


def test_working_speeds_are_those_of_common_practice(network, graph):
    """Common practice, no source: blading at 5 to 8 km/h."""
    for treatment in (Treatment.BLADING, Treatment.RESHAPING, Treatment.REGRAVELLING):
        for stage in one(network, graph, treatment).stages:
            assert all(5.0 <= o.speed_km_h <= 8.0 for o in stage.operations)


def test_a_worn_mile_is_regravelled_in_two_lifts_of_80_mm_over_days(network, graph):
    """Common practice, no source: two lifts of about 80 mm compacted each."""
    job = one(network, graph, Treatment.REGRAVELLING, gravel_mm=40.0)
    lifts = [s for s in job.stages if s.name.startswith("Lift")]
    assert {s.name.split(",")[0] for s in lifts} == {"Lift 1 of 2", "Lift 2 of 2"}
    depth = [q.value for s in lifts for q in s.quantities if q.name == "compacted lift"]
    assert depth == [pytest.approx(80.0)] * len(lifts)
    assert len(lifts) >= 4
    top = [s for s in lifts if s.name.startswith("Lift 2")]
    for stage in top:
        below = [s for s in lifts if s.id in stage.after]
        assert [(s.from_m, s.to_m) for s in below] == [(stage.from_m, stage.to_m)]


def test_passes_that_spread_gravel_go_at_the_pace_of_the_slowest(network, graph):
    job = one(network, graph, Treatment.REGRAVELLING, gravel_mm=40.0)
    for stage in job.stages:
        if not stage.stakes:
            continue
        hours = {each.kind: each.hours for each in stage.support}
        assert stage.work_min / 60 == pytest.approx(hours["haul_truck"])
        shaping = stage.operations[-1]
        own = 60 * (stage.to_m - stage.from_m) / 1000 / (shaping.speed_km_h * 0.83)
        assert stage.pass_minutes[-1] == pytest.approx(own)
        assert stage.pass_minutes[0] > own


def amount(rows, name):
    return sum(row.value for row in rows if row.name == name)


def test_compacted_loose_and_tonnes_are_kept_apart_and_agree(network, graph):
    job = one(network, graph, Treatment.REGRAVELLING, gravel_mm=40.0)
    compacted = amount(job.quantities, "compacted gravel")
    # 7.0 m wide, two lifts of 80 mm with 2:1 edges, one mile: arithmetic
    # less a deck of 12 m and 6 m at the rails
    by_hand = (1609.3 - 12 - 6) * 2 * (7.0 * 0.080 + 2 * 0.080**2)
    assert compacted == pytest.approx(by_hand, rel=1e-9)
    # 40 mm less 20 that stay uncut raise a 7 m road from 2 to 3.14 %; the other 0.86 % is a wedge
    # of 30 mm at the centre: W² (c1 - c0) / 4 a metre, arithmetic
    shape = amount(job.quantities, "compacted gravel for shape")
    short = 0.04 - (0.02 + 0.020 * 4 / 7.0)
    assert shape == pytest.approx((1609.3 - 12 - 6) * 7.0**2 * short / 4, rel=1e-9)
    assert amount(job.quantities, "loose gravel") == pytest.approx(1.25 * (compacted + shape))
    assert amount(job.quantities, "gravel, dry mass") == pytest.approx(2.1 * (compacted + shape))


def test_loads_are_even_and_each_is_whole(network, graph):
    job = one(network, graph, Treatment.REGRAVELLING, gravel_mm=40.0, segment="s2")
    staked = [stage for stage in job.stages if stage.stakes]
    assert staked
    for stage in staked:
        length, n = stage.to_m - stage.from_m, len(stage.stakes)
        gaps = [b.at_m - a.at_m for a, b in pairwise(stage.stakes)]
        assert gaps == pytest.approx([length / n] * (n - 1))
        assert stage.stakes[0].at_m == 0
        assert n == amount(stage.quantities, "loads")
        assert n * 8.75 >= amount(stage.quantities, "loose gravel") - 1e-6


def test_decks_and_rails_get_no_gravel(network, graph):
    job = one(network, graph, Treatment.REGRAVELLING, gravel_mm=40.0)
    marked = [s.from_m + stake.at_m for s in job.stages for stake in s.stakes]
    assert not [at for at in marked if 794 <= at < 806 or 1297 <= at < 1303]


def test_a_seasonal_limit_moves_the_stakes(network, graph):
    segment = dataclasses.replace(network.segment_by_id["s1"], max_mass_t=28.0)
    wide = design_job(
        need(Treatment.REGRAVELLING), network.segment_by_id["s1"],
        fleet=small_fleet(), graph=graph, policy=Policy(),
    )  # fmt: skip
    narrow = design_job(
        need(Treatment.REGRAVELLING), segment, fleet=small_fleet(), graph=graph, policy=Policy()
    )
    assert amount(narrow.quantities, "loads") > amount(wide.quantities, "loads")
    assert amount(narrow.quantities, "loose gravel") == pytest.approx(
        amount(wide.quantities, "loose gravel")
    )


def test_a_posted_axle_limit_makes_part_loads(network, graph):
    def lifts(axle_t):
        (job,) = design_jobs(
            [need(Treatment.REGRAVELLING)], [], network, graph, small_fleet(),
            wetness(network, 5.0, posted_axle_t=axle_t), Policy(),
        )  # fmt: skip
        return job

    free, posted = lifts(math.inf), lifts(9.0)
    assert amount(posted.quantities, "loads") > amount(free.quantities, "loads")
    assert any("part loads" in text for text in posted.assumed)


def test_a_limit_that_keeps_trucks_out_goes_to_the_engineer(network, graph):
    segment = dataclasses.replace(network.segment_by_id["s1"], max_mass_t=12.0)
    job = design_job(
        need(Treatment.REGRAVELLING), segment, fleet=small_fleet(), graph=graph, policy=Policy()
    )
    assert job.needs_engineer
    assert not job.stages
    assert any("lets no loaded truck in" in text for text in job.assumed)
    assert any("engineer to confirm" in text for text in job.assumed)


def test_engineer_gets_a_job_without_stages(network, graph):
    job = one(network, graph, Treatment.ENGINEER)
    assert job.needs_engineer
    assert job.stages == ()
    assert job.cost.likely.minor == 0


def test_what_must_come_first_comes_first(network, graph):
    wanted = need(
        Treatment.REGRAVELLING, first=(Treatment.CULVERT_CLEARING, Treatment.DITCH_CLEANING)
    )
    job = design_job(
        wanted, network.segment_by_id["s1"], fleet=small_fleet(), graph=graph, policy=Policy(),
        features=network.features_by_segment["s1"],
    )  # fmt: skip
    order = list(dict.fromkeys(stage.treatment for stage in job.stages))
    assert order == [Treatment.CULVERT_CLEARING, Treatment.DITCH_CLEANING, Treatment.REGRAVELLING]
    ditch = [s for s in job.stages if s.treatment == Treatment.DITCH_CLEANING]
    base = next(s for s in job.stages if s.treatment == Treatment.REGRAVELLING)
    assert set(base.after) == {s.id for s in ditch}


def test_a_wet_surface_gets_no_water_and_a_dry_one_some(network, graph):
    assert one(network, graph, Treatment.RESHAPING, pct=9.0).stages[0].water_l == 0
    dry = one(network, graph, Treatment.RESHAPING, pct=3.0).stages[0]
    assert dry.water_l > 0


def test_unknown_moisture_is_said_not_guessed(network, graph):
    job = one(network, graph, Treatment.RESHAPING, pct=math.nan)
    assert job.stages[0].water_l == 0
    assert any("moisture is unknown" in text for text in job.assumed)


def test_the_cut_goes_below_the_washboard_but_not_through_the_gravel(network, graph):
    deep = one(network, graph, Treatment.RESHAPING, corrugation_mm=45.0, gravel_mm=120.0)
    assert amount(deep.stages[0].quantities, "depth worked") == pytest.approx(55.0)
    thin = one(network, graph, Treatment.RESHAPING, corrugation_mm=45.0, gravel_mm=40.0)
    assert amount(thin.stages[0].quantities, "depth worked") == pytest.approx(20.0)


def test_transitions_stand_at_their_chainage(network, graph):
    steps = " | ".join(one(network, graph, Treatment.RESHAPING).stages[0].steps)
    steps = steps.replace("\N{NO-BREAK SPACE}", " ")
    assert "At 800 m bridge" in steps
    assert "At 1,300 m rails" in steps
    assert "run the crown out to meet the paved road" in steps
    assert "2 driveways" in steps


def test_mixed_currency_is_refused_before_anything_is_designed(network, graph):
    fleet = small_fleet()
    pit = dataclasses.replace(
        fleet.pits[0], price=Rate("surface gravel", 1500, "m3", "CAD", 2022, "invented")
    )
    with pytest.raises(InputError, match="CAD 2022"):
        one(network, graph, Treatment.BLADING, fleet=dataclasses.replace(fleet, pits=(pit,)))


def test_an_unknown_segment_is_named(network, graph):
    with pytest.raises(InputError, match="unknown segment 's9'"):
        design_jobs(
            [need(Treatment.BLADING, "s9")], [], network, graph, small_fleet(),
            wetness(network, 5.0), Policy(),
        )  # fmt: skip


@settings(max_examples=40, deadline=None)
@given(
    length=st.floats(20.0, 6000.0),
    width=st.floats(3.0, 11.0),
    gravel=st.floats(0.0, 250.0),
    treatment=st.sampled_from(WORKED),
)
def test_any_road_gives_a_job_that_adds_up(length, width, gravel, treatment):
    network = small_network()
    graph = build_graph(network)
    base = network.segment_by_id["s2"]
    segment = Segment(
        base.id, base.route, base.from_node, base.to_node, 0.0, length, base.line,
        surface="gravel", width_m=width, gravel_mm=gravel,
    )  # fmt: skip
    job = design_job(
        need(treatment, "s2"), segment, fleet=small_fleet(), graph=graph, policy=Policy(),
        driest_pct=2.0,
    )  # fmt: skip
    assert job.stages
    for stage in job.stages:
        assert stage.water_l >= 0
        assert stage.work_min > 0
        assert len(stage.stakes) == 0 or stage.stakes[-1].at_m < stage.to_m - stage.from_m
        loads = amount(stage.quantities, "loads")
        assert loads * 8.75 >= amount(stage.quantities, "loose gravel") - 1e-6
    longest = max(stage.to_m for stage in job.stages)
    assert longest == pytest.approx(length)


@settings(max_examples=25, deadline=None)
@given(length=st.floats(50.0, 3000.0), treatment=st.sampled_from(WORKED))
def test_cost_never_falls_when_the_road_is_longer(length, treatment):
    network = small_network()
    graph = build_graph(network)

    def cost(metres):
        segment = dataclasses.replace(network.segment_by_id["s2"], length_m=metres)
        job = design_job(
            need(treatment, "s2"), segment, fleet=small_fleet(), graph=graph, policy=Policy()
        )
        return job.cost.likely.minor

    assert cost(length * 1.3) >= cost(length)


def test_a_curve_is_a_step_at_its_chainage_and_a_straight_road_has_none(network, graph):
    angle = np.radians(np.arange(0.0, 91.0, 5.0))
    bend = [(0.0, 45.0)] + [
        (0.004 + 0.0012 * np.sin(a), 45.0 + 0.00085 * (1 - np.cos(a))) for a in angle
    ]
    line = tuple((float(lon), float(lat)) for lon, lat in (*bend, (0.0052, 45.004)))
    straight = network.segment_by_id["s1"]
    bent = dataclasses.replace(straight, line=line, length_m=900.0)
    found: dict[Segment, list[str]] = {}
    for road in (straight, bent):
        job = design_job(
            need(Treatment.RESHAPING, "s1"), road, fleet=small_fleet(), graph=graph, policy=Policy()
        )
        found[road] = [s for stage in job.stages for s in stage.steps if s.startswith("Curve ")]
    assert found[straight] == []
    (step,) = found[bent]
    assert "where it is banked keep one plane, at most 6" in step
    assert "crown out over 30" in step
