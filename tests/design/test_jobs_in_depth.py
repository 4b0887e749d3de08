"""Jobs further: signatures, limits on the way, volumes kept, crews, rain, depths that agree."""

from __future__ import annotations

import dataclasses
import re
from datetime import date
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crossfall.design import design_job, design_jobs
from crossfall.design.alone import Piece, design_alone
from crossfall.design.dust import hold_for_rain, treated_roads
from crossfall.errors import InputError
from crossfall.model import DesignSignature, DustApplication, Policy, Segment, Treatment
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


def amount(rows, name):
    return sum(row.value for row in rows if row.name == name)


def word(treatment=Treatment.REGRAVELLING, **changes):
    usual = DesignSignature(
        "g1", "s1", treatment, "R. Alder", "P.E. 4711", date(2026, 6, 1), note="edges stay"
    )
    return dataclasses.replace(usual, **changes)


def asked(network, graph, wanted, *signatures, **segment):
    return design_job(
        need(wanted), dataclasses.replace(network.segment_by_id["s1"], **segment),
        fleet=small_fleet(), graph=graph, policy=Policy(), signatures=signatures,
    )  # fmt: skip


def test_a_limit_that_an_engineer_signs_for_lets_trucks_in(network, graph):
    held = asked(network, graph, Treatment.REGRAVELLING, word(), max_mass_t=12.0)
    assert held.needs_engineer
    signed = asked(network, graph, Treatment.REGRAVELLING, word(limit_t=26.0), max_mass_t=12.0)
    assert not signed.needs_engineer
    assert signed.confirmed_by == "R. Alder, P.E. 4711, 2026-06-01"
    assert any("edges stay" in text for text in signed.assumed)
    assert {stage.treatment for stage in signed.stages} == {Treatment.REGRAVELLING}


def test_a_signed_limit_may_also_be_lower_than_the_posted_one(network, graph):
    free = asked(network, graph, Treatment.REGRAVELLING)
    low = asked(network, graph, Treatment.REGRAVELLING, word(limit_t=24.0))
    assert amount(low.quantities, "loads") > amount(free.quantities, "loads")


def test_a_road_that_was_sent_to_the_engineer_gets_what_was_signed(network, graph):
    held = asked(network, graph, Treatment.ENGINEER)
    assert held.needs_engineer
    done = asked(network, graph, Treatment.ENGINEER, word(Treatment.SCARIFY_REMIX))
    assert not done.needs_engineer
    assert done.treatment == Treatment.SCARIFY_REMIX
    assert done.stages
    newest = asked(network, graph, Treatment.ENGINEER, word(Treatment.SCARIFY_REMIX), word(id="g2"))
    assert newest.treatment == Treatment.REGRAVELLING


def test_a_word_that_was_taken_back_counts_for_nothing(network, graph):
    back = asked(network, graph, Treatment.ENGINEER, word(), word(id="g2", is_withdrawn=True))
    assert back.needs_engineer


def test_a_word_on_other_work_is_no_word_on_this(network, graph):
    held = asked(
        network, graph, Treatment.REGRAVELLING, word(Treatment.DITCH_CLEANING, limit_t=30.0),
        max_mass_t=12.0,
    )  # fmt: skip
    assert held.needs_engineer


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"signed_by": " "}, "signed_by is empty"),
        ({"capacity": ""}, "capacity is empty"),
        ({"treatment": Treatment.ENGINEER}, "expected the work that may be done"),
        ({"expires_on": date(2026, 5, 1)}, "before signed_on"),
        ({"limit_t": 0.0}, "limit_t is 0"),
        ({"limit_t": 44_000.0}, "limit_t is 44000"),
    ],
)
def test_a_signature_that_cannot_be_is_refused(changes, words):
    with pytest.raises(InputError, match=words):
        word(**changes)


def test_a_word_stands_from_its_day_to_its_last():
    stands = word(expires_on=date(2026, 6, 30)).stands
    days = [date(2026, 5, 31), date(2026, 6, 1), date(2026, 6, 30), date(2026, 7, 1)]
    assert [stands(day) for day in days] == [False, True, True, False]


