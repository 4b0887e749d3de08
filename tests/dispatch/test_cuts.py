"""The bound when everything must be done: never above any plan, exact where parity rules."""

from __future__ import annotations

import numpy as np
import pytest

from crossfall.dispatch.cut_sets import grow, weigh
from crossfall.dispatch.cuts import Roadwork, least_driving
from crossfall.dispatch.problem import build_problem
from crossfall.dispatch.serve_all import least_hours
from crossfall.dispatch.solve import improve
from crossfall.errors import InputError
from dispatch.small_weeks import MONDAY, NearGraph, OpenGates, crew, grid, job, rules


def square(n: int = 4, *, n_passes: int = 1, shift_work: float = np.inf) -> Roadwork:
    """A square grid of n × n junctions, roads of cost 1 and work 1, yard in the corner."""
    node = np.arange(n * n).reshape(n, n)
    start = np.concatenate([node[:, :-1].ravel(), node[:-1].ravel()])
    end = np.concatenate([node[:, 1:].ravel(), node[1:].ravel()])
    ones = np.ones(start.size)
    passes = np.full(start.size, n_passes)
    is_yard = np.arange(n * n) == 0
    supply = np.minimum(passes, 2)
    no_time = np.zeros(start.size)
    return Roadwork(
        start, end, ones, passes, supply, ones, is_yard, np.zeros(n * n), shift_work, no_time
    )


def chinese_postman(roadwork: Roadwork) -> float:
    """Least driving for one machine without limit: odd junctions paired, by brute force."""
    n = roadwork.n_nodes
    dist = np.full((n, n), np.inf)
    dist[roadwork.start, roadwork.end] = dist[roadwork.end, roadwork.start] = roadwork.cost
    np.fill_diagonal(dist, 0)
    for k in range(n):
        dist = np.minimum(dist, dist[:, [k]] + dist[[k]])
    degree = np.zeros(n, dtype=int)
    np.add.at(degree, roadwork.start, roadwork.n_passes)
    np.add.at(degree, roadwork.end, roadwork.n_passes)
    odd = [int(v) for v in np.flatnonzero(degree % 2)]

    def pair(left: tuple[int, ...]) -> float:
        if not left:
            return 0.0
        a, *rest = left
        return min(float(dist[a, b]) + pair(tuple(v for v in rest if v != b)) for b in rest)

    return pair(tuple(odd))


def test_one_machine_without_limit_is_the_postman() -> None:
    roadwork = square(4)
    found = least_driving(roadwork, seconds=1.0)
    assert found.driving == pytest.approx(chinese_postman(roadwork), abs=1e-6)


def test_even_passes_need_no_driving_without_limit() -> None:
    assert least_driving(square(3, n_passes=2), seconds=1.0).driving == pytest.approx(0, abs=1e-9)


def test_a_road_far_out_is_reached_by_driving() -> None:
    # A line of five junctions; only the last road is worked on
    start, end = np.arange(4), np.arange(1, 5)
    passes = np.array([0, 0, 0, 2])
    line = Roadwork(
        start, end, np.ones(4), passes, passes, passes.astype(float), np.arange(5) == 0,
        np.zeros(5), 10.0, np.zeros(4),
    )  # fmt: skip
    assert least_driving(line, seconds=1.0).driving == pytest.approx(6.0, abs=1e-6)


def test_sets_are_weighed_as_one_by_one() -> None:
    rng = np.random.default_rng(1)
    base = square(4, n_passes=3, shift_work=7.0)
    away = np.add.outer(np.arange(4), np.arange(4)).ravel() / 4.0
    roadwork = Roadwork(
        base.start, base.end, base.cost, rng.integers(0, 4, base.start.size),
        rng.integers(0, 3, base.start.size), rng.uniform(0, 2, base.start.size), base.is_yard,
        away, 7.0, base.cost / 5,
    )  # fmt: skip
    sets = rng.random((60, 16)) < 0.4
    sets[:, 0] = False
    sets = sets[sets.any(axis=1)]
    driven = rng.random(base.start.size)
    need, has, missed, rate = weigh(
        sets, roadwork.start, roadwork.end, roadwork.n_passes, roadwork.supply, roadwork.work,
        roadwork.away, 7.0, roadwork.takes, driven,
    )  # fmt: skip
    for inside, short, by in zip(sets, missed, rate, strict=True):
        across = roadwork.crossing(inside)
        both = inside[roadwork.start] & inside[roadwork.end]
        counted = both if by < 0 else both | across
        filled = abs(by) * (roadwork.work + roadwork.takes * driven)[counted].sum()
        assert short == pytest.approx(filled - (roadwork.supply + driven)[across].sum())
    for inside, asked, given in zip(sets, need, has, strict=True):
        assert asked == pytest.approx(roadwork.least_crossings(inside))
        assert given == pytest.approx(driven[roadwork.crossing(inside)].sum())


def test_grown_sets_miss_what_they_say() -> None:
    roadwork = square(5, n_passes=1, shift_work=6.0)
    seeds = np.arange(1, 25)
    driven = np.zeros(roadwork.start.size)
    found, breach = grow(
        seeds, np.full(24, 0.4), np.zeros((24, 25)), 25, *roadwork.incident, roadwork.is_yard,
        roadwork.n_passes, roadwork.supply, roadwork.work, roadwork.away, 6.0, driven,
    )  # fmt: skip
    assert (breach > 0).any()
    for inside, missed in zip(found[breach > 0], breach[breach > 0], strict=True):
        assert roadwork.least_crossings(inside) == pytest.approx(missed)
        assert not inside[0]


@pytest.mark.parametrize("seed", range(3))
def test_hours_of_found_plans_stay_above_the_bound(seed: int) -> None:
    rng = np.random.default_rng(seed)
    network = grid(4, 4)
    jobs = [
        job(s.id, passes=(12.0,) * int(rng.integers(1, 5)), benefit_h=100.0)
        for s in network.segments
    ]
    problem = build_problem(
        jobs, network, NearGraph(network), crew(2, shift_h=6.0), OpenGates(network, n_days=5),
        rules(hour_price=1.0).dispatch, first_day=MONDAY, n_days=5,
    )  # fmt: skip
    found = improve(
        problem, [()] * len(problem.shifts), seconds=1, seed=seed, iterations=1500, scale=0.5
    )
    assert sum(len(set(problem.blocks.stage[list(b)])) for b in found.blocks if b) == len(jobs)
    hours = 100.0 * len(jobs) - found.worth_h
    bound = least_hours(problem, seconds=1.0)
    work = float(problem.work_min.sum()) / 60
    assert work <= bound.any_plan_h <= bound.block_plan_h <= hours + 1e-6


def test_part_stages_have_no_such_bound() -> None:
    network = grid(2, 2)
    problem = build_problem(
        [job("h0-0", to_m=500.0)], network, NearGraph(network), crew(), OpenGates(network),
        rules().dispatch, first_day=MONDAY, n_days=1,
    )  # fmt: skip
    with pytest.raises(InputError, match="part of its segment"):
        least_hours(problem, seconds=1.0)
