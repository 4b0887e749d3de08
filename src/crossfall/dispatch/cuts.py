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
from typing import Any

import highspy
import numpy as np
import numpy.typing as npt
from scipy.sparse import csr_array
from scipy.sparse.csgraph import connected_components, maximum_flow

from crossfall.dispatch.lp import SilentHighs

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Flags = npt.NDArray[np.bool_]

_SCALE = 1_000_000
_LEAST_BREACH = 1e-4
_MOST_CUTS_A_ROUND = 200


@dataclass(frozen=True)
class Roadwork:
    """Roads between junctions, the passes each needs, and how much one shift can do.

    Arrays over roads: ``start``, ``end`` (junction), ``cost`` of driving once, ``n_passes``,
    ``work`` in the unit of ``shift_work``; over junctions: ``is_yard`` and ``away``, what reaching
    the junction from the nearest yard takes of a shift (0 where only loads count).
    """

    start: Ints
    end: Ints
    cost: Floats
    n_passes: Ints
    work: Floats
    is_yard: Flags
    away: Floats
    shift_work: float

    @property
    def n_nodes(self) -> int:
        return int(self.is_yard.size)

    def crossing(self, inside: Flags) -> Flags:
        """Roads with exactly one end in the set."""
        return np.asarray(inside[self.start] != inside[self.end])

    def least_crossings(self, inside: Flags) -> float:
        """Driven crossings that the set needs whatever the plan: shifts and parity, the more."""
        across = self.crossing(inside)
        n_passes = int(self.n_passes[across].sum())
        need = 2.0 * self.least_shifts(inside, across) - n_passes
        return max(need, float(n_passes % 2), 0.0)

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
    check: Callable[[], None] = lambda: None,
) -> CutBound:
    """No plan that does all the work drives less than this, in the unit of ``roadwork.cost``."""
    began = time.monotonic()
    rng = np.random.default_rng(seed)
    programme = _Programme(roadwork)
    programme.add(_first_sets(roadwork))
    n_rounds = 0
    while time.monotonic() - began < seconds:
        check()
        n_rounds += 1
        driven = programme.solve(max(0.1, seconds - (time.monotonic() - began)))
        found = _component_sets(roadwork, driven)
        found += _odd_sets(roadwork, driven, rng)
        if roadwork.shift_work < np.inf:
            found += _flow_sets(roadwork, driven)
        if programme.add(found, driven) == 0:
            grown = _grown_sets(roadwork, driven, rng, n_rounds)
            if programme.add(grown, driven) == 0:
                break
    programme.solve(1.0)
    return CutBound(programme.safe_value(), programme.n_cuts, n_rounds, time.monotonic() - began)


