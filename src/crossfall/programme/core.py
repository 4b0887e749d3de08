"""The closing step: the segments that hesitate decide together, exactly.

At the best prices most segments have one clear strategy; a few hundred are nearly indifferent, and
how they fall decides whether the limits hold. With everybody else fixed, a linear programme over
their best few strategies uses what is left of the limits; what it splits is rounded, repaired
where a limit is broken, and then cheaper strategies are taken wherever they still fit.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import highspy
import numpy as np
import numpy.typing as npt

from crossfall.programme.exchange import exchange, repair
from crossfall.programme.outcomes import Outcomes
from crossfall.programme.price import uses_of
from crossfall.programme.silent import SilentHighs
from crossfall.programme.table import SegmentTable, StrategySet

Floats = npt.NDArray[np.float64]
Rows = npt.NDArray[np.int64]
Codes = npt.NDArray[np.int16]

_TOLERANCE = 1e-9
_MOST_MOVES = 1000
_MOST_PAIRS = 5_000_000
_MOST_EXCHANGED = 2


@dataclass(frozen=True, eq=False)
class Core:
    """Candidate strategies of the hesitating segments; arrays of shape (candidate, ...)."""

    n: int
    """Segments of the core, in the network's order."""
    owner: Rows
    """Segment of each candidate, counted within the core."""
    strategy: Codes
    cost: Floats
    use: Floats
    """(candidate, row * year), the rows with a limit."""


def make_core(
    outcomes: Outcomes,
    table: SegmentTable,
    strategies: StrategySet,
    prices: Floats,
    active: Rows,
    *,
    n_best: int,
    always: Codes | None = None,
) -> Core:
    """The ``n_best`` strategies of each segment at ``prices``, ``always`` among them."""
    n_years = prices.shape[1]
    cost, money, hours, gravel = uses_of(outcomes, table, strategies, n_years)
    at_pit = prices[2:][table.pit]
    value = cost + money @ prices[0] + hours @ prices[1] + np.einsum("nst,nt->ns", gravel, at_pit)
    if always is not None:
        value[np.arange(table.n), always] = -np.inf
    n_kept = min(n_best, value.shape[1])
    kept = np.argpartition(value, n_kept - 1, axis=1)[:, :n_kept]
    owner = np.repeat(np.arange(table.n), n_kept)
    strategy = kept.ravel()
    is_allowed = np.isfinite(cost[owner, strategy])
    owner, strategy = owner[is_allowed], strategy[is_allowed]
    n_pits = prices.shape[0] - 2
    use = np.zeros((owner.shape[0], 2 + n_pits, n_years))
    use[:, 0], use[:, 1] = money[owner, strategy], hours[owner, strategy]
    use[np.arange(owner.shape[0]), 2 + table.pit[owner]] = gravel[owner, strategy]
    return Core(
        table.n,
        owner,
        strategy.astype(np.int16),
        cost[owner, strategy],
        np.ascontiguousarray(use.reshape(owner.shape[0], -1)[:, active]),
    )


def decide(
    core: Core, room: Floats, scale: Floats, prices: Floats, *, dearest: float
) -> tuple[Codes, bool]:
    """Strategies for the core's segments within ``room``, and whether it was enough.

    ``room`` (limited row,) is what the limits leave for the core, ``scale`` the limits themselves,
    ``prices`` what a unit of each is worth; ``dearest`` is the price of breaking a whole limit.
    """
    share, is_enough = _relax(core, room, scale, dearest)
    rounded = np.zeros(core.n, dtype=np.int64)
    order = np.argsort(share, kind="stable")
    rounded[core.owner[order]] = order
    best, least = rounded, np.inf
    if not is_enough:
        return core.strategy[best], False
    slack = _TOLERANCE * scale
    value = core.cost + core.use @ prices
    by_worth = np.maximum(prices * scale, 1e-12)
    fitting: list[tuple[float, int, Rows]] = []
    for first in (rounded, *_near_shares(core, share, rounded, scale)):
        for weight in (np.ones_like(scale), by_worth):
            pick, fits = repair(
                core.owner,
                value,
                core.use,
                first,
                room + slack,
                scale=scale,
                weight=weight,
                most_moves=_MOST_MOVES,
            )
            if fits:
                fitting.append((float(core.cost[pick].sum()), len(fitting), pick))
    for _, _, pick in sorted(fitting)[:_MOST_EXCHANGED]:
        better = exchange(
            core.owner, core.cost, core.use, pick, room, slack=slack, most_tries=_MOST_PAIRS
        )
        cost = float(core.cost[better].sum())
        if cost < least:
            best, least = better, cost
    return core.strategy[best], bool(np.isfinite(least))


