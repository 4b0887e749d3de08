"""The rule base is complete and monotone, whatever a person may observe."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crossfall.judgement.calls import CALLS
from crossfall.judgement.causes import CAUSES
from crossfall.judgement.facts import FACTS, facts_of
from crossfall.judgement.forecast import believe
from crossfall.judgement.needs import find_needs
from crossfall.judgement.resting import resting_roads
from crossfall.judgement.rules import (
    BREAKS_CRUST,
    HEAVIEST_FIRST,
    TRADE_ORDER,
    TREATMENTS,
    judge,
    sequence,
)
from crossfall.judgement.wording import CUTS
from crossfall.model import (
    Condition,
    District,
    DustApplication,
    Fleet,
    Need,
    Network,
    Node,
    Policy,
    Request,
    Segment,
    Treatment,
    WorkRecord,
)

TODAY = date(2026, 5, 18)
SCORES = ("crown", "drainage", "gravel", "deformation", "defects")
POLICY = Policy()

scores = st.floats(1, 5).map(lambda value: round(value, 2))
optional = st.one_of  # a measure that nobody took is None


@st.composite
def observations(draw: st.DrawFn) -> tuple[Segment, Condition]:
    """Anything a person may find on a road."""
    segment = Segment(
        "s",
        "Mill Road",
        "a",
        "b",
        0.0,
        draw(st.floats(100, 3000)),
        ((0.0, 45.0), (0.02, 45.0)),
        draw(st.sampled_from(("arterial", "collector", "local", "minimum"))),
        adt=draw(st.floats(0, 900)),
        heavy_share=draw(st.floats(0, 0.6)),
        grade_pct=draw(st.floats(0, 12)),
    )

    def maybe(low: float, high: float) -> float | None:
        return draw(optional(st.none(), st.floats(low, high)))

    condition = Condition(
        "s",
        TODAY,
        *(draw(scores) for _ in SCORES),
        method="measured",
        last_bladed_on=draw(
            optional(st.none(), st.integers(0, 400).map(lambda days: TODAY - timedelta(days)))
        ),
        crossfall_pct=maybe(-2, 12),
        gravel_mm=maybe(0, 250),
        corrugation_mm=maybe(0, 120),
        corrugation_spacing_m=maybe(0.3, 4),
        pothole_mm=maybe(0, 150),
        pothole_count_per_km=maybe(0, 300),
        rut_mm=maybe(0, 150),
        loose_mm=maybe(0, 150),
        has_secondary_ditch=draw(st.booleans()),
        has_high_shoulder=draw(st.booleans()),
        is_ditch_blocked=draw(st.booleans()),
        is_culvert_blocked=draw(st.booleans()),
        windrow_side=draw(st.sampled_from((None, "left", "right", "both"))),
        dust=draw(st.sampled_from((None, "none", "low", "medium", "high"))),
        ditch=draw(st.sampled_from((None, "clear", "shallow", "blocked", "none"))),
        shoulder=draw(st.sampled_from((None, "even", "high", "low", "eroded"))),
    )
    return segment, condition


def _district(segment: Segment, condition: Condition, **more: object) -> District:
    return District(
        "one road",
        Network((Node("a", 0.0, 45.0), Node("b", 0.02, 45.0)), (segment,)),
        Fleet((), (), ()),
        conditions=(condition,),
        **more,  # type: ignore[arg-type]
    )


def _judged(segment: Segment, condition: Condition):
    belief = believe(_district(segment, condition), TODAY)
    return judge(facts_of(belief, POLICY.needs), POLICY.needs.call, POLICY.needs.usual)


@given(observations())
@settings(max_examples=200, deadline=None)
def test_every_observation_has_one_treatment_and_a_reason(
    seen: tuple[Segment, Condition],
) -> None:
    segment, condition = seen
    judged = _judged(segment, condition)
    primary = TREATMENTS[judged.primary[0]]
    assert judged.cause[0] >= 0
    assert CAUSES[judged.cause[0]].treatments.count(primary) == 1
    needs, conditions = find_needs(_district(segment, condition), today=TODAY)
    assert len(conditions) == 1
    if primary is Treatment.NONE:
        assert needs == ()
        return
    (need,) = needs
    assert need.treatment is primary
    assert len(need.reasons) >= 2, "the call and its cause"
    assert need.cause
    assert 0 <= need.urgency <= 1
    assert need.benefit_h > 0
    assert need.estimated_h > 0
    assert primary not in need.prerequisites + need.follow_ups
    for reason in need.reasons:
        assert "{" not in reason.text
        assert "nan" not in reason.text
        assert reason.evidence != "published" or reason.source


@given(observations(), st.sampled_from(SCORES), st.floats(0, 4))
@settings(max_examples=250, deadline=None)
def test_a_worse_score_never_lowers_urgency_or_work(
    seen: tuple[Segment, Condition], name: str, worse: float
) -> None:
    segment, before = seen
    after = replace(before, **{name: max(1.0, getattr(before, name) - worse)})
    (first, second) = (
        find_needs(_district(segment, condition), today=TODAY)[0] for condition in (before, after)
    )
    work = [_judged(segment, condition).work_h_km[0] for condition in (before, after)]
    assert work[1] >= work[0] - 1e-12
    if first:
        assert second, "a road that needed work still needs some"
        assert second[0].urgency >= first[0].urgency - 1e-4
        assert second[0].estimated_h >= first[0].estimated_h - 0.011


DEEPER = ("corrugation_mm", "pothole_mm", "pothole_count_per_km", "rut_mm", "loose_mm")


@given(observations(), st.sampled_from(DEEPER), st.floats(0, 150))
@settings(max_examples=250, deadline=None)
def test_a_deeper_fault_never_lowers_urgency_or_work(
    seen: tuple[Segment, Condition], name: str, deeper: float
) -> None:
    segment, before = seen
    # Dust over tight stone is not blading's work; that reading of the defects is tried apart
    before = replace(before, dust=None)
    if getattr(before, name) is None:
        return
    after = replace(before, **{name: getattr(before, name) + deeper})
    work = [_judged(segment, condition).work_h_km[0] for condition in (before, after)]
    assert work[1] >= work[0] - 1e-12
    (first, second) = (
        find_needs(_district(segment, condition), today=TODAY)[0] for condition in (before, after)
    )
    if first:
        assert second[0].urgency >= first[0].urgency - 1e-4


@given(observations())
@settings(max_examples=100, deadline=None)
def test_whatever_cuts_says_that_it_waits_for_moisture(seen: tuple[Segment, Condition]) -> None:
    """Which days those are is the gate's: tests/judgement/test_gate.py tries it by surface."""
    needs, _ = find_needs(_district(*seen), today=TODAY)
    for need in needs:
        told = [reason.text for reason in need.reasons if reason.rule == "cut_moist"]
        assert bool(told) == (need.treatment in CUTS)
        assert all("never frozen" in text and "dry only with water" in text for text in told)


