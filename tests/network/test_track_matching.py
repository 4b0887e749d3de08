"""The compiled loops against plain ones, and drives whose truth is known."""

from __future__ import annotations

from datetime import UTC

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crossfall.model.policy import TracksPolicy
from crossfall.network.fixes import Fixes, runs, set_aside, smooth
from crossfall.network.legs import find_legs
from crossfall.network.matching import match, thinned
from crossfall.network.matching_kernel import likeliest, settled_bits, turning_points
from crossfall.network.matching_reference import (
    all_ways,
    likeliest_roads,
    roads_within,
    settled,
)
from crossfall.network.passes import count_passes
from crossfall.network.road_index import RoadIndex
from crossfall.network.work_days import work_days
from track_cases import PLANE, START_S, crossing, drive

POLICY = TracksPolicy()


@pytest.fixture(scope="module")
def roads() -> RoadIndex:
    return RoadIndex(crossing(), search_m=POLICY.search_m)


def legs_of(fixes: Fixes, roads: RoadIndex) -> list:
    return [
        leg
        for part in runs(fixes, longest_gap_s=POLICY.longest_gap_s)
        for leg in find_legs(part, match(part, roads, POLICY), roads, POLICY)
    ]


def test_nearby_roads_agree_with_shapes(roads: RoadIndex) -> None:
    rng = np.random.default_rng(3)
    x, y = rng.uniform(-1100, 1100, 400), rng.normal(0, 30, 400)
    x, y = np.concatenate([x, y, [5e6]]), np.concatenate([y, x, [5e6]])
    segment, at, offset, n_found = roads.nearby(x, y, most=6)
    for k, plain in enumerate(roads_within(roads, x, y)):
        mine = {int(segment[k, j]): (offset[k, j], at[k, j]) for j in range(n_found[k])}
        assert mine.keys() == plain.keys()
        for road, (away, metres) in plain.items():
            assert mine[road] == pytest.approx((away, metres), abs=1e-6)
        assert np.all(np.diff(offset[k, : n_found[k]]) >= 0)


def test_ways_agree_with_a_plain_table(roads: RoadIndex) -> None:
    plain = all_ways(roads)
    ways = roads.ways_around(np.arange(len(roads.network.nodes)), limit_m=1500.0)
    for a in range(len(roads.network.nodes)):
        row = slice(ways.start[a], ways.start[a + 1])
        within = np.flatnonzero(plain[a] <= 1500.0)
        assert ways.node[row].tolist() == within.tolist()
        assert ways.metres[row] == pytest.approx(plain[a][within])


@pytest.mark.parametrize("seed", range(6))
def test_the_likeliest_course_agrees_with_weighing_every_pair(roads: RoadIndex, seed: int) -> None:
    rng = np.random.default_rng(seed)
    steps = np.cumsum(rng.normal(0, 25, (40, 2)), axis=0)
    x, y = steps[:, 0], steps[:, 1]
    near = roads.nearby(x, y, most=6)
    nodes = np.arange(len(roads.network.nodes))
    ways = roads.ways_around(nodes, limit_m=600.0)
    choice, _ = likeliest(
        x, y, *near, roads.from_node, roads.to_node, roads.length_m,
        ways.row_of, ways.start, ways.node, ways.metres, 6.5, 5.0, 600.0,
    )  # fmt: skip
    mine = np.where(choice >= 0, near[0][np.arange(x.size), np.maximum(choice, 0)], -1)
    table = all_ways(roads)
    table[table > 600.0] = np.inf
    plain = likeliest_roads(roads, table, x, y, near, noise_m=6.5, detour_m=5.0, limit_m=600.0)
    assert mine.tolist() == plain.tolist()


@settings(max_examples=60, deadline=None)
@given(st.lists(st.sampled_from([-1, 0, 1]), min_size=1, max_size=10), st.floats(0.01, 0.4))
def test_a_faulty_bit_is_read_as_the_likeliest_switch(bits: list[int], wrong: float) -> None:
    given_bits = np.array(bits, dtype=np.int8)
    never = np.zeros(len(bits), dtype=np.bool_)
    mine = settled_bits(given_bits, never, wrong, 0.05)

    def score(course: np.ndarray) -> float:
        total = 0.0
        for k, state in enumerate(course.tolist()):
            if bits[k] >= 0:
                total += np.log(1 - wrong if bits[k] == state else wrong)
            if k:
                total += np.log(0.05 if state != course[k - 1] else 0.95)
        return total

    assert score(mine) == pytest.approx(score(settled(given_bits, wrong, 0.05)))


