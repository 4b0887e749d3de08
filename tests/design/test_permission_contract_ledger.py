"""Leave before digging, tickets against loads, piles and edges."""

from __future__ import annotations

import dataclasses
from datetime import date

import pytest

from crossfall.design import design_job
from crossfall.design.cautions import caution_keys
from crossfall.design.clearances import clearances_needed, hold_for_leave, in_hand
from crossfall.design.contract import ScaleTicket, bid_items, reconcile
from crossfall.design.ledger import (
    FittedEdge,
    PileEntry,
    edge_forecast,
    pile_balances,
)
from crossfall.errors import InputError
from crossfall.model import Clearance, PointFeature, Policy, Treatment, WorkRecord
from crossfall.model.policy.permission import PermissionPractice
from crossfall.network import build_graph
from crossroads import TODAY, need, small_fleet, small_network


@pytest.fixture(scope="module")
def network():
    return small_network()


def first_stage(network, treatment, segment="s1"):
    job = design_job(
        need(treatment, segment), network.segment_by_id[segment], fleet=small_fleet(),
        graph=build_graph(network), policy=Policy(),
        features=network.features_by_segment[segment],
    )  # fmt: skip
    return job.stages[0], network.features_by_segment[segment], job


@pytest.mark.parametrize(
    ("treatment", "segment", "kinds"),
    [
        (Treatment.DITCH_CLEANING, "s1", {"utilities", "rail", "stream"}),
        (Treatment.SHOULDER_PULLING, "s2", {"utilities"}),
        (Treatment.RESHAPING, "s1", {"rail"}),
        (Treatment.RESHAPING, "s3", {"utilities"}),
        (Treatment.CULVERT_CLEARING, "s2", {"utilities"}),
        (Treatment.BLADING, "s1", set()),
    ],
)
def test_what_asks_for_leave(network, treatment, segment, kinds):
    stage, features, _ = first_stage(network, treatment, segment)
    assert set(clearances_needed(stage, features)) == kinds


def utilities(**changes):
    usual = Clearance(
        "c1", "utilities", "s2", "26-0417", "one-call centre", date(2026, 6, 1), date(2026, 6, 28)
    )
    return dataclasses.replace(usual, **changes)


@pytest.mark.parametrize(
    ("clearance", "is_held"),
    [
        (utilities(), True),
        (utilities(expires_on=date(2026, 6, 14)), False),
        (utilities(valid_from=date(2026, 6, 16)), False),
        (utilities(to_m=800.0), False),
        (utilities(segment_id="s1"), False),
        (utilities(kind="rail"), False),
    ],
)
def test_leave_must_cover_the_day_and_the_whole_stretch(network, clearance, is_held):
    stage, features, _ = first_stage(network, Treatment.SHOULDER_PULLING, "s2")
    held = in_hand(stage, features, [clearance], TODAY)
    assert (held["utilities"] is not None) is is_held


def test_leave_that_ends_before_it_begins_is_refused():
    with pytest.raises(InputError, match="before it begins"):
        utilities(expires_on=date(2026, 5, 1))


def test_gravel_is_a_bid_item_once(network):
    _, _, job = first_stage(network, Treatment.REGRAVELLING)
    names = [item.name for item in bid_items(job)]
    assert names.count("compacted gravel") == 1
    assert "loose gravel" not in names
    assert "loads" not in names


def tickets(n, net_t=10.5):
    return [ScaleTicket(f"T{i}", TODAY, net_t) for i in range(n)]


GOOD = {
    "ordered_loads": 10, "ordered_dry_t": 100.0, "moisture_pct": 5.0,
    "depths_mm": (80.0, 82.0, 79.0), "wanted_mm": 80.0,
}  # fmt: skip


def test_water_on_the_scale_is_not_gravel():
    made = reconcile(tickets(10), **GOOD)
    assert made.delivered_dry_t == pytest.approx(100.0)
    assert made.is_accepted


@pytest.mark.parametrize(
    ("n", "changes", "remark"),
    [
        (9, {}, "1 loads are missing"),
        (11, {}, "1 loads more than were ordered"),
        (10, {"moisture_pct": 20.0}, "t dry are missing"),
        (10, {"depths_mm": (80.0, 70.0, 81.0)}, "70 mm at the thinnest"),
        (10, {"depths_mm": (80.0,)}, "1 holes dug"),
        (10, {"depths_mm": ()}, "0 holes dug"),
    ],
)
def test_what_stands_against_acceptance(n, changes, remark):
    made = reconcile(tickets(n), **{**GOOD, **changes})
    assert not made.is_accepted
    assert remark in made.summary()


def test_a_doubled_ticket_is_refused():
    with pytest.raises(InputError, match="paid twice"):
        reconcile([*tickets(2), tickets(1)[0]], **GOOD)


def test_a_pile_knows_the_day_it_ran_short():
    fleet = small_fleet()
    entries = [
        PileEntry("pit", date(2026, 6, 3), 5_000.0, "crushed"),
        PileEntry("pit", date(2026, 6, 1), -15_000.0, "card 1"),
        PileEntry("pit", date(2026, 6, 2), -6_000.0, "card 2"),
    ]
    (balance,) = pile_balances(fleet.pits, entries)
    assert balance.loose_m3 == 4_000.0
    assert balance.short_on == date(2026, 6, 2)
    with pytest.raises(InputError, match="unknown pit 'moon'"):
        pile_balances(fleet.pits, [PileEntry("moon", TODAY, 1.0, "?")])