def _near_shares(core: Core, share: Floats, rounded: Rows, scale: Floats) -> list[Rows]:
    """Roundings that keep what is used near to what the shares use, from either end."""
    is_split = (share > 1e-6) & (share < 1 - 1e-6)
    split = np.unique(core.owner[is_split])
    candidates = [np.flatnonzero(is_split & (core.owner == owner)) for owner in split.tolist()]
    made = []
    for order in (range(len(candidates)), reversed(range(len(candidates)))):
        pick, off = rounded.copy(), np.zeros_like(scale)
        for index in order:
            mine = candidates[index]
            use = core.use[mine] / scale
            wanted = share[mine] @ use
            miss = ((off - wanted + use) ** 2).sum(axis=1)
            chosen = int(np.argmin(miss))
            off += use[chosen] - wanted
            pick[split[index]] = mine[chosen]
        made.append(pick)
    return made


def solve_exactly(
    core: Core, room: Floats, start: Codes | None, *, most_nodes: int, seconds: float
) -> Codes | None:
    """The best whole choice that a general solver finds; None if it finds none.

    The number of nodes bounds the work, so that the same input gives the same answer; ``seconds``
    is for the worst case only.
    """
    n = core.owner.shape[0]
    solver = _model(core, room)
    solver.changeColsIntegrality(
        n,
        np.arange(n, dtype=np.int32),
        np.array([highspy.HighsVarType.kInteger] * n),
    )
    solver.setOptionValue("time_limit", seconds)
    solver.setOptionValue("mip_max_nodes", most_nodes)
    solver.setOptionValue("mip_rel_gap", 1e-7)
    if start is not None:
        first = highspy.HighsSolution()
        first.col_value = (core.strategy == start[core.owner]).astype(float).tolist()
        solver.setSolution(first)
    solver.run()
    found = np.array(solver.getSolution().col_value)
    if found.shape[0] != n or abs(found.sum() - core.n) > 1e-6:
        return None
    pick = np.zeros(core.n, dtype=np.int64)
    order = np.argsort(found, kind="stable")
    pick[core.owner[order]] = order
    if np.any(core.use[pick].sum(axis=0) > room * (1 + _TOLERANCE) + _TOLERANCE):
        return None
    return core.strategy[pick]


def relaxed_bound(core: Core, room: Floats) -> float:
    """Least cost when segments may be split between strategies; inf where nothing fits."""
    solver = _model(core, room)
    solver.run()
    if solver.getModelStatus() != highspy.HighsModelStatus.kOptimal:
        return float("inf")
    return float(solver.getInfo().objective_function_value)


def _relax(core: Core, room: Floats, scale: Floats, dearest: float) -> tuple[Floats, bool]:
    """Shares of each candidate in the linear programme, and whether the limits hold in it."""
    money = max(float(np.abs(core.cost).mean()), 1.0)
    plain = replace(core, cost=core.cost / money)
    solver = _model(plain, room / scale, core.use / scale, soft=dearest / money)
    for option, value in (("presolve", "choose"), ("presolve", "off"), ("solver", "ipm")):
        solver.setOptionValue(option, value)
        solver.run()
        if solver.getModelStatus() == highspy.HighsModelStatus.kOptimal:
            break
    else:
        return np.zeros(core.owner.shape[0]), False
    found = np.array(solver.getSolution().col_value)
    n = core.owner.shape[0]
    return found[:n], bool(found[n:].sum() <= 1e-7)


def _model(
    core: Core, room: Floats, use: Floats | None = None, soft: float | None = None
) -> highspy.Highs:
    taken = core.use if use is None else use
    n, n_core, n_limits = core.owner.shape[0], core.n, room.shape[0]
    n_slack = n_limits if soft is not None else 0
    columns, limits = np.nonzero(taken)
    per_column = np.bincount(columns, minlength=n)
    start = np.concatenate(([0], np.cumsum(1 + per_column)))
    index = np.empty(start[-1], dtype=np.int32)
    value = np.empty(start[-1])
    index[start[:-1]], value[start[:-1]] = core.owner, 1.0
    within = np.arange(columns.shape[0]) - np.repeat(start[:-1] - np.arange(n), per_column)
    at = start[columns] + 1 + within
    index[at], value[at] = n_core + limits, taken[columns, limits]
    lp = highspy.HighsLp()
    lp.num_col_, lp.num_row_ = n + n_slack, n_core + n_limits
    lp.col_cost_ = np.concatenate((core.cost, np.full(n_slack, soft or 0.0)))
    lp.col_lower_ = np.zeros(n + n_slack)
    lp.col_upper_ = np.concatenate((np.ones(n), np.full(n_slack, highspy.kHighsInf)))
    lp.row_lower_ = np.concatenate((np.ones(n_core), np.full(n_limits, -highspy.kHighsInf)))
    lp.row_upper_ = np.concatenate((np.ones(n_core), room))
    lp.a_matrix_.format_ = highspy.MatrixFormat.kColwise
    lp.a_matrix_.start_ = np.concatenate((start, start[-1] + 1 + np.arange(n_slack))).astype(
        np.int32
    )
    lp.a_matrix_.index_ = np.concatenate((index, n_core + np.arange(n_slack))).astype(np.int32)
    lp.a_matrix_.value_ = np.concatenate((value, np.full(n_slack, -1.0)))
    solver = SilentHighs()
    solver.passModel(lp)
    return solver