def test_a_machine_that_only_wavers_has_not_turned() -> None:
    at = np.array([0.0, 50, 100, 90, 110, 300, 290, 280, 100, 0, 10])
    assert turning_points(at, 25.0).tolist() == [0, 5, 10]


def test_thinning_agrees_with_a_plain_loop() -> None:
    steps = np.cumsum(np.random.default_rng(2).normal(0, 4, (500, 2)), axis=0)
    x, y = steps.T
    plain, last = [0], 0
    for k in range(1, 500):
        if np.hypot(x[k] - x[last], y[k] - y[last]) >= 15:
            plain.append(k)
            last = k
    if plain[-1] != 499:
        plain.append(499)
    assert thinned(x, y, 15.0).tolist() == plain


def test_smoothing_takes_a_jump_out_and_keeps_a_straight_line() -> None:
    x = np.arange(0.0, 200.0, 2.0)
    y = np.zeros(x.size)
    y[40] = 500.0
    smooth_x, smooth_y = smooth(x, y, over_m=12.0)
    assert np.abs(smooth_y).max() < 1e-9
    assert smooth_x[10:-10] == pytest.approx(x[10:-10])


def test_passes_directions_metres_and_speed_of_a_clean_drive(roads: RoadIndex) -> None:
    far = (1000.0, 0.0)
    fixes = drive(
        [
            ((-800.0, 0.0), (0.0, 0.0), 30.0, 0),
            ((0.0, 0.0), far, 6.0, 1),
            (far, (0.0, 0.0), 7.0, 1),
            ((0.0, 0.0), far, 9.5, 1),
            (far, (0.0, 0.0), 30.0, 0),
            ((0.0, 0.0), (0.0, 900.0), 30.0, 0),
        ],
        noise_m=2.0,
    )
    legs = legs_of(fixes, roads)
    (passes,) = count_passes(legs, roads.network, POLICY)
    assert passes.segment_id == "road-east"
    assert (passes.n_forward, passes.n_backward) == (2, 1)
    assert passes.covered_m == pytest.approx(1000.0, abs=40.0)
    assert passes.blade == "known"
    timed = sorted(leg.speed_km_h for leg in legs if leg.speed_km_h is not None)
    assert timed == pytest.approx([6.0, 7.0, 9.5], abs=0.1)
    assert passes.n_fast == 1
    assert passes.fastest_km_h == pytest.approx(9.5, abs=0.1)
    # Metres over time of the three: 3 km in 1/6 + 1/7 + 1/9.5 hours
    assert passes.speed_km_h == pytest.approx(3 / (1 / 6 + 1 / 7 + 1 / 9.5), abs=0.1)

    (day,) = work_days(legs, [(fixes.time_s[0], fixes.time_s[-1])], roads.network, UTC, POLICY)
    assert day.work_km == pytest.approx(3.0, abs=0.1)
    assert day.travel_km == pytest.approx(0.8 + 1.0 + 0.9, abs=0.1)
    assert day.work_h == pytest.approx(1 / 6 + 1 / 7 + 1 / 9.5, abs=0.03)
    assert day.travel[0].km_h == pytest.approx(30.0, abs=1.5)


def test_half_a_road_bladed_twice_is_told_with_its_metres(roads: RoadIndex) -> None:
    a, b = (200.0, 0.0), (700.0, 0.0)
    fixes = drive([((0.0, 0.0), a, 25.0, 0), (a, b, 6.0, 1), (b, a, 6.0, 1), (a, b, 25.0, 0)])
    (passes,) = count_passes(legs_of(fixes, roads), roads.network, POLICY)
    assert (passes.n_forward, passes.n_backward) == (1, 1)
    assert passes.covered_m == pytest.approx(500.0, abs=45.0)
    assert passes.from_m == pytest.approx(200.0, abs=45.0)
    assert passes.to_m == pytest.approx(700.0, abs=45.0)


