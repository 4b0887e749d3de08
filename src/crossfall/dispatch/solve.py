"""The search over whole weeks: from a first plan to the best one the time allows.

Deterministic for a seed when it is given a number of rounds; with a number of
seconds the result depends on how fast the machine is. It may be stopped at
any moment and then has a whole plan in hand.
"""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from crossfall.dispatch import kernel
from crossfall.dispatch.kernel import Routes, Tables
from crossfall.dispatch.problem import Problem
from crossfall.dispatch.ruin import search
from crossfall.model import Progress, quiet

_SLACK_MIN = 0.05
"""Shifts are filled to this much less than they hold, so that rounding never overfills one."""
_BATCH_S = 0.2
_ROUNDS_EACH = 200
_MOST_PLACES = 400


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
    n_away: int = 10
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
) -> Solution:
    """As :func:`improve`, for tables built by hand."""
    now = routes_from(tables, support_h, start)
    order = np.argsort(-_density(tables), kind="stable")
    rng = np.array([(seed * 2654435761 + 88172645463325252) % 2**64 or 1], dtype=np.uint64)
    kernel.fill(tables, now, order, rng)
    before, best = _copy(now), _copy(now)
    score = kernel.worth_of(tables, now)
    scores = np.array([score, score])
    worths = tables.worth[tables.ok] if tables.ok.any() else np.ones(1)
    scale = float(np.abs(worths).mean()) or 1.0
    began = time.monotonic()
    done, share, each = 0, 0.0, _ROUNDS_EACH
    n_stages = int(tables.s_load.size)
    while n_stages and share < 1.0:
        heat = scale * tuning.first_heat * (tuning.last_heat / tuning.first_heat) ** share
        n_rounds = each if iterations is None else min(_ROUNDS_EACH, iterations - done)
        batch = time.monotonic()
        search(
            tables,
            now,
            before,
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
        if iterations is None:
            share = (time.monotonic() - began) / max(seconds, 1e-9)
        else:
            share = done / max(1, iterations)
        progress(min(1.0, share), f"Best plan so far is worth {scores[1]:.1f} h")
    for h in range(best.n.size):
        kernel.refresh(tables, best, h)
    kernel.fill(tables, best, order, rng)
    return solution_of(tables, best, done)


def routes_from(
    tables: Tables, support_h: npt.NDArray[np.float64], start: Sequence[Sequence[int]]
) -> Routes:
    """Routes that hold the given blocks; raises no questions about their sense."""
    routes = _empty(tables, support_h)
    for h, blocks in enumerate(start):
        seen: set[int] = set()
        for i, b in enumerate(blocks):
            s = int(tables.b_stage[b])
            routes.seq[h, i] = b
            if s not in seen:
                seen.add(s)
                options = np.flatnonzero(tables.o_first[s] == b)
                routes.where[s] = h
                routes.option[s] = int(options[0])
                routes.load[h] += tables.s_load[s]
                kernel.take_support(tables, routes, s, int(tables.sh_day[h]))
        routes.n[h] = len(blocks)
        kernel.refresh(tables, routes, h)
    return routes


def solution_of(tables: Tables, routes: Routes, n_rounds: int = 0) -> Solution:
    """The plan in hand as plain tuples."""
    blocks = tuple(
        tuple(int(b) for b in routes.seq[h, : routes.n[h]]) for h in range(routes.n.size)
    )
    support = tuple(
        (s, int(routes.m_used[row, z]), float(routes.m_hours[row, z]))
        for s, row in enumerate(tables.m_row)
        if row >= 0 and routes.where[s] >= 0
        for z in range(kernel.N_SLOTS)
        if routes.m_used[row, z] >= 0
    )
    return Solution(blocks, support, float(kernel.worth_of(tables, routes)), n_rounds)


def tables_of(problem: Problem) -> Tables:
    """The problem as the compiled search wants it."""
    blocks, support = problem.blocks, problem.support
    n_stages, n_shifts = problem.worth_h.shape
    behind: list[list[int]] = [[] for _ in range(n_stages)]
    for s, before in enumerate(problem.after):
        for a in before:
            behind[a].append(s)
    before_ptr, before_flat = _ragged(problem.after)
    behind_ptr, behind_flat = _ragged(behind)
    need_ptr = np.concatenate([[0], np.cumsum([len(need) for need in support.needs])])
    flat = [each for need in support.needs for each in need]
    wet = problem.windows.needs_water & (support.water_h > 0)[:, None]
    asks = np.array([len(need) > 0 for need in support.needs], dtype=bool) | wet.any(axis=1)
    ok = problem.may_serve_now
    whole = blocks.first_option[:, 0]
    has_block = whole >= 0
    least = np.ones(n_stages)
    if blocks.n_blocks:
        least[has_block] = problem.work_min[has_block]
    return Tables(
        between=_contiguous(problem.between, np.float32),
        b_stage=blocks.stage,
        b_n_modes=np.isfinite(blocks.minutes).any(axis=0).sum(axis=1).astype(np.int64),
        b_enter=blocks.enter,
        b_leave=blocks.leave,
        b_minutes=blocks.minutes,
        b_opens=blocks.opens_m,
        o_first=blocks.first_option,
        o_second=blocks.second_option,
        o_count=(blocks.first_option >= 0).sum(axis=1).astype(np.int64),
        sh_class=problem.shift_class,
        sh_day=np.array([shift.day_index for shift in problem.shifts], dtype=np.int64),
        sh_yard=problem.shift_yard,
        sh_most=np.array([shift.usable_min - _SLACK_MIN for shift in problem.shifts], dtype=float),
        sh_load=np.full(n_shifts, np.inf),
        s_load=np.zeros(n_stages),
        s_least=least,
        ok=np.ascontiguousarray(ok & has_block[:, None]),
        worth=np.ascontiguousarray(problem.worth_h),
        before_ptr=before_ptr,
        before=before_flat,
        behind_ptr=behind_ptr,
        behind=behind_flat,
        need_ptr=need_ptr.astype(np.int64),
        need_kind=np.array([each[0] for each in flat], dtype=np.int64),
        need_n=np.array([each[1] for each in flat], dtype=np.int64),
        need_h=np.array([each[2] for each in flat], dtype=float),
        water_h=support.water_h,
        wet=np.ascontiguousarray(wet),
        water_kind=support.kinds.index("water_truck"),
        m_kind=support.kind_of,
        m_row=np.where(asks, np.cumsum(asks) - 1, -1).astype(np.int64),
        near=_near(problem, has_block),
        price=problem.policy.hour_price / 60,
        most_open=problem.policy.open_windrow_m,
    )


def _near(problem: Problem, has_block: npt.NDArray[np.bool_]) -> npt.NDArray[np.int64]:
    """The nearest stages to each, itself first, by travel minutes between their segments."""
    n_stages = len(problem.stages)
    width = min(problem.policy.n_neighbours, max(1, n_stages))
    near = np.full((n_stages, width), -1, dtype=np.int64)
    near[:, 0] = np.arange(n_stages)
    there = np.flatnonzero(has_block)
    if there.size < 2 or problem.between.size == 0:
        return near
    n_ports = 2 * problem.ports.size
    apart = problem.between[0, :n_ports, :n_ports]
    apart = apart.reshape(n_ports // 2, 2, n_ports // 2, 2).min(axis=(1, 3))
    port = problem.blocks.enter[problem.blocks.first_option[there, 0], 0] // 2
    for row, s in zip(port, there, strict=True):
        distance = apart[row][port]
        distance[there == s] = -1.0
        most = min(width, there.size)
        picked = np.argpartition(distance, most - 1)[:most]
        picked = picked[np.lexsort((picked, distance[picked]))]
        picked = picked[np.isfinite(distance[picked])]
        near[s, : picked.size] = there[picked]
    return near


def _density(tables: Tables) -> npt.NDArray[np.float64]:
    if tables.worth.shape[1] == 0:
        return np.zeros(tables.s_least.size)
    best = np.where(tables.ok, tables.worth, -np.inf).max(axis=1)
    return best / tables.s_least


def _empty(tables: Tables, support_h: npt.NDArray[np.float64]) -> Routes:
    n_shifts, n_stages = tables.sh_day.size, tables.s_load.size
    room = _room(tables)
    n_rows = int(tables.m_row.max(initial=-1)) + 1
    return Routes(
        seq=np.zeros((n_shifts, room), dtype=np.int64),
        n=np.zeros(n_shifts, dtype=np.int64),
        minutes=np.zeros(n_shifts),
        load=np.zeros(n_shifts),
        fwd=np.zeros((n_shifts, room, 4)),
        bwd=np.zeros((n_shifts, room, 4)),
        mode=np.zeros((n_shifts, room), dtype=np.int64),
        where=np.full(n_stages, -1, dtype=np.int64),
        option=np.zeros(n_stages, dtype=np.int64),
        m_left=support_h.copy(),
        m_used=np.full((n_rows, kernel.N_SLOTS), -1, dtype=np.int64),
        m_hours=np.zeros((n_rows, kernel.N_SLOTS)),
    )


def _room(tables: Tables) -> int:
    """Most blocks that a shift can hold."""
    most = float(tables.sh_most.max(initial=0.0))
    least = np.sort(tables.s_least)
    n_fit = int(np.searchsorted(np.cumsum(least), most, side="right"))
    return min(2 * n_fit + 4, _MOST_PLACES)


def _copy(routes: Routes) -> Routes:
    return Routes(*(array.copy() for array in routes))


def _ragged(
    rows: Sequence[Sequence[int]],
) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.int64]]:
    pointer = np.concatenate([[0], np.cumsum([len(row) for row in rows])]).astype(np.int64)
    return pointer, np.array([each for row in rows for each in row], dtype=np.int64)


def _contiguous(array: npt.NDArray[np.float32], kind: type) -> npt.NDArray[np.float32]:
    return np.ascontiguousarray(array, dtype=kind)
