"""The problem as the compiled search wants it: flat arrays, nearest stages, orders to try."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from crossfall.dispatch import insertion, kernel
from crossfall.dispatch.kernel import Lines, Routes, Tables, Ways
from crossfall.dispatch.problem import Problem
from crossfall.dispatch.ruin import Undo

_SLACK_MIN = 0.05
"""Shifts are filled to this much less than they hold, so that rounding never overfills one."""
_MOST_PLACES = 400
_MANY_SHIFTS = 24
_ORDER_CHANCES = (0.40, 0.15, 0.10, 0.05)
"""Best for the hour, longest, farthest and nearest first; the rest of the time by chance."""


def tables_of(problem: Problem) -> Tables:
    """Everything the search reads."""
    support, ways = problem.support, problem.support_ways
    n_stages, n_shifts = problem.worth_h.shape
    wet = problem.wet
    asks = np.array([len(need) > 0 for need in support.needs], dtype=bool) | wet.any(axis=1)
    has_block = problem.blocks.first_option[:, 0] >= 0
    ok = problem.may_serve_now & has_block[:, None]
    behind: list[list[int]] = [[] for _ in range(n_stages)]
    for s, before in enumerate(problem.after):
        for a in before:
            behind[a].append(s)
    n_options = (problem.blocks.first_option >= 0).sum(axis=1)
    stage = np.zeros((n_stages + 1, 6), dtype=np.int64)
    stage[:-1, kernel.N_OPTIONS] = n_options
    stage[:-1, kernel.ROW] = np.where(asks, np.cumsum(asks) - 1, -1)
    stage[1:, kernel.BEFORE] = np.cumsum([len(each) for each in problem.after])
    stage[1:, kernel.BEHIND] = np.cumsum([len(each) for each in behind])
    stage[1:, kernel.NEED] = np.cumsum([len(each) for each in support.needs])
    stage[1:, kernel.BAN] = np.cumsum([len(each) for each in problem.bans])
    work = problem.stage_min
    days = [shift.day_index for shift in problem.shifts]
    usable = np.array([shift.usable_min for shift in problem.shifts], dtype=float)
    return Tables(
        ways=ways_of(problem, ok),
        option=np.stack([problem.blocks.first_option, problem.blocks.second_option], axis=2).astype(
            np.int32
        ),
        stage=stage,
        stage_real=np.column_stack(
            [np.zeros(n_stages), work, support.water_h, problem.blocks.lead_min]
        ),
        shift_real=_shift_real(problem, usable),
        ok=np.ascontiguousarray(ok),
        worth=np.ascontiguousarray(problem.worth_h + problem.pull_h),
        before=np.array([a for each in problem.after for a in each], dtype=np.int64),
        behind=np.array([b for each in behind for b in each], dtype=np.int64),
        need=np.array([n for each in support.needs for n in each], dtype=float).reshape(-1, 3),
        ban=np.array(
            [(b.day_index, b.start_min, b.end_min) for each in problem.bans for b in each],
            dtype=float,
        ).reshape(-1, 3),
        wet=np.ascontiguousarray(wet),
        machine=np.column_stack([support.kind_of, ways.class_of, ways.home_of]),
        window=ways.window,
        drive=ways.between,
        rest=ways.rest,
        port_place=ways.place_of,
        first_shift=np.searchsorted(days, np.arange(problem.n_days + 1)),
        near=_near(problem, has_block),
        seeds=np.flatnonzero(ok.any(axis=1)),
        keys=_keys(problem, ok, work, has_block),
        rules=np.cumsum(_ORDER_CHANCES),
        price=problem.policy.hour_price / 60,
        over_price=problem.policy.overtime_price / 60,
        most_open=problem.policy.open_windrow_m,
        most_open_min=problem.policy.windrow_open_max_min,
        water_kind=support.kinds.index("water_truck"),
        is_narrow=n_shifts > _MANY_SHIFTS,
    )


def _shift_real(problem: Problem, usable: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Minutes, load and clock of each shift; see the columns of the kernel."""
    by_h = problem.policy.break_latest_h
    rows = [
        (
            minutes - _SLACK_MIN,
            np.inf,
            shift.start_min + shift.pretrip_min,
            shift.break_min,
            60 * (shift.operator.shift_start_h + by_h) - shift.start_min - shift.pretrip_min,
            shift.regular_min - shift.start_min - shift.pretrip_min - shift.break_min,
        )
        for shift, minutes in zip(problem.shifts, usable, strict=True)
    ]
    return np.array(rows, dtype=float).reshape(-1, 6)


def ways_of(problem: Problem, ok: npt.NDArray[np.bool_]) -> Ways:
    """Travel, blocks and shifts."""
    blocks = problem.blocks
    n_modes = np.isfinite(blocks.minutes).any(axis=0).sum(axis=1)
    days = np.array([shift.day_index for shift in problem.shifts], dtype=np.int64)
    return Ways(
        between=np.ascontiguousarray(problem.between, dtype=np.float32),
        block=np.column_stack(
            [blocks.stage, n_modes, blocks.enter, blocks.leave, blocks.last]
        ).astype(np.int32),
        minutes=blocks.minutes,
        opens=blocks.opens_m,
        shift=np.column_stack(
            [
                problem.shift_class,
                days,
                problem.shift_start,
                problem.shift_home,
                _groups(problem, ok),
            ]
        ),
    )


def _near(problem: Problem, has_block: npt.NDArray[np.bool_]) -> npt.NDArray[np.int32]:
    """The nearest stages to each, itself first, by travel minutes between their segments."""
    n_stages = len(problem.stages)
    width = min(problem.policy.n_neighbours, max(1, n_stages))
    near = np.full((n_stages, width), -1, dtype=np.int32)
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