def test_without_a_blade_bit_work_is_inferred_and_says_so(roads: RoadIndex) -> None:
    far = (0.0, 1000.0)
    fixes = drive(
        [((0.0, 0.0), far, 6.0, -1), (far, (0.0, 0.0), 6.0, -1), ((0.0, 0.0), (900, 0), 32.0, -1)],
        noise_m=3.0,
    )
    (passes,) = count_passes(legs_of(fixes, roads), roads.network, POLICY)
    assert passes.segment_id == "road-north"
    assert (passes.n_forward, passes.n_backward) == (1, 1)
    assert passes.blade == "inferred"


def test_one_twentieth_of_the_bits_wrong_changes_nothing(roads: RoadIndex) -> None:
    far = (1000.0, 0.0)
    clean = drive([((0.0, 0.0), far, 6.0, 1), (far, (0.0, 0.0), 30.0, 0)], noise_m=4.0)
    wrong = np.random.default_rng(5).random(clean.n) < 0.05
    faulty = Fixes(
        clean.time_s, clean.lon, clean.lat, np.where(wrong, 1 - clean.blade, clean.blade)
    )
    assert wrong.sum() > 10
    (passes,) = count_passes(legs_of(faulty, roads), roads.network, POLICY)
    assert (passes.n_forward, passes.n_backward) == (1, 0)


@pytest.mark.parametrize(("km_h", "is_fast"), [(7.6, False), (7.9, False), (9.0, True)])
def test_only_a_leg_clearly_above_common_practice_is_flagged(
    roads: RoadIndex, km_h: float, is_fast: bool
) -> None:
    for seed in range(4):
        fixes = drive([((0.0, 0.0), (1000.0, 0.0), km_h, 1)], noise_m=4.0, seed=seed)
        (leg,) = [leg for leg in legs_of(fixes, roads) if leg.is_down]
        assert leg.is_fast is is_fast
        assert leg.speed_error_km_h is not None
        assert 0 < leg.speed_error_km_h < 0.5


def test_a_halt_in_the_middle_does_not_slow_the_leg(roads: RoadIndex) -> None:
    fixes = drive(
        [((0.0, 0.0), (500.0, 0.0), 7.0, 1), ((500.0, 0.0), (1000.0, 0.0), 7.0, 1)],
        noise_m=2.0, pause_s=30.0,
    )  # fmt: skip
    fixes.blade[:] = 1
    (leg,) = [leg for leg in legs_of(fixes, roads) if leg.is_down and leg.length_m > 500]
    assert leg.speed_km_h == pytest.approx(7.0, abs=0.25)


def test_a_silence_is_not_filled_with_work(roads: RoadIndex) -> None:
    first = drive([((0.0, 0.0), (300.0, 0.0), 6.0, 1)], pause_s=0.0)
    later = drive(
        [((0.0, 700.0), (0.0, 1000.0), 6.0, 1)], pause_s=0.0, start_s=first.time_s[-1] + 100
    )
    both = Fixes(*(np.concatenate(pair) for pair in zip(
        (first.time_s, first.lon, first.lat, first.blade),
        (later.time_s, later.lon, later.lat, later.blade), strict=True,
    )))  # fmt: skip
    found = {p.segment_id: p for p in count_passes(legs_of(both, roads), roads.network, POLICY)}
    # 300 m east, then 700 m north in 100 s: that is 36 km/h and no work, though both ends say down
    assert found["road-north"].covered_m == pytest.approx(300.0, abs=45.0)
    assert found["road-east"].covered_m == pytest.approx(300.0, abs=45.0)


def test_clock_jumps_and_impossible_speeds_are_set_aside_with_counts() -> None:
    good = drive([((0.0, 0.0), (1000.0, 0.0), 30.0, 0)])
    time_s, lon, lat = good.time_s.copy(), good.lon.copy(), good.lat.copy()
    lon[20] += 0.05  # four kilometres in two seconds
    time_s[40] -= 3600
    lat[50] = np.nan
    lon[60] = lat[60] = 0.0
    time_s[70] = time_s[69]
    kept, why = set_aside(Fixes(time_s, lon, lat), POLICY)
    assert why == {
        "faster than a machine": 1,
        "clock jumped": 1,
        "no usable place or time": 2,
        "same time twice": 1,
    }
    assert kept.n == good.n - 5
    assert np.all(np.diff(kept.time_s) > 0)


