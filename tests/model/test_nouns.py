"""Nouns refuse what cannot be, and add up."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from crossfall.errors import InputError
from crossfall.model import CostRange, Money, Network, Node, Policy, Rate, Segment, Treatment
from crossfall.model.policy.setting import settings_of

_A, _B = Node("a", 0.0, 0.0), Node("b", 0.01, 0.0)
_ROAD = Segment("s", "Mill Road", "a", "b", 0.0, 1113.0, ((0.0, 0.0), (0.01, 0.0)))


def test_a_network_knows_its_own():
    network = Network((_A, _B), (_ROAD, replace(_ROAD, id="t", is_maintained=False)))
    assert network.maintained == (_ROAD,)
    assert network.maintained_km == pytest.approx(1.113)
    assert network.segment_by_id["s"].to_m == 1113.0


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"to_node": "z"}, "unknown node z"),
        ({"length_m": 0.0}, "length_m 0; expected > 0"),
        ({"length_m": float("nan")}, "length_m nan"),
    ],
)
def test_a_network_refuses_broken_references(change, message):
    with pytest.raises(InputError, match=message):
        Network((_A, _B), (replace(_ROAD, **change),))


def test_ids_are_unique():
    with pytest.raises(InputError, match="segment id 's' is there twice"):
        Network((_A, _B), (_ROAD, _ROAD))


def test_money_of_different_years_does_not_add_up():
    with pytest.raises(InputError, match="USD 2026 and USD 2027"):
        Money(1, "USD", 2026) + Money(1, "USD", 2027)


@given(st.integers(0, 10**9), st.integers(0, 10**9))
def test_cost_ranges_add_part_by_part(first, second):
    def cost(minor):
        return CostRange(*(Money(minor + extra, "USD", 2026) for extra in (0, 1, 2)))

    total = cost(first) + cost(second)
    assert total.low.minor == first + second
    assert total.high.minor == first + second + 4


def test_a_rate_refuses_negative_quantities():
    with pytest.raises(InputError, match="quantity of grader is -1 h"):
        Rate("grader", 9000, "h", "USD", 2026, "invented").cost(-1)


@pytest.mark.parametrize("treatment", Treatment)
def test_every_treatment_has_words_for_a_foreman(treatment):
    assert treatment.label[0].isupper()


def test_every_setting_says_what_it_is():
    rows = settings_of(Policy())
    assert len({row.path for row in rows}) == len(rows)
    for row in rows:
        assert row.doc, row.path
        assert row.evidence in {"published", "common practice", "recalled", "default"}, row.path
        assert row.source or row.evidence != "published", f"{row.path}: published without a source"
        if isinstance(row.value, int | float) and row.low is not None and row.high is not None:
            assert row.low <= row.value <= row.high, row.path