class TestLimitsOnTheWay:
    """A full truck goes round a posted bridge; where there is no way round, with part loads."""

    def square(self, limit_t):
        """Pit at n4; the short way to s1 is posted, the way round is three sides of a square."""
        network = small_network()
        feature = dataclasses.replace(
            next(f for f in network.features if f.kind == "bridge"),
            id="way", segment_id="s4", at_m=500.0, max_mass_t=limit_t,
        )  # fmt: skip
        return dataclasses.replace(network, features=(*network.features, feature))

    def loads(self, network, graph, fleet=None):
        job = design_job(
            need(Treatment.REGRAVELLING, "s2"), network.segment_by_id["s2"],
            fleet=fleet or small_fleet(), graph=graph, policy=Policy(),
        )  # fmt: skip
        notes = [r.note for s in job.stages for r in s.quantities if r.name == "loose gravel"]
        return amount(job.quantities, "loads"), notes[0]

    def test_without_a_way_round_the_loads_get_smaller(self, network, graph):
        free, _ = self.loads(network, graph)
        posted = self.square(24.0)
        fewer, note = self.loads(posted, build_graph(posted))
        assert fewer > free
        assert "24\N{NO-BREAK SPACE}t posted on the way" in note

    def test_with_a_way_round_the_cheaper_of_both_is_taken(self, network):
        posted = self.square(24.0)
        start, end = posted.node_by_id["n4"], posted.node_by_id["n0"]
        line = ((start.lon, start.lat), (start.lon + 0.001, start.lat), (end.lon, end.lat))
        round_way = Segment("s9", "Round Road", "n4", "n0", 0.0, 1900.0, line, is_maintained=False)
        both = dataclasses.replace(posted, segments=(*posted.segments, round_way))
        free, _ = self.loads(network, build_graph(network))
        loads, note = self.loads(both, build_graph(both))
        assert loads == free
        assert "posted" not in note
        far = dataclasses.replace(round_way, length_m=40_000.0)
        other = dataclasses.replace(both, segments=(*posted.segments, far))
        loads, note = self.loads(other, build_graph(other))
        assert loads > free
        assert "posted" in note

    def test_a_limit_below_an_empty_truck_on_the_only_way_goes_to_the_engineer(self):
        posted = self.square(10.0)
        job = design_job(
            need(Treatment.SPOT_GRAVEL, "s2"), posted.segment_by_id["s2"],
            fleet=small_fleet(), graph=build_graph(posted), policy=Policy(),
        )  # fmt: skip
        assert job.needs_engineer


def test_machines_that_the_fleet_lacks_are_said_to_be_hired(network, graph):
    alone = dataclasses.replace(
        small_fleet(), machines=tuple(m for m in small_fleet().machines if m.kind == "grader")
    )
    told = one(network, graph, Treatment.REGRAVELLING, fleet=alone).assumed
    assert sum("to be hired" in text for text in told) == 3
    assert not [
        t for t in one(network, graph, Treatment.BLADING, fleet=alone).assumed if "hired" in t
    ]
    assert not [t for t in one(network, graph, Treatment.REGRAVELLING).assumed if "hired" in t]


