"""A second opinion on a programme, by code that shares nothing with the solver.

Everything is worked out again in double precision, plainly: what the choice costs and takes, by
how much each limit is kept or missed, and the lower bound that the prices prove. A programme is
shown only with its certificate, and never when that says a limit is broken.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from crossfall.errors import InputError
from crossfall.programme.outcomes import Outcomes
from crossfall.programme.table import SegmentTable, StrategySet

Floats = npt.NDArray[np.float64]

_BLOCK = 20_000
_KEPT = 1e-6
"""A limit counts as kept within this share of it: the tables are in single precision."""


@dataclass(frozen=True, slots=True)
class Certificate:
    """What was checked, and what came out."""

    upper: float
    """Cost of the choice, present value, minor units."""
    lower: float
    """Proven least cost within the limits."""
    worst_limit: str
    """The limit that is nearest to being broken, with its year."""
    worst_share: float
    """What is used of it; above 1 it is broken."""
    n_forbidden: int
    """Segments whose strategy misses the service level though another would not."""

    @property
    def is_within_limits(self) -> bool:
        return self.worst_share <= 1 + _KEPT and self.n_forbidden == 0

    @property
    def gap_pct(self) -> float:
        return 100.0 * max(0.0, self.upper - self.lower) / self.upper if self.upper > 0 else 0.0


def certify(
    strategy: npt.NDArray[np.integer],
    prices: Floats,
    limits: Floats,
    outcomes: Outcomes,
    table: SegmentTable,
    strategies: StrategySet,
) -> Certificate:
    """Check a choice against ``limits`` (row, year) and the bound of ``prices`` (row, year).

    Rows are money, grader hours, then gravel of each pit. Any prices >= 0 prove a bound; better
    prices prove a better one.

    Raises
    ------
    InputError
        If shapes do not fit or a price is negative.
    """
    if strategy.shape != (table.n,):
        raise InputError(f"strategy has shape {strategy.shape}; expected ({table.n},)")
    if prices.shape != limits.shape or limits.shape[0] != 2 + len(table.pit_names):
        raise InputError(f"prices {prices.shape} and limits {limits.shape} do not fit the pits")
    if np.any(prices < 0) or np.any((prices > 0) & ~np.isfinite(limits)):
        raise InputError("a price is negative, or stands where there is no limit")
    used = np.zeros_like(limits)
    upper, least, n_forbidden = 0.0, 0.0, 0
    for begin in range(0, table.n, _BLOCK):
        rows = np.arange(begin, min(begin + _BLOCK, table.n))
        cost, lump, routine, hours_routine, hours_lump, gravel = _figures(
            rows, outcomes, table, strategies
        )
        bits = _bits(outcomes.mask[rows], limits.shape[1])
        at_pit = prices[2:][table.pit[rows]]
        money_price = np.einsum("nst,t->ns", bits, prices[0])
        hours_price = np.einsum("nst,t->ns", bits, prices[1])
        gravel_price = np.einsum("nst,nt->ns", bits, at_pit)
        priced = cost + routine * prices[0].sum() + hours_routine * prices[1].sum()
        priced += lump * money_price + hours_lump * hours_price + gravel * gravel_price
        least += float(np.where(np.isfinite(priced), priced, np.inf).min(axis=1).sum())
        here, mine = np.arange(rows.shape[0]), strategy[rows].astype(np.int64)
        chosen = cost[here, mine]
        n_forbidden += int((~np.isfinite(chosen)).sum())
        upper += float(chosen[np.isfinite(chosen)].sum())
        due = bits[here, mine]
        used[0] += routine[here, mine].sum() + lump[here, mine] @ due
        used[1] += hours_routine[here, mine].sum() + hours_lump[here, mine] @ due
        placed = gravel[here, mine][:, None] * due
        for pit in range(len(table.pit_names)):
            used[2 + pit] += placed[table.pit[rows] == pit].sum(axis=0)
    held = np.where(np.isfinite(limits), limits, 0.0)
    share = np.where(np.isfinite(limits), used / np.maximum(held, 1e-9), 0.0)
    row, year = np.unravel_index(int(np.argmax(share)), share.shape)
    names = ("money", "grader hours", *(f"gravel from {name}" for name in table.pit_names))
    return Certificate(
        upper,
        least - float((prices * held).sum()),
        f"{names[row]} of year {year + 1}",
        float(share[row, year]),
        n_forbidden,
    )


def _bits(mask: npt.NDArray[np.uint32], n_years: int) -> Floats:
    """(segment, strategy, year) 1 where gravel is placed."""
    years = np.arange(n_years, dtype=np.uint32)
    return ((mask[:, :, None] >> years) & np.uint32(1)).astype(float)


def _figures(
    rows: npt.NDArray[np.int64],
    outcomes: Outcomes,
    table: SegmentTable,
    strategies: StrategySet,
) -> tuple[Floats, Floats, Floats, Floats, Floats, Floats]:
    """Cost; money and hours of a placing and of a usual year; gravel of a placing."""
    dust, blading, gravel = strategies.parts(np.arange(strategies.n))
    n_bladings = strategies.bladings.astype(float)[blading]
    lift = strategies.lift_mm.astype(float)[gravel]
    has_dust = strategies.dust.astype(float)[dust]

    def of(name: str) -> Floats:
        return table.column(name)[rows].astype(float)[:, None]

    return (
        outcomes.cost[rows].astype(float),
        lift * of("lift_minor_mm"),
        n_bladings * of("blade_minor") + has_dust * of("dust_minor"),
        n_bladings * of("blade_h"),
        lift * of("lift_h_mm"),
        lift * of("lift_m3_mm"),
    )