@given(observations(), st.integers(0, 60))
@settings(max_examples=100, deadline=None)
def test_no_blade_goes_on_a_road_that_rests(
    seen: tuple[Segment, Condition], more_days: int
) -> None:
    segment, condition = seen
    until = TODAY + timedelta(days=more_days)
    dust = DustApplication("d", "s", TODAY, "brine", 1.4, until, "the district")
    open_, resting = _district(segment, condition), _district(segment, condition, dust=(dust,))
    plain, _ = find_needs(open_, today=TODAY)
    kept, _ = find_needs(resting, today=TODAY)
    held = resting_roads(resting, today=TODAY)
    for need in kept:
        work = {need.treatment, *need.prerequisites, *need.follow_ups}
        assert not work & BREAKS_CRUST
        assert any(reason.rule == "rests" for reason in need.reasons) == bool(held)
    wanted = {
        treatment
        for need in plain
        for treatment in (need.treatment, *need.prerequisites, *need.follow_ups)
    }
    assert bool(held) == bool(wanted & BREAKS_CRUST)
    for each in held:
        assert (each.held_back, each.until) == (held[0].held_back, until)
        assert each.held_back in wanted
        assert str(until) in each.text
    later = until + timedelta(days=1)
    assert resting_roads(resting, today=later) == ()


