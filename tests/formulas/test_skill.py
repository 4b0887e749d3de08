"""Scores of chances against their definitions."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crossfall.errors import InputError
from crossfall.formulas.skill import brier_score, brier_skill, reliability


def test_brier_by_hand():
    # Brier (1950), arithmetic: (0 + .25 + 0) / 3
    assert brier_score([1.0, 0.5, 0.0], [1, 1, 0]) == pytest.approx(0.25 / 3)
    assert brier_skill([1.0, 0.0], [1, 0], 0.5) == 1.0
    assert brier_skill([0.5, 0.5], [1, 0], 0.5) == 0.0


@settings(max_examples=50, deadline=None)
@given(st.integers(0, 2**31))
def test_honest_chances_are_reliable_and_hard_to_beat(seed):
    rng = np.random.default_rng(seed)
    chance = rng.uniform(size=4000)
    happened = rng.uniform(size=4000) < chance
    found = reliability(chance, happened, n_bins=5)
    assert np.abs(found.stated - found.observed).max() < 0.1
    assert found.n_cases.sum() == 4000
    assert brier_score(chance, happened) < brier_score(np.clip(chance + 0.2, 0, 1), happened)


def test_bad_figures():
    with pytest.raises(InputError, match="percent"):
        brier_score([50.0], [1])
    with pytest.raises(InputError, match="0 or 1"):
        brier_score([0.5], [2])
    with pytest.raises(InputError, match="not empty"):
        brier_score([], [])
    with pytest.raises(InputError, match="perfect"):
        brier_skill([0.5], [1], [1.0])
    with pytest.raises(InputError, match="n_bins"):
        reliability([0.5], [1], n_bins=0)