def _groups(problem: Problem, ok: npt.NDArray[np.bool_]) -> npt.NDArray[np.int64]:
    """Shifts in which every stage costs and is worth the same: an empty one stands for all."""
    names: dict[tuple[int, int, int, int, float, bytes], int] = {}
    group = np.zeros(len(problem.shifts), dtype=np.int64)
    for h, shift in enumerate(problem.shifts):
        key = (
            shift.day_index,
            int(problem.shift_start[h]),
            int(problem.shift_home[h]),
            int(problem.shift_class[h]),
            shift.usable_min,
            ok[:, h].tobytes(),
        )
        group[h] = names.setdefault(key, len(names))
    return group


def _keys(
    problem: Problem,
    ok: npt.NDArray[np.bool_],
    least: npt.NDArray[np.float64],
    has_block: npt.NDArray[np.bool_],
) -> npt.NDArray[np.float64]:
    """Orders for putting stages back, smallest first: shape (rule, stage)."""
    n_stages, n_shifts = problem.worth_h.shape
    keys = np.zeros((len(_ORDER_CHANCES), n_stages))
    if n_shifts == 0 or n_stages == 0:
        return keys
    keys[0] = -np.where(ok, problem.worth_h + problem.pull_h, 0.0).max(axis=1) / least
    keys[1] = -least
    there = np.flatnonzero(has_block)
    enter = problem.blocks.enter[problem.blocks.first_option[there, 0], 0]
    yards = np.unique(problem.shift_home)
    far = problem.between[0][np.ix_(yards, enter)].min(axis=0)
    keys[2, there] = -np.where(np.isfinite(far), far, 0.0)
    keys[3] = -keys[2]
    return keys


def empty_routes(tables: Tables) -> Routes:
    """Nobody goes anywhere yet."""
    n_stages, n_shifts = tables.ok.shape
    n_rows = int(tables.stage[:-1, kernel.ROW].max(initial=-1)) + 1
    n_groups = int(tables.ways.shift[:, kernel.GROUP].max(initial=-1)) + 1
    n_machines, n_days = tables.window.shape[:2]
    return Routes(
        lines=_empty_lines(n_shifts, _room(tables)),
        load=np.zeros(n_shifts),
        at=np.full((n_stages, 2), -1, dtype=np.int64),
        m_used=np.full((n_rows, kernel.N_SLOTS), -1, dtype=np.int64),
        n_busy=np.zeros((n_machines, n_days), dtype=np.int64),
        busy=np.zeros((n_machines, n_days, kernel.N_BUSY, 2)),
        busy_with=np.zeros((n_machines, n_days, kernel.N_BUSY, 3), dtype=np.int64),
        asked=np.zeros((n_rows, 3)),
        asked_by=np.zeros((n_rows, 3), dtype=np.int64),
        is_touched=np.zeros(n_shifts, dtype=bool),
        stamp=np.zeros(1 + n_shifts + n_groups, dtype=np.int64),
    )


def routes_from(tables: Tables, start: Sequence[Sequence[int]]) -> Routes:
    """Routes that hold the given blocks, but for stages whose support or windrows forbid it."""
    routes = empty_routes(tables)
    block = tables.ways.block
    for h, blocks in enumerate(start):
        spot = np.array([h, 0, 0, 0], dtype=np.int64)
        for s in dict.fromkeys(int(block[b, kernel.STAGE]) for b in blocks):
            own = [b for b in blocks if block[b, kernel.STAGE] == s]
            spot[1] = int(np.flatnonzero(tables.option[s, :, 0] == own[0])[0])
            insertion.place(tables, routes, s, spot)
        routes.lines.seq[h, : len(blocks)] = blocks
    insertion.put_right(tables, routes)
    return routes


def copy_routes(routes: Routes) -> Routes:
    """The same plan in arrays of its own."""
    lines = Lines(*(array.copy() for array in routes.lines))
    return Routes(lines, *(array.copy() for array in routes[1:]))


def undo_for(routes: Routes) -> Undo:
    """Room for everything one round of the search may change."""
    spare = copy_routes(routes)
    n_stages, n_shifts = routes.at.shape[0], routes.load.size
    return Undo(
        lines=spare.lines,
        load=spare.load,
        at=spare.at,
        is_moved=np.zeros(n_stages, dtype=bool),
        touched=np.zeros(n_shifts, dtype=np.int64),
        moved=np.zeros(n_stages, dtype=np.int64),
        count=np.zeros(2, dtype=np.int64),
    )


def _empty_lines(n_shifts: int, room: int) -> Lines:
    return Lines(
        seq=np.zeros((n_shifts, room), dtype=np.int32),
        n=np.zeros(n_shifts, dtype=np.int64),
        minutes=np.zeros(n_shifts),
        cost=np.zeros((n_shifts, room, 8)),
        mode=np.zeros((n_shifts, room), dtype=np.int32),
        begin=np.zeros((n_shifts, room)),
        spare=np.full((n_shifts, room + 1), np.inf),
        scratch=np.zeros((3, room + 1)),
    )


def _room(tables: Tables) -> int:
    """Most blocks that a shift can hold."""
    most = float(tables.shift_real[:, kernel.MOST_MIN].max(initial=0.0))
    least = np.sort(tables.stage_real[:, kernel.LEAST])
    n_fit = int(np.searchsorted(np.cumsum(least), most, side="right"))
    return min(2 * n_fit + 4, _MOST_PLACES)
