"""Capacitated arc routing: the published instances, solved by the dispatcher's own search.

Usage::

    python benchmarks/carp.py PATH --seconds 10 --seed 1 [--bound-seconds 20] [--only gdb] [--json]

PATH is one instance or a folder of them. A file holds the number of junctions
and of roads; for each road two junctions, cost and demand; then vehicles,
capacity, a lower bound and the best known cost. The last integer is taken as
best known. The fleet is not capped: vehicles beyond the listed number are
there. Roads without demand need no service. The depot is junction 0.

One JSON line for each instance: name, cost, best_known, gap_pct, bound,
bound_gap_pct (of the best known), seconds and cpu_s of the search, bound_s. The
search stops early only when its cost meets its own bound; compiling is not counted.
"""

from __future__ import annotations

import argparse
import json
import statistics
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from scipy.sparse import csr_array
from scipy.sparse.csgraph import dijkstra

from crossfall.dispatch import kernel
from crossfall.dispatch.cuts import Roadwork, least_driving
from crossfall.dispatch.kernel import Tables, Ways
from crossfall.dispatch.solve import Tuning, improve_tables
from crossfall.model import quiet


@dataclass(frozen=True)
class Instance:
    """One instance as read."""

    name: str
    start: np.ndarray
    end: np.ndarray
    cost: np.ndarray
    demand: np.ndarray
    n_nodes: int
    vehicles: int
    capacity: int
    best_known: int


def read_instance(path: Path) -> Instance:
    """Read one file; a sentence that names the file when it is something else."""
    try:
        numbers = [[int(word) for word in line.split()] for line in path.read_text().splitlines()]
    except ValueError:
        raise SystemExit(f"{path}: expected lines of integers") from None
    lines = [line for line in numbers if line]
    if len(lines) < 6 or len(lines) < 2 + lines[1][0] + 4:
        raise SystemExit(f"{path}: expected junctions, roads, one line a road, then four integers")
    n_roads = lines[1][0]
    roads = np.array(lines[2 : 2 + n_roads], dtype=np.int64)
    tail = lines[2 + n_roads :]
    return Instance(
        path.stem,
        roads[:, 0],
        roads[:, 1],
        roads[:, 2],
        roads[:, 3],
        max(lines[0][0], int(roads[:, :2].max()) + 1),
        tail[0][0],
        tail[1][0],
        tail[-1][0],
    )


def tables_for(instance: Instance) -> Tables:
    """The instance as the search wants it: one block with two directions for each required road."""
    required = np.flatnonzero(instance.demand > 0)
    n = required.size
    graph = csr_array(
        (
            np.tile(np.maximum(instance.cost, 1e-9), 2),
            (
                np.concatenate([instance.start, instance.end]),
                np.concatenate([instance.end, instance.start]),
            ),
        ),
        shape=(instance.n_nodes, instance.n_nodes),
    )
    # Of parallel roads the cheaper counts for driving
    dense = np.full((instance.n_nodes, instance.n_nodes), np.inf)
    np.minimum.at(dense, (instance.start, instance.end), instance.cost)
    dense = np.minimum(dense, dense.T)
    dense[~np.isfinite(dense)] = 0.0
    dist = np.round(dijkstra(csr_array(dense))) if graph.nnz else np.zeros((1, 1))
    tail = np.append(np.column_stack([instance.start[required], instance.end[required]]).ravel(), 0)
    head = np.append(np.column_stack([instance.end[required], instance.start[required]]).ravel(), 0)
    between = dist[np.ix_(head, tail)].astype(np.float32)[None]
    ports = np.arange(2 * n).reshape(n, 2)
    blocks = np.zeros((n, kernel.LAST + 4), dtype=np.int32)
    blocks[:, kernel.STAGE] = np.arange(n)
    blocks[:, kernel.N_MODES] = 2
    blocks[:, kernel.ENTER : kernel.ENTER + 2] = ports
    blocks[:, kernel.LEAVE : kernel.LEAVE + 2] = ports
    service = instance.cost[required].astype(float)
    minutes = np.full((1, n, 4), np.inf)
    minutes[0, :, :2] = service[:, None]
    fewest = int(np.ceil(instance.demand.sum() / instance.capacity))
    n_shifts = min(n, 2 * max(fewest, instance.vehicles if instance.vehicles < n else 0) + 4)
    shift = np.zeros((n_shifts, 5), dtype=np.int64)
    shift[:, [kernel.START, kernel.HOME]] = 2 * n
    stage = np.zeros((n + 1, kernel.BAN + 1), dtype=np.int64)
    stage[:, kernel.N_OPTIONS] = 1
    stage[:, kernel.ROW] = -1
    demand = instance.demand[required].astype(float)
    apart = between[0, : 2 * n, : 2 * n].reshape(n, 2, n, 2).min(axis=(1, 3)).astype(float)
    np.fill_diagonal(apart, -1)
    width = min(n, 100)
    near = np.argsort(apart, axis=1, kind="stable")[:, :width].astype(np.int32)
    far = dist[0][np.column_stack([instance.start[required], instance.end[required]])].min(axis=1)
    much = 100.0 * float(instance.cost.sum() + dist.max())
    return Tables(
        ways=Ways(between, blocks, minutes, np.zeros(n), shift),
        option=np.stack([np.arange(n), np.full(n, -1)], axis=1)[:, None].astype(np.int32),
        stage=stage,
        stage_real=np.column_stack([demand, np.zeros((n, 4))]),
        shift_real=np.column_stack(
            [
                np.full(n_shifts, 1e18),
                np.full(n_shifts, float(instance.capacity)),
                np.zeros((n_shifts, 3)),
                np.full(n_shifts, 1e18),
            ]
        ),
        ok=np.ones((n, n_shifts), dtype=bool),
        worth=np.full((n, n_shifts), much),
        before=np.zeros(0, dtype=np.int64),
        behind=np.zeros(0, dtype=np.int64),
        need=np.zeros((0, 3)),
        ban=np.zeros((0, 3)),
        wet=np.zeros((n, 1), dtype=bool),
        machine=np.zeros((0, 3), dtype=np.int64),
        window=np.zeros((0, 1, 3)),
        drive=np.zeros((1, 0, 0), dtype=np.float32),
        rest=np.zeros((1, n)),
        port_place=np.full((2 * n, 2), -1, dtype=np.int64),
        first_shift=np.array([0, n_shifts]),
        near=near,
        seeds=np.arange(n),
        keys=np.stack([-demand, -far, far]),
        rules=np.cumsum([4 / 11, 2 / 11, 1 / 11]),
        price=1.0,
        over_price=0.0,
        most_open=0.0,
        most_open_min=0.0,
        water_kind=0,
        is_narrow=False,
    )


