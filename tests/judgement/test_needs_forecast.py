"""What roads are believed to be like today: ageing, work, defaults, hazards."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime, timedelta

import numpy as np
import pytest

from crossfall.demo import osier_valley
from crossfall.errors import InputError
from crossfall.judgement import only_road
from crossfall.judgement.hazards import open_hazards
from crossfall.judgement.needs import find_needs, first_week_conditions
from crossfall.judgement.rating import overall_rating
from crossfall.judgement.thickness import check_layers
from crossfall.model import (
    Condition,
    District,
    Fleet,
    HaulAgreement,
    Hazard,
    Network,
    Node,
    Policy,
    Segment,
    Station,
    Treatment,
    WeatherRecord,
    WorkRecord,
)

TODAY = date(2026, 5, 18)
SEEN = date(2026, 4, 1)


def _segment(number: int, **changes: object) -> Segment:
    return replace(
        Segment(
            f"s{number}",
            f"Road {number}",
            f"n{number}",
            f"n{number + 1}",
            0.0,
            1600.0,
            ((0.02 * number, 45.0), (0.02 * number + 0.02, 45.0)),
        ),
        **changes,  # type: ignore[arg-type]
    )


def _network(*segments: Segment) -> Network:
    nodes = {node: Node(node, 0.0, 45.0) for s in segments for node in (s.from_node, s.to_node)}
    return Network(tuple(nodes.values()), segments)


def _district(*segments: Segment, **more: object) -> District:
    return District("d", _network(*segments), Fleet((), (), ()), **more)  # type: ignore[arg-type]


def _look(segment_id: str = "s0", **changes: object) -> Condition:
    base = Condition(segment_id, SEEN, 4.5, 4, 4, 4.5, 4.5, method="measured")
    return replace(base, **changes)  # type: ignore[arg-type]


def _now(district: District, row: int = 0) -> Condition:
    return find_needs(district, today=TODAY)[1][row]


def test_scores_fall_with_time_traffic_and_rain() -> None:
    quiet, busy = _segment(0, adt=20.0), _segment(1, adt=200.0)
    district = _district(quiet, busy, conditions=(_look("s0"), _look("s1")))
    calm, worn = _now(district, 0), _now(district, 1)
    assert worn.deformation < calm.deformation < 4.5
    assert calm.crown < 4.5
    assert calm.method == "estimated"
    assert "last seen 2026-04-01" in calm.note
    n_days = 60
    wet = WeatherRecord(
        Station("g", "gauge", 0.0, 45.0),
        SEEN - timedelta(days=5),
        np.full(n_days + 5, 12.0),
        np.full(n_days + 5, 5.0),
        np.full(n_days + 5, 15.0),
    )
    assert _now(replace(district, weather=(wet,))).deformation < calm.deformation


def test_a_look_today_is_kept_as_it_is() -> None:
    look = _look(observed_on=TODAY, note="as seen")
    now = _now(_district(_segment(0), conditions=(look,)))
    assert (now.deformation, now.method, now.note) == (4.5, "measured", "as seen")


def test_what_was_chosen_from_lists_stands_in_the_belief() -> None:
    """A measured ride is kept as a look made of the belief: faults it cannot see stay with it."""
    look = _look(ditch="none", shoulder="eroded", dust="high")
    district = _district(_segment(0), _segment(1), conditions=(look,))
    now = _now(district)
    assert (now.ditch, now.shoulder, now.dust) == ("none", "eroded", "high")
    other = _now(district, 1)
    assert (other.ditch, other.shoulder, other.dust) == (None, None, None)
    later = replace(now, observed_on=TODAY, method="measured", corrugation_mm=12.0)
    before, _ = find_needs(district, today=TODAY)
    after, _ = find_needs(replace(district, conditions=(look, later)), today=TODAY)
    assert after[0].treatment is before[0].treatment
    assert set(before[0].follow_ups) <= {after[0].treatment, *after[0].follow_ups}
    dug = WorkRecord("r", "s0", TODAY - timedelta(days=1), Treatment.DITCH_CLEANING, 1, 3.0, "x")
    assert _now(replace(district, records=(dug,))).ditch == "clear"


def test_of_two_looks_the_later_counts_and_one_from_the_future_does_not() -> None:
    looks = (
        _look(deformation=2.0, observed_on=TODAY - timedelta(days=2)),
        _look(deformation=4.0, observed_on=TODAY - timedelta(days=40)),
        _look(deformation=1.0, observed_on=TODAY + timedelta(days=1)),
    )
    assert 1.5 < _now(_district(_segment(0), conditions=looks)).deformation <= 2.0


def test_work_after_the_look_mends_and_before_it_does_not() -> None:
    bad = _look(deformation=2.0, corrugation_mm=40.0)
    bladed = WorkRecord("r", "s0", TODAY - timedelta(days=3), Treatment.BLADING, 2, 1.0, "x")
    early = replace(bladed, done_on=SEEN - timedelta(days=3))
    district = _district(_segment(0), conditions=(bad,))
    mended = _now(replace(district, records=(bladed,)))
    assert mended.deformation > 3.5
    assert mended.corrugation_mm is None
    assert mended.last_bladed_on == bladed.done_on
    same = _now(replace(district, records=(early,)))
    assert same.deformation == _now(district).deformation
    assert same.last_bladed_on == early.done_on


def test_two_works_are_worked_in_one_after_the_other() -> None:
    bad = _look(crown=2.0, drainage=2.0, is_ditch_blocked=True)
    works = tuple(
        WorkRecord(f"r{n}", "s0", SEEN + timedelta(days=5 + n), treatment, 4, 2.0, "x")
        for n, treatment in enumerate((Treatment.DITCH_CLEANING, Treatment.RESHAPING))
    )
    now = _now(_district(_segment(0), conditions=(bad,), records=works))
    assert now.crown > 4.5
    assert now.drainage > 4.0
    assert not now.is_ditch_blocked


def test_gravel_that_was_measured_thins_until_today() -> None:
    look = _look(gravel_mm=80.0, observed_on=TODAY - timedelta(days=365))
    now = _now(_district(_segment(0, adt=150.0), conditions=(look,)))
    assert now.gravel_mm is not None
    assert 55.0 < now.gravel_mm < 79.0


def test_nobody_looked_is_a_default_and_said_so() -> None:
    district = _district(_segment(0, adt=250.0), _segment(1, adt=8.0))
    needs, conditions = find_needs(district, today=TODAY)
    assert {condition.method for condition in conditions} == {"default"}
    assert [need.segment_id for need in needs] == ["s0"], "the busy road wants blading first"
    said = " ".join(needs[0].assumed)
    assert "nobody has surveyed" in said
    assert "45 days ago is assumed" in said
    assert "Traffic" in said


def test_the_first_week_without_a_survey_is_useful() -> None:
    segments = [_segment(n, adt=30.0) for n in range(6)]
    network = _network(*segments)
    told = first_week_conditions(
        network, ["s2", "Road 4"], {"Road 0": date(2026, 5, 10)}, today=TODAY
    )
    by_id = {condition.segment_id: condition for condition in told}
    assert by_id["s2"].method == by_id["s4"].method == "estimated"
    assert by_id["s0"].method == "default"
    assert by_id["s0"].last_bladed_on == date(2026, 5, 10)
    assert by_id["s0"].deformation > by_id["s1"].deformation > by_id["s2"].deformation
    needs, _ = find_needs(District("d", network, Fleet((), (), ()), conditions=told), today=TODAY)
    assert {need.segment_id for need in needs[:2]} == {"s2", "s4"}
    assert all(need.assumed for need in needs)


def test_a_road_that_is_only_reported_bad_shows_no_cause_as_fact() -> None:
    network = _network(*(_segment(n, adt=30.0) for n in range(2)))
    (told,) = first_week_conditions(network, ["s0"], today=TODAY)[:1]
    district = District("d", network, Fleet((), (), ()), conditions=(told,))
    need = next(each for each in find_needs(district, today=TODAY)[0] if each.segment_id == "s0")
    assert need.cause == "reported bad; nobody has looked yet"
    texts = [each.text for each in need.reasons]
    assert any("nobody has looked yet, so the cause is not known" in text for text in texts)
    scored = [text for text in texts if " of 5" in text]
    assert scored
    assert all(" of 5, assumed:" in text for text in scored)
    seen = replace(told, note="washboard at the bend")
    looked = replace(district, conditions=(seen,))
    need = next(each for each in find_needs(looked, today=TODAY)[0] if each.segment_id == "s0")
    assert "reported" not in need.cause
    assert not any("assumed:" in each.text for each in need.reasons)


def test_unknown_roads_and_days_to_come_are_named() -> None:
    network = _network(_segment(0))
    with pytest.raises(InputError, match="'Nowhere' is not in the network"):
        first_week_conditions(network, ["Nowhere"], today=TODAY)
    with pytest.raises(InputError, match="expected a day up to"):
        first_week_conditions(network, [], TODAY + timedelta(days=1), today=TODAY)


def test_a_washed_out_road_has_no_routine_need_and_is_listed_first() -> None:
    hazards = (
        Hazard("h1", "s0", 400.0, "washout", datetime(2026, 5, 17, 9, 0)),  # noqa: DTZ001
        Hazard(
            "h2",
            "s1",
            10.0,
            "sign_missing",
            datetime(2026, 5, 16, 9, 0),  # noqa: DTZ001
            barricaded_at=datetime(2026, 5, 16, 10, 0),  # noqa: DTZ001
        ),
    )
    looks = (_look("s0", deformation=2.0), _look("s1", deformation=2.0))
    district = _district(_segment(0), _segment(1), conditions=looks, hazards=hazards)
    needs, conditions = find_needs(district, today=TODAY)
    assert [need.segment_id for need in needs] == ["s1"]
    assert len(conditions) == 2
    notices = open_hazards(district, today=TODAY)
    assert [notice.hazard.id for notice in notices] == ["h1", "h2"]
    assert "secure or close it now" in notices[0].text
    assert notices[0].stops_routine_work
    repaired = replace(hazards[0], repaired_at=datetime(2026, 5, 18, 6, 0))  # noqa: DTZ001
    again = replace(district, hazards=(repaired,))
    assert len(find_needs(again, today=TODAY)[0]) == 2
    assert open_hazards(again, today=TODAY) == ()


def test_needs_are_sorted_by_worth_and_ids_are_stable() -> None:
    looks = tuple(_look(f"s{n}", deformation=3.0 - 0.4 * n) for n in range(4))
    district = _district(*(_segment(n) for n in range(4)), conditions=looks)
    needs, _ = find_needs(district, today=TODAY)
    worth = [need.benefit_h for need in needs]
    assert worth == sorted(worth, reverse=True)
    assert needs == find_needs(district, today=TODAY)[0]
    later, _ = find_needs(district, today=TODAY + timedelta(days=1))
    assert {need.id for need in needs} <= {need.id for need in later}


def test_a_haul_wears_its_route_while_it_runs() -> None:
    haul = HaulAgreement("h", "A company", ("s0",), SEEN, TODAY, tonnes=20_000.0)
    looks = (_look("s0"), _look("s1"))
    district = _district(_segment(0), _segment(1), conditions=looks, haul_agreements=(haul,))
    hauled, quiet = _now(district, 0), _now(district, 1)
    assert hauled.deformation < quiet.deformation
    before = replace(haul, first_day=SEEN - timedelta(60), last_day=SEEN - timedelta(1))
    assert _now(replace(district, haul_agreements=(before,))).deformation == quiet.deformation


def test_stretches_of_a_segment_are_joined() -> None:
    good, bad = _look(to_m=800.0, deformation=4.5), _look(from_m=800.0, deformation=2.5)
    district = _district(_segment(0), conditions=(good, bad))
    whole = _district(_segment(0), conditions=(_look(deformation=3.5),))
    assert _now(district).deformation == pytest.approx(_now(whole).deformation, abs=1e-3)


def test_thickness_is_screened_and_says_who_confirms() -> None:
    trucks = _segment(0, adt=200.0, heavy_share=0.2, gravel_mm=60.0)
    calm = _segment(1, adt=10.0, heavy_share=0.1, gravel_mm=200.0)
    first, second = check_layers(_district(trucks, calm), today=TODAY)
    assert (first.segment_id, second.segment_id) == ("s0", "s1")
    assert not first.is_enough
    assert second.is_enough
    assert first.needed_mm is not None
    assert first.needed_mm > 200
    assert first.text.endswith("engineer to confirm.")
    assert any("not tested" in said for said in first.assumed)


def test_paved_and_foreign_roads_are_left_out() -> None:
    district = _district(_segment(0, is_maintained=False), _segment(1))
    assert [each.segment_id for each in find_needs(district, today=TODAY)[1]] == ["s1"]


def test_the_overall_rating_follows_the_worst_of_the_lasting_scores() -> None:
    scores = np.array(
        [[5.0, 4.0, 1.0], [5.0, 4.0, 4.0], [5.0, 4.0, 4.0], [5.0, 1.0, 5.0], [5.0, 2.0, 5.0]]
    )
    assert overall_rating(scores).tolist() == [5, 3, 2]
    with pytest.raises(InputError, match="a score is 6"):
        overall_rating(np.full((5, 1), 6.0))


def test_what_will_be_left_at_the_next_regravel() -> None:
    segment = Segment("s", "Mill Road", "a", "b", 0.0, 1600.0, ((0.0, 45.0), (0.02, 45.0)))
    segment = replace(segment, gravel_mm=90.0, gravel_method="measured")
    (soon,) = check_layers(_district(segment), today=TODAY, years=2.0)
    (late,) = check_layers(_district(segment), today=TODAY, years=40.0)
    assert soon.left_mm == pytest.approx(soon.there_mm - 2 * soon.loss_mm_year, abs=0.1)
    assert late.left_mm == 0.0
    (usual,) = check_layers(_district(segment), today=TODAY)
    assert usual.regravel_years == Policy().needs.layer.regravel_years
    with pytest.raises(InputError, match="years is 0"):
        check_layers(_district(segment), today=TODAY, years=0.0)


def test_one_road_alone_is_judged_as_among_others() -> None:
    district = osier_valley(seed=3, today=TODAY)
    needs = {each.segment_id: each for each in find_needs(district, today=TODAY)[0]}
    layers = {each.segment_id: each for each in check_layers(district, today=TODAY)}
    for segment in district.network.maintained[::40]:
        alone = only_road(district, segment.id)
        (found,) = find_needs(alone, today=TODAY)[0] or (None,)
        assert found == needs.get(segment.id)
        assert check_layers(alone, today=TODAY) == (layers[segment.id],)
