"""How much better any plan could be: an upper limit on the worth of the week.

A linear programme (HiGHS) in which stages may be split between shifts and
travel costs nothing, except that work far out leaves less of the shift: who
works beyond ``r`` minutes from the yard spends at least ``2 r`` minutes nearer
than that, so all work beyond ``r`` fits into the shift less ``2 r``. Passes may
be separated and turned in any way; only signs and blade-down minutes count, and supporting
machines are counted by their hours. So the bound
holds for any plan under the same windows, crews, support and worth,
whatever its pass patterns.

Whatever the solver returns, the figure is rebuilt from its prices by weak
duality, so it holds even when the solver was stopped early.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.sparse import csr_array

from crossfall.dispatch.lp import row_prices
from crossfall.dispatch.problem import Problem
from crossfall.dispatch.turns import block_turns, dead_end_turns, slowness

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

_N_LEVELS = 16
_MOST_VARIABLES = 300_000


@dataclass(frozen=True)
class Bound:
    """The limit, and the price of one more minute of each group of like shifts."""

    worth_h: float
    n_variables: int
    shift_price: Floats
    """Worth of one more minute of each shift, by the relaxation [h/min]."""


@dataclass(frozen=True)
class _Programme:
    """max c·y, A y <= b, 0 <= y <= 1."""

    gain: Floats
    rows: csr_array
    most: Floats
    group_row: Ints


def upper_bound(
    problem: Problem,
    *,
    seconds: float = 10.0,
    in_blocks: bool = False,
    may_stay_out: bool = False,
    check: Callable[[], None] = lambda: None,
) -> Bound:
    """No plan under the problem's rules is worth more than this.

    ``in_blocks`` counts the turns of plans that keep a stage's passes in the declared blocks; by
    default only turns at dead ends count, which no plan avoids. With ``may_stay_out`` it holds for
    plans in which machines stand anywhere overnight: then neither distances nor turns count.
    """
    takes = problem.stage_min
    if not may_stay_out:
        takes = takes + (block_turns(problem) if in_blocks else dead_end_turns(problem))
    group_of = _groups(problem)
    n_groups = int(group_of.max(initial=-1)) + 1
    first = np.array([int(np.flatnonzero(group_of == g)[0]) for g in range(n_groups)], np.int64)
    gain = (problem.worth_h - problem.policy.hour_price / 60 * takes[:, None])[:, first]
    is_worth = gain > 0
    for before in problem.after:
        # Work that others wait for may be done at a loss
        is_worth[list(before)] = True
    stage, group = np.nonzero(problem.may_serve_ever[:, first] & is_worth)
    if stage.size == 0:
        return Bound(0.0, 0, np.zeros(len(problem.shifts)))
    check()
    programme = _programme(
        problem, takes, stage, group, gain[stage, group], group_of, has_levels=not may_stay_out
    )
    if stage.size <= _MOST_VARIABLES:
        prices = row_prices(programme.gain, programme.rows, programme.most, seconds=seconds)
    else:
        prices = np.zeros(programme.most.size)
    limit = dual_value(programme, prices)
    plain = _knapsack(problem, takes, stage, gain[stage, group])
    group_price = prices[programme.group_row]
    return Bound(min(limit, plain), int(stage.size), group_price[group_of])


def dual_value(programme: _Programme, prices: Floats) -> float:
    """Weak duality: for any prices >= 0 no solution is worth more than this."""
    y = np.maximum(prices, 0.0)
    left = programme.gain - programme.rows.T @ y
    return float(programme.most @ y + np.maximum(left, 0.0).sum())


def _groups(problem: Problem) -> Ints:
    """Shifts of one day, yard and class that may do the same stages are alike."""
    ok = problem.may_serve_ever
    names: dict[tuple[int, int, int, int, bytes, bytes], int] = {}
    group = np.zeros(len(problem.shifts), dtype=np.int64)
    for h, shift in enumerate(problem.shifts):
        key = (
            shift.day_index,
            int(problem.shift_start[h]),
            int(problem.shift_home[h]),
            int(problem.shift_class[h]),
            ok[:, h].tobytes(),
            problem.worth_h[:, h].tobytes(),
        )
        group[h] = names.setdefault(key, len(names))
    return group


def _programme(
    problem: Problem,
    takes: Floats,
    stage: Ints,
    group: Ints,
    gain: Floats,
    group_of: Ints,
    *,
    has_levels: bool,
) -> _Programme:
    usable = np.array([shift.usable_min for shift in problem.shifts])
    n_groups = int(group_of.max()) + 1
    entries: list[tuple[Ints, Floats]] = []
    most: list[float] = []
    for members in _by_stage(stage):
        entries.append((members, np.ones(members.size)))
        most.append(1.0)
    group_row = np.zeros(n_groups, dtype=np.int64)
    for g in range(n_groups):
        members = np.flatnonzero(group == g)
        shifts = np.flatnonzero(group_of == g)
        group_row[g] = len(most)
        entries.append((members, takes[stage[members]]))
        most.append(float(usable[shifts].sum()))
        away = _away(problem, int(shifts[0]))[stage[members]]
        for level in _levels(away) if has_levels else ():
            beyond = members[away >= level]
            entries.append((beyond, takes[stage[beyond]]))
            most.append(float(np.maximum(usable[shifts] - 2 * level, 0.0).sum()))
    _add_support(problem, stage, group, group_of, entries, most)
    _add_order(problem, stage, entries, most)
    n_each = [columns.size for columns, _ in entries]
    rows = csr_array(
        (
            np.concatenate([values for _, values in entries]),
            np.concatenate([columns for columns, _ in entries]),
            np.concatenate([[0], np.cumsum(n_each)]),
        ),
        shape=(len(most), stage.size),
    )
    return _Programme(gain, rows, np.array(most), group_row)


def _by_stage(stage: Ints) -> list[Ints]:
    cuts = np.flatnonzero(np.diff(stage)) + 1
    return [members.astype(np.int64) for members in np.split(np.arange(stage.size), cuts)]


def _away(problem: Problem, shift: int) -> Floats:
    """Minutes that lie between the yard and each stage, there or back, whichever is less [min].

    Roads that are worked on the way take no less time than driving them, unless passes are
    faster than travel; then distances shrink by that factor.
    """
    c = int(problem.shift_class[shift])
    start, home = int(problem.shift_start[shift]), int(problem.shift_home[shift])
    away = np.zeros(len(problem.stages))
    block = problem.blocks.first_option[:, 0]
    there = np.flatnonzero(block >= 0)
    k = problem.blocks.enter[block[there], 0] // 2
    out = problem.between[c, start][np.column_stack([2 * k, 2 * k + 1])].min(axis=1)
    back = problem.between[c, :, home][np.column_stack([2 * k, 2 * k + 1])].min(axis=1)
    away[there] = np.minimum(out, back)
    away[~np.isfinite(away)] = 0.0
    return away * slowness(problem, c)


def _levels(away: Floats) -> Floats:
    """A few distances worth a row each."""
    if away.size == 0 or away.max() <= 0:
        return np.zeros(0)
    levels = np.unique(np.quantile(away, np.linspace(0.0, 0.95, _N_LEVELS)))
    return levels[levels > 0]


def _add_support(
    problem: Problem,
    stage: Ints,
    group: Ints,
    group_of: Ints,
    entries: list[tuple[Ints, Floats]],
    most: list[float],
) -> None:
    """Hours of each kind of supporting machine, day by day."""
    support = problem.support
    n_kinds = len(support.kinds)
    asked = np.zeros((len(problem.stages), n_kinds))
    for s, needs in enumerate(support.needs):
        for kind, count, hours in needs:
            asked[s, kind] += count * hours
    water = support.kinds.index("water_truck")
    day_of_group = np.zeros(int(group_of.max()) + 1, dtype=np.int64)
    for h, shift in enumerate(problem.shifts):
        day_of_group[group_of[h]] = shift.day_index
    day = day_of_group[group]
    wet = problem.windows.needs_water[stage, day]
    for kind in range(n_kinds):
        hours = asked[stage, kind] + (
            np.where(wet, support.water_h[stage], 0) if kind == water else 0.0
        )
        for d in range(problem.n_days):
            members = np.flatnonzero((day == d) & (hours > 0))
            if members.size:
                entries.append((members, hours[members]))
                most.append(float(support.hours[support.kind_of == kind, d].sum()))


def _add_order(
    problem: Problem, stage: Ints, entries: list[tuple[Ints, Floats]], most: list[float]
) -> None:
    """No more of a stage is done than of what must come before it."""
    members: dict[int, Ints] = {int(stage[m[0]]): m for m in _by_stage(stage)}
    nothing = np.zeros(0, dtype=np.int64)
    for s, before in enumerate(problem.after):
        for a in before:
            mine, its = members.get(s, nothing), members.get(a)
            if mine.size and its is not None:
                columns = np.concatenate([mine, its])
                entries.append((columns, np.repeat([1.0, -1.0], [mine.size, its.size])))
                most.append(0.0)


def _knapsack(problem: Problem, takes: Floats, stage: Ints, gain: Floats) -> float:
    """All hours of the week filled with what is worth most for its minutes, one stage in part."""
    best = np.zeros(len(problem.stages))
    np.maximum.at(best, stage, gain)
    those = np.flatnonzero(best > 0)
    those = those[np.argsort(-best[those] / takes[those], kind="stable")]
    left = sum(shift.usable_min for shift in problem.shifts)
    share = np.clip(
        (left - (np.cumsum(takes[those]) - takes[those])) / takes[those],
        0.0,
        1.0,
    )
    return float((share * best[those]).sum())
