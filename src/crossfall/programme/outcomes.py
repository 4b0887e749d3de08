"""What each strategy would come to on each segment, in eight bytes, and the few worth keeping."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from numba import njit, prange

Singles = npt.NDArray[np.float32]
Masks = npt.NDArray[np.uint32]


@dataclass(frozen=True, eq=False)
class Outcomes:
    """What each strategy would cost on each segment, and when it regravels."""

    cost: Singles
    """(segment, strategy) present value, minor units; inf where the service level is missed."""
    mask: Masks
    """(segment, strategy) bit t set: regravelled in year t."""

    def rows(self, chosen: npt.NDArray[np.int64]) -> Outcomes:
        """The outcomes of some of the segments."""
        return Outcomes(self.cost[chosen], self.mask[chosen])


@dataclass(frozen=True, eq=False)
class Packed:
    """Only the strategies that are allowed, those of one segment after those of another."""

    start: npt.NDArray[np.int64]
    """(segment + 1,) where each segment's candidates begin."""
    cost: Singles
    """(candidate,)."""
    mask: Masks
    code: npt.NDArray[np.int16]
    """Strategy of each candidate, rising within a segment."""

    def rows(self, chosen: npt.NDArray[np.int64], n_strategies: int) -> Outcomes:
        """Some of the segments unpacked again; what was left out costs inf and places nothing."""
        cost = np.full((chosen.shape[0], n_strategies), np.inf, dtype=np.float32)
        mask = np.zeros((chosen.shape[0], n_strategies), dtype=np.uint32)
        first = self.start[chosen]
        size = self.start[chosen + 1] - first
        row = np.repeat(np.arange(chosen.shape[0]), size)
        at = np.arange(row.shape[0]) - np.repeat(np.cumsum(size) - size - first, size)
        cost[row, self.code[at]], mask[row, self.code[at]] = self.cost[at], self.mask[at]
        return Outcomes(cost, mask)


def pack(outcomes: Outcomes) -> Packed:
    """Leave out what costs inf: a pass over the rest reads a fraction of the memory.

    Examples
    --------
    >>> inf = np.inf
    >>> outcomes = Outcomes(np.array([[1, inf, 3], [inf, 5, inf]], dtype=np.float32),
    ...                     np.zeros((2, 3), dtype=np.uint32))
    >>> packed = pack(outcomes)
    >>> packed.start.tolist(), packed.code.tolist()
    ([0, 2, 3], [0, 2, 1])
    """
    start = np.zeros(outcomes.cost.shape[0] + 1, dtype=np.int64)
    _count(outcomes.cost, start)
    np.cumsum(start, out=start)
    size = int(start[-1])
    cost = np.empty(size, dtype=np.float32)
    mask, code = np.empty(size, dtype=np.uint32), np.empty(size, dtype=np.int16)
    _fill(outcomes.cost, outcomes.mask, start, cost, mask, code)
    return Packed(start, cost, mask, code)


@njit(cache=True, parallel=True)
def _count(all_cost, start):  # type: ignore[no-untyped-def]
    for n in prange(all_cost.shape[0]):
        found = 0
        for s in range(all_cost.shape[1]):
            if all_cost[n, s] < np.inf:
                found += 1
        start[n + 1] = found


@njit(cache=True, parallel=True)
def _fill(all_cost, all_mask, start, cost, mask, code):  # type: ignore[no-untyped-def]
    for n in prange(all_cost.shape[0]):
        at = start[n]
        for s in range(all_cost.shape[1]):
            if all_cost[n, s] < np.inf:
                cost[at], mask[at], code[at] = all_cost[n, s], all_mask[n, s], s
                at += 1