class _Programme:
    """min cost·x, x across each set >= its need, x >= 0, growing row by row."""

    def __init__(self, roadwork: Roadwork) -> None:
        self.roadwork = roadwork
        self.solver: Any = SilentHighs()  # type: ignore[no-untyped-call]
        n = roadwork.cost.size
        self.solver.setOptionValue("threads", 1)
        for cost in roadwork.cost:
            self.solver.addVar(0.0, highspy.kHighsInf)
            self.solver.changeColCost(self.solver.getNumCol() - 1, float(cost))
        self.rows: list[Ints] = []
        self.needs: list[float] = []
        self.known: set[bytes] = set()
        self.driven = np.zeros(n)
        self.prices = np.zeros(0)

    @property
    def n_cuts(self) -> int:
        return len(self.rows)

    def add(self, sets: list[Flags], driven: Floats | None = None) -> int:
        """Add the most broken of the sets as rows; returns how many were new and broken."""
        broken: list[tuple[float, Ints, float]] = []
        for inside in sets:
            if not inside.any() or (inside & self.roadwork.is_yard).any():
                continue
            columns = np.flatnonzero(self.roadwork.crossing(inside))
            need = self.roadwork.least_crossings(inside)
            key = columns.tobytes()
            if need <= 0 or columns.size == 0 or key in self.known:
                continue
            breach = need - (float(driven[columns].sum()) if driven is not None else 0.0)
            if breach > _LEAST_BREACH:
                self.known.add(key)
                broken.append((breach / np.sqrt(columns.size), columns, need))
        broken.sort(key=lambda each: -each[0])
        for _, columns, need in broken[:_MOST_CUTS_A_ROUND]:
            self.rows.append(columns)
            self.needs.append(need)
            self.solver.addRow(
                need,
                highspy.kHighsInf,
                columns.size,
                columns.astype(np.int32),
                np.ones(columns.size),
            )
        for _, columns, _ in broken[_MOST_CUTS_A_ROUND:]:
            self.known.discard(columns.tobytes())
        return min(len(broken), _MOST_CUTS_A_ROUND)

    def solve(self, seconds: float) -> Floats:
        self.solver.setOptionValue("time_limit", float(self.solver.getRunTime() + seconds))
        self.solver.run()
        solution = self.solver.getSolution()
        if len(solution.col_value) == self.driven.size:
            self.driven = np.array(solution.col_value)
            self.prices = np.array(solution.row_dual)
        return self.driven

    def safe_value(self) -> float:
        """Weak duality: prices made feasible bound the cost from below, however they came about."""
        if not self.rows or self.prices.size == 0:
            return 0.0
        prices = np.maximum(self.prices[: len(self.rows)], 0.0)
        load = np.zeros(self.driven.size)
        for columns, price in zip(self.rows, prices, strict=False):
            load[columns] += price
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
        for inside in (side, ~side):
            if not (inside & roadwork.is_yard).any():
                sets.append(inside)
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
        across = np.maximum(0.0, driven + roadwork.n_passes - rate * roadwork.work / 2)
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
    roadwork: Roadwork, driven: Floats, rng: np.random.Generator, n_rounds: int
) -> list[Flags]:
    """Sets grown junction by junction so that crossings stay few for the work inside."""
    nodes = np.flatnonzero(~roadwork.is_yard)
    n_seeds = min(nodes.size, 60)
    sets: list[Flags] = []
    incident = _incident(roadwork)
    for seed in rng.permutation(nodes)[:n_seeds]:
        sets += _grow(roadwork, driven, incident, int(seed), rng)
    return sets


def _incident(roadwork: Roadwork) -> list[list[tuple[int, int]]]:
    """For each junction, the roads that meet there and where they lead."""
    at: list[list[tuple[int, int]]] = [[] for _ in range(roadwork.n_nodes)]
    for road, (a, b) in enumerate(zip(roadwork.start, roadwork.end, strict=True)):
        at[int(a)].append((road, int(b)))
        at[int(b)].append((road, int(a)))
    return at


def _grow(
    roadwork: Roadwork,
    driven: Floats,
    incident: list[list[tuple[int, int]]],
    seed: int,
    rng: np.random.Generator,
) -> list[Flags]:
    crossing = driven + roadwork.n_passes
    rate = 2.0 / roadwork.shift_work if roadwork.shift_work < np.inf else 0.0
    inside = np.zeros(roadwork.n_nodes, dtype=bool)
    inside[seed] = True
    across = sum(float(crossing[road]) for road, other in incident[seed] if other != seed)
    work = sum(float(roadwork.work[road]) for road, _ in incident[seed])
    found: list[Flags] = []
    most = min(roadwork.n_nodes, 120)
    frontier = {other for _, other in incident[seed] if not roadwork.is_yard[other]} - {seed}
    for _ in range(most):
        passes = across
        need = 2.0 * np.ceil(work / roadwork.shift_work - 1e-9) if rate else 0.0
        if need - passes > _LEAST_BREACH:
            found.append(inside.copy())
        if not frontier:
            break
        best, choice, parts = np.inf, -1, (0.0, 0.0)
        for v in frontier:
            add_across = sum(
                -float(crossing[road]) if inside[other] else float(crossing[road])
                for road, other in incident[v]
                if other != v
            )
            add_work = sum(
                float(roadwork.work[road]) for road, other in incident[v] if not inside[other]
            )
            score = add_across - rate * add_work + 0.05 * float(rng.random())
            if score < best:
                best, choice, parts = score, v, (add_across, add_work)
        inside[choice] = True
        across += parts[0]
        work += parts[1]
        frontier.discard(choice)
        frontier |= {
            other
            for _, other in incident[choice]
            if not inside[other] and not roadwork.is_yard[other]
        }
    return found


def _ratio(work: float, room: float) -> float:
    if work <= 0:
        return 0.0
    return work / room if room > 0 else np.inf
