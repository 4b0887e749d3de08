"""One strategy for each segment under yearly limits, with a proof of how good the choice is.

Prices are searched for on all segments, or on a sample of a large network; a full pass at those
prices proves a lower bound and shows which limits the sum of the choices breaks. Those limits are
tightened a little and the prices found again, until the rest can be settled by the segments that
hesitate. A choice that breaks a limit is never returned: if none is found, the error names the
limit and by how much it is missed.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from crossfall.errors import InfeasibleError
from crossfall.model import Progress, quiet
from crossfall.model.policy.programme import SolvePolicy
from crossfall.programme.balance import balance
from crossfall.programme.core import decide, make_core, solve_exactly
from crossfall.programme.limits import Limits
from crossfall.programme.outcomes import Outcomes
from crossfall.programme.price import Priced, price, regret_at, uses_of
from crossfall.programme.prices import Found, Mix, PriceSearch
from crossfall.programme.table import SegmentTable, StrategySet

Floats = npt.NDArray[np.float64]
Rows = npt.NDArray[np.int64]
Codes = npt.NDArray[np.int16]
Flags = npt.NDArray[np.bool_]

_N_BEST = 8
_SMALL = 1000
_HESITATES = 1e6
_LEAST_TIGHT = 0.2
_LEAST_SHARE = 1e-4
_NEARLY = 2e-4
_FIRST_MARGIN = 0.002
_BLOCK = 50_000
_SAMPLE = 20_000
_FEW = 500


@dataclass(frozen=True, eq=False)
class Choice:
    """A strategy for each segment, within the limits, and what is proven of it."""

    strategy: Codes
    """(segment,)."""
    upper: float
    """Cost of the choice, present value, minor units."""
    lower: float
    """No choice within the limits costs less."""
    least_done: float
    """Cost when only the least is done on every segment."""
    prices: Floats
    """(row, year) what one more unit of each limit would save."""
    use: Floats
    """(row, year) what the choice takes."""

    @property
    def gap_pct(self) -> float:
        """How much cheaper any choice could be at most, of the whole cost [%]."""
        return 100.0 * max(0.0, self.upper - self.lower) / self.upper if self.upper > 0 else 0.0

    @property
    def avoidable_gap_pct(self) -> float:
        """The same, of the cost that doing more than the least can avoid [%]."""
        avoidable = self.least_done - self.lower
        return 100.0 * max(0.0, self.upper - self.lower) / avoidable if avoidable > 0 else 0.0


def choose(
    outcomes: Outcomes,
    table: SegmentTable,
    strategies: StrategySet,
    limits: Limits,
    policy: SolvePolicy,
    *,
    start: Floats | None = None,
    progress: Progress = quiet,
) -> Choice:
    """Choose within ``limits``; ``start`` are prices to begin the search at.

    Raises
    ------
    InfeasibleError
        If no choice within the limits was found; names the limit that is missed most.
    """
    rows = limits.stacked()
    problem = _Problem(outcomes, table, strategies, rows, policy)
    search, found = _search(problem, start)
    if found.bound > problem.dearest():
        raise InfeasibleError(problem.what_is_missed(table))
    progress(0.6, "Prices are found")
    tight = rows
    best: Codes | None = None
    upper = np.inf
    for turn in range(policy.tighten_passes):
        mix = search.mix(tight)
        if problem.is_large and _over(mix, rows) > _NEARLY:
            margin = _FIRST_MARGIN * (turn + 1)
            found = search.best(rows * (1 - margin), found.prices, most_passes=policy.large_passes)
            continue
        mixed, hesitates = balance(mix, outcomes, table, strategies, rows)
        use = problem.use_of(mixed)
        for n_best in problem.breadths:
            chosen = problem.settle(mixed, use, hesitates, found.prices, n_best)
            if chosen is not None and problem.cost_of(chosen) < upper:
                best, upper = chosen, problem.cost_of(chosen)
        progress(0.6 + 0.3 * (turn + 1) / policy.tighten_passes, "Limits are settled")
        if best is not None:
            break
        tight = _tighten(tight, rows, use)
    prices, lower = search.proof(rows)
    if table.n <= policy.polish_below:
        best = problem.polish(best, found.prices)
    if best is None:
        raise InfeasibleError(problem.what_is_missed(table))
    upper = problem.cost_of(best)
    return Choice(
        best,
        upper,
        min(lower, upper),
        problem.least_done(),
        prices,
        problem.use_of(best),
    )


class _Problem:
    """What stays the same while prices and limits change."""

    def __init__(
        self,
        outcomes: Outcomes,
        table: SegmentTable,
        strategies: StrategySet,
        rows: Floats,
        policy: SolvePolicy,
    ) -> None:
        self.outcomes, self.table, self.strategies = outcomes, table, strategies
        self.rows, self.policy = rows, policy
        self.active = np.flatnonzero(np.isfinite(rows).ravel())
        self.scale = np.maximum(rows.ravel()[self.active], 1e-6)
        self.is_large = table.n > policy.sample_above
        self.breadths = (_N_BEST, strategies.n) if table.n <= _SMALL else (_N_BEST,)

    def priced(self, prices: Floats) -> Priced:
        return price(self.outcomes, self.table, self.strategies, prices)

    def settle(
        self, mixed: Codes, use: Floats, hesitates: Flags, prices: Floats, n_best: int
    ) -> Codes | None:
        """Let the segments that hesitate settle what the limits leave; None when they cannot.

        ``use`` is what ``mixed`` takes (row, year).
        """
        regret = regret_at(self.outcomes, self.table, self.strategies, prices)
        regret = np.where(hesitates, regret / _HESITATES, regret)
        n_core = min(self.policy.core * (2 if self.is_large else 1), self.table.n)
        rows = np.sort(np.argpartition(regret, n_core - 1)[:n_core]).astype(np.int64)
        core = make_core(
            self.outcomes,
            self.table,
            self.strategies,
            prices,
            rows,
            self.active,
            n_best=n_best,
            always=self._least(rows),
        )
        room = (
            self.rows.ravel()[self.active] - use.ravel()[self.active] + self._use(mixed[rows], rows)
        )
        dearest = 10.0 * float(np.max(prices.ravel()[self.active] * self.scale, initial=0.0))
        dearest = max(dearest, float(np.abs(core.cost).max()) * n_core)
        picked, fits = decide(core, room, self.scale, prices.ravel()[self.active], dearest=dearest)
        if not fits:
            return None
        chosen = mixed.copy()
        chosen[rows] = picked
        return chosen if self._keeps(chosen) else None

    def polish(self, chosen: Codes | None, prices: Floats) -> Codes | None:
        """A better choice by a general solver, where the network is small enough for one."""
        core = make_core(
            self.outcomes,
            self.table,
            self.strategies,
            prices,
            np.arange(self.table.n),
            self.active,
            n_best=self.strategies.n,
        )
        better = solve_exactly(
            core,
            self.rows.ravel()[self.active],
            chosen,
            most_nodes=self.policy.polish_nodes,
            seconds=self.policy.polish_seconds,
        )
        if better is None or not self._keeps(better):
            return chosen
        if chosen is not None and self.cost_of(chosen) <= self.cost_of(better):
            return chosen
        return better

    def cost_of(self, chosen: Codes) -> float:
        everyone = np.arange(self.table.n)
        return float(self.outcomes.cost[everyone, chosen].astype(float).sum())

    def use_of(self, chosen: Codes) -> Floats:
        """What a choice takes (row, year)."""
        use = np.zeros_like(self.rows)
        column = {name: self.table.column(name).astype(float) for name in _USE_COLUMNS}
        dust, blading, gravel = self.strategies.parts(chosen.astype(np.int64))
        bladings = self.strategies.bladings[blading].astype(float)
        lift = self.strategies.lift_mm[gravel].astype(float)
        has_dust = self.strategies.dust[dust].astype(float)
        mask = self.outcomes.mask[np.arange(self.table.n), chosen]
        use[0] = bladings @ column["blade_minor"] + has_dust @ column["dust_minor"]
        use[1] = bladings @ column["blade_h"]
        for year in range(use.shape[1]):
            now = ((mask >> np.uint32(year)) & np.uint32(1)) * lift
            use[0, year] += now @ column["lift_minor_mm"]
            use[1, year] += now @ column["lift_h_mm"]
            use[2:, year] = np.bincount(
                self.table.pit,
                weights=now * column["lift_m3_mm"],
                minlength=use.shape[0] - 2,
            )
        return use

    def least_done(self) -> float:
        """Cost of the least on every segment, service levels left out of sight."""
        least = self.outcomes.cost[:, 0].astype(float)
        finite = np.isfinite(least)
        if not finite.all():
            rest = self.outcomes.cost[~finite].astype(float)
            least[~finite] = np.where(np.isfinite(rest), rest, -np.inf).max(axis=1)
        return float(least.sum())

    def dearest(self) -> float:
        """Cost of the dearest allowed choice."""
        total = 0.0
        for begin in range(0, self.table.n, _BLOCK):
            cost = self.outcomes.cost[begin : begin + _BLOCK].astype(float)
            total += float(np.where(np.isfinite(cost), cost, -np.inf).max(axis=1).sum())
        return total

    def what_is_missed(self, table: SegmentTable) -> str:
        """Which limit even the least of it exceeds, or which is the nearest."""
        names = Limits(self.rows[0], self.rows[1], self.rows[2:]).row_names(table.pit_names)
        share = self._least_use() / np.maximum(self.rows, 1e-9)
        row, year = np.unravel_index(int(np.argmax(share)), share.shape)
        if share[row, year] > 1:
            return (
                "nothing keeps the limits: the least that the service levels allow takes"
                f" {share[row, year]:.2f} times the {names[row]} of year {year + 1}"
            )
        return (
            "no programme within all limits was found; the tightest is the"
            f" {names[row]} of year {year + 1}, of which the least that the service levels allow"
            f" takes {100 * share[row, year]:.0f} %"
        )

    def _least_use(self) -> Floats:
        """Least use of each limit taken alone (row, year), on a sample of a large network."""
        n = self.table.n
        sample = np.linspace(0, n - 1, min(n, _SAMPLE)).astype(np.int64)
        least = np.zeros_like(self.rows)
        n_years = self.rows.shape[1]
        for begin in range(0, sample.shape[0], _FEW):
            rows = sample[begin : begin + _FEW]
            some = self.table.rows(rows)
            cost, *taken = uses_of(self.outcomes, some, self.strategies, rows, n_years)
            is_out = ~np.isfinite(cost)
            money, hours, gravel = (
                np.where(is_out[:, :, None], np.inf, each).min(axis=1) for each in taken
            )
            least[0] += money.sum(axis=0)
            least[1] += hours.sum(axis=0)
            np.add.at(least, 2 + some.pit, gravel)
        return least * (n / sample.shape[0])

    def _least(self, rows: Rows) -> Codes:
        """The first allowed strategy of each row: the least that keeps the service level."""
        return np.argmax(np.isfinite(self.outcomes.cost[rows]), axis=1).astype(np.int16)

    def _use(self, chosen: Codes, rows: Rows) -> Floats:
        some = _Problem(
            self.outcomes.rows(rows), self.table.rows(rows), self.strategies, self.rows, self.policy
        )
        return some.use_of(chosen).ravel()[self.active]

    def _keeps(self, chosen: Codes) -> bool:
        use = self.use_of(chosen).ravel()[self.active]
        return bool(np.all(use <= self.rows.ravel()[self.active] + 1e-6 * self.scale))


_USE_COLUMNS = (
    "blade_minor",
    "lift_minor_mm",
    "dust_minor",
    "blade_h",
    "lift_h_mm",
    "lift_m3_mm",
)


def _search(problem: _Problem, start: Floats | None) -> tuple[PriceSearch, Found]:
    """Prices for all segments; on a large network a sample shows where to look."""
    table, policy, rows = problem.table, problem.policy, problem.rows
    if not problem.is_large:
        search = PriceSearch(
            _pricer(problem, policy.cut_groups), rows, policy, dearest=problem.dearest()
        )
        return search, search.best(rows, start)
    every = _fair_sample(table, policy.sample)
    share = policy.sample / table.n
    some = _Problem(
        problem.outcomes.rows(every), table.rows(every), problem.strategies, rows * share, policy
    )
    sample = PriceSearch(
        _pricer(some, policy.cut_groups), rows * share, policy, dearest=some.dearest()
    )
    near = sample.best(rows * share, start)
    whole = PriceSearch(
        _pricer(problem, policy.cut_groups), rows, policy, dearest=problem.dearest()
    )
    for prices in sample.mix(rows * share, least_share=_LEAST_SHARE).prices:
        whole.learn(prices)
    return whole, whole.best(rows, near.prices, most_passes=policy.large_passes)


def _fair_sample(table: SegmentTable, n: int) -> Rows:
    """Every so-manieth segment of each pit by how long its gravel lasts, in the network's order."""
    lasts = table.column("start_mm") / (
        table.column("loss_fixed_mm") + table.column("loss_traffic_mm")
    )
    order = np.lexsort((lasts, table.pit))
    return np.sort(order[np.linspace(0, table.n - 1, n).astype(np.int64)])


def _pricer(problem: _Problem, n_groups: int) -> Callable[[Floats], Priced]:
    def evaluate(prices: Floats) -> Priced:
        return price(problem.outcomes, problem.table, problem.strategies, prices, n_groups=n_groups)

    return evaluate


def _over(mix: Mix, rows: Floats) -> float:
    """By how much the shares of a mix break the limits at most, as a share of them."""
    use = sum(
        np.einsum("g,grt->rt", shares, priced.use)
        for shares, priced in zip(mix.shares, mix.priced, strict=True)
    )
    limited = np.where(np.isfinite(rows), use / np.maximum(rows, 1e-9), 0.0)
    return float(limited.max() - 1)


def _tighten(tight: Floats, rows: Floats, use: Floats) -> Floats:
    """Limits for the next mix, lower where whole choices broke them."""
    over = np.where(np.isfinite(rows) & (rows > 0), use / np.maximum(rows, 1e-9), 1.0)
    over = np.maximum(over, 1.0)
    return np.where(over > 1, np.maximum(tight / over**1.1, _LEAST_TIGHT * rows), tight)
