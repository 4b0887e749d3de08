"""The search over whole weeks: from a first plan to the best one the time allows.

Deterministic for a seed when it is given a number of rounds; with a number of
seconds the result depends on how fast the machine is. It may be stopped at
any moment and then has a whole plan in hand.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from crossfall.dispatch import insertion, kernel
from crossfall.dispatch.kernel import Routes, Tables
from crossfall.dispatch.patience import patiently
from crossfall.dispatch.problem import Problem
from crossfall.dispatch.ruin import Undo, search
from crossfall.dispatch.tables import copy_routes, routes_from, tables_of, undo_for
from crossfall.dispatch.timetable import asks
from crossfall.model import Progress, quiet

_BATCH_S = 0.2
_ROUNDS_EACH = 200
_FIRST_ROUNDS = 20


@dataclass(frozen=True)
class Solution:
    """Blocks of each shift in order, how each is driven, and the machines promised to help."""

    blocks: tuple[tuple[int, ...], ...]
    modes: tuple[tuple[int, ...], ...]
    """How each block is driven. Kept, not worked out again: where two ways take equally long, the
    timetable of the machines that help holds for one of them only."""
    support: tuple[tuple[int, int, float], ...]
    """(stage, supporting machine, hours)."""
    worth_h: float
    n_rounds: int = 0

    def stage_shift(self, problem: Problem) -> dict[int, int]:
        """Shift of every stage that is in the plan."""
        stage = problem.blocks.stage
        return {int(stage[b]): h for h, blocks in enumerate(self.blocks) for b in blocks}


@dataclass(frozen=True, slots=True)
class Tuning:
    """How the search behaves. Temperatures are shares of the mean worth of a stage."""

    first_heat: float = 0.3
    last_heat: float = 0.01
    n_away: float = 10.0
    blink: float = 0.01


def improve(
    problem: Problem,
    start: Sequence[Sequence[int]],
    *,
    seconds: float,
    seed: int,
    iterations: int | None = None,
    progress: Progress = quiet,
    tuning: Tuning | None = None,
    scale: float | None = None,
    n_searches: int = 1,
) -> Solution:
    """Search from ``start`` (blocks of each shift) for ``seconds``, or exactly ``iterations``.

    ``n_searches`` run side by side with seeds of their own; the best plan is taken.

    Raises
    ------
    Cancelled
        If ``progress`` raises it; asked about ten times a second.
    """
    return improve_tables(
        tables_of(problem),
        start,
        seconds=seconds,
        seed=seed,
        iterations=iterations,
        n_searches=n_searches,
        progress=progress,
        tuning=tuning or Tuning(),
        scale=scale,
    )


def improve_tables(
    tables: Tables,
    start: Sequence[Sequence[int]],
    *,
    seconds: float,
    seed: int,
    iterations: int | None,
    n_searches: int,
    progress: Progress,
    tuning: Tuning,
    scale: float | None = None,
    note: Callable[[float], None] = lambda worth: None,
) -> Solution:
    """As :func:`improve`, for tables built by hand.

    Temperatures are shares of ``scale``, or of the mean worth of a stage. ``note`` hears the best
    worth so far now and then, and may raise to end the search.
    """
    if scale is None:
        worths = tables.worth[tables.ok] if tables.ok.any() else np.ones(1)
        scale = float(np.abs(worths).mean()) or 1.0
    searches = [
        _Search(tables, start, seed + 7919 * k, seconds, iterations, tuning, scale)
        for k in range(n_searches)
    ]

    def ask() -> None:
        best = max(each.scores[1] for each in searches)
        note(float(best))
        progress(min(each.share for each in searches), f"Best plan so far is worth {best:.1f} h")

    def stop() -> None:
        for each in searches:
            each.is_stopped = True

    found = patiently([each.run for each in searches], ask, stop=stop)
    return max(found, key=lambda solution: solution.worth_h)


class _Search:
    """One search with its own numbers; runs without holding up the others."""

    def __init__(
        self,
        tables: Tables,
        start: Sequence[Sequence[int]],
        seed: int,
        seconds: float,
        iterations: int | None,
        tuning: Tuning,
        scale: float,
    ) -> None:
        self.tables, self.start = tables, start
        self.seconds, self.iterations = seconds, iterations
        self.tuning, self.scale = tuning, scale
        self.rng = np.array([(seed * 2654435761 + 88172645463325252) % 2**64 or 1], np.uint64)
        self.scores = np.full(2, -np.inf)
        self.share = 1.0 if iterations == 0 else 0.0
        self.is_stopped = False

    def run(self) -> Solution:
        """Search until time or rounds are used up."""
        tables = self.tables
        now = routes_from(tables, self.start)
        order = np.argsort(tables.keys[0], kind="stable")
        insertion.fill(tables, now, order, self.rng)
        best, undo = copy_routes(now), undo_for(now)
        self.scores[:] = insertion.worth_of(tables, now)
        began = time.monotonic()
        done, each = 0, _FIRST_ROUNDS if self.iterations is None else _ROUNDS_EACH
        while tables.seeds.size and self.share < 1.0 and not self.is_stopped:
            n_rounds = each if self.iterations is None else min(each, self.iterations - done)
            batch = time.monotonic()
            self._rounds(now, undo, best, n_rounds)
            done += n_rounds
            if self.iterations is None:
                spent = max(time.monotonic() - batch, 1e-6)
                each = max(1, int(n_rounds * min(4.0, _BATCH_S / spent)))
                self.share = min(1.0, (time.monotonic() - began) / max(self.seconds, 1e-9))
            else:
                self.share = done / self.iterations
        insertion.put_right(tables, best)
        insertion.fill(tables, best, order, self.rng)
        return solution_of(tables, best, done)

    def _rounds(self, now: Routes, undo: Undo, best: Routes, n_rounds: int) -> None:
        tuning = self.tuning
        heat = tuning.first_heat * (tuning.last_heat / tuning.first_heat) ** self.share
        search(
            self.tables,
            now,
            undo,
            best,
            self.rng,
            n_rounds,
            heat * self.scale,
            tuning.n_away,
            tuning.blink,
            self.scores,
        )
        # Sums of small changes drift; take stock afresh
        self.scores[0] = insertion.worth_of(self.tables, now)


def solution_of(tables: Tables, routes: Routes, n_rounds: int = 0) -> Solution:
    """The plan in hand as plain tuples."""
    lines = routes.lines
    blocks, modes = (
        tuple(tuple(int(each) for each in row[h, : lines.n[h]]) for h in range(lines.n.size))
        for row in (lines.seq, lines.mode)
    )
    support = tuple(
        (s, int(routes.m_used[row, z]), _hours(tables, s, int(routes.m_used[row, z])))
        for s, row in enumerate(tables.stage[:-1, kernel.ROW])
        if routes.at[s, kernel.WHERE] >= 0 and asks(tables, s, _day(tables, routes, s))
        for z in range(kernel.N_SLOTS)
        if routes.m_used[row, z] >= 0
    )
    return Solution(blocks, modes, support, float(insertion.worth_of(tables, routes)), n_rounds)


def _day(tables: Tables, routes: Routes, s: int) -> int:
    return int(tables.ways.shift[routes.at[s, kernel.WHERE], kernel.DAY])


def _hours(tables: Tables, s: int, machine: int) -> float:
    """Hours that a stage asks of one machine; of water because of the surface if nothing else."""
    needs = tables.need[tables.stage[s, kernel.NEED] : tables.stage[s + 1, kernel.NEED]]
    own = needs[needs[:, kernel.KIND] == tables.machine[machine, kernel.M_KIND], kernel.HOURS]
    return float(own[0] if own.size else tables.stage_real[s, kernel.WATER_H])
