"""Rates from own records: shrunk, shown, and never applied in silence."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from crossfall.errors import InputError
from crossfall.learning import propose_rates, shrink
from crossfall.learning.rates import planned_speed_km_h
from crossfall.model import Network, Node, Policy, Segment, Treatment, WorkRecord

NETWORK = Network(
    (Node("a", 0, 45), Node("b", 0.02, 45)),
    (Segment("s", "Mill Road", "a", "b", 0.0, 2000.0, ((0.0, 45.0), (0.02, 45.0))),),
)


def _records(n: int, speed_km_h: float, treatment: Treatment = Treatment.BLADING) -> list:
    return [
        WorkRecord(f"r{i}", "s", date(2026, 5, 1), treatment, 3, 3 * 2.0 / speed_km_h, "x")
        for i in range(n)
    ]


def test_study_check_of_the_shrunk_factor() -> None:
    """Check 22 of the deterioration notes: raw 0.678, shrunk 0.715 (arithmetic)."""
    ratios = np.array([12, 18, 15, 9]) / np.array([18.5, 22.9, 20, 16.3])
    found = shrink(ratios, record_sd=0.4, prior_sd=0.5)
    assert found.raw == pytest.approx(0.678, abs=5e-4)
    assert found.factor == pytest.approx(0.715, abs=5e-4)


@given(st.floats(0.2, 5.0), st.integers(1, 40))
def test_the_factor_lies_between_the_default_and_the_records(ratio: float, n: int) -> None:
    found = shrink(np.full(n, ratio), record_sd=0.4, prior_sd=0.3)
    assert min(1.0, ratio) - 1e-12 <= found.factor <= max(1.0, ratio) + 1e-12


def test_four_records_are_too_few_and_change_nothing() -> None:
    policy = Policy()
    proposal = propose_rates(_records(4, 4.0), NETWORK, policy)
    assert proposal.policy is policy
    assert all(row.is_prior and row.new == row.old for row in proposal.rows)
    assert "prior" in proposal.summary()


def test_many_slow_records_slow_the_plan_and_only_that_treatment() -> None:
    policy = Policy()
    proposal = propose_rates(_records(60, 4.0), NETWORK, policy)
    learned = planned_speed_km_h(proposal.policy, Treatment.BLADING)
    assert 4.0 < learned < planned_speed_km_h(policy, Treatment.BLADING)
    assert learned == pytest.approx(4.0, rel=0.05)
    assert planned_speed_km_h(proposal.policy, Treatment.RESHAPING) == planned_speed_km_h(
        policy, Treatment.RESHAPING
    )
    assert proposal.policy.needs.usual.blading_h_km > policy.needs.usual.blading_h_km
    assert proposal.policy.version != policy.version
    assert policy == Policy(), "the old policy is untouched"


def test_unbelievable_and_corrected_records_are_left_out() -> None:
    records = _records(6, 5.0)
    slip = WorkRecord("slip", "s", date(2026, 5, 1), Treatment.BLADING, 3, 0.01, "x")
    fixed = WorkRecord(
        "fix", "s", date(2026, 5, 1), Treatment.BLADING, 3, 1.2, "x", supersedes="r0"
    )
    proposal = propose_rates([*records, slip, fixed], NETWORK, Policy())
    assert len(proposal.left_out) == 1
    assert proposal.left_out[0].startswith("slip")
    assert proposal.rows[0].n == 6


def test_a_proposal_needs_a_new_version() -> None:
    with pytest.raises(InputError, match="version"):
        propose_rates(_records(6, 5.0), NETWORK, Policy(), version="1")
