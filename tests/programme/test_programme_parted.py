"""A large network in parts: one process, two workers, and two of which one is killed."""

from __future__ import annotations

import os
import signal
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from crossfall.errors import InputError
from crossfall.model import Policy
from crossfall.programme.block import make_block
from crossfall.programme.certify import certify
from crossfall.programme.choose import choose_among
from crossfall.programme.facts import table_of
from crossfall.programme.limits import Limits
from crossfall.programme.made import made_columns, made_limits
from crossfall.programme.parted import (
    InProcess,
    OnDask,
    Parted,
    PartedProgramme,
    facts_columns,
    facts_from,
    make_job,
    plan_parted,
)
from crossfall.programme.price import price
from crossfall.programme.simulate import course
from crossfall.programme.table import strategy_set

pq = pytest.importorskip("pyarrow.parquet", reason="needs the extra crossfall[scale]")

N, N_YEARS = 6_000, 8
POLICY = replace(
    Policy(),
    programme=replace(
        Policy().programme,
        solve=replace(Policy().programme.solve, sample_above=3_000, sample=1_500, core=300),
    ),
)
STRATEGIES = strategy_set(POLICY.programme.strategies)
YEARS = course(POLICY.programme, N_YEARS)


@pytest.fixture(scope="module")
def folder(tmp_path_factory) -> Path:
    from crossfall.io import partitions

    made = tmp_path_factory.mktemp("country")
    columns = made_columns(N, 4)
    half = {name: values[: N // 2 + 7] for name, values in columns.items()}
    rest = {name: values[N // 2 + 7 :] for name, values in columns.items()}
    partitions.write_segments(half, made, name="a")
    partitions.write_segments(rest, made, name="b")
    return made


def _source(folder: Path):
    from crossfall.io.partitions import ParquetSegments

    return ParquetSegments(folder)


@pytest.fixture(scope="module")
def whole(folder) -> tuple:
    """The choice of one process with everything in one table."""
    source = _source(folder)
    table = table_of(facts_from(source.read(0, N)), POLICY, pit_names=source.pit_names)
    block = make_block(table, STRATEGIES, YEARS)
    _, outcomes = block.rows(np.arange(N))
    free = price(outcomes, table, STRATEGIES, np.zeros((5, N_YEARS)))[1].use[0]
    limits = made_limits(free)
    choice = choose_among(block, limits, POLICY.programme.solve)
    proof = certify(choice.strategy, choice.prices, limits.stacked(), outcomes, table, STRATEGIES)
    assert proof.is_within_limits
    return choice, limits


def _same(found: PartedProgramme, whole: tuple) -> None:
    choice, _ = whole
    assert np.array_equal(found.choice.strategy, choice.strategy)
    assert found.choice.upper == pytest.approx(choice.upper, rel=1e-12)
    assert found.choice.lower == pytest.approx(choice.lower, rel=1e-12)
    assert np.allclose(found.choice.use, choice.use, rtol=1e-12, atol=0)
    assert np.allclose(found.choice.prices, choice.prices, rtol=1e-12, atol=0)
    assert found.certificate.is_within_limits


def _plan(folder: Path, limits: Limits, runner, **more) -> PartedProgramme:
    return plan_parted(
        _source(folder),
        POLICY,
        lambda pits: limits,
        n_years=N_YEARS,
        runner=runner,
        segments_a_part=1_000,
        **more,
    )


def test_parts_in_one_process_choose_as_the_whole_and_memory_is_bounded(
    folder, whole, tmp_path
) -> None:
    from crossfall.io.partitions import ParquetResults
    from crossfall.programme import parted

    found = _plan(
        folder,
        whole[1],
        InProcess(),
        kept_parts=2,
        sink=ParquetResults(tmp_path / "out"),
        first_year=2027,
    )
    _same(found, whole)
    assert len(parted._KEPT) <= 2
    assert "6,000 segments" in found.summary()
    rows = pq.read_table(tmp_path / "out")
    assert rows.num_rows == N
    assert rows.column("segment_id").to_pylist() == [f"m{index}" for index in range(N)]
    due = rows.column("n_regravels").to_numpy() > 0
    first = rows.column("first_regravel").to_numpy()
    assert np.all((first[due] >= 2027) & (first[due] < 2027 + N_YEARS))
    assert np.all(first[~due] == 0)
    assert rows.column("agency_minor").to_numpy().sum() == pytest.approx(
        found.use_minor.sum(), rel=1e-5
    )


@pytest.fixture
def cluster():
    distributed = pytest.importorskip("distributed", reason="needs the extra crossfall[scale]")
    with (
        distributed.LocalCluster(
            n_workers=2, threads_per_worker=1, dashboard_address=None, processes=True
        ) as made,
        distributed.Client(made) as client,
    ):
        yield client


def test_two_workers_choose_alike_and_a_killed_one_is_made_good(folder, whole, cluster) -> None:
    """One worker is killed once prices are found; its parts are rebuilt from their rows."""
    calm = _plan(folder, whole[1], OnDask(cluster))
    _same(calm, whole)
    killed: list[int] = []

    def kill_once(done: float, message: str) -> None:
        if done > 0.3 and not killed:
            pids = cluster.run(os.getpid)
            killed.append(next(iter(pids.values())))
            os.kill(killed[0], signal.SIGKILL)

    found = _plan(folder, whole[1], OnDask(cluster), progress=kill_once)
    assert killed
    _same(found, whole)


def test_every_answer_of_parts_is_that_of_the_block(folder) -> None:
    source = _source(folder)
    table = table_of(facts_from(source.read(0, N)), POLICY, pit_names=source.pit_names)
    block = make_block(table, STRATEGIES, YEARS)
    parts = Parted(make_job(source, POLICY, N_YEARS, 700, 64), InProcess())
    prices = np.random.default_rng(5).uniform(0, 0.3, (5, N_YEARS))
    other = prices * 1.4
    for ours, theirs in (
        (parts.sums_at(prices), block.sums_at(prices)),
        (parts.extremes(), block.extremes()),
        (parts.lasting(), block.lasting()),
    ):
        assert all(np.array_equal(a, b) for a, b in zip(ours, theirs, strict=True))
    assert np.array_equal(parts.regret(prices), block.regret(prices))
    shares = np.full((2, 256), 0.5)
    ours, theirs = (each.hesitant([prices, other], shares) for each in (parts, block))
    assert np.array_equal(ours.rows, theirs.rows)
    assert np.array_equal(ours.codes, theirs.codes)
    assert np.array_equal(ours.choice, theirs.choice)
    chosen = np.random.default_rng(1).permutation(N)[:400]
    (table_a, out_a), (table_b, out_b) = parts.rows(chosen), block.rows(chosen)
    assert np.array_equal(table_a.values, table_b.values)
    assert np.array_equal(out_a.cost, out_b.cost)


def test_facts_go_through_a_file_unchanged(folder) -> None:
    source, columns = _source(folder), made_columns(N, 4)
    read = source.read(2_990, 3_110)
    for name, values in facts_columns(facts_from(read)).items():
        assert np.array_equal(values, columns[name][2_990:3_110])


def _without(columns: dict, name: str) -> dict:
    return {each: values for each, values in columns.items() if each != name}


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda c: _without(c, "adt"), "lacks adt"),
        (lambda c: c | {"colour": c["pit"]}, "unknown colour"),
        (lambda c: c | {"adt": c["pit"]}, "column adt is string; expected numbers"),
    ],
)
def test_files_that_do_not_fit_are_named(
    tmp_path, change: Callable[[dict], dict], words: str
) -> None:
    import pyarrow as pa

    pq.write_table(pa.table(change(made_columns(300, 1))), tmp_path / "x.parquet")
    with pytest.raises(InputError, match=words):
        _source(tmp_path)


@pytest.mark.parametrize(
    ("column", "value", "words"),
    [
        ("adt", -4.0, "adt of segment m5 is -4"),
        ("gravel_mm", 2500.0, "gravel_mm of segment m5 is 2500"),
        ("width_m", float("nan"), "width_m of segment m5"),
    ],
)
def test_impossible_figures_of_a_part_are_named(tmp_path, column, value, words) -> None:
    from crossfall.io.partitions import write_segments

    columns = made_columns(300, 1)
    columns[column][5] = value
    write_segments(columns, tmp_path)
    limits = Limits(np.full(3, np.inf), np.full(3, np.inf), np.full((3, 3), np.inf))
    with pytest.raises(InputError, match=words):
        plan_parted(_source(tmp_path), POLICY, lambda pits: limits, n_years=3, runner=InProcess())


def test_an_empty_folder_and_one_with_results_are_named(tmp_path) -> None:
    from crossfall.io.partitions import ParquetResults

    with pytest.raises(InputError, match=r"no \.parquet files"):
        _source(tmp_path)
    (tmp_path / "years-00000.parquet").touch()
    with pytest.raises(InputError, match="holds results already"):
        ParquetResults(tmp_path)
