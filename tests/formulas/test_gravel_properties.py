"""Gravel and hauling, for any road: volumes kept, stakes in order, loads enough."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from crossfall.errors import InputError
from crossfall.formulas.compaction import water_volume
from crossfall.formulas.gravel import (
    compacted_volume,
    load_volume,
    loose_volume,
    n_lifts,
    n_loads,
)
from crossfall.formulas.hauling import slowest, truck_rate, trucks_to_match
from crossfall.formulas.stakes import load_starts, volume_between

lengths = st.floats(1.0, 20_000.0)
widths = st.floats(2.5, 14.0)
depths = st.floats(20.0, 300.0)


@given(lengths, widths, depths, st.integers(2, 9))
def test_lengths_add_up(length, width, depth, parts):
    whole = compacted_volume(length, width, depth, edge_slope=2.0)
    pieces = sum(
        compacted_volume(length / parts, width, depth, edge_slope=2.0) for _ in range(parts)
    )
    assert pieces == pytest.approx(whole, rel=1e-9)


@given(depths, st.floats(40.0, 150.0))
def test_no_lift_is_too_thick_and_none_is_wasted(depth, most):
    n = n_lifts(depth, most)
    assert depth / n <= most * (1 + 1e-9)
    assert n == 1 or depth / (n - 1) > most * (1 - 1e-9)


@given(st.floats(0.0, 1e5), st.floats(3.0, 20.0), st.floats(4.0, 40.0), st.floats(1.2, 2.0))
def test_loads_carry_at_least_the_volume(loose, body, payload, rho):
    load = load_volume(body, payload, rho)
    n = n_loads(loose, load)
    assert n * load >= loose * (1 - 1e-9) - 1e-6
    assert (n - 1) * load < loose or n == 0
    assert load * rho <= payload * (1 + 1e-12)


@given(lengths, st.integers(1, 400))
def test_even_loads_cover_the_length(length, n):
    at = load_starts([0.0, length], [0.6, 0.6], n)
    assert at.size == n
    assert np.allclose(np.diff([*at, length]), length / n)


@given(
    st.lists(st.tuples(st.floats(1.0, 500.0), st.floats(0.05, 3.0)), min_size=2, max_size=8),
    st.integers(1, 60),
)
def test_loads_share_the_volume_evenly_whatever_the_width(stretches, n):
    at = np.cumsum([0.0, *(length for length, _ in stretches[1:])])
    area = np.array([each for _, each in stretches])
    starts = load_starts(at, area, n)
    total = volume_between(at, area)[-1]
    assert np.all(np.diff(starts) > 0)
    assert starts[0] == 0
    assert starts[-1] < at[-1]
    points = np.union1d(at, starts)
    behind = volume_between(points, np.interp(points, at, area))
    found = np.interp(starts, points, behind)
    assert found == pytest.approx(np.arange(n) / n * total, rel=1e-6, abs=1e-6 * total)


@given(st.floats(0, 5000), st.floats(0, 20), st.floats(1, 20))
def test_water_is_never_negative_and_never_falls_with_drier_gravel(volume, now, target):
    wet = water_volume(volume, 2.1, now, target)
    assert wet >= 0
    assert water_volume(volume, 2.1, max(now - 1, 0.0), target) >= wet


@given(st.floats(1, 300), st.floats(3, 20), st.floats(10, 180), st.floats(0.3, 1.0))
def test_matched_trucks_keep_up_and_one_fewer_does_not(wanted, load, cycle, efficiency):
    n = trucks_to_match(wanted, load, cycle, efficiency)
    assert truck_rate(n, load, cycle, efficiency) >= wanted * (1 - 1e-9)
    assert n == 0 or truck_rate(n - 1, load, cycle, efficiency) < wanted


@given(st.dictionaries(st.text(min_size=1), st.floats(0.1, 1e4), min_size=1))
def test_the_slowest_never_waits(rates):
    pace = slowest(rates)
    assert pace.idle_share[pace.bottleneck] == 0
    assert all(0 <= share < 1 for share in pace.idle_share.values())
    assert pace.rate == min(rates.values())


def test_arrays_go_through_as_numbers_do():
    length = np.array([100.0, 200.0])
    volume = compacted_volume(length, np.array([7.0, 6.0]), np.array([75.0, 80.0]))
    assert volume == pytest.approx([52.5, 96.0])
    assert loose_volume(volume, np.array([1.25, 1.2])) == pytest.approx([65.625, 115.2])
    with pytest.raises(InputError, match="an array from -1 to 100"):
        compacted_volume(np.array([100.0, -1.0]), np.array([7.0, 6.0]), np.array([75.0, 80.0]))


@pytest.mark.parametrize(
    ("at", "area", "words"),
    [
        ([0.0, 10.0], [0.0, 0.0], "no volume"),
        ([10.0, 0.0], [1.0, 1.0], "must rise"),
        ([0.0, 10.0], [1.0, -1.0], "negative"),
        ([0.0], [1.0], "two lists"),
    ],
)
def test_a_bad_profile_is_refused(at, area, words):
    with pytest.raises(InputError, match=words):
        load_starts(at, area, 3)
