"""Stretches joined to a look at the whole; trucks of a haul counted once and where they drive."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from crossfall.errors import InputError
from crossfall.judgement.haul import (
    extra_heavy_adt,
    haul_statement,
    haul_traffic,
    trucks_a_day,
)
from crossfall.judgement.looks import whole_looks
from crossfall.judgement.rating import SCORES
from crossfall.model import Condition, HaulAgreement, Money
from crossfall.model.policy import HaulPolicy
from small_district import small_condition, small_district, small_network, small_record

NETWORK = small_network()
DAY = date(2026, 5, 4)
POLICY = HaulPolicy()


def look(score: float = 4.0, **facts: object) -> Condition:
    return replace(Condition("s0", DAY, *(5 * [score]), "estimated"), **facts)


def joined(*looks: Condition) -> tuple[Condition, ...]:
    return whole_looks(looks, NETWORK, look_share=0.5)


def test_looks_at_the_whole_pass_unchanged():
    looks = (look(), look(3.0, segment_id="s1"))
    assert joined(*looks) == looks


def test_stretches_weigh_by_length_and_side():
    (found,) = joined(look(2.0, to_m=195.0), look(4.0, from_m=195.0))
    assert found.deformation == pytest.approx(3.5)
    (sides,) = joined(look(2.0, side="left"), look(4.0, side="right"))
    assert sides.crown == pytest.approx(3.0)
    assert (found.from_m, found.to_m, sides.side) == (None, None, "both")


def test_what_was_seen_anywhere_holds():
    (found,) = joined(
        look(to_m=50.0, is_culvert_blocked=True, windrow_side="left", photos=("a",)),
        look(from_m=50.0, windrow_side="right", gravel_mm=80.0, method="measured"),
    )
    assert found.is_culvert_blocked
    assert found.windrow_side == "both"
    assert found.gravel_mm == 80.0
    assert found.method == "estimated", "not all of it was measured"
    assert found.photos == ("a",)


def test_a_short_look_is_laid_over_the_last_whole_one():
    later = DAY + timedelta(days=3)
    part = look(1.0, observed_on=later, to_m=78.0, is_ditch_blocked=True)
    whole, now = joined(look(4.0), part)
    assert whole == look(4.0)
    assert now.observed_on == DAY, "the rest of the segment was seen then"
    assert now.crown == pytest.approx(0.9 * 4.0 + 0.1 * 1.0)
    assert now.is_ditch_blocked
    (alone,) = joined(part)
    assert (alone.crown, alone.observed_on) == (1.0, later), "better than no look at all"


def test_a_look_at_most_of_it_stands_for_it():
    _, now = joined(look(4.0), look(2.0, observed_on=DAY + timedelta(days=3), from_m=200.0))
    assert now.crown == 2.0


@given(
    st.lists(
        st.tuples(st.floats(1, 5), st.floats(0, 700), st.floats(1, 700)), min_size=1, max_size=6
    )
)
def test_a_joined_score_lies_between_its_parts(parts):
    looks = [look(score, from_m=at, to_m=at + long) for score, at, long in parts]
    (found,) = joined(*looks)
    low, high = min(each[0] for each in parts), max(each[0] for each in parts)
    for name in SCORES:
        assert low - 1e-9 <= getattr(found, name) <= high + 1e-9


def haul(**facts: object) -> HaulAgreement:
    made = HaulAgreement("h", "A company", ("s0",), DAY, DAY + timedelta(days=9), 4000.0)
    return replace(made, **facts)


def test_trucks_come_from_tonnes():
    # 4000 t in 20 t loads, there and back, over 10 days
    assert trucks_a_day(haul(), POLICY) == 4000 / 20 * 2 / 10
    assert trucks_a_day(haul(payload_t=40.0), POLICY) == 20.0


def test_traffic_is_there_only_on_the_route_and_the_days():
    traffic = haul_traffic(NETWORK.segments, [haul(), haul(id="g", segment_ids=("s2",))], POLICY)
    rows, start = np.arange(3), float(DAY.toordinal())
    on_it = traffic.between(rows, np.full(3, start), np.full(3, start + 10))
    assert on_it.tolist() == [40.0, 0.0, 40.0]
    before = traffic.between(rows, np.full(3, start - 10), np.full(3, start))
    assert before.tolist() == [0.0, 0.0, 0.0]
    half = traffic.between(rows, np.full(3, start + 5), np.full(3, start + 15))
    assert half.tolist() == [20.0, 0.0, 20.0]


@given(st.integers(-30, 30), st.integers(1, 60), st.integers(0, 60))
def test_passes_add_up_however_time_is_cut(start, first_part, second_part):
    traffic = haul_traffic(NETWORK.segments, [haul()], POLICY)
    row = np.array([0])

    def passes(since: int, until: int) -> float:
        at = float(DAY.toordinal())
        mean = traffic.between(row, np.array([at + since]), np.array([at + until]))
        return float(mean[0]) * (until - since)

    middle, end = start + first_part, start + first_part + second_part
    assert passes(start, middle) + passes(middle, end) == pytest.approx(passes(start, end))
    assert passes(-100, 100) == pytest.approx(4000 / 20 * 2), "every load, once there and once back"


def test_heavy_vehicles_of_one_day():
    district = replace(small_district(), haul_agreements=(haul(), haul(id="g")))
    assert extra_heavy_adt(district, DAY) == {"s0": 80.0}
    assert extra_heavy_adt(district, DAY + timedelta(days=10)) == {}


def test_a_statement_counts_what_is_booked_and_what_is_missing():
    cost = Money(90_000, "USD", 2026)
    district = replace(
        small_district(),
        conditions=(
            small_condition("s0", observed_on=DAY - timedelta(days=1)),
            small_condition("s0", observed_on=DAY - timedelta(days=99)),
            small_condition("s0", observed_on=DAY + timedelta(days=12)),
        ),
        records=(
            small_record("r1", agreement_id="h", cost=cost),
            small_record("r2", agreement_id="h", cost=cost, supersedes="r1"),
            small_record("r3", agreement_id="h"),
            small_record("r4", cost=cost),
        ),
    )
    agreement = haul(segment_ids=("s0", "s1"))
    told = haul_statement(agreement, district, today=DAY + timedelta(days=20))
    assert told.phase == "ended"
    assert told.costs == (cost,)
    assert told.n_uncosted == 1
    s0, s1 = told.surveys
    assert s0.before.observed_on == DAY - timedelta(days=1)
    assert s0.after.observed_on == DAY + timedelta(days=12)
    assert (s1.before, s1.after) == (None, None)
    assert told.missing == (
        "no survey before the haul on 1 of 2 segments",
        "no survey after the haul on 1 of 2 segments",
    )
    assert "USD 900 booked to it" in told.summary()
    early = haul_statement(agreement, district, today=DAY - timedelta(days=1))
    assert (early.phase, len(early.missing)) == ("agreed", 1)


@pytest.mark.parametrize(
    ("facts", "message"),
    [
        ({"segment_ids": ()}, "names no segment"),
        ({"segment_ids": ("s0", "s0")}, "names a segment twice"),
        ({"last_day": DAY - timedelta(days=1)}, "before it begins"),
        ({"tonnes": 0.0}, "tonnes 0; expected above 0"),
        ({"payload_t": -1.0}, "payload_t -1"),
    ],
)
def test_agreements_that_cannot_be_are_refused(facts, message):
    with pytest.raises(InputError, match=message):
        haul(**facts)
