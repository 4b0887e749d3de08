"""When everything must be done: the least driving that any plan needs, by cutting planes.

Take any set of junctions with no yard in it. The work touching it needs some
number of shifts at least, and each of them crosses into the set and out again.
Passes over roads on the edge of the set are crossings; what they do not provide
must be driven with the blade up. And since a machine that goes in comes out, an
odd number of passes across the edge leaves at least one crossing to be driven.
A linear programme over driven crossings of each road (HiGHS), given such cuts as
it breaks them, bounds the driving from below. After Belenguer and Benavent, "A
cutting plane algorithm for the capacitated arc routing problem" (Computers and
Operations Research, 2003; recalled).

The result is rebuilt from the cuts' prices by weak duality, so it holds
whenever the search for cuts is stopped.
"""

from __future__ import annotations

import itertools
import time
from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import highspy
import numpy as np
import numpy.typing as npt
from scipy.sparse import csr_array
from scipy.sparse.csgraph import connected_components, maximum_flow

from crossfall.dispatch.cut_sets import grow, weigh
from crossfall.dispatch.lp import SilentHighs

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Flags = npt.NDArray[np.bool_]

_SCALE = 1_000_000
_LEAST_BREACH = 1e-4
_MOST_CUTS_A_ROUND = 200
_FEW_CUTS = 3
_MOST_SEEDS = 150
_SEED_WORK = 100_000
_MOST_BARREN = 8
_LARGEST_GROWN = 400


@dataclass(frozen=True)
class Roadwork:
    """Roads between junctions, the passes each needs, and how much one shift can do.

    Arrays over roads: ``start``, ``end`` (junction), ``cost`` of driving once, ``n_passes``,
    ``supply`` (crossings that the passes give to shifts that need two each: no road serves more
    than one shift, so at most two), ``work`` in the unit of ``shift_work``; over junctions:
    ``is_yard`` and ``away``, what reaching the junction from the nearest yard takes of a shift (0
    where only loads count).
    """

    start: Ints
    end: Ints
    cost: Floats
    n_passes: Ints
    supply: Ints
    work: Floats
    is_yard: Flags
    away: Floats
    shift_work: float
    takes: Floats

    @property
    def n_nodes(self) -> int:
        return int(self.is_yard.size)

    @cached_property
    def incident(self) -> tuple[Ints, Ints, Ints]:
        """Roads that meet at each junction and where they lead: pointers, roads, other ends."""
        here = np.concatenate([self.start, self.end])
        there = np.concatenate([self.end, self.start])
        road = np.tile(np.arange(self.start.size), 2)
        is_loop = (here == there) & (np.arange(here.size) >= self.start.size)
        here, there, road = here[~is_loop], there[~is_loop], road[~is_loop]
        order = np.argsort(here, kind="stable")
        pointer = np.concatenate([[0], np.cumsum(np.bincount(here, minlength=self.n_nodes))])
        return pointer.astype(np.int64), road[order], there[order]

    def crossing(self, inside: Flags) -> Flags:
        """Roads with exactly one end in the set."""
        return np.asarray(inside[self.start] != inside[self.end])

    def least_crossings(self, inside: Flags) -> float:
        """Driven crossings that the set needs whatever the plan: shifts and parity, the more."""
        across = self.crossing(inside)
        is_odd = float(self.n_passes[across].sum() % 2)
        need = 2.0 * self.least_shifts(inside, across) - float(self.supply[across].sum())
        return max(need, is_odd, 0.0)

    def least_shifts(self, inside: Flags, across: Flags) -> float:
        """Shifts that must enter the set to do the work in it and across its edge."""
        both = inside[self.start] & inside[self.end]
        deep = float(self.work[both].sum())
        wide = deep + float(self.work[across].sum())
        near = self.shift_work - 2 * float(self.away[inside].min())
        # Work across the edge is done on the way in, so only what lies before it shortens the shift
        outer = inside.copy()
        outer[self.start[across]] = outer[self.end[across]] = True
        far = self.shift_work - 2 * float(self.away[outer].min())
        shifts = max(_ratio(deep, near), _ratio(wide, far))
        return float(np.ceil(shifts - 1e-9))