@given(observations(), st.sampled_from(("has_secondary_ditch", "has_high_shoulder")))
@settings(max_examples=60, deadline=None)
def test_a_fault_more_is_never_less_work(seen: tuple[Segment, Condition], flag: str) -> None:
    segment, condition = seen
    condition = replace(condition, shoulder=None)
    without = _judged(segment, replace(condition, **{flag: False})).work_h_km[0]
    assert _judged(segment, replace(condition, **{flag: True})).work_h_km[0] >= without


def test_rules_speak_of_known_facts_and_settings() -> None:
    for rule in (*CALLS, *CAUSES):
        for fact, relation, setting in rule.when:
            assert fact in FACTS
            assert relation in "<>"
            if isinstance(setting, str):
                assert isinstance(getattr(POLICY.needs.call, setting), float)
    assert len({rule.id for rule in (*CALLS, *CAUSES)}) == len(CALLS) + len(CAUSES)
    assert set(HEAVIEST_FIRST) == set(Treatment)


def test_every_treatment_has_a_cause_of_last_resort() -> None:
    for treatment in Treatment:
        assert any(treatment in cause.treatments and not cause.when for cause in CAUSES)


def test_published_rules_name_their_source() -> None:
    for rule in (*CALLS, *CAUSES):
        assert rule.evidence != "published" or rule.source


def test_crown_comes_before_drainage_and_drainage_before_gravel() -> None:
    work = frozenset(
        {
            Treatment.REGRAVELLING,
            Treatment.DITCH_CLEANING,
            Treatment.CULVERT_CLEARING,
            Treatment.RESHAPING,
            Treatment.DUST_CONTROL,
        }
    )
    before, after = sequence(Treatment.REGRAVELLING, work)
    assert before == (
        Treatment.RESHAPING,
        Treatment.CULVERT_CLEARING,
        Treatment.DITCH_CLEANING,
    )
    assert after == (Treatment.DUST_CONTROL,)


def test_crown_comes_first_wherever_gravel_is_placed_whatever_is_primary() -> None:
    work = {Treatment.RESHAPING, Treatment.DITCH_CLEANING, Treatment.SPOT_GRAVEL}
    for primary in work:
        before, after = sequence(primary, frozenset(work))
        assert (*before, primary, *after) == (
            Treatment.RESHAPING,
            Treatment.DITCH_CLEANING,
            Treatment.SPOT_GRAVEL,
        )


def test_ditches_are_opened_before_a_road_is_shaped() -> None:
    before, _ = sequence(
        Treatment.RESHAPING, frozenset({Treatment.RESHAPING, Treatment.DITCH_CLEANING})
    )
    assert before == (Treatment.DITCH_CLEANING,)
    assert set(TRADE_ORDER) == set(Treatment) - {Treatment.NONE, Treatment.ENGINEER}


def _need(**changes: object) -> Need:
    condition = replace(
        Condition("s", TODAY, 4, 4, 4, 2.0, 4, method="measured"),
        **changes,  # type: ignore[arg-type]
    )
    segment = Segment(
        "s", "Mill Road", "a", "b", 0.0, 1600.0, ((0.0, 45.0), (0.02, 45.0)), grade_pct=0.5
    )
    (need,) = find_needs(_district(segment, condition), today=TODAY)[0]
    return need


