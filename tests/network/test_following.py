"""Facts of a segment that was split, merged, turned or renamed are found on its successors."""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from crossfall.model import (
    Condition,
    Hazard,
    Money,
    Network,
    Node,
    Observation,
    Request,
    Segment,
    Treatment,
    WorkRecord,
)
from crossfall.network.following import Descent, find_successors
from crossfall.network.lineage import Lineage, merge_segments, split_segment

DAY = date(2026, 5, 4)


def road(*, line=((-104.0, 45.0), (-103.99, 45.0)), **changes) -> Segment:
    return Segment(**{
        "id": "a", "route": "Creek Road", "from_node": "n1", "to_node": "n2", "from_m": 0.0,
        "length_m": 788.0, "line": line, **changes,
    })  # fmt: skip


def one_road() -> Network:
    segment = road()
    return Network((Node("n1", *segment.line[0]), Node("n2", *segment.line[1])), (segment,))


def descent(*lineage: Lineage, present=("b", "c")) -> Descent:
    parents = {each.parent_id for each in lineage}
    by_parent = {p: tuple(e for e in lineage if e.parent_id == p) for p in parents}
    return Descent(frozenset(present), by_parent)


HALVES = (
    Lineage("a", "b", 0.0, 300.0, 0.0, 300.0),
    Lineage("a", "c", 300.0, 788.0, 488.0, 0.0),  # drawn the other way round
)


def work(**changes) -> WorkRecord:
    return WorkRecord(**{
        "id": "r", "segment_id": "a", "done_on": DAY, "treatment": Treatment.BLADING, "n_passes": 3,
        "hours": 2.0, "by": "somebody", "n_loads": 5, "water_l": 1000.0,
        "cost": Money(1001, "USD", 2026), "windrow_side": "left", **changes,
    })  # fmt: skip


def test_work_on_a_split_road_is_on_both_parts_and_adds_up() -> None:
    one, two = descent(*HALVES).work(work())
    assert (one.id, one.segment_id, two.id, two.segment_id) == ("r", "b", "r:2", "c")
    assert (one.n_passes, two.n_passes) == (3, 3)
    assert one.hours == pytest.approx(2.0 * 300 / 788)
    assert one.hours + two.hours == pytest.approx(2.0)
    assert one.n_loads + two.n_loads == 5
    assert one.cost + two.cost == Money(1001, "USD", 2026)
    assert (one.windrow_side, two.windrow_side) == ("left", "right")
    assert (one.from_m, one.to_m, two.from_m, two.to_m) == (None, None, None, None)


def test_a_stretch_is_cut_where_the_road_was() -> None:
    one, two = descent(*HALVES).work(work(from_m=200.0, to_m=400.0))
    assert (one.from_m, one.to_m) == (200.0, 300.0)
    assert (two.from_m, two.to_m) == pytest.approx((388.0, 488.0))
    (only,) = descent(*HALVES).work(work(from_m=10.0, to_m=20.0))
    assert (only.segment_id, only.hours) == ("b", 2.0)


@given(at=st.floats(1.0, 787.0), n=st.integers(0, 50), cents=st.integers(-10_000, 10_000_000))
def test_shares_of_work_make_the_whole(at: float, n: int, cents: int) -> None:
    network, lineage = split_segment(one_road(), "a", [at])
    known = Descent(frozenset(network.segment_by_id), {"a": lineage})
    parts = known.work(work(n_loads=n, cost=Money(cents, "USD", 2026)))
    assert sum(each.n_loads for each in parts) == n
    assert sum(each.cost.minor for each in parts) == cents
    assert sum(each.hours for each in parts) == pytest.approx(2.0)


def test_a_danger_a_complaint_and_a_report_lie_on_one_part() -> None:
    known = descent(*HALVES)
    noticed = datetime(2026, 5, 4, 12, tzinfo=UTC)
    (danger,) = known.danger(Hazard("h", "a", 500.0, "washout", noticed))
    assert (danger.id, danger.segment_id, danger.at_m) == ("h", "c", pytest.approx(288.0))
    (asked,) = known.complaint(Request("q", DAY, "ruts", segment_id="a", at_m=100.0))
    assert (asked.segment_id, asked.at_m) == ("b", 100.0)
    (named,) = known.complaint(Request("q", DAY, "ruts", segment_id="a"))
    assert named.segment_id == "c"
    (felt,) = known.report(Observation("o", noticed, -104.0, 45.0, felt="dry", segment_id="a"))
    assert felt.segment_id == "c"
    assert known.segments(["a", "z"]) == ("b", "c", "z")


def test_a_look_counts_for_both_parts() -> None:
    look = Condition("a", DAY, 4.0, 4.0, 3.0, 3.0, 4.0, side="left")
    one, two = descent(*HALVES).looks(look)
    assert (one.segment_id, one.side, two.segment_id, two.side) == ("b", "left", "c", "right")


def test_what_left_no_trace_is_not_invented() -> None:
    known = descent(*HALVES)
    assert known.work(work(segment_id="gone")) == ()
    assert known.danger(Hazard("h", "gone", 1.0, "washout", datetime(2026, 5, 4, tzinfo=UTC))) == ()


def test_successions_are_followed_through_a_merge_after_a_split_and_never_in_a_circle() -> None:
    later = Lineage("c", "d", 0.0, 488.0, 100.0, 588.0)
    known = descent(*HALVES, later, present=("b", "d"))
    _, two = known.parts("a")
    # The end of a was the start of c, which lies 100 m along d
    assert (two.child_id, two.child_m(788.0), two.child_m(300.0)) == ("d", 100.0, 588.0)
    circle = descent(
        Lineage("a", "b", 0.0, 9.0, 0.0, 9.0), Lineage("b", "a", 0.0, 9.0, 0.0, 9.0), present=()
    )
    assert circle.parts("a") == ()


def test_only_a_road_that_runs_along_succeeds() -> None:
    old = one_road()
    split, _ = split_segment(old, "a", [300.0])
    found = find_successors(old, split, ["a"], within_m=10.0, least_share=0.5)
    assert [each.to_m - each.from_m for each in found] == pytest.approx([300.0, 488.0], abs=10.0)
    back, _ = merge_segments(split, *(s.id for s in split.segments))
    again = find_successors(
        split, back, [s.id for s in split.segments], within_m=10.0, least_share=0.5
    )
    assert {each.child_id for each in again} == {back.segments[0].id}
    # A road that leaves the old one after its first fifty metres is another road
    fork = ((-104.0, 45.0), (-103.9994, 45.0), (-103.9994, 45.01))
    other = road(id="x", line=fork, length_m=1160.0, to_node="n3")
    away = Network((Node("n1", *fork[0]), Node("n3", *fork[-1])), (other,))
    assert find_successors(old, away, ["a"], within_m=10.0, least_share=0.5) == ()
