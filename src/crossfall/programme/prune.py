"""Strategies that no limit and no price could ever make worth choosing.

More bladings that cost more in all, gravel that never pays for itself on this road, dust control
that saves nothing: where another strategy takes no more of any year's money, hours or gravel and
costs no more either, the dearer one is dropped. What is left has the same best choice at any
prices, so no bound changes, and is searched more quickly.
"""

from __future__ import annotations

import numpy as np
from numba import njit, prange

from crossfall.errors import InputError
from crossfall.programme.kernel import SMALL, one_thread_if
from crossfall.programme.outcomes import Outcomes
from crossfall.programme.table import StrategySet


def drop_dominated(outcomes: Outcomes, strategies: StrategySet) -> int:
    """Set the cost of dominated strategies to inf, in place; how many were dropped.

    Raises
    ------
    InputError
        If the bladings of the strategies are not in rising order.
    """
    if np.any(np.diff(strategies.bladings) < 0):
        raise InputError("bladings a year must rise from the least to the most")
    with one_thread_if(outcomes.cost.shape[0] < SMALL):
        return int(
            _drop(
                outcomes.cost,
                outcomes.mask,
                strategies.n_care,
                strategies.bladings.shape[0],
                strategies.trigger_mm.shape[0],
            )
        )


@njit(cache=True, parallel=True)
def _drop(cost, mask, n_dust, n_blading, n_gravel):  # type: ignore[no-untyped-def]
    n_segments = cost.shape[0]
    dropped = 0
    for n in prange(n_segments):
        for d in range(n_dust):
            for g in range(n_gravel):
                least = np.inf
                for m in range(n_blading):
                    s = (d * n_blading + m) * n_gravel + g
                    if cost[n, s] < least:
                        least = cost[n, s]
                    elif cost[n, s] < np.inf:
                        cost[n, s] = np.inf
                        dropped += 1
            for m in range(n_blading):
                first = (d * n_blading + m) * n_gravel
                for g in range(1, n_gravel):
                    s = first + g
                    if cost[n, first] <= cost[n, s] < np.inf:
                        cost[n, s] = np.inf
                        dropped += 1
        for d in range(1, n_dust):
            for rest in range(n_blading * n_gravel):
                s = d * n_blading * n_gravel + rest
                if mask[n, rest] == mask[n, s] and cost[n, rest] <= cost[n, s] < np.inf:
                    cost[n, s] = np.inf
                    dropped += 1
    return dropped
