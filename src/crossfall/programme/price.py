"""At given prices, the cheapest strategy of every segment and what they take together.

Prices put money on what the yearly limits hold short. A segment then chooses alone, and the sum
of the cheapest choices, less what the limits are worth, can never exceed the cost of any programme
that keeps the limits: that is the lower bound. Regravelling years are looked up in two tables,
one for each half of the years, so that a strategy is priced from ten bytes.

Sums are kept by chunk of the network's order, however many threads, processes or computers share
the work, so that they add up in one order to the same last digit.
"""

# ruff: noqa: N803 - kernels name their arrays as the formulas do

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from numba import njit, prange

from crossfall.programme.kernel import SMALL, one_thread_if
from crossfall.programme.outcomes import Outcomes, Packed, pack
from crossfall.programme.table import SegmentTable, StrategySet

Floats = npt.NDArray[np.float64]
Codes = npt.NDArray[np.int16]
Rows = npt.NDArray[np.int64]

N_CHUNKS = 256
_TAKEN = (
    "blade_minor",
    "lift_minor_mm",
    "dust_minor",
    "drain_minor",
    "blade_h",
    "lift_h_mm",
    "lift_m3_mm",
)
_BLADE, _LIFT, _DUST, _DRAIN, _BLADE_H, _LIFT_H, _LIFT_M3 = range(len(_TAKEN))


@dataclass(frozen=True, eq=False)
class Priced:
    """What choices at given prices come to; groups share cuts of the price search."""

    cost: Floats
    """(group,) present value of the choices, prices left out."""
    use: Floats
    """(group, row, year) what the choices take."""

    def bound(self, prices: Floats, limits: Floats) -> float:
        """No programme within ``limits`` costs less than this."""
        held = np.where(np.isfinite(limits), prices * np.where(np.isfinite(limits), limits, 0), 0)
        return float(self.cost.sum() + (self.use.sum(axis=0) * prices).sum() - held.sum())


def chunk_edges(n: int) -> Rows:
    """Where chunks of ``n`` segments begin and end (chunk + 1,)."""
    return np.arange(N_CHUNKS + 1, dtype=np.int64) * n // N_CHUNKS


def group_of_chunk(n_groups: int) -> Rows:
    """The group each chunk belongs to (chunk,)."""
    return np.arange(N_CHUNKS, dtype=np.int64) * n_groups // N_CHUNKS


def grouped(cost: Floats, use: Floats, n_groups: int) -> Priced:
    """Sums by group from sums by chunk."""
    group = group_of_chunk(n_groups)
    by_group, use_by_group = np.zeros(n_groups), np.zeros((n_groups, *use.shape[1:]))
    np.add.at(by_group, group, cost)
    np.add.at(use_by_group, group, use)
    return Priced(by_group, use_by_group)


def choose_at(
    packed: Packed, table: SegmentTable, strategies: StrategySet, prices: Floats
) -> Codes:
    """The cheapest strategy of each segment at ``prices`` (row, year)."""
    choice = np.empty(table.n, dtype=np.int16)
    regret = np.empty(0, dtype=np.float32)
    _best(packed, table, strategies, prices, choice, regret)
    return choice


def regret_at(
    packed: Packed, table: SegmentTable, strategies: StrategySet, prices: Floats
) -> npt.NDArray[np.float32]:
    """How much dearer the second-best strategy of each segment is at ``prices`` (segment,)."""
    choice = np.empty(table.n, dtype=np.int16)
    regret = np.empty(table.n, dtype=np.float32)
    _best(packed, table, strategies, prices, choice, regret)
    return regret


def sums_of(
    packed: Packed,
    table: SegmentTable,
    strategies: StrategySet,
    choice: Codes,
    edges: Rows,
    n_years: int,
) -> tuple[Floats, Floats]:
    """Cost (chunk,) and use (chunk, row, year) of a choice; ``edges`` bound the chunks.

    A strategy that is not among a segment's candidates makes the cost inf.
    """
    n_chunks = edges.shape[0] - 1
    cost = np.zeros(n_chunks)
    use = np.zeros((n_chunks, 2 + len(table.pit_names), n_years))
    with one_thread_if(table.n < SMALL):
        _sums(
            packed.start,
            packed.cost,
            packed.mask,
            packed.code,
            taken_columns(table),
            table.pit,
            *strategy_vectors(strategies),
            choice,
            edges,
            cost,
            use,
        )
    return cost, use


def price(
    outcomes: Outcomes,
    table: SegmentTable,
    strategies: StrategySet,
    prices: Floats,
    *,
    n_groups: int = 1,
) -> tuple[Codes, Priced]:
    """Cheapest strategies at ``prices`` (row, year), and what they come to."""
    packed = pack(outcomes)
    choice = choose_at(packed, table, strategies, prices)
    sums = sums_of(packed, table, strategies, choice, chunk_edges(table.n), prices.shape[1])
    return choice, grouped(*sums, n_groups)


def values_at(
    outcomes: Outcomes,
    table: SegmentTable,
    strategies: StrategySet,
    prices: Floats,
    rows: Rows,
) -> Floats:
    """Cost plus price of every strategy on ``rows`` (segment, strategy): the plain reference."""
    some = table.rows(rows)
    cost, money, hours, gravel = uses_of(outcomes.rows(rows), some, strategies, prices.shape[1])
    value = cost + np.einsum("nst,t->ns", money, prices[0])
    value += np.einsum("nst,t->ns", hours, prices[1])
    return value + np.einsum("nst,nt->ns", gravel, prices[2:][some.pit])