@settings(max_examples=60, deadline=None)
@given(
    length=st.floats(20.0, 5000.0),
    width=st.floats(3.0, 11.0),
    gravel=st.floats(0.0, 180.0),
    limit=st.none() | st.floats(16.0, 45.0),
)
def test_volumes_are_kept_and_stakes_cover_the_length(length, width, gravel, limit):
    network = small_network()
    base = network.segment_by_id["s2"]
    segment = dataclasses.replace(
        base, length_m=length, width_m=width, gravel_mm=gravel, max_mass_t=limit
    )
    policy, fleet = Policy(), small_fleet()
    job = design_job(
        need(Treatment.REGRAVELLING, "s2"), segment, fleet=fleet, graph=build_graph(network),
        policy=policy,
    )  # fmt: skip
    if job.needs_engineer:
        # The lightest limit lets no load onto an empty truck
        assert limit is not None
        return
    rules = policy.design.gravel
    depth = max(rules.target_mm - gravel, rules.least_mm) / 1000
    lifts = [stage for stage in job.stages if stage.stakes]
    numbers = {stage.name.split(", part")[0] for stage in lifts}
    n_lifts = sum(name.startswith("Lift") for name in numbers)
    lift = depth / n_lifts
    by_hand = length * n_lifts * (width * lift + rules.edge_slope * lift**2)
    assert amount(job.quantities, "compacted gravel") == pytest.approx(by_hand, rel=1e-9)
    # What the crown is short of is gravel of its own: W² (c1 - c0) / 4, less what was moved
    slope, keep = policy.design.shape.crossfall_pct / 100, policy.design.shape.keep_uncut_mm
    can_raise = 4 * max(gravel - keep, 0.0) / 1000 / width
    short = slope - min(slope, policy.design.shape.worn_crossfall_pct / 100 + can_raise)
    shape = amount(job.quantities, "compacted gravel for shape")
    if 100 * short >= policy.design.shape.least_rise_pct + 1e-9:
        assert shape == pytest.approx(length * width**2 * short / 4, rel=1e-9)
    elif 100 * short < policy.design.shape.least_rise_pct - 1e-9:
        assert shape == 0
    truck_t = max(machine.mass_t for machine in fleet.machines if machine.kind == "haul_truck")
    payload = 14.0 if limit is None else min(14.0, limit - truck_t)
    # A truck filled by the bulk density alone would stand over its legal payload: the pit's
    # moist gravel, packed, is heavier than that
    moist = 1 + policy.design.water.pit_pct / 100
    hauled = max(rules.loose_t_m3, rules.dry_t_m3 * moist / rules.bulking)
    load = min(10.0, payload / hauled)
    for number in numbers:
        spans = sorted((s.from_m, s.to_m) for s in lifts if s.name.split(", part")[0] == number)
        assert spans[0][0] == 0.0
        assert spans[-1][1] == pytest.approx(length)
        assert all(a[1] == pytest.approx(b[0]) for a, b in pairwise(spans))
    for stage in lifts:
        ends = [*(stake.at_m for stake in stage.stakes), stage.to_m - stage.from_m]
        gaps = [b - a for a, b in pairwise(ends)]
        assert sum(gaps) == pytest.approx(stage.to_m - stage.from_m)
        assert min(gaps) > 0
        # Loads × payload carry at least the mass
        loads = amount(stage.quantities, "loads")
        loose = amount(stage.quantities, "loose gravel")
        assert loads == len(stage.stakes)
        assert loads * payload >= amount(stage.quantities, "gravel, dry mass") * moist - 1e-6
        assert loads * load >= loose - 1e-6
        assert loose / loads * hauled <= payload + 1e-6
        assert amount(stage.quantities, "water") >= 0


@pytest.mark.parametrize("length", [5.0, 40.0, 99.0])
@pytest.mark.parametrize("treatment", WORKED)
def test_a_road_shorter_than_100_m_is_one_stage_of_each_kind(network, graph, treatment, length):
    segment = dataclasses.replace(network.segment_by_id["s2"], length_m=length)
    job = design_job(
        need(treatment, "s2"), segment, fleet=small_fleet(), graph=graph, policy=Policy(),
        driest_pct=3.0,
    )  # fmt: skip
    names = [stage.name for stage in job.stages]
    assert len(names) == len(set(names))
    assert not any("part" in name for name in names)
    for stage in job.stages:
        assert (stage.from_m, stage.to_m) == (0.0, length)
        if stage.stakes:
            assert stage.stakes[0].at_m == 0.0


def test_a_limit_in_the_middle_of_the_week_counts_for_the_whole_job(network, graph):
    state = wetness(network, 5.0)
    axle = np.full((len(state.segment_ids), 3), np.inf)
    axle[:, 1] = 9.0

    class Midweek:
        segment_ids = state.segment_ids
        moisture_pct = state.moisture_pct
        posted_axle_t = axle

    (free,) = design_jobs(
        [need(Treatment.REGRAVELLING)], [], network, graph, small_fleet(), state, Policy()
    )
    (posted,) = design_jobs(
        [need(Treatment.REGRAVELLING)], [], network, graph, small_fleet(), Midweek(), Policy()
    )
    assert amount(posted.quantities, "loads") > amount(free.quantities, "loads")


@pytest.mark.parametrize("treatment", WORKED)
def test_no_shift_ends_with_a_windrow_or_an_open_cut(network, graph, treatment):
    for stage in one(network, graph, treatment).stages:
        told = stage.end_state.lower()
        assert (
            "windrow closed" in told
            or "no spoil" in told
            or "culverts open" in told
            or ("sprayed" in told)
        )