def test_washboard_is_told_apart_by_its_cause() -> None:
    fast = _need(
        corrugation_mm=20.0,
        corrugation_spacing_m=2.0,
        deformation=3.2,
        last_bladed_on=TODAY - timedelta(days=4),
    )
    assert "worked too fast" in fast.cause
    assert "dry, loose" in _need(deformation=3.0, defects=2.5).cause
    assert "flat crown" in _need(crown=1.5, deformation=3.0).cause
    assert "blocked ditch" in _need(is_ditch_blocked=True).cause


def test_a_symptom_whose_cause_stays_is_said_so() -> None:
    need = _need(is_ditch_blocked=True, deformation=1.9)
    assert any("break again" in reason.text for reason in need.reasons)
    assert Treatment.DITCH_CLEANING in need.prerequisites


def _first_told(condition: dict, **segment: object) -> tuple[Need, str]:
    road = replace(
        Segment("s", "Mill Road", "a", "b", 0.0, 1600.0, ((0.0, 45.0), (0.02, 45.0))),
        **segment,  # type: ignore[arg-type]
    )
    look = Condition("s", TODAY, **(dict.fromkeys(SCORES, 4.0) | condition), method="measured")
    (need,) = find_needs(_district(road, look), today=TODAY)[0]
    return need, need.reasons[0].text


@pytest.mark.parametrize(
    ("look", "segment", "cure"),
    [
        ({"deformation": 3.2, "corrugation_mm": 22.0}, {"adt": 350.0}, "speed measures"),
        ({"deformation": 3.2}, {"adt": 350.0}, "speed measures"),
        ({"deformation": 3.0, "rut_mm": 28.0}, {"adt": 60, "heavy_share": 0.6}, "haul-road"),
        ({"deformation": 3.2}, {"adt": 60.0, "heavy_share": 0.6}, "haul-road measures"),
        ({"gravel": 2.3}, {"adt": 60.0, "heavy_share": 0.6}, "haul-road measures"),
        ({"drainage": 2.0, "ditch": "clear"}, {}, "underdrain"),
        ({"drainage": 2.0, "ditch": "clear", "deformation": 2.0}, {}, "underdrain"),
    ],
    ids=str,
)
def test_where_the_blade_is_no_cure_the_cure_is_said_first(
    look: dict, segment: dict, cure: str
) -> None:
    need, first = _first_told(look, **segment)
    assert first.startswith("The cure is")
    assert cure in first
    assert "the cause stays" in first
    assert cure in need.cause


def test_where_the_work_is_the_cure_the_call_comes_first() -> None:
    need, first = _first_told({"crown": 1.5})
    assert not first.startswith("The cure")
    assert "; the cure" not in need.cause


def test_delay_costs_no_gravel_that_would_never_be_called_for() -> None:
    """A farm road of three cars a day gets gravel at the thin places, ever."""
    quiet, _ = _first_told({"gravel": 1.5}, adt=3.0)
    busier, _ = _first_told({"gravel": 2.5}, adt=60.0)
    assert quiet.treatment is busier.treatment is Treatment.SPOT_GRAVEL
    assert "delay" not in {part.name for part in quiet.benefit}
    assert "delay" in {part.name for part in busier.benefit}


def test_requests_raise_urgency_and_worth() -> None:
    segment = Segment("s", "Mill Road", "a", "b", 0.0, 1600.0, ((0.0, 45.0), (0.02, 45.0)))
    condition = Condition("s", TODAY, 4, 4, 4, 2.0, 4, method="measured")
    asked = (Request("q", TODAY, "rough", segment_id="s"),)
    (plain,) = find_needs(_district(segment, condition), today=TODAY)[0]
    (raised,) = find_needs(_district(segment, condition, requests=asked), today=TODAY)[0]
    assert raised.urgency > plain.urgency
    assert raised.benefit_h > plain.benefit_h
    assert any(part.name == "requests" for part in raised.benefit)
    closed = (replace(asked[0], status="closed"),)
    (again,) = find_needs(_district(segment, condition, requests=closed), today=TODAY)[0]
    assert again.urgency == plain.urgency