def bound_of(instance: Instance, seconds: float) -> int:
    """Cost that no solution goes below."""
    is_yard = np.zeros(instance.n_nodes, dtype=bool)
    is_yard[0] = True
    needed = (instance.demand > 0).astype(np.int64)
    roadwork = Roadwork(
        instance.start,
        instance.end,
        instance.cost.astype(float),
        needed,
        needed,
        instance.demand.astype(float),
        is_yard,
        np.zeros(instance.n_nodes),
        float(instance.capacity),
        np.zeros(instance.cost.size),
    )
    driving = least_driving(roadwork, seconds=seconds).driving
    return int(instance.cost[instance.demand > 0].sum()) + int(np.ceil(driving - 1e-6))


def solve(
    instance: Instance, *, seconds: float, seed: int, bound: int, n_searches: int
) -> tuple[int, float, float]:
    """Best cost found, wall and CPU seconds."""
    tables = tables_for(instance)
    n = tables.ok.shape[0]
    much = float(tables.worth[0, 0])

    class Proved(Exception):  # noqa: N818
        pass

    best = [np.inf]

    def note(worth: float) -> None:
        best[0] = min(best[0], n * much - worth)
        if best[0] <= bound + 1e-6:
            raise Proved

    began, cpu = time.perf_counter(), time.process_time()
    try:
        found = improve_tables(
            tables,
            [()] * tables.ok.shape[1],
            seconds=seconds,
            seed=seed,
            iterations=None,
            n_searches=n_searches,
            progress=quiet,
            tuning=Tuning(),
            scale=float(instance.cost[instance.demand > 0].mean()),
            note=note,
        )
        best[0] = min(best[0], n * much - found.worth_h)
    except Proved:
        pass
    return round(best[0]), time.perf_counter() - began, time.process_time() - cpu


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("path", type=Path)
    parser.add_argument("--seconds", type=float, default=10.0)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--bound-seconds", type=float, default=20.0)
    parser.add_argument("--searches", type=int, default=2, help="searches side by side")
    parser.add_argument("--only", default="", help="only files whose names begin with this")
    parser.add_argument("--json", action="store_true", help="one JSON line for each instance")
    given = parser.parse_args()
    paths = [given.path] if given.path.is_file() else sorted(given.path.glob("*.dat"))
    paths = [path for path in paths if path.stem.startswith(given.only)]
    if not paths:
        raise SystemExit(f"{given.path}: no instance (*.dat) there")
    solve(read_instance(paths[0]), seconds=0.01, seed=1, bound=0, n_searches=1)
    rows = []
    for path in paths:
        instance = read_instance(path)
        began = time.perf_counter()
        bound = bound_of(instance, given.bound_seconds) if given.bound_seconds > 0 else 0
        bound_s = time.perf_counter() - began
        cost, wall, cpu = solve(
            instance,
            seconds=given.seconds,
            seed=given.seed,
            bound=bound,
            n_searches=given.searches,
        )
        known = instance.best_known
        row = {
            "name": instance.name,
            "cost": cost,
            "best_known": known,
            "gap_pct": round(100 * (cost - known) / known, 4),
            "bound": bound,
            "bound_gap_pct": round(100 * (known - bound) / known, 4),
            "seconds": round(wall, 2),
            "cpu_s": round(cpu, 2),
            "bound_s": round(bound_s, 2),
        }
        rows.append(row)
        if given.json:
            print(json.dumps(row), flush=True)
        else:
            print(
                f"{instance.name:8} cost {cost:6} best known {known:6} gap {row['gap_pct']:6.2f} %"
                f"  bound {bound:6} ({row['bound_gap_pct']:.2f} % below)  {wall:.1f} s",
                flush=True,
            )
    if not given.json:
        mean = statistics.fmean(row["gap_pct"] for row in rows)
        below = statistics.fmean(row["bound_gap_pct"] for row in rows)
        met = sum(row["gap_pct"] <= 0 for row in rows)
        print(
            f"{len(rows)} instances: mean gap {mean:.3f} %, {met} at best known or below;"
            f" bound {below:.3f} % below best known on average"
        )


if __name__ == "__main__":
    main()
