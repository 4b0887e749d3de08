"""The search for prices: how much one more dollar, load or hour is worth in each year.

Each pass at some prices gives, for each group of segments, a plane above which the group's least
cost never rises. A small linear programme finds the prices where the planes, less what the limits
are worth, leave most; the next pass tells how true that is. A box around the best prices so far
keeps the steps in sight of what is known.

Turned round, the same small programme mixes the choices of the passes, in shares for each group,
so that the limits hold and the cost is the bound itself; :mod:`crossfall.programme.balance`
makes whole choices of the shares. Planes do not depend on the limits, so tightened limits start
from all that was learned.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import highspy
import numpy as np
import numpy.typing as npt

from crossfall.model import Progress, quiet
from crossfall.model.policy.programme import SolvePolicy
from crossfall.programme.price import Priced
from crossfall.programme.silent import SilentHighs

Floats = npt.NDArray[np.float64]

_FIRST_RADIUS = 0.05
_LEAST_RADIUS = 1e-7
_GOOD_STEP = 0.1
_OPEN = 1e4


@dataclass(frozen=True, eq=False)
class Found:
    """The best prices found and what they prove."""

    prices: Floats
    """(row, year), zero where there is no limit."""
    bound: float
    """No programme within the limits costs less."""
    priced: Priced
    n_passes: int


@dataclass(frozen=True, eq=False)
class Mix:
    """Shares in which the choices of some passes are mixed."""

    priced: tuple[Priced, ...]
    prices: tuple[Floats, ...]
    shares: Floats
    """(pass, group); those of a group add up to 1."""

    @property
    def cost(self) -> float:
        """What the shares cost together, prices left out."""
        return float(
            sum(one @ each.cost for one, each in zip(self.shares, self.priced, strict=True))
        )


class PriceSearch:
    """Planes learned so far for one set of segments; limits may change between searches."""

    def __init__(
        self,
        evaluate: Callable[[Floats], Priced],
        limits: Floats,
        policy: SolvePolicy,
        *,
        dearest: float = np.inf,
        progress: Progress = quiet,
    ) -> None:
        """``limits`` (row, year) say which rows count, and scale them.

        ``dearest`` is the cost of the dearest choice there is: a bound above it proves that no
        choice keeps the limits.
        """
        self._dearest, self._progress = dearest, progress
        self._evaluate = evaluate
        self._policy = policy
        self._shape = limits.shape
        self._active = np.flatnonzero(np.isfinite(limits).ravel())
        first = evaluate(np.zeros(self._shape))
        free_use = first.use.sum(axis=0).ravel()[self._active]
        self._scale = np.maximum(limits.ravel()[self._active], 1e-3 * free_use + 1e-9)
        self._money = max(float(abs(first.cost.sum())), 1.0)
        self._n_groups = first.cost.shape[0]
        self._solver = self._new_solver()
        self._passes: list[tuple[Floats, Priced]] = []
        self._add(np.zeros(self._active.shape[0]), first)

    def learn(self, prices: Floats) -> Priced:
        """Make a pass at ``prices``."""
        return self._pass(self._to_scaled(prices))

    def best(
        self, limits: Floats, start: Floats | None = None, *, most_passes: int | None = None
    ) -> Found:
        """Prices with the highest bound for ``limits``; ``start`` are prices to begin at."""
        held = limits.ravel()[self._active] / self._scale
        center, at_center = self._passes[0]
        if start is not None:
            center = self._to_scaled(start)
            at_center = self._pass(center)
        best, n_passes = self._value(at_center, center, held), 0
        self._set_objective(held)
        radius = _FIRST_RADIUS if start is None else _FIRST_RADIUS / 8
        most = self._policy.dual_passes if most_passes is None else most_passes
        while n_passes < most and self._active.size and best * self._money <= self._dearest:
            trial, promised = self._propose(center, radius)
            if promised - best <= self._policy.dual_tolerance * abs(best):
                if np.max(np.abs(trial - center)) < radius * 0.999 or radius > _OPEN:
                    break
                radius *= 4
                continue
            priced = self._pass(trial)
            n_passes += 1
            self._progress(n_passes / most, "Prices are sought")
            value = self._value(priced, trial, held)
            if value > best:
                is_good = value - best >= _GOOD_STEP * (promised - best)
                is_at_edge = np.max(np.abs(trial - center)) >= radius * 0.999
                best, center, at_center = value, trial, priced
                radius *= 2 if is_good and is_at_edge else 1
            else:
                radius = max(radius / 2, _LEAST_RADIUS)
        return Found(self._to_prices(center), best * self._money, at_center, n_passes)

    def proof(self, limits: Floats) -> tuple[Floats, float]:
        """The prices of all passes made that prove most for ``limits``, and the bound."""
        held = limits.ravel()[self._active] / self._scale
        values = [self._value(priced, scaled, held) for scaled, priced in self._passes]
        best = int(np.argmax(values))
        return self._to_prices(self._passes[best][0]), values[best] * self._money

    def mix(self, limits: Floats, *, least_share: float = 1e-6) -> Mix:
        """Shares of the passes' choices that keep ``limits`` at least cost."""
        self._set_objective(limits.ravel()[self._active] / self._scale)
        n_active = self._active.shape[0]
        self._propose(np.zeros(n_active), _OPEN)
        shares = np.abs(np.array(self._solver.getSolution().row_dual))
        shares = shares.reshape(len(self._passes), self._n_groups)
        shares[shares < least_share] = 0.0
        shares /= shares.sum(axis=0)
        kept = np.flatnonzero(shares.any(axis=1))
        return Mix(
            tuple(self._passes[index][1] for index in kept),
            tuple(self._to_prices(self._passes[index][0]) for index in kept),
            shares[kept],
        )

    def _pass(self, scaled: Floats) -> Priced:
        priced = self._evaluate(self._to_prices(scaled))
        self._add(scaled, priced)
        return priced

    def _value(self, priced: Priced, scaled: Floats, limits: Floats) -> float:
        use = priced.use.sum(axis=0).ravel()[self._active] / self._scale
        return float(priced.cost.sum() / self._money + scaled @ (use - limits))

    def _to_prices(self, scaled: Floats) -> Floats:
        prices = np.zeros(self._shape)
        prices.ravel()[self._active] = scaled * self._money / self._scale
        return prices

    def _to_scaled(self, prices: Floats) -> Floats:
        return prices.ravel()[self._active] * self._scale / self._money

    def _new_solver(self) -> highspy.Highs:
        solver = SilentHighs()
        solver.changeObjectiveSense(highspy.ObjSense.kMaximize)
        for _ in range(self._n_groups):
            solver.addVar(-highspy.kHighsInf, highspy.kHighsInf)
        for _ in range(self._active.shape[0]):
            solver.addVar(0.0, 0.0)
        return solver

    def _set_objective(self, limits: Floats) -> None:
        columns = np.arange(self._n_groups + limits.shape[0], dtype=np.int32)
        weights = np.concatenate((np.ones(self._n_groups), -limits))
        self._solver.changeColsCost(columns.shape[0], columns, weights)

    def _add(self, scaled: Floats, priced: Priced) -> None:
        """One plane a group: least cost <= cost of this choice + its use at other prices."""
        self._passes.append((scaled, priced))
        n_active = self._active.shape[0]
        use = priced.use.reshape(self._n_groups, -1)[:, self._active] / self._scale
        columns = np.arange(self._n_groups, self._n_groups + n_active, dtype=np.int32)
        for group in range(self._n_groups):
            self._solver.addRow(
                -highspy.kHighsInf,
                float(priced.cost[group]) / self._money,
                n_active + 1,
                np.concatenate((np.array([group], dtype=np.int32), columns)),
                np.concatenate(([1.0], -use[group])),
            )

    def _propose(self, center: Floats, radius: float) -> tuple[Floats, float]:
        n_active = center.shape[0]
        columns = np.arange(self._n_groups, self._n_groups + n_active, dtype=np.int32)
        self._solver.changeColsBounds(
            n_active, columns, np.maximum(center - radius, 0.0), center + radius
        )
        self._solver.run()
        if self._solver.getModelStatus() != highspy.HighsModelStatus.kOptimal:
            # A basis that went astray; from the beginning the same programme is small
            self._solver.clearSolver()
            self._solver.run()
        found = np.array(self._solver.getSolution().col_value)
        return np.maximum(
            found[self._n_groups :], 0.0
        ), self._solver.getInfo().objective_function_value
