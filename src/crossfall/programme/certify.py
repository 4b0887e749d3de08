"""A second opinion on a programme, by code that shares nothing with the solver.

Everything is worked out again in double precision, year by year and strategy by strategy: what
the choice costs and takes, by how much each limit is kept or missed, and the lower bound that the
prices prove. A programme is shown only with its certificate, and never when that says a limit is
broken.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from numba import njit

from crossfall.errors import InputError
from crossfall.programme.outcomes import Outcomes
from crossfall.programme.table import SegmentTable, StrategySet

Floats = npt.NDArray[np.float64]

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
    part = examine(strategy, prices, outcomes, table, strategies)
    return conclude([part], prices, limits, table.pit_names)


@dataclass(frozen=True, eq=False)
class Examined:
    """What some of the segments add to a certificate."""

    upper: float
    least: float
    """Sum of the least priced costs."""
    n_forbidden: int
    used: Floats
    """(row, year)."""


def examine(
    strategy: npt.NDArray[np.integer],
    prices: Floats,
    outcomes: Outcomes,
    table: SegmentTable,
    strategies: StrategySet,
) -> Examined:
    """Work out some segments again."""
    care, blading, gravel = strategies.parts(np.arange(strategies.n))
    used = np.zeros(prices.shape)
    upper, least, n_forbidden = _examine(
        outcomes.cost,
        outcomes.mask,
        tuple(table.column(name) for name in _READ),
        table.pit.astype(np.int64),
        strategies.bladings.astype(float)[blading],
        strategies.lift_mm.astype(float)[gravel],
        strategies.dust.astype(float)[care],
        strategies.drain.astype(float)[care],
        strategy.astype(np.int64),
        prices,
        used,
    )
    return Examined(upper, least, int(n_forbidden), used)


def conclude(
    parts: Sequence[Examined], prices: Floats, limits: Floats, pit_names: Sequence[str]
) -> Certificate:
    """Add up what was examined, and hold it against ``limits`` (row, year)."""
    used = np.sum([part.used for part in parts], axis=0)
    held = np.where(np.isfinite(limits), limits, 0.0)
    share = np.where(np.isfinite(limits), used / np.maximum(held, 1e-9), 0.0)
    row, year = np.unravel_index(int(np.argmax(share)), share.shape)
    names = ("money", "grader hours", *(f"gravel from {name}" for name in pit_names))
    return Certificate(
        sum(part.upper for part in parts),
        sum(part.least for part in parts) - float((prices * held).sum()),
        f"{names[row]} of year {year + 1}",
        float(share[row, year]),
        sum(part.n_forbidden for part in parts),
    )


_READ = (
    "blade_minor",
    "dust_minor",
    "drain_minor",
    "blade_h",
    "lift_minor_mm",
    "lift_h_mm",
    "lift_m3_mm",
)


@njit(cache=True)
def _examine(  # type: ignore[no-untyped-def]
    cost, mask, columns, pit, bladings, lift, dust, drain, strategy, prices, used
):
    blade_minor, dust_minor, drain_minor, blade_h, lift_minor, lift_h, lift_m3 = columns
    n_years = prices.shape[1]
    upper, least_of_all, n_forbidden = 0.0, 0.0, 0
    for n in range(strategy.shape[0]):
        row = 2 + pit[n]
        least = np.inf
        for s in range(cost.shape[1]):
            is_mine = s == strategy[n]
            if not np.isfinite(cost[n, s]):
                if is_mine:
                    n_forbidden += 1
                continue
            yearly = bladings[s] * blade_minor[n] + dust[s] * dust_minor[n]
            yearly += drain[s] * drain_minor[n]
            hours = bladings[s] * blade_h[n]
            priced = np.float64(cost[n, s])
            for t in range(n_years):
                placed = lift[s] if (mask[n, s] >> np.uint32(t)) & np.uint32(1) else 0.0
                money_t = yearly + placed * lift_minor[n]
                hours_t = hours + placed * lift_h[n]
                gravel_t = placed * lift_m3[n]
                priced += money_t * prices[0, t] + hours_t * prices[1, t]
                priced += gravel_t * prices[row, t]
                if is_mine:
                    used[0, t] += money_t
                    used[1, t] += hours_t
                    used[row, t] += gravel_t
            if is_mine:
                upper += np.float64(cost[n, s])
            least = min(least, priced)
        least_of_all += least
    return upper, least_of_all, n_forbidden
