"""One strategy for each segment under yearly limits, with a proof of how good the choice is.

Prices are searched for on all segments, or on a sample of a large network; a full pass at those
prices proves a lower bound and shows which limits the sum of the choices breaks. Those limits are
tightened a little and the prices found again, until the rest can be settled by the segments that
hesitate. A choice that breaks a limit is never returned: if none is found, the error names the
limit and by how much it is missed.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from crossfall.errors import InfeasibleError
from crossfall.model import Progress, quiet
from crossfall.model.policy.programme import SolvePolicy
from crossfall.programme.balance import balance
from crossfall.programme.block import Block, Segments
from crossfall.programme.core import decide, make_core, solve_exactly
from crossfall.programme.limits import Limits
from crossfall.programme.outcomes import Outcomes
from crossfall.programme.price import Priced, grouped, uses_of
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
_DEAR = 5e-4
_PATIENT = 6
"""So many turns a mix that costs more than this above the bound is mixed again from more passes."""
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
    """Choose among segments in memory; see :func:`choose_among`."""
    segments = Block(table, outcomes, strategies)
    return choose_among(segments, limits, policy, start=start, progress=progress)


def choose_among(
    segments: Segments,
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
    problem = _Problem(segments, rows, policy)
    search, found = _search(
        problem, start, lambda done, message: progress(0.05 + 0.55 * done, message)
    )
    if found.bound > problem.dearest:
        raise InfeasibleError(problem.what_is_missed())
    progress(0.6, "Prices are found")
    tight = rows
    best: _Settled | None = None
    for turn in range(policy.tighten_passes):
        mix = search.mix(tight)
        is_over = problem.is_large and _over(mix, rows) > _NEARLY
        proven = search.proof(rows)[1]
        is_dear = problem.is_large and turn < _PATIENT and mix.cost > proven * (1 + _DEAR)
        if is_over or is_dear:
            # Too few passes were made to mix a good choice from; a margin asks for others
            margin = _FIRST_MARGIN * (turn + 1) if is_over else 0.0
            found = search.best(rows * (1 - margin), found.prices, most_passes=policy.large_passes)
            progress(0.6 + 0.3 * (turn + 1) / policy.tighten_passes, "Limits are settled")
            continue
        mixed, hesitates = balance(mix, segments, rows)
        _, use = problem.sums_of(mixed)
        for n_best in problem.breadths:
            settled = problem.settle(mixed, use, hesitates, found.prices, n_best)
            if settled is not None and (best is None or settled.cost < best.cost):
                best = settled
        progress(0.6 + 0.3 * (turn + 1) / policy.tighten_passes, "Limits are settled")
        if best is not None:
            break
        tight = _tighten(tight, rows, use)
    prices, lower = search.proof(rows)
    if segments.n <= policy.polish_below:
        best = problem.polish(best, found.prices)
    if best is None:
        raise InfeasibleError(problem.what_is_missed())
    return Choice(
        best.choice, best.cost, min(lower, best.cost), problem.least_done, prices, best.use
    )


@dataclass(frozen=True, eq=False)
class _Settled:
    """A choice within the limits."""

    choice: Codes
    cost: float
    use: Floats


class _Problem:
    """What stays the same while prices and limits change."""

    def __init__(self, segments: Segments, rows: Floats, policy: SolvePolicy) -> None:
        self.segments, self.rows, self.policy = segments, rows, policy
        self.strategies = segments.strategies
        self.active = np.flatnonzero(np.isfinite(rows).ravel())
        self.scale = np.maximum(rows.ravel()[self.active], 1e-6)
        self.is_large = segments.n > policy.sample_above
        self.breadths = (_N_BEST, self.strategies.n) if segments.n <= _SMALL else (_N_BEST,)
        dearest, least = segments.extremes()
        self.dearest = float(dearest.sum())
        """Cost of the dearest allowed choice."""
        self.least_done = float(least.sum())
        """Cost of the least on every segment; of the dearest where the least is not allowed."""

    def priced(self, prices: Floats) -> Priced:
        return grouped(*self.segments.sums_at(prices), self.policy.cut_groups)

    def sums_of(self, choice: Codes) -> tuple[float, Floats]:
        """Cost of a choice and what it takes (row, year)."""
        cost, use = self.segments.sums_of(choice, self.rows.shape[1])
        return float(cost.sum()), use.sum(axis=0)

    def settle(
        self, mixed: Codes, use: Floats, hesitates: Flags, prices: Floats, n_best: int
    ) -> _Settled | None:
        """Let the segments that hesitate settle what the limits leave; None when they cannot.

        ``use`` is what ``mixed`` takes (row, year).
        """
        regret = self.segments.regret(prices)
        regret = np.where(hesitates, regret / _HESITATES, regret)
        n_core = min(self.policy.core * (2 if self.is_large else 1), self.segments.n)
        rows = np.sort(np.argpartition(regret, n_core - 1)[:n_core]).astype(np.int64)
        table, outcomes = self.segments.rows(rows)
        core = make_core(
            outcomes,
            table,
            self.strategies,
            prices,
            self.active,
            n_best=n_best,
            always=_least(outcomes),
        )
        before = _Problem(Block(table, outcomes, self.strategies), self.rows, self.policy)
        room = self.rows - use + before.sums_of(mixed[rows])[1]
        dearest = 10.0 * float(np.max(prices.ravel()[self.active] * self.scale, initial=0.0))
        dearest = max(dearest, float(np.abs(core.cost).max()) * n_core)
        picked, fits = decide(
            core,
            room.ravel()[self.active],
            self.scale,
            prices.ravel()[self.active],
            dearest=dearest,
        )
        if not fits:
            return None
        chosen = mixed.copy()
        chosen[rows] = picked
        return self._within(chosen)

    def polish(self, best: _Settled | None, prices: Floats) -> _Settled | None:
        """A better choice by a general solver, where the network is small enough for one."""
        table, outcomes = self.segments.rows(np.arange(self.segments.n))
        core = make_core(
            outcomes, table, self.strategies, prices, self.active, n_best=self.strategies.n
        )
        found = solve_exactly(
            core,
            self.rows.ravel()[self.active],
            None if best is None else best.choice,
            most_nodes=self.policy.polish_nodes,
            seconds=self.policy.polish_seconds,
        )
        better = None if found is None else self._within(found)
        if better is None or (best is not None and best.cost <= better.cost):
            return best
        return better

    def what_is_missed(self) -> str:
        """Which limit even the least of it exceeds, or which is the nearest."""
        names = Limits(self.rows[0], self.rows[1], self.rows[2:]).row_names(self.segments.pit_names)
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
        n = self.segments.n
        sample = np.linspace(0, n - 1, min(n, _SAMPLE)).astype(np.int64)
        least = np.zeros_like(self.rows)
        n_years = self.rows.shape[1]
        for begin in range(0, sample.shape[0], _FEW):
            some, outcomes = self.segments.rows(sample[begin : begin + _FEW])
            cost, *taken = uses_of(outcomes, some, self.strategies, n_years)
            is_out = ~np.isfinite(cost)
            money, hours, gravel = (
                np.where(is_out[:, :, None], np.inf, each).min(axis=1) for each in taken
            )
            least[0] += money.sum(axis=0)
            least[1] += hours.sum(axis=0)
            np.add.at(least, 2 + some.pit, gravel)
        return least * (n / sample.shape[0])

    def _within(self, chosen: Codes) -> _Settled | None:
        cost, use = self.sums_of(chosen)
        taken = use.ravel()[self.active]
        if np.all(taken <= self.rows.ravel()[self.active] + 1e-6 * self.scale):
            return _Settled(chosen, cost, use)
        return None


def _least(outcomes: Outcomes) -> Codes:
    """The first allowed strategy of each row: the least that keeps the service level."""
    return np.argmax(np.isfinite(outcomes.cost), axis=1).astype(np.int16)


def _search(
    problem: _Problem, start: Floats | None, progress: Progress
) -> tuple[PriceSearch, Found]:
    """Prices for all segments; on a large network a sample shows where to look."""
    policy, rows = problem.policy, problem.rows
    if not problem.is_large:
        search = PriceSearch(
            problem.priced, rows, policy, dearest=problem.dearest, progress=progress
        )
        return search, search.best(rows, start)
    every = _fair_sample(problem.segments, policy.sample)
    share = policy.sample / problem.segments.n
    table, outcomes = problem.segments.rows(every)
    some = _Problem(Block(table, outcomes, problem.strategies), rows * share, policy)
    sample = PriceSearch(
        some.priced,
        rows * share,
        policy,
        dearest=some.dearest,
        progress=lambda done, message: progress(0.4 * done, message),
    )
    near = sample.best(rows * share, start)
    whole = PriceSearch(
        problem.priced,
        rows,
        policy,
        dearest=problem.dearest,
        progress=lambda done, message: progress(0.4 + 0.6 * done, message),
    )
    for prices in sample.mix(rows * share, least_share=_LEAST_SHARE).prices:
        whole.learn(prices)
    return whole, whole.best(rows, near.prices, most_passes=policy.large_passes)


def _fair_sample(segments: Segments, n: int) -> Rows:
    """Every so-manieth segment of each pit by how long its gravel lasts, in the network's order."""
    lasts, pit = segments.lasting()
    order = np.lexsort((lasts, pit))
    return np.sort(order[np.linspace(0, segments.n - 1, n).astype(np.int64)])


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
