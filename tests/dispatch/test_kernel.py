"""The compiled search agrees with plain numpy, and its records with what they stand for."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crossfall.dispatch import kernel
from crossfall.dispatch.baselines import BASELINES
from crossfall.dispatch.bound import upper_bound
from crossfall.dispatch.problem import build_problem
from crossfall.dispatch.solve import improve
from crossfall.dispatch.tables import routes_from, tables_of
from dispatch.small_weeks import MONDAY, NearGraph, OpenGates, crew, grid, job, rules


def problem_of(n: int = 4, *, n_graders: int = 2, shift_h: float = 6.0, n_days: int = 2):
    network = grid(n, n)
    rng = np.random.default_rng(n)
    jobs = [
        job(
            s.id,
            passes=(float(rng.uniform(10, 20)),) * int(rng.integers(1, 5)),
            benefit_h=float(rng.uniform(0.2, 4)),
        )
        for s in network.segments
    ]
    return build_problem(
        jobs,
        network,
        NearGraph(network),
        crew(n_graders, shift_h=shift_h),
        OpenGates(network),
        rules().dispatch,
        first_day=MONDAY,
        n_days=n_days,
    )


PROBLEM = problem_of()
TABLES = tables_of(PROBLEM)


@settings(max_examples=80, deadline=None)
@given(st.lists(st.integers(0, TABLES.ways.block.shape[0] - 1), max_size=9))
def test_minutes_of_a_shift_agree_with_plain_numpy(blocks: list[int]) -> None:
    routes = routes_from(TABLES, [()] * len(PROBLEM.shifts))
    routes.lines.seq[0, : len(blocks)] = blocks
    routes.lines.n[0] = len(blocks)
    kernel.refresh(TABLES.ways, routes.lines, 0)
    plain = kernel.plain_minutes(TABLES.ways, blocks, 0)
    assert routes.lines.minutes[0] == pytest.approx(plain, rel=1e-12)
    modes = routes.lines.mode[0, : len(blocks)]
    at, spent = PROBLEM.shift_start[0], 0.0
    for b, mode in zip(blocks, modes, strict=True):
        spent += PROBLEM.between[0, at, PROBLEM.blocks.enter[b, mode]]
        spent += PROBLEM.blocks.minutes[0, b, mode]
        at = PROBLEM.blocks.leave[b, mode]
    assert spent + PROBLEM.between[0, at, PROBLEM.shift_home[0]] == pytest.approx(plain, rel=1e-6)


def test_the_best_place_is_the_best_of_all_places() -> None:
    there = tuple(int(b) for b in TABLES.option[:3, 0, 0])
    routes = routes_from(TABLES, [there] + [()] * 3)
    b = int(TABLES.option[4, 0, 0])
    total, place = kernel.whole_at(TABLES.ways, routes.lines, 0, b, 0, np.ones(1, np.uint64), 0.0)
    tried = [kernel.plain_minutes(TABLES.ways, [*there[:i], b, *there[i:]], 0) for i in range(4)]
    assert total == pytest.approx(min(tried))
    assert tried[place] == pytest.approx(min(tried))


def test_search_only_gets_better_and_stays_under_the_limit() -> None:
    bound = upper_bound(PROBLEM).worth_h
    for baseline in BASELINES.values():
        start = baseline(PROBLEM)
        better = improve(PROBLEM, start.blocks, seconds=1.0, seed=1, iterations=400)
        assert better.worth_h >= start.worth_h - 1e-9
        assert better.worth_h <= bound
        tables = TABLES
        for h, blocks in enumerate(better.blocks):
            minutes = kernel.plain_minutes(tables.ways, list(blocks), h)
            assert minutes <= PROBLEM.shifts[h].usable_min


def test_draws_are_even() -> None:
    rng = np.array([12345], dtype=np.uint64)
    drawn = np.array([kernel.draw(rng) for _ in range(4000)])
    assert drawn.min() >= 0
    assert drawn.max() < 1
    assert drawn.mean() == pytest.approx(0.5, abs=0.02)
