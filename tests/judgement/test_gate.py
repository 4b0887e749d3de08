"""The gate: by task, surface and axle, with a foreman's sentence."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest

from crossfall.errors import InputError
from crossfall.judgement.gate import TASKS, judge_gates
from crossfall.judgement.state import surface_state
from crossfall.model import Fleet, Policy
from crossfall.model.policy import GatePolicy, MoisturePolicy
from moisture_case import FLEET, TODAY, district, forecast, weather

POLICY = Policy(moisture=MoisturePolicy(n_members=21))
CALM = (forecast([[0.0] * 5] * 21),)


def table_of(fleet=FLEET, policy=POLICY, **more):
    case = district(**({"policy": policy, "fleet": fleet, "forecasts": CALM} | more))
    state = surface_state(case, first_day=TODAY, n_days=5)
    return judge_gates(state, fleet, policy)


def decision(table, task, day=0):
    return table.verdict("s0", TODAY + timedelta(days=day), task).decision


@pytest.fixture(scope="module")
def workable():
    return table_of(record=weather(rain={1: 30.0}, tmin=10, tmax=18))


@pytest.fixture(scope="module")
def dry():
    return table_of(record=weather(rain={40: 10.0}))


@pytest.fixture(scope="module")
def wet():
    return table_of(record=weather(rain={1: 60.0}), forecasts=(forecast([[40.0] * 5] * 21),))


@pytest.fixture(scope="module")
def frozen():
    cold = np.concatenate([np.full(400, 8.0), np.full(100, -9.0)])
    return table_of(
        record=weather(tmin=cold - 3, tmax=cold + 3),
        forecasts=(forecast([[0.0] * 5] * 21, -9, -5),),
    )


@pytest.fixture(scope="module")
def thawing():
    spring = np.concatenate([np.full(400, 8.0), np.full(87, -9.0), np.full(13, 6.0)])
    return table_of(
        record=weather(tmin=spring - 3, tmax=spring + 3),
        forecasts=(forecast([[0.0] * 5] * 21, 3, 9),),
    )


@pytest.fixture(scope="module")
def unknown():
    record = weather()
    record.rain_mm[-3:] = np.nan
    return table_of(record=record)


# Common practice, no source: the table the method gives, task by surface
EXPECTED = {
    "workable": ("allowed", "allowed", "allowed"),
    "dry": ("allowed", "if_watered", "allowed"),
    "wet": ("refused", "refused", "refused"),
    "frozen": ("refused", "refused", "allowed"),
    "thawing": ("allowed", "refused", "refused"),
    "unknown": ("refused", "refused", "refused"),
}


@pytest.mark.parametrize("surface", EXPECTED)
def test_each_task_on_each_surface(surface, request):
    table = request.getfixturevalue(surface)
    for task, expected in zip(
        ("light_blading", "cutting", "hauling"), EXPECTED[surface], strict=True
    ):
        verdict = table.verdict("s0", TODAY, task)
        assert verdict.decision == expected, f"{task} on {surface}: {verdict}"
        assert verdict.reason.endswith(".")
        assert 0 <= verdict.p <= 1


@pytest.mark.parametrize("surface", EXPECTED)
@pytest.mark.parametrize("task", ["hand_work", "emergency"])
def test_hand_work_and_rescue_always_pass(surface, task, request):
    verdict = request.getfixturevalue(surface).verdict("s0", TODAY, task)
    assert verdict.decision == "allowed"
    assert verdict.p == 1.0


def test_without_a_water_truck_dry_roads_are_not_cut(dry):
    no_truck = replace(FLEET, machines=FLEET.machines[:1])
    table = table_of(fleet=no_truck, record=weather(rain={40: 10.0}))
    verdict = table.verdict("s0", TODAY, "cutting")
    assert verdict.decision == "refused"
    assert "no water truck" in verdict.reason
    assert dry.needs_water("cutting").all()
    assert not table.needs_water("cutting").any()
    idle = replace(
        FLEET, machines=(FLEET.machines[0], replace(FLEET.machines[1], is_available=False))
    )
    assert decision(table_of(fleet=idle, record=weather(rain={40: 10.0})), "cutting") == "refused"


def test_arrays_and_verdicts_say_the_same(workable, dry, wet):
    for table in (workable, dry, wet):
        for task in TASKS:
            allowed, watered, p = table.allowed(task), table.needs_water(task), table.p(task)
            assert allowed.shape == watered.shape == p.shape == (1, 5)
            for day in range(5):
                verdict = table.verdict("s0", TODAY + timedelta(days=day), task)
                assert (verdict.decision != "refused") == allowed[0, day]
                assert (verdict.decision == "if_watered") == watered[0, day]
                assert verdict.p == p[0, day]
                assert verdict.is_allowed == allowed[0, day]


def test_a_dry_road_is_open_for_a_very_light_touch_worth_little(workable, dry):
    """Common practice: in a dry spell a very light touch at most; the shares are defaults."""
    verdict = dry.verdict("s0", TODAY, "light_blading")
    assert verdict.decision == "allowed"
    assert verdict.p == 1.0
    assert verdict.worth == dry.worth("light_blading")[0, 0]
    assert verdict.worth == pytest.approx(0.35)
    assert "very light touch only" in verdict.reason
    assert "day after rain" in verdict.reason
    assert workable.verdict("s0", TODAY, "light_blading").worth > 2 * verdict.worth


def test_worth_is_the_mean_over_members_of_the_share_of_each_surface(workable, dry, wet, thawing):
    for table in (workable, dry, wet, thawing):
        for task in TASKS:
            assert (table.worth(task) <= table.p(task) + 1e-12).all()
            assert (table.worth(task)[~table.allowed(task)] == 0).all()
    state, share = workable.state, {2: 1.0, 3: 0.8, 4: 0.35}
    classes = state.group_surface_classes[:, state.groups.of_segment]
    expected = sum(share[c] * (classes == c).mean(axis=0) for c in share)
    assert not state.thaw_weak.any()
    assert workable.worth("light_blading") == pytest.approx(expected)


def test_watered_cutting_keeps_its_whole_worth(dry):
    assert dry.needs_water("cutting").all()
    assert dry.worth("cutting") == pytest.approx(dry.p("cutting"))


@pytest.mark.parametrize("bad", [{"dry": 1.5}, {"dusty": 0.5}])
def test_a_share_of_worth_that_cannot_be_is_refused(bad):
    shares = GatePolicy().worth_share | {"cutting": bad}
    with pytest.raises(InputError, match="worth_share"):
        table_of(policy=replace(POLICY, gate=GatePolicy(worth_share=shares)))


def test_water_never_lowers_a_chance(workable, dry):
    for table in (workable, dry):
        for task in TASKS:
            assert np.all(table.p_watered[task] >= table.p_dry[task])


def test_water_is_booked_where_it_makes_the_day_far_surer():
    # A third of the members bring 40 mm, the rest stay dust-dry
    rain = np.zeros((21, 5))
    rain[:7, 1] = 40.0
    with_truck = table_of(record=weather(rain={60: 5.0}), forecasts=(forecast(rain),))
    verdict = with_truck.verdict("s0", TODAY + timedelta(days=2), "cutting")
    assert verdict.decision == "if_watered"
    assert verdict.p > 0.8
    none = replace(FLEET, machines=FLEET.machines[:1])
    without = table_of(fleet=none, record=weather(rain={60: 5.0}), forecasts=(forecast(rain),))
    verdict = without.verdict("s0", TODAY + timedelta(days=2), "cutting")
    assert verdict.decision == "allowed"
    assert 0.3 <= verdict.p < 0.4


def test_a_heavy_grader_stays_off_a_weak_road(thawing):
    assert decision(thawing, "light_blading") == "allowed"
    heavy = replace(FLEET, machines=(replace(FLEET.machines[0], mass_t=30.0), *FLEET.machines[1:]))
    spring = np.concatenate([np.full(400, 8.0), np.full(87, -9.0), np.full(13, 6.0)])
    table = table_of(
        fleet=heavy, record=weather(tmin=spring - 3, tmax=spring + 3),
        forecasts=(forecast([[0.0] * 5] * 21, 3, 9),),
    )  # fmt: skip
    verdict = table.verdict("s0", TODAY, "light_blading")
    assert verdict.decision == "refused"
    assert "too heavy" in verdict.reason


def test_an_axle_is_judged_when_it_is_named(thawing):
    assert thawing.verdict("s0", TODAY, "hand_work", axle_t=3.0).decision == "allowed"
    refused = thawing.verdict("s0", TODAY, "hand_work", axle_t=9.0)
    assert refused.decision == "refused"
    assert "9.0 t" in refused.reason
    # Rescue is never held up
    assert thawing.verdict("s0", TODAY, "emergency", axle_t=9.0).decision == "allowed"


def test_sentences_are_a_foremans(workable, dry, thawing, unknown):
    assert "Moist enough to cut" in workable.verdict("s0", TODAY, "cutting").reason
    assert "only with water" in dry.verdict("s0", TODAY, "cutting").reason
    assert "very light touch" in dry.verdict("s0", TODAY, "light_blading").reason
    assert "no loaded trucks" in thawing.verdict("s0", TODAY, "hauling").reason
    assert "look" in unknown.verdict("s0", TODAY, "cutting").reason
    assert "segments open for work: light blading 1" in workable.summary()


def test_rules_are_data():
    rules = tuple(
        replace(rule, permission="no") if (rule.task, rule.surface) == ("hauling", "dry") else rule
        for rule in GatePolicy().rules
    )
    policy = replace(POLICY, gate=GatePolicy(rules=rules))
    table = table_of(policy=policy, record=weather(rain={40: 10.0}))
    assert decision(table, "hauling") == "refused"


def test_bad_input_is_named(workable):
    with pytest.raises(InputError, match="task 'mowing'"):
        workable.verdict("s0", TODAY, "mowing")
    with pytest.raises(InputError, match="s9"):
        workable.verdict("s9", TODAY, "cutting")
    with pytest.raises(InputError, match="outside"):
        workable.verdict("s0", TODAY - timedelta(days=1), "cutting")
    state = workable.state
    few = replace(POLICY, gate=GatePolicy(rules=GatePolicy().rules[1:]))
    with pytest.raises(InputError, match="0 rules for light_blading on workable"):
        judge_gates(state, FLEET, few)
    twice = replace(POLICY, gate=GatePolicy(rules=(*GatePolicy().rules, GatePolicy().rules[0])))
    with pytest.raises(InputError, match="2 rules"):
        judge_gates(state, FLEET, twice)
    with pytest.raises(InputError, match="least_chance"):
        judge_gates(state, FLEET, replace(POLICY, gate=GatePolicy(least_chance={"cutting": 0.3})))


def test_a_fleet_of_nothing_still_gets_verdicts():
    table = table_of(fleet=Fleet((), (), ()), record=weather(rain={1: 30.0}, tmin=10, tmax=18))
    assert decision(table, "cutting") == "allowed"