def test_facts_hold_no_surprise() -> None:
    belief = believe(
        _district(
            Segment("s", "Mill Road", "a", "b", 0.0, 1600.0, ((0.0, 45.0), (0.02, 45.0))),
            Condition("s", TODAY, 4, 4, 4, 4, 4),
        ),
        TODAY,
    )
    facts = facts_of(belief, POLICY.needs)
    assert set(facts) == set(FACTS)
    judged = judge(facts, POLICY.needs.call, POLICY.needs.usual)
    assert not judged.called.any()
    assert np.all(judged.work_h_km == 0)


def test_what_is_chosen_from_a_list_counts_like_a_tick() -> None:
    assert _need(deformation=4.0, ditch="blocked").treatment is Treatment.DITCH_CLEANING
    assert _need(deformation=4.0, shoulder="high").treatment is Treatment.SHOULDER_PULLING
    assert _need(deformation=4.0, shoulder="eroded").treatment is Treatment.SPOT_GRAVEL


def test_a_drop_at_the_edge_is_filled_and_a_deep_one_is_a_danger() -> None:
    need = _need(deformation=4.0, shoulder="low")
    assert need.treatment is Treatment.SPOT_GRAVEL
    assert "report it as a danger" in need.reasons[0].text


def test_finished_work_settles_what_was_chosen() -> None:
    look = Condition("s", TODAY - timedelta(days=9), 4, 4, 4, 4, 4, ditch="none", method="measured")
    segment = Segment("s", "Mill Road", "a", "b", 0.0, 1600.0, ((0.0, 45.0), (0.02, 45.0)))
    done = WorkRecord(
        "r", "s", TODAY - timedelta(days=2), Treatment.DITCH_CLEANING, 1, 3.0, "A. Crew"
    )
    assert find_needs(_district(segment, look), today=TODAY)[0]
    assert find_needs(_district(segment, look, records=(done,)), today=TODAY)[0] == ()


def test_wet_beside_clear_ditches_is_the_engineers() -> None:
    need = _need(drainage=1.6, deformation=2.0, ditch="clear")
    assert need.treatment is Treatment.ENGINEER
    assert "from below" in need.cause


def test_dust_alone_is_no_work_for_a_blade() -> None:
    segment = Segment("s", "Mill Road", "a", "b", 0.0, 1600.0, ((0.0, 45.0), (0.02, 45.0)))
    tight = Condition("s", TODAY, 4, 4, 4, 4, 2.2, method="measured", dust="high", loose_mm=5.0)
    assert find_needs(_district(segment, tight), today=TODAY)[0] == ()
    busy = replace(segment, adt=220.0)
    (need,) = find_needs(_district(busy, tight), today=TODAY)[0]
    assert need.treatment is Treatment.DUST_CONTROL


@pytest.mark.parametrize(
    "fault",
    [
        {"is_culvert_blocked": True},
        {"is_ditch_blocked": True},
        {"ditch": "none"},
        {"has_high_shoulder": True},
        {"has_secondary_ditch": True},
        {"shoulder": "eroded"},
        {"shoulder": "low"},
        {"windrow_side": "left"},
    ],
    ids=str,
)
def test_a_fault_on_a_perfect_road_is_worth_mending(fault: dict[str, object]) -> None:
    perfect = dict.fromkeys(SCORES, 5.0)
    need = _need(**perfect, **fault)
    assert need.benefit_h > 0
    assert need.urgency > 0


def test_a_ditch_found_clear_long_ago_says_nothing_today() -> None:
    segment = Segment("s", "Mill Road", "a", "b", 0.0, 1600.0, ((0.0, 45.0), (0.02, 45.0)))
    old = Condition(
        "s", TODAY - timedelta(days=400), 4, 1.6, 4, 2.0, 4, method="measured", ditch="clear"
    )
    (need,) = find_needs(_district(segment, old), today=TODAY)[0]
    assert need.treatment is not Treatment.ENGINEER