@pytest.mark.parametrize("gravel_mm", [15.0, 25.0, 40.0, 60.0, 120.0])
@pytest.mark.parametrize("treatment", [Treatment.RESHAPING, Treatment.SCARIFY_REMIX])
def test_no_step_cuts_deeper_than_the_gravel_less_what_stays(network, graph, treatment, gravel_mm):
    """Every depth on a card agrees: none goes into the gravel that must stay uncut."""
    job = one(
        network, graph, treatment, segment="s3", gravel_mm=gravel_mm, corrugation_mm=30.0,
        crossfall_pct=0.5,
    )  # fmt: skip
    can_cut = max(gravel_mm - Policy().design.shape.keep_uncut_mm, 0.0)
    for stage in job.stages:
        depth = amount(stage.quantities, "depth worked")
        assert depth <= can_cut + 1e-9
        for step in stage.steps:
            for said in re.findall(r"(?:[Cc]ut|Teeth) (\d+)\N{NO-BREAK SPACE}mm", step):
                assert float(said) <= can_cut + 1e-9, step


def test_a_crown_that_the_gravel_cannot_build_is_not_promised(network, graph):
    thin = one(network, graph, Treatment.RESHAPING, segment="s3", gravel_mm=30.0, crossfall_pct=0.5)
    told = " ".join(thin.stages[0].steps)
    assert "the gravel is short" in told
    assert "to 4\N{NO-BREAK SPACE}%: cut" not in told
    thick = one(
        network, graph, Treatment.RESHAPING, segment="s3", gravel_mm=150.0, crossfall_pct=2.0
    )
    # 8.0 m from 2 to 4 %: W (c1 - c0) / 4 = 40 mm at the edges, arithmetic
    assert "Crown from 2\N{NO-BREAK SPACE}% to 4\N{NO-BREAK SPACE}%: cut 40" in " ".join(
        thick.stages[0].steps
    )


class Rainy:
    """Rain of two members over five days, the same on every road."""

    first_day = date(2026, 6, 15)

    def __init__(self, network, *days):
        self.segment_ids = tuple(segment.id for segment in network.maintained)
        self.rain_mm = np.zeros((2, len(self.segment_ids), 5))
        for day in days:
            self.rain_mm[:, :, day] = 9.0


def sprayed(network, graph, *days):
    job = one(network, graph, Treatment.DUST_CONTROL, segment="s2")
    (made,) = hold_for_rain([job], Rainy(network, *days), Policy().design.dust)
    return made.stages[0]


def test_dust_control_keeps_away_from_rain(network, graph):
    """Published (supplier's page): no rain for 36 h after spraying, so two days."""
    assert sprayed(network, graph).leave_days is None
    mid = sprayed(network, graph, 3)
    assert mid.leave_days == (date(2026, 6, 15), date(2026, 6, 19))
    never = sprayed(network, graph, 2, 4)
    assert (never.leave_days, never.leave_lacks) == ((), ("dry_forecast",))


def test_rain_is_no_matter_to_a_blade(network, graph):
    job = one(network, graph, Treatment.BLADING, segment="s2")
    assert hold_for_rain([job], Rainy(network, 2, 4), Policy().design.dust) == (job,)


@pytest.mark.parametrize("treatment", WORKED)
def test_every_stage_names_its_crew_and_pays_for_it(network, graph, treatment):
    for stage in one(network, graph, treatment).stages:
        (crew,) = [row for row in stage.quantities if row.name == "crew"]
        n_helping = sum(each.n_machines for each in stage.support)
        assert crew.value >= 1 + n_helping
        assert crew.note


def test_a_busy_road_has_flaggers_who_are_paid(network, graph):
    quiet = one(network, graph, Treatment.RESHAPING, segment="s2").stages[0]
    busy_road = dataclasses.replace(network.segment_by_id["s2"], adt=300.0)
    busy = design_job(
        need(Treatment.RESHAPING, "s2"), busy_road, fleet=small_fleet(), graph=graph,
        policy=Policy(), condition=condition("s2"), driest_pct=3.0,
    ).stages[0]  # fmt: skip
    assert "2 flaggers" in next(r.note for r in busy.quantities if r.name == "crew")
    assert busy.work_min == quiet.work_min
    assert busy.cost.likely.minor > quiet.cost.likely.minor


def test_spoil_is_off_the_road_when_the_grader_is_done(network, graph):
    for stage in one(network, graph, Treatment.DITCH_CLEANING).stages:
        (trucks,) = stage.support
        assert trucks.hours <= stage.work_min / 60 + 1e-9


