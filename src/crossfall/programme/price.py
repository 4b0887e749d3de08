"""At given prices, the cheapest strategy of every segment and what they take together.

Prices put money on what the yearly limits hold short. A segment then chooses alone, and the sum
of the cheapest choices, less what the limits are worth, can never exceed the cost of any programme
that keeps the limits: that is the lower bound. Regravelling years are looked up in two tables,
one for each half of the years, so that a strategy is priced from 8 bytes.
"""

# ruff: noqa: N803 - kernels name their arrays as the formulas do

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from numba import njit, prange

from crossfall.programme.kernel import SMALL, one_thread_if
from crossfall.programme.outcomes import Outcomes
from crossfall.programme.table import SegmentTable, StrategySet

Floats = npt.NDArray[np.float64]
Codes = npt.NDArray[np.int16]

N_CHUNKS = 256
_TAKEN = ("blade_minor", "lift_minor_mm", "dust_minor", "blade_h", "lift_h_mm", "lift_m3_mm")
_BLADE, _LIFT, _DUST, _BLADE_H, _LIFT_H, _LIFT_M3 = range(len(_TAKEN))


@dataclass(frozen=True, eq=False)
class Priced:
    """Choices at given prices; groups share cuts of the price search."""

    choice: Codes
    """(segment,) strategy."""
    cost: Floats
    """(group,) present value of the choices, prices left out."""
    use: Floats
    """(group, row, year) what the choices take."""

    def bound(self, prices: Floats, limits: Floats) -> float:
        """No programme within ``limits`` costs less than this."""
        held = np.where(np.isfinite(limits), prices * np.where(np.isfinite(limits), limits, 0), 0)
        return float(self.cost.sum() + (self.use.sum(axis=0) * prices).sum() - held.sum())


def price(
    outcomes: Outcomes,
    table: SegmentTable,
    strategies: StrategySet,
    prices: Floats,
    *,
    n_groups: int = 1,
) -> Priced:
    """Cheapest strategies at ``prices`` (row, year), rows as in ``Limits.stacked``."""
    n_pits = len(table.pit_names)
    n_years = prices.shape[1]
    choice = np.empty(table.n, dtype=np.int16)
    cost = np.zeros(N_CHUNKS)
    use = np.zeros((N_CHUNKS, 2 + n_pits, n_years))
    low, high, half = _tables(prices)
    with one_thread_if(table.n < SMALL):
        _price(
            outcomes.cost,
            outcomes.mask,
            taken_columns(table),
            table.pit,
            *strategy_vectors(strategies),
            prices.sum(axis=1),
            low,
            high,
            half,
            choice,
            cost,
            use,
        )
    group = np.arange(N_CHUNKS) * n_groups // N_CHUNKS
    grouped_cost, grouped_use = np.zeros(n_groups), np.zeros((n_groups, 2 + n_pits, n_years))
    np.add.at(grouped_cost, group, cost)
    np.add.at(grouped_use, group, use)
    return Priced(choice, grouped_cost, grouped_use)


def values_at(
    outcomes: Outcomes,
    table: SegmentTable,
    strategies: StrategySet,
    prices: Floats,
    rows: npt.NDArray[np.int64],
) -> Floats:
    """Cost plus price of every strategy on ``rows`` (segment, strategy): the plain reference."""
    some = table.rows(rows)
    cost, money, hours, gravel = uses_of(outcomes, some, strategies, rows, prices.shape[1])
    value = cost + np.einsum("nst,t->ns", money, prices[0])
    value += np.einsum("nst,t->ns", hours, prices[1])
    return value + np.einsum("nst,nt->ns", gravel, prices[2:][some.pit])


def uses_of(
    outcomes: Outcomes,
    some: SegmentTable,
    strategies: StrategySet,
    rows: npt.NDArray[np.int64],
    n_years: int,
) -> tuple[Floats, Floats, Floats, Floats]:
    """Cost (segment, strategy) and money, hours, gravel (segment, strategy, year) of ``rows``.

    ``some`` is the table of just those rows.
    """
    bladings, lift, dust = strategy_vectors(strategies)
    v = np.array(taken_columns(some), dtype=float)
    bit = (outcomes.mask[rows][:, :, None] >> np.arange(n_years, dtype=np.uint32)) & np.uint32(1)
    placed = bit * lift[None, :, None]
    money = placed * v[_LIFT][:, None, None]
    money += (bladings * v[_BLADE][:, None] + dust * v[_DUST][:, None])[:, :, None]
    hours = placed * v[_LIFT_H][:, None, None] + (bladings * v[_BLADE_H][:, None])[:, :, None]
    return outcomes.cost[rows].astype(float), money, hours, placed * v[_LIFT_M3][:, None, None]


