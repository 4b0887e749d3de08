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
import numpy.typing as npt

from crossfall.dispatch import kernel
from crossfall.dispatch.kernel import Routes, Tables
from crossfall.dispatch.problem import Problem
from crossfall.dispatch.ruin import search
from crossfall.dispatch.tables import copy_routes, routes_from, tables_of, undo_for
from crossfall.model import Progress, quiet

_BATCH_S = 0.2
_ROUNDS_EACH = 200


@dataclass(frozen=True)
class Solution:
    """Blocks of each shift in order, and the supporting machines promised to each stage."""

    blocks: tuple[tuple[int, ...], ...]
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

    first_heat: float = 0.5
    last_heat: float = 0.005
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
) -> Solution:
    """Search from ``start`` (blocks of each shift) for ``seconds``, or exactly ``iterations``.

    Raises
    ------
    Cancelled
        If ``progress`` raises it; asked about every fifth of a second.
    """
    return improve_tables(
        tables_of(problem),
        problem.support.hours,
        start,
        seconds=seconds,
        seed=seed,
        iterations=iterations,
        progress=progress,
        tuning=tuning or Tuning(),
        scale=scale,
    )


def improve_tables(
    tables: Tables,
    support_h: npt.NDArray[np.float64],
    start: Sequence[Sequence[int]],
    *,
    seconds: float,
    seed: int,
    iterations: int | None,
    progress: Progress,
    tuning: Tuning,
    scale: float | None = None,
    note: Callable[[float], None] = lambda worth: None,
) -> Solution:
    """As :func:`improve`, for tables built by hand.

    Temperatures are shares of ``scale``, or of the mean worth of a stage. ``note`` hears the best
    worth so far after every batch and may raise to end the search.
    """
    now = routes_from(tables, support_h, start)
    order = np.argsort(tables.keys[0], kind="stable")
    rng = np.array([(seed * 2654435761 + 88172645463325252) % 2**64 or 1], dtype=np.uint64)
    kernel.fill(tables, now, order, rng)
    best, undo = copy_routes(now), undo_for(now)
    score = kernel.worth_of(tables, now)
    scores = np.array([score, score])
    if scale is None:
        worths = tables.worth[tables.ok] if tables.ok.any() else np.ones(1)
        scale = float(np.abs(worths).mean()) or 1.0
    began = time.monotonic()
    done, share, each = 0, 0.0, _ROUNDS_EACH
    n_seeds = int(tables.seeds.size)
    while n_seeds and share < 1.0:
        heat = scale * tuning.first_heat * (tuning.last_heat / tuning.first_heat) ** share
        n_rounds = each if iterations is None else min(_ROUNDS_EACH, iterations - done)
        batch = time.monotonic()
        search(
            tables,
            now,
            undo,
            best,
            rng,
            n_rounds,
            heat,
            tuning.n_away,
            tuning.blink,
            scores,
        )
        done += n_rounds
        spent = time.monotonic() - batch
        each = max(1, int(n_rounds * min(4.0, _BATCH_S / max(spent, 1e-6))))
        scores[0] = kernel.worth_of(tables, now)
        if iterations is None:
            share = (time.monotonic() - began) / max(seconds, 1e-9)
        else:
            share = done / max(1, iterations)
        note(float(scores[1]))
        progress(min(1.0, share), f"Best plan so far is worth {scores[1]:.1f} h")
    for h in range(best.load.size):
        kernel.refresh(tables.ways, best.lines, h)
    kernel.fill(tables, best, order, rng)
    return solution_of(tables, best, done)


def solution_of(tables: Tables, routes: Routes, n_rounds: int = 0) -> Solution:
    """The plan in hand as plain tuples."""
    lines = routes.lines
    blocks = tuple(tuple(int(b) for b in lines.seq[h, : lines.n[h]]) for h in range(lines.n.size))
    support = tuple(
        (s, int(routes.m_used[row, z]), float(routes.m_hours[row, z]))
        for s, row in enumerate(tables.stage[:-1, kernel.ROW])
        if row >= 0 and routes.at[s, kernel.WHERE] >= 0
        for z in range(kernel.N_SLOTS)
        if routes.m_used[row, z] >= 0
    )
    return Solution(blocks, support, float(kernel.worth_of(tables, routes)), n_rounds)
