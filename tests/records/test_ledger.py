"""Costs booked and priced, and sums that add up whatever they are taken together by."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from crossfall.errors import InputError
from crossfall.model import Money, Treatment
from crossfall.model.policy import CostsPolicy
from crossfall.records.ledger import grand_total, totals, work_lines
from small_district import small_network, small_record

NETWORK, COSTS, DAY = small_network(), CostsPolicy(), date(2026, 4, 20)


def _lines(*records, **more):
    return work_lines(records, NETWORK, COSTS, **more)


def test_a_booked_cost_counts_as_it_is():
    (line,) = _lines(small_record(cost=Money(12_345, "USD", 2026)))
    assert (line.cost.minor, line.how) == (12_345, "booked")


def test_work_without_a_cost_is_priced_and_says_so():
    """By hand: 1.5 h x (95.00 + 47.50) = 213.75; 10 m3 x 17.00 = 170.00; 2000 L = 2 m3 x 1.00."""
    record = small_record(hours=1.5, loose_gravel_m3=10.0, water_l=2000.0)
    (line,) = _lines(record)
    assert line.how == "priced"
    assert line.labour.minor + line.equipment.minor == 21_375
    assert line.material.minor == 17_200
    assert line.cost.minor == 38_575


def test_superseded_work_does_not_count():
    old, new = small_record("r1", hours=9.0), small_record("r2", hours=2.0, supersedes="r1")
    assert [line.record.id for line in _lines(old, new)] == ["r2"]


def test_only_the_span_counts_and_a_span_backwards_is_refused():
    days = [small_record(f"r{n}", done_on=DAY + timedelta(days=n)) for n in range(5)]
    span = {"first_day": DAY + timedelta(days=1), "last_day": DAY + timedelta(days=3)}
    assert [line.record.id for line in _lines(*days, **span)] == ["r3", "r2", "r1"]
    with pytest.raises(InputError, match="before it begins"):
        _lines(*days, first_day=DAY, last_day=DAY - timedelta(days=1))


@given(
    st.lists(
        st.tuples(
            st.sampled_from(["s0", "s1", "s2"]),
            st.integers(0, 120),
            st.sampled_from([Treatment.BLADING, Treatment.RESHAPING]),
            st.floats(0.1, 12),
        ),
        max_size=12,
    ),
    st.sampled_from(["road", "treatment", "month", "district"]),
)
def test_sums_add_up_to_the_whole(told, by):
    records = [
        small_record(f"r{n}", segment_id=s, done_on=DAY + timedelta(days=d), treatment=t, hours=h)
        for n, (s, d, t, h) in enumerate(told)
    ]
    lines = _lines(*records)
    parts, whole = totals(lines, by), grand_total(lines)
    assert sum(each.n for each in parts) == whole.n == len(records)
    assert sum(each.cost.minor for each in parts) == whole.cost.minor
    assert sum(each.hours for each in parts) == pytest.approx(whole.hours)
    assert sum(each.n_priced for each in parts) == whole.n_priced


def test_currencies_are_never_added():
    booked = [Money(100, "USD", 2026), Money(100, "CAD", 2026)]
    records = [small_record(f"r{n}", cost=each) for n, each in enumerate(booked)]
    with pytest.raises(InputError, match="CAD, USD"):
        grand_total(_lines(*records))


def test_the_machine_comes_from_the_card():
    record = replace(small_record(), card_id="c1")
    assert _lines(record, machine_of={"c1": "Grader 1"})[0].machine == "Grader 1"