def uses_of(
    outcomes: Outcomes, table: SegmentTable, strategies: StrategySet, n_years: int
) -> tuple[Floats, Floats, Floats, Floats]:
    """Cost (segment, strategy) and money, hours, gravel (segment, strategy, year) of a few."""
    bladings, lift, dust, drain = strategy_vectors(strategies)
    v = np.array(taken_columns(table), dtype=float)
    years = np.arange(n_years, dtype=np.uint32)
    bit = (outcomes.mask[:, :, None] >> years) & np.uint32(1)
    placed = bit * lift[None, :, None]
    money = placed * v[_LIFT][:, None, None]
    routine = bladings * v[_BLADE][:, None] + dust * v[_DUST][:, None]
    money += (routine + drain * v[_DRAIN][:, None])[:, :, None]
    hours = placed * v[_LIFT_H][:, None, None] + (bladings * v[_BLADE_H][:, None])[:, :, None]
    return outcomes.cost.astype(float), money, hours, placed * v[_LIFT_M3][:, None, None]


def taken_columns(table: SegmentTable) -> tuple[npt.NDArray[np.float32], ...]:
    """What bladings, gravel and care take on each segment, as the kernels want it."""
    return tuple(table.column(name) for name in _TAKEN)


def strategy_vectors(strategies: StrategySet) -> tuple[Floats, Floats, Floats, Floats]:
    """Bladings, lift, dust control and ditches of each strategy."""
    care, blading, gravel = strategies.parts(np.arange(strategies.n))
    return (
        strategies.bladings[blading].astype(float),
        strategies.lift_mm[gravel].astype(float),
        strategies.dust[care].astype(float),
        strategies.drain[care].astype(float),
    )


def _best(
    packed: Packed,
    table: SegmentTable,
    strategies: StrategySet,
    prices: Floats,
    choice: Codes,
    regret: npt.NDArray[np.float32],
) -> None:
    low, high, half = _tables(prices)
    with one_thread_if(table.n < SMALL):
        _cheapest(
            packed.start,
            packed.cost,
            packed.mask,
            packed.code,
            taken_columns(table),
            table.pit,
            *strategy_vectors(strategies),
            prices.sum(axis=1),
            low,
            high,
            half,
            choice,
            regret,
        )


def _tables(prices: Floats) -> tuple[Floats, Floats, np.uint32]:
    """Price of every pattern of the first and of the second half of the years (pattern, row)."""
    n_years = prices.shape[1]
    half = (n_years + 1) // 2
    patterns = np.arange(1 << half)
    low, high = np.zeros((2, 1 << half, prices.shape[0]))
    for year in range(n_years):
        table = low if year < half else high
        table += prices[:, year] * ((patterns >> (year % half)) & 1)[:, None]
    return low, high, np.uint32(half)


@njit(cache=True, parallel=True)
def _cheapest(  # type: ignore[no-untyped-def]
    start,
    cost,
    mask,
    code,
    V,
    pit,
    bladings,
    lift,
    dust,
    drain,
    level,
    low,
    high,
    half,
    choice,
    regret,
):
    wants_regret = regret.shape[0] > 0
    lower = (np.uint32(1) << half) - np.uint32(1)
    for n in prange(choice.shape[0]):
        best, second, chosen = np.inf, np.inf, 0
        of_blade = V[_BLADE][n] * level[0] + V[_BLADE_H][n] * level[1]
        of_dust, of_drain = V[_DUST][n] * level[0], V[_DRAIN][n] * level[0]
        of_money, of_hours, of_gravel = V[_LIFT][n], V[_LIFT_H][n], V[_LIFT_M3][n]
        p = 2 + pit[n]
        for k in range(start[n], start[n + 1]):
            s = code[k]
            value = cost[k] + bladings[s] * of_blade + dust[s] * of_dust + drain[s] * of_drain
            bits = mask[k]
            if bits != 0:
                a, b = bits & lower, bits >> half
                value += lift[s] * (
                    of_money * (low[a, 0] + high[b, 0])
                    + of_hours * (low[a, 1] + high[b, 1])
                    + of_gravel * (low[a, p] + high[b, p])
                )
            if value < best:
                second, best, chosen = best, value, s
            elif value < second:
                second = value
        choice[n] = chosen
        if wants_regret:
            regret[n] = second - best


@njit(cache=True, parallel=True)
def _sums(  # type: ignore[no-untyped-def]
    start, cost, mask, code, V, pit, bladings, lift, dust, drain, choice, edges, chunk_cost, use
):
    n_years = use.shape[2]
    for chunk in prange(edges.shape[0] - 1):
        routine, hours, total = 0.0, 0.0, 0.0
        for n in range(edges[chunk], edges[chunk + 1]):
            s = choice[n]
            k = start[n]
            while k < start[n + 1] and code[k] != s:
                k += 1
            if k == start[n + 1]:
                total = np.inf
                continue
            total += np.float64(cost[k])
            routine += bladings[s] * V[_BLADE][n] + dust[s] * V[_DUST][n] + drain[s] * V[_DRAIN][n]
            hours += bladings[s] * V[_BLADE_H][n]
            bits = mask[k]
            if bits != 0:
                placed = lift[s]
                for t in range(n_years):
                    if (bits >> np.uint32(t)) & np.uint32(1):
                        use[chunk, 0, t] += placed * V[_LIFT][n]
                        use[chunk, 1, t] += placed * V[_LIFT_H][n]
                        use[chunk, 2 + pit[n], t] += placed * V[_LIFT_M3][n]
        chunk_cost[chunk] = total
        for t in range(n_years):
            use[chunk, 0, t] += routine
            use[chunk, 1, t] += hours