def regret_at(
    outcomes: Outcomes, table: SegmentTable, strategies: StrategySet, prices: Floats
) -> npt.NDArray[np.float32]:
    """How much dearer the second-best strategy of each segment is at ``prices`` (segment,)."""
    regret = np.empty(table.n, dtype=np.float32)
    low, high, half = _tables(prices)
    with one_thread_if(table.n < SMALL):
        _regret(
            outcomes.cost,
            outcomes.mask,
            taken_columns(table),
            table.pit,
            *strategy_vectors(strategies),
            prices.sum(axis=1),
            low,
            high,
            half,
            regret,
        )
    return regret


def taken_columns(table: SegmentTable) -> tuple[npt.NDArray[np.float32], ...]:
    """What bladings, gravel and dust control take on each segment, as the kernels want it."""
    return tuple(table.column(name) for name in _TAKEN)


def strategy_vectors(strategies: StrategySet) -> tuple[Floats, Floats, Floats]:
    """Bladings, lift and dust control of each strategy."""
    dust, blading, gravel = strategies.parts(np.arange(strategies.n))
    return (
        strategies.bladings[blading].astype(float),
        strategies.lift_mm[gravel].astype(float),
        strategies.dust[dust].astype(float),
    )


def _tables(prices: Floats) -> tuple[Floats, Floats, np.uint32]:
    """Price of every pattern of the first and of the second half of the years (row, pattern)."""
    n_years = prices.shape[1]
    half = (n_years + 1) // 2
    patterns = np.arange(1 << half)
    low, high = np.zeros((2, prices.shape[0], 1 << half))
    for year in range(n_years):
        table = low if year < half else high
        table += prices[:, year, None] * ((patterns >> (year % half)) & 1)
    return low, high, np.uint32(half)


@njit(cache=True, inline="always")
def _value(n, s, cost, mask, V, pit, bladings, lift, dust, level, low, high, half):  # type: ignore[no-untyped-def]
    value = np.float64(cost[n, s])
    value += bladings[s] * (V[_BLADE][n] * level[0] + V[_BLADE_H][n] * level[1])
    value += dust[s] * V[_DUST][n] * level[0]
    bits = mask[n, s]
    if bits != 0:
        first, second = bits & ((np.uint32(1) << half) - np.uint32(1)), bits >> half
        p = 2 + pit[n]
        value += lift[s] * (
            V[_LIFT][n] * (low[0, first] + high[0, second])
            + V[_LIFT_H][n] * (low[1, first] + high[1, second])
            + V[_LIFT_M3][n] * (low[p, first] + high[p, second])
        )
    return value


@njit(cache=True, parallel=True)
def _price(  # type: ignore[no-untyped-def]
    cost, mask, V, pit, bladings, lift, dust, level, low, high, half, choice, chunk_cost, use
):
    n_segments, n_strategies = cost.shape
    n_years = use.shape[2]
    for chunk in prange(N_CHUNKS):
        begin, end = chunk * n_segments // N_CHUNKS, (chunk + 1) * n_segments // N_CHUNKS
        routine, hours, total = 0.0, 0.0, 0.0
        for n in range(begin, end):
            best, chosen = np.inf, 0
            for s in range(n_strategies):
                if cost[n, s] == np.inf:
                    continue
                value = _value(
                    n, s, cost, mask, V, pit, bladings, lift, dust, level, low, high, half
                )
                if value < best:
                    best, chosen = value, s
            choice[n] = chosen
            total += np.float64(cost[n, chosen])
            routine += bladings[chosen] * V[_BLADE][n] + dust[chosen] * V[_DUST][n]
            hours += bladings[chosen] * V[_BLADE_H][n]
            bits = mask[n, chosen]
            if bits != 0:
                placed = lift[chosen]
                for t in range(n_years):
                    if (bits >> np.uint32(t)) & np.uint32(1):
                        use[chunk, 0, t] += placed * V[_LIFT][n]
                        use[chunk, 1, t] += placed * V[_LIFT_H][n]
                        use[chunk, 2 + pit[n], t] += placed * V[_LIFT_M3][n]
        chunk_cost[chunk] = total
        for t in range(n_years):
            use[chunk, 0, t] += routine
            use[chunk, 1, t] += hours


@njit(cache=True, parallel=True)
def _regret(  # type: ignore[no-untyped-def]
    cost, mask, V, pit, bladings, lift, dust, level, low, high, half, regret
):
    n_segments, n_strategies = cost.shape
    for n in prange(n_segments):
        best, second = np.inf, np.inf
        for s in range(n_strategies):
            if cost[n, s] == np.inf:
                continue
            value = _value(n, s, cost, mask, V, pit, bladings, lift, dust, level, low, high, half)
            if value < best:
                best, second = value, best
            elif value < second:
                second = value
        regret[n] = second - best