def test_a_widening_gets_the_gravel_and_the_stakes_it_takes(network, graph):
    segment = dataclasses.replace(network.segment_by_id["s2"], length_m=600.0, gravel_mm=120.0)

    def lifts(*widenings):
        return design_job(
            need(Treatment.REGRAVELLING, "s2"), segment, fleet=small_fleet(), graph=graph,
            policy=Policy(), widenings=widenings,
        )  # fmt: skip

    plain, wide = lifts(), lifts((200.0, 300.0, 3.0))
    more = amount(wide.quantities, "compacted gravel") - amount(
        plain.quantities, "compacted gravel"
    )
    # 100 m × 3 m × 80 mm, arithmetic
    assert more == pytest.approx(100 * 3 * 0.080)
    at = [s.from_m + stake.at_m for s in wide.stages for stake in s.stakes]
    gaps = {low: high - low for low, high in pairwise(at)}
    inside = [gap for low, gap in gaps.items() if 205 <= low <= 280]
    outside = [gap for low, gap in gaps.items() if low < 180]
    assert max(inside) < min(outside)


@pytest.mark.parametrize(
    ("widening", "words"),
    [((200.0, 100.0, 2.0), "from 200 to 100"), ((500.0, 900.0, 2.0), "expected a stretch within"),
     ((100.0, 200.0, 0.0), "widenings extra is 0")],
)  # fmt: skip
def test_a_widening_that_cannot_be_is_refused(widening, words):
    with pytest.raises(InputError, match=words):
        design_alone(Treatment.REGRAVELLING, Piece(600.0, widenings=[widening]))


def test_a_treated_road_has_its_own_procedure(network, graph):
    """Published (supplier's page): about half the first rate when it is treated again."""

    def job(treatment, treated=()):
        (made,) = design_jobs(
            [need(treatment, "s2")], [condition("s2")], network, graph, small_fleet(),
            wetness(network, 4.0), Policy(), treated=treated,
        )  # fmt: skip
        return made

    first, again = job(Treatment.DUST_CONTROL), job(Treatment.DUST_CONTROL, {"s2"})
    litres = [amount(each.quantities, "dust control solution") for each in (first, again)]
    assert litres[1] == pytest.approx(litres[0] / 2)
    assert again.cost.likely.minor < first.cost.likely.minor
    shaped = job(Treatment.RESHAPING, {"s2"}).stages[0].steps
    assert any(step.startswith("Treated road") for step in shaped)
    assert not any("Treated" in s for s in job(Treatment.RESHAPING, {"s1"}).stages[0].steps)


def test_which_roads_count_as_treated():
    def sprayed_on(day):
        return DustApplication("d", "s2", day, "brine", 1.4, date(2026, 6, 30), "the district")

    practice, today = Policy().design.dust, date(2026, 6, 15)
    assert treated_roads([sprayed_on(date(2026, 5, 1))], today, practice) == {"s2"}
    assert treated_roads([sprayed_on(date(2024, 5, 1))], today, practice) == set()


def test_the_even_windrow_holds_all_gravel_of_its_heaps(network, graph):
    job = one(network, graph, Treatment.REGRAVELLING, segment="s2", gravel_mm=120.0)
    stage = next(s for s in job.stages if s.stakes)
    told = next(step for step in stage.steps if step.startswith("Even windrow"))
    said = re.findall(r"([\d,]+)\N{NO-BREAK SPACE}mm (?:high|wide)", told)
    high, wide = (float(each.replace(",", "")) / 1000 for each in said)
    loose = amount(stage.quantities, "loose gravel") / (stage.to_m - stage.from_m)
    # Each heap reaches one marker on, so that the one windrow holds all that is placed there
    assert high * wide / 2 == pytest.approx(loose, rel=0.03)


@pytest.mark.parametrize(("width", "is_closed"), [(7.0, False), (6.0, True), (4.5, True)])
def test_where_no_lane_is_left_beside_the_heaps_the_road_is_closed(width, is_closed):
    job = design_alone(Treatment.REGRAVELLING, Piece(400.0, width))
    steps = next(s for s in job.stages if s.stakes).steps
    dump = next(step for step in steps if step.startswith("Dump each load"))
    assert ("close the road" in dump) is is_closed
    assert ("carries traffic" in dump) is not is_closed