@dataclass(frozen=True)
class CutBound:
    """The least driving, and how it was come by."""

    driving: float
    n_cuts: int
    n_rounds: int
    seconds: float


def least_driving(
    roadwork: Roadwork,
    *,
    seconds: float = 10.0,
    seed: int = 1,
    whole_share: float = 0.5,
    check: Callable[[], None] = lambda: None,
) -> CutBound:
    """No plan that does all the work drives less than this, in the unit of ``roadwork.cost``.

    For ``whole_share`` of the time crossings are also held to whole numbers, by HiGHS's
    branching; the rest of the time fractions are allowed while cuts are sought.
    """
    began = time.monotonic()
    rng = np.random.default_rng(seed)
    programme = _Programme(roadwork)
    programme.add(_first_sets(roadwork))
    n_rounds = 0
    fractions_until = began + seconds * (1 - whole_share)
    n_grown, n_barren = 20, 0
    most_seeds = max(_MOST_SEEDS, _SEED_WORK // roadwork.n_nodes)
    while time.monotonic() < fractions_until:
        check()
        n_rounds += 1
        driven = programme.solve(max(0.05, fractions_until - time.monotonic()))
        found = _component_sets(roadwork, driven) + _odd_sets(roadwork, driven, rng)
        if roadwork.shift_work < np.inf:
            found += _flow_sets(roadwork, driven)
        found += _grown_sets(roadwork, driven, rng, n_grown)
        n_new = programme.add(found, driven)
        n_barren = n_barren + 1 if n_new == 0 else 0
        if n_barren > _MOST_BARREN:
            break
        if n_new < _FEW_CUTS:
            # Cuts get rare: look longer before giving up
            n_grown = min(2 * n_grown, most_seeds)
    programme.solve(0.5)
    best = programme.safe_value()
    n_barren = 0
    while whole_share > 0 and (left := began + seconds - time.monotonic()) > 0:
        check()
        n_rounds += 1
        limit, driven = programme.solve_whole(left)
        best = max(best, limit)
        found = _component_sets(roadwork, driven) + _odd_sets(roadwork, driven, rng)
        found += _flow_sets(roadwork, driven)
        found += _grown_sets(roadwork, driven, rng, 4 * most_seeds)
        while programme.add(found, driven) == 0:
            n_barren += 1
            if n_barren > _MOST_BARREN:
                break
            found = _grown_sets(roadwork, driven, rng, 8 * most_seeds)
        else:
            n_barren = 0
        if n_barren:
            break
    return CutBound(best, programme.n_cuts, n_rounds, time.monotonic() - began)


class _Programme:
    """min cost·x, x across each set >= its need, x >= 0, growing row by row."""

    def __init__(self, roadwork: Roadwork) -> None:
        self.roadwork = roadwork
        self.solver: Any = SilentHighs()  # type: ignore[no-untyped-call]
        self.solver.setOptionValue("threads", 1)
        n = roadwork.cost.size
        self.solver.addVars(n, np.zeros(n), np.full(n, highspy.kHighsInf))
        self.solver.changeColsCost(n, np.arange(n, dtype=np.int32), roadwork.cost)
        self.rows: list[tuple[Ints, Floats]] = []
        self.needs: list[float] = []
        self.known: set[bytes] = set()
        self.driven = np.zeros(n)
        self.prices = np.zeros(0)

    @property
    def n_cuts(self) -> int:
        return len(self.rows)

    def add(self, sets: list[Flags], driven: Floats | None = None) -> int:
        """Add the most broken of the sets as rows; returns how many were new and broken."""
        if not sets:
            return 0
        work = self.roadwork
        batch = np.array(sets)
        batch = batch[batch.any(axis=1) & ~(batch & work.is_yard).any(axis=1)]
        point = self.driven if driven is None else driven
        need, has, missed, rate = weigh(
            batch,
            work.start,
            work.end,
            work.n_passes,
            work.supply,
            work.work,
            work.away,
            work.shift_work,
            work.takes,
            point,
        )
        broken: list[tuple[float, Ints, Floats, float]] = []
        for k in np.flatnonzero(need - has > _LEAST_BREACH):
            columns = np.flatnonzero(work.crossing(batch[k]))
            self._collect(broken, columns, np.ones(columns.size), float(need[k]), point)
        if work.takes.any():
            for k in np.flatnonzero((missed > _LEAST_BREACH) & np.isfinite(rate)):
                self._collect(broken, *self._timed_row(batch[k], float(rate[k])), point)
        broken.sort(key=lambda each: -each[0])
        for _, columns, values, least in broken[:_MOST_CUTS_A_ROUND]:
            self.known.add(columns.tobytes() + values.tobytes())
            self.rows.append((columns, values))
            self.needs.append(least)
            self.solver.addRow(
                least, highspy.kHighsInf, columns.size, columns.astype(np.int32), values
            )
        return min(len(broken), _MOST_CUTS_A_ROUND)

    def _collect(
        self,
        broken: list[tuple[float, Ints, Floats, float]],
        columns: Ints,
        values: Floats,
        least: float,
        point: Floats,
    ) -> None:
        breach = least - float(values @ point[columns])
        is_new = columns.tobytes() + values.tobytes() not in self.known
        if columns.size and is_new and breach > _LEAST_BREACH:
            broken.append((breach / float(np.linalg.norm(values)), columns, values, least))

    def _timed_row(self, inside: Flags, rate: float) -> tuple[Ints, Floats, float]:
        """Crossings are at least twice the shifts that the work and the driving in the set fill."""
        work = self.roadwork
        across = work.crossing(inside)
        both = inside[work.start] & inside[work.end]
        counted = both if rate < 0 else both | across
        values = np.where(across, 1.0, 0.0) - np.where(counted, abs(rate) * work.takes, 0.0)
        least = abs(rate) * float(work.work[counted].sum()) - float(work.supply[across].sum())
        columns = np.flatnonzero(values)
        return columns, values[columns], least

    def solve(self, seconds: float) -> Floats:
        self.solver.setOptionValue("time_limit", float(self.solver.getRunTime() + seconds))
        self.solver.run()
        solution = self.solver.getSolution()
        if len(solution.col_value) == self.driven.size:
            self.driven = np.array(solution.col_value)
            self.prices = np.array(solution.row_dual)
        return self.driven

    def solve_whole(self, seconds: float) -> tuple[float, Floats]:
        """Limit from branching on whole crossings, and the best whole crossings met."""
        n = self.driven.size
        solver: Any = SilentHighs()  # type: ignore[no-untyped-call]
        solver.setOptionValue("threads", 1)
        solver.passModel(self.solver.getModel())
        kinds = np.full(n, int(highspy.HighsVarType.kInteger), dtype=np.uint8)
        solver.changeColsIntegrality(n, np.arange(n, dtype=np.int32), kinds)
        self._add_parity(solver)
        solver.setOptionValue("mip_rel_gap", 1e-6)
        solver.setOptionValue("time_limit", float(seconds))
        solver.run()
        limit = float(solver.getInfo().mip_dual_bound)
        values = np.array(solver.getSolution().col_value)
        driven = np.round(values[:n]) if values.size >= n else self.driven
        return (limit if np.isfinite(limit) else 0.0), driven

    def _add_parity(self, solver: Any) -> None:
        """Machines come and go: at each junction passes and driving together are even."""
        pointer, road_at, other_at = self.roadwork.incident
        for v in range(self.roadwork.n_nodes):
            here = slice(pointer[v], pointer[v + 1])
            roads = road_at[here][other_at[here] != v]
            if roads.size == 0:
                continue
            pairs = solver.getNumCol()
            solver.addVar(0.0, highspy.kHighsInf)
            solver.changeColIntegrality(pairs, highspy.HighsVarType.kInteger)
            columns = np.append(roads, pairs).astype(np.int32)
            values = np.append(np.ones(roads.size), -2.0)
            passes = -float(self.roadwork.n_passes[roads].sum())
            solver.addRow(passes, passes, columns.size, columns, values)

    def safe_value(self) -> float:
        """Weak duality: prices made feasible bound the cost from below, however they came about."""
        if not self.rows or self.prices.size == 0:
            return 0.0
        prices = np.maximum(self.prices[: len(self.rows)], 0.0)
        load = np.zeros(self.driven.size)
        for (columns, values), price in zip(self.rows, prices, strict=False):
            load[columns] += price * values
        cost = self.roadwork.cost
        used = load > 1e-12
        shrink = min(1.0, float((cost[used] / load[used]).min())) if used.any() else 1.0
        return float(np.dot(prices, self.needs[: prices.size])) * shrink


def _first_sets(roadwork: Roadwork) -> list[Flags]:
    """Every junction alone, and everything beyond each distance from the yards."""
    n = roadwork.n_nodes
    sets = [np.eye(1, n, v, dtype=bool)[0] for v in range(n) if not roadwork.is_yard[v]]
    steps = _steps_from_yards(roadwork)
    for level in range(1, int(steps.max()) + 1):
        sets += _pieces(roadwork, steps >= level)
    if roadwork.away.max() > 0:
        for far in np.unique(np.quantile(roadwork.away, np.linspace(0.02, 0.98, 60))):
            sets += _pieces(roadwork, (roadwork.away >= far) & ~roadwork.is_yard)
    return sets


def _steps_from_yards(roadwork: Roadwork) -> Ints:
    steps = np.where(roadwork.is_yard, 0, np.iinfo(np.int64).max // 2)
    changed = True
    while changed:
        before = steps.copy()
        np.minimum.at(steps, roadwork.start, before[roadwork.end] + 1)
        np.minimum.at(steps, roadwork.end, before[roadwork.start] + 1)
        changed = bool((steps < before).any())
    return np.where(steps > roadwork.n_nodes, 0, steps)


def _pieces(roadwork: Roadwork, inside: Flags) -> list[Flags]:
    """The set, and its connected pieces."""
    if not inside.any():
        return []
    both = inside[roadwork.start] & inside[roadwork.end]
    n_pieces, piece = _components(roadwork, both)
    pieces = [piece == k for k in np.unique(piece[inside])]
    return [inside, *pieces] if n_pieces > 1 else [inside]


def _components(roadwork: Roadwork, roads: Flags) -> tuple[int, Ints]:
    graph = csr_array(
        (np.ones(int(roads.sum())), (roadwork.start[roads], roadwork.end[roads])),
        shape=(roadwork.n_nodes, roadwork.n_nodes),
    )
    count, label = connected_components(graph, directed=False)
    return int(count), label.astype(np.int64)


def _component_sets(roadwork: Roadwork, driven: Floats) -> list[Flags]:
    """Pieces of the network held together by driving alone, or by little driving too."""
    sets: list[Flags] = []
    for least in (1e-6, 0.25, 0.5, 0.75, 0.99):
        _, piece = _components(roadwork, driven > least)
        for k in np.unique(piece):
            inside = piece == k
            sets.append(~inside if (inside & roadwork.is_yard).any() else inside)
    return sets


def _odd_sets(roadwork: Roadwork, driven: Floats, rng: np.random.Generator) -> list[Flags]:
    """Least driven cuts between junctions where an odd number of passes meet."""
    odd = np.zeros(roadwork.n_nodes, dtype=np.int64)
    np.add.at(odd, roadwork.start, roadwork.n_passes)
    np.add.at(odd, roadwork.end, roadwork.n_passes)
    nodes = np.flatnonzero(odd % 2)
    if nodes.size < 2:
        return []
    sets: list[Flags] = []
    capacity = np.round(driven * _SCALE).astype(np.int64)
    graph = _flow_graph(roadwork.n_nodes, roadwork.start, roadwork.end, capacity)
    n_pairs = min(nodes.size - 1, 40)
    picked = rng.permutation(nodes)[: n_pairs + 1]
    for source, sink in itertools.pairwise(picked):
        side = _source_side(graph, int(source), int(sink))
        sets += [each for each in (side, ~side) if not (each & roadwork.is_yard).any()]
    return sets


def _flow_sets(roadwork: Roadwork, driven: Floats) -> list[Flags]:
    """Sets whose work breaks the shifts' limit most, by one largest flow for each rounding.

    The least over sets of crossings less twice the work over ``shift_work`` is a least cut.
    """
    n, sets = roadwork.n_nodes, []
    source, sink = n, n + 1
    for share in (1.0, 0.9, 0.75, 1.1, 1.3, 1.6):
        rate = 2.0 * share / roadwork.shift_work
        # A road counts in full when either end is inside: its own crossing pays for half of it
        weight = np.zeros(n)
        np.add.at(weight, roadwork.start, rate * roadwork.work / 2)
        np.add.at(weight, roadwork.end, rate * roadwork.work / 2)
        across = np.maximum(0.0, driven + roadwork.supply - rate * roadwork.work / 2)
        start = np.concatenate(
            [roadwork.start, np.full(n, source), np.flatnonzero(roadwork.is_yard)]
        )
        end = np.concatenate(
            [roadwork.end, np.arange(n), np.full(int(roadwork.is_yard.sum()), sink)]
        )
        capacity = np.concatenate([across, weight, np.full(int(roadwork.is_yard.sum()), 1e3)])
        graph = _flow_graph(n + 2, start, end, np.round(capacity * _SCALE / 10).astype(np.int64))
        inside = _source_side(graph, source, sink)[:n]
        if inside.any() and not (inside & roadwork.is_yard).any():
            sets += _pieces(roadwork, inside)
    return sets


def _flow_graph(n: int, start: Ints, end: Ints, capacity: Ints) -> csr_array:
    both = np.concatenate([capacity, capacity])
    graph = csr_array(
        (both, (np.concatenate([start, end]), np.concatenate([end, start]))), shape=(n, n)
    )
    graph.sum_duplicates()
    graph.data = np.minimum(graph.data, 2**31 - 1).astype(np.int32)
    return csr_array(graph, dtype=np.int32)


def _source_side(graph: csr_array, source: int, sink: int) -> Flags:
    """Junctions still reached from the source when a largest flow has gone through."""
    flow = maximum_flow(graph, source, sink).flow
    left = csr_array(graph - flow)
    left.data = np.where(left.data > 0, left.data, 0)
    left.eliminate_zeros()
    reached = np.zeros(graph.shape[0], dtype=bool)
    reached[source] = True
    stack = [source]
    while stack:
        node = stack.pop()
        for other in left.indices[left.indptr[node] : left.indptr[node + 1]]:
            if not reached[other]:
                reached[other] = True
                stack.append(int(other))
    return reached


def _grown_sets(
    roadwork: Roadwork, driven: Floats, rng: np.random.Generator, n_seeds: int
) -> list[Flags]:
    """Sets grown junction by junction so that crossings stay few for the work inside."""
    nodes = np.flatnonzero(~roadwork.is_yard)
    seeds = rng.choice(nodes, n_seeds)
    rate = 2.0 / roadwork.shift_work if roadwork.shift_work < np.inf else 0.0
    found, breach = grow(
        seeds,
        rate * rng.uniform(0.4, 2.5, seeds.size),
        rng.uniform(0.0, 2.0, (seeds.size, roadwork.n_nodes)) * rng.random((seeds.size, 1)) ** 2,
        min(roadwork.n_nodes, _LARGEST_GROWN),
        *roadwork.incident,
        roadwork.is_yard,
        roadwork.n_passes,
        roadwork.supply,
        roadwork.work,
        roadwork.away,
        roadwork.shift_work,
        driven,
    )
    return list(found[breach > 0])


def _ratio(work: float, room: float) -> float:
    if work <= 0:
        return 0.0
    return work / room if room > 0 else np.inf