def record(key, day, *, card="c1", passes=4, supersedes=None):
    return WorkRecord(
        key, "s2", day, Treatment.BLADING, passes, 1.0, "Ash", card, supersedes=supersedes
    )


def test_edge_wear_counts_this_machine_since_it_was_fitted():
    edge = FittedEdge("g1", "plain", date(2026, 6, 1), 100.0)
    records = [
        record("r1", date(2026, 5, 30)),
        record("r2", date(2026, 6, 2)),
        record("r3", date(2026, 6, 3), card="c2"),
        record("r4", date(2026, 6, 4)),
        record("r5", date(2026, 6, 4), passes=2, supersedes="r4"),
    ]
    made = edge_forecast(
        edge, records, length_km={"s2": 5.0}, machine_of={"c1": "g1", "c2": "g2"},
        today=date(2026, 6, 7),
    )  # fmt: skip
    assert made.worn_km == pytest.approx(4 * 5 + 2 * 5)
    assert made.worn_share == pytest.approx(0.30)
    assert made.change_on == date(2026, 6, 21)


def test_an_unused_edge_has_no_date():
    edge = FittedEdge("g1", "plain", date(2026, 6, 1), 100.0)
    made = edge_forecast(edge, [], length_km={}, machine_of={}, today=date(2026, 6, 7))
    assert made.change_on is None
    assert made.summary() == "g1: 0 % worn"


WEEK = {"first_day": date(2026, 6, 20), "n_days": 5}


def bound(network, job, *clearances, **days):
    (made,) = hold_for_leave(
        [job], network.features_by_segment, clearances, **(WEEK | days)
    )  # fmt: skip
    return made.stages[0]


def test_a_ditch_has_no_day_until_its_clearance_is_on_file(network):
    _, _, ditch = first_stage(network, Treatment.SHOULDER_PULLING, "s2")
    assert bound(network, ditch).leave_days == ()
    assert bound(network, ditch).leave_lacks == ("utilities",)
    held = bound(network, ditch, utilities())
    assert held.leave_days == tuple(date(2026, 6, day) for day in range(20, 25))
    assert held.leave_lacks == ()
    assert bound(network, ditch, utilities(), first_day=date(2026, 7, 1)).leave_days == ()


def test_only_the_days_before_it_runs_out_count(network):
    _, _, ditch = first_stage(network, Treatment.SHOULDER_PULLING, "s2")
    ends = utilities(expires_on=date(2026, 6, 21))
    assert bound(network, ditch, ends).leave_days == (date(2026, 6, 20), date(2026, 6, 21))


def test_all_kinds_must_hold_on_one_day(network):
    _, _, ditch = first_stage(network, Treatment.DITCH_CLEANING, "s1")
    early = utilities(segment_id="s1", expires_on=date(2026, 6, 21))
    rail = utilities(id="c2", kind="rail", segment_id="s1")
    late = utilities(id="c3", kind="stream", segment_id="s1", valid_from=date(2026, 6, 22))
    never_together = bound(network, ditch, early, rail, late)
    assert never_together.leave_days == ()
    assert set(never_together.leave_lacks) == {"utilities", "rail", "stream"}
    assert bound(network, ditch, early, rail).leave_lacks == ("stream",)


def test_blading_needs_no_leave_and_keeps_every_day(network):
    _, _, blading = first_stage(network, Treatment.BLADING, "s2")
    assert bound(network, blading).leave_days is None


@pytest.mark.parametrize(("limit_mm", "asks"), [(150.0, False), (40.0, True), (0.0, True)])
def test_a_deep_cut_of_the_road_asks_where_local_practice_says_so(network, limit_mm, asks):
    practice = PermissionPractice(utilities_cut_mm=limit_mm)
    stage, features, _ = first_stage(network, Treatment.RESHAPING, "s2")
    assert ("utilities" in clearances_needed(stage, features, practice)) is asks
    keys = caution_keys(stage, features, practice)
    assert ("utilities" in keys) is asks
    assert ("utilities_shallow" in keys) is not asks


@pytest.mark.parametrize("kind", ["wetland", "right_of_way"])
def test_a_wetland_or_a_narrow_right_of_way_asks_for_leave_to_dig(network, kind):
    stage, _, _ = first_stage(network, Treatment.DITCH_CLEANING, "s2")
    spot = PointFeature("w", kind, 0.0, 0.0, "s2", 200.0)
    assert set(clearances_needed(stage, [spot])) == {"utilities", kind}
    blading, _, _ = first_stage(network, Treatment.RESHAPING, "s2")
    assert kind not in clearances_needed(blading, [spot])


def test_two_tickets_end_to_end_cover_a_stage_and_a_gap_does_not(network):
    stage, features, _ = first_stage(network, Treatment.SHOULDER_PULLING, "s2")
    near = utilities(to_m=800.0)
    far = utilities(id="c2", reference="26-0418", from_m=800.0, expires_on=date(2026, 6, 20))
    both = in_hand(stage, features, [far, near], TODAY)["utilities"]
    assert both is not None
    assert both.reference == "26-0417, 26-0418"
    assert both.expires_on == date(2026, 6, 20)
    gap = dataclasses.replace(far, from_m=900.0)
    assert in_hand(stage, features, [near, gap], TODAY)["utilities"] is None
    assert in_hand(stage, features, [near, far], date(2026, 6, 21))["utilities"] is None
