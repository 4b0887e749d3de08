"""Requests find their road, and each other."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from crossfall.judgement.requests import match_requests, matters, merge_requests, unplaced
from crossfall.model import Request
from crossfall.model.policy import RequestsPolicy
from small_district import small_network

POLICY = RequestsPolicy()
NETWORK = small_network()
DAY = date(2026, 5, 4)


def ask(key: str = "q", **facts: object) -> Request:
    return replace(Request(key, DAY, "washboard"), **facts)


def matched(**facts: object) -> Request:
    (found,) = match_requests([ask(**facts)], NETWORK, POLICY)
    return found


def test_the_nearest_road_is_found_with_its_metre_and_distance():
    found = matched(lon=-103.985, lat=45.001)
    assert found.segment_id == "s1"
    assert found.distance_m == pytest.approx(111.2, abs=0.5), "a thousandth of a degree of latitude"
    assert found.at_m == pytest.approx(390.0, abs=2.0)


def test_a_place_too_far_from_every_road_is_left_to_a_person():
    found = matched(lon=-103.985, lat=45.01)
    assert found.segment_id is None
    assert unplaced([found]) == (found,)


@pytest.mark.parametrize("road", ["Road 1", "road 1", "12 ROAD 1, Somewhere", "Rd. 1"])
def test_a_name_is_enough_where_the_road_is_one_segment(road):
    found = matched(road=road)
    assert (found.segment_id, found.distance_m, found.at_m) == ("s1", None, None)


def test_a_name_of_several_segments_needs_a_place():
    long_road = small_network(
        s0=replace(NETWORK.segments[0], route="Road 1"), s2=replace(NETWORK.segments[2], route="X")
    )
    (alone,) = match_requests([ask(road="Road 1")], long_road, POLICY)
    assert alone.segment_id is None
    (placed,) = match_requests([ask(road="Road 1", lon=-103.9751, lat=45.0)], long_road, POLICY)
    assert placed.segment_id == "s2", "the place is 400 m from Road 1 and on X"
    (near,) = match_requests([ask(road="Road 1", lon=-103.9799, lat=45.0)], long_road, POLICY)
    assert near.segment_id == "s1", "the place is just beyond the end of the named road"


def test_roads_of_others_are_not_answered_for():
    network = small_network(s1=replace(NETWORK.segments[1], is_maintained=False))
    (found,) = match_requests([ask(lon=-103.985, lat=45.0)], network, POLICY)
    assert found.segment_id is None


def test_what_a_person_placed_stays():
    assert matched(segment_id="s2", lon=-104.0, lat=45.0).segment_id == "s2"


def test_requests_merge_with_what_is_known_already():
    known = [ask("old", segment_id="s1"), ask("done", segment_id="s2", status="closed")]
    new = [
        ask("a", segment_id="s1", received_on=DAY + timedelta(days=20)),
        ask("b", segment_id="s2", received_on=DAY + timedelta(days=1)),
        ask("c", segment_id="s1", received_on=DAY + timedelta(days=42)),
        ask("d", segment_id=None),
    ]
    merged = merge_requests(new, known, POLICY)
    assert [each.merged_into for each in merged] == ["old", None, None, None]


def test_matters_count_voices():
    told = merge_requests(
        [ask("a", segment_id="s1"), ask("b", segment_id="s1"), ask("c", segment_id="s0")],
        (),
        POLICY,
    )
    found = matters(told)
    assert [(each.head.id, each.n_voices) for each in found] == [("a", 2), ("c", 1)]
    assert matters([replace(each, status="closed") for each in told]) == ()


days = st.integers(0, 90).map(lambda n: DAY + timedelta(days=n))


@given(
    st.lists(
        st.builds(
            Request,
            id=st.integers(0, 10**6).map(str),
            received_on=days,
            text=st.just("x"),
            segment_id=st.sampled_from([None, "s0", "s1"]),
            status=st.sampled_from(["open", "closed"]),
        ),
        max_size=12,
        unique_by=lambda each: each.id,
    )
)
def test_nobody_is_lost_in_the_merging(told):
    merged = merge_requests(told, (), POLICY)
    assert [each.id for each in merged] == [each.id for each in told]
    heads = {each.id: each for each in merged if each.merged_into is None}
    for each in merged:
        if each.merged_into is not None:
            assert heads[each.merged_into].segment_id == each.segment_id
    n_open = sum(each.status == "open" for each in told)
    assert sum(each.n_voices for each in matters(merged)) == n_open
    assert merge_requests(merged, (), POLICY) == merged, "merging again changes nothing"