def test_a_long_silence_ends_the_drive() -> None:
    fixes = drive([((0.0, 0.0), (500.0, 0.0), 20.0, 0)])
    late = Fixes(fixes.time_s + 7200, fixes.lon, fixes.lat, fixes.blade)
    both = Fixes(
        np.concatenate([fixes.time_s, late.time_s]),
        np.concatenate([fixes.lon, late.lon]),
        np.concatenate([fixes.lat, late.lat]),
    )
    assert [part.n for part in runs(both, longest_gap_s=300.0)] == [fixes.n, fixes.n]


def test_a_track_far_from_every_road_matches_nothing(roads: RoadIndex) -> None:
    lon, lat = PLANE.to_lonlat(np.linspace(400, 900, 200), np.linspace(400, 900, 200))
    fixes = Fixes(START_S + np.arange(200.0), lon, lat)
    course = match(fixes, roads, POLICY)
    assert np.all(course.segment == -1)
    assert find_legs(fixes, course, roads, POLICY) == []


def test_a_night_shift_belongs_to_the_local_day(roads: RoadIndex) -> None:
    from datetime import date, timedelta, timezone

    far = (1000.0, 0.0)
    late = drive([((0.0, 0.0), far, 6.0, 1)], start_s=START_S + 11.9 * 3600)
    zone = timezone(timedelta(hours=-6))
    span = [(float(late.time_s[0]), float(late.time_s[-1]))]
    (day,) = work_days(legs_of(late, roads), span, roads.network, zone, POLICY)
    # 23:54 UTC and on into the fifth, six in the evening of the fourth where the road is
    assert day.day == date(2026, 5, 4)
    assert day.passes[0].n_forward == 1


def test_in_a_dense_town_the_ways_held_at_once_are_bounded(
    roads: RoadIndex, monkeypatch: pytest.MonkeyPatch
) -> None:
    fixes = drive([((-900.0, 0.0), (0.0, 0.0), 30.0, 0), ((0.0, 0.0), (0.0, 900.0), 30.0, 0)])
    whole = match(fixes, roads, POLICY)
    monkeypatch.setattr("crossfall.network.matching._MOST_WAYS", 4)
    narrow = match(fixes, roads, POLICY)
    assert narrow.segment.tolist() == whole.segment.tolist()


def test_one_clock_ahead_by_a_year_costs_one_fix() -> None:
    good = drive([((0.0, 0.0), (1000.0, 0.0), 30.0, 0)])
    for ahead in (3.0e7, -3.0e7):
        time_s = good.time_s.copy()
        time_s[10] += ahead
        kept, why = set_aside(Fixes(time_s, good.lon, good.lat), POLICY)
        assert why == {"clock jumped": 1}
        assert kept.n == good.n - 1


def test_a_clock_that_was_wrong_for_a_while_costs_only_that_while() -> None:
    good = drive([((0.0, 0.0), (1000.0, 0.0), 6.0, 0)])
    time_s = good.time_s.copy()
    time_s[50:90] += 3600.0
    kept, why = set_aside(Fixes(time_s, good.lon, good.lat), POLICY)
    assert why == {"clock jumped": 40}
    assert kept.n == good.n - 40


@pytest.mark.parametrize("shape", ["newest first", "second half first"])
def test_another_order_in_the_file_costs_nothing(shape: str) -> None:
    good = drive([((0.0, 0.0), (1000.0, 0.0), 30.0, 0)])
    half = good.n // 2
    order = np.arange(good.n)[::-1] if shape == "newest first" else np.roll(np.arange(good.n), half)
    mixed = Fixes(good.time_s[order], good.lon[order], good.lat[order], good.blade[order])
    kept, why = set_aside(mixed, POLICY)
    assert why == {}
    assert kept.time_s.tolist() == good.time_s.tolist()
    assert kept.lon.tolist() == good.lon.tolist()
