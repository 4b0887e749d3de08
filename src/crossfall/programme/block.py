"""Some segments in a row, with what is asked of them while a programme is chosen.

A whole network in memory is one block; a large one is many, on as many processes as there are.
Every answer is by segment or by chunk, so that it does not matter who gives it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
import numpy.typing as npt

from crossfall.programme.kernel import simulate
from crossfall.programme.outcomes import Outcomes, Packed, pack
from crossfall.programme.price import (
    N_CHUNKS,
    choose_at,
    chunk_edges,
    regret_at,
    sums_of,
)
from crossfall.programme.prune import drop_dominated
from crossfall.programme.simulate import Course
from crossfall.programme.table import SegmentTable, StrategySet

Floats = npt.NDArray[np.float64]
Singles = npt.NDArray[np.float32]
Rows = npt.NDArray[np.int64]
Codes = npt.NDArray[np.int16]

_MOST_CHOICES = 400
"""Choices of so many passes are kept, to be mixed later; older ones are made again."""


@dataclass(frozen=True, eq=False)
class Hesitant:
    """Segments that several passes choose differently, and the choices of the others."""

    choice: Codes
    """(segment,) of the whole block; of hesitating ones, that of the first pass with a share."""
    rows: Rows
    """Hesitating segments (hesitating,), counted from the block's first."""
    codes: Codes
    """(pass, hesitating)."""


class Segments(Protocol):
    """All segments of a choice, wherever they are."""

    n: int
    pit_names: tuple[str, ...]
    strategies: StrategySet

    def sums_at(self, prices: Floats) -> tuple[Floats, Floats]:
        """Cost (chunk,) and use (chunk, row, year) of the cheapest choices at prices."""

    def sums_of(self, choice: Codes, n_years: int) -> tuple[Floats, Floats]:
        """The same of a choice (segment,)."""

    def hesitant(self, prices: Sequence[Floats], by_chunk: Floats) -> Hesitant:
        """Choices of passes at ``prices`` that have a share in a chunk (pass, chunk)."""

    def regret(self, prices: Floats) -> Singles:
        """How much dearer each segment's second-best is (segment,)."""

    def extremes(self) -> tuple[Floats, Floats]:
        """Cost of the dearest allowed choices and of the least work, by chunk."""

    def lasting(self) -> tuple[Singles, npt.NDArray[np.int32]]:
        """Years the gravel of each segment lasts, and its pit (segment,)."""

    def rows(self, chosen: Rows) -> tuple[SegmentTable, Outcomes]:
        """Some segments, whole."""


class Block:
    """A run of segments in memory, from ``first`` on, of a network of ``n_all``."""

    def __init__(
        self,
        table: SegmentTable,
        outcomes: Outcomes,
        strategies: StrategySet,
        *,
        first: int = 0,
        n_all: int | None = None,
    ) -> None:
        """``outcomes`` have their dominated strategies dropped already, or not at all."""
        self.table, self.strategies = table, strategies
        self.n, self.pit_names = table.n, table.pit_names
        edges = chunk_edges(table.n if n_all is None else n_all)
        self.first_chunk = int(np.searchsorted(edges, first, side="left"))
        last = int(np.searchsorted(edges, first + table.n, side="right"))
        if n_all is None:
            self.first_chunk, last = 0, N_CHUNKS + 1
        self.edges = edges[self.first_chunk : last] - first
        self.packed: Packed = pack(outcomes)
        self._choices: dict[bytes, Codes] = {}

    def choice_at(self, prices: Floats) -> Codes:
        """The cheapest strategy of each segment; kept for mixing."""
        key = prices.tobytes()
        found = self._choices.get(key)
        if found is None:
            found = choose_at(self.packed, self.table, self.strategies, prices)
            while len(self._choices) >= _MOST_CHOICES:
                self._choices.pop(next(iter(self._choices)))
            self._choices[key] = found
        return found

    def sums_at(self, prices: Floats) -> tuple[Floats, Floats]:
        return self.sums_of(self.choice_at(prices), prices.shape[1])

    def sums_of(self, choice: Codes, n_years: int) -> tuple[Floats, Floats]:
        return sums_of(self.packed, self.table, self.strategies, choice, self.edges, n_years)

    def hesitant(self, prices: Sequence[Floats], by_chunk: Floats) -> Hesitant:
        width = np.diff(self.edges)
        choice = np.zeros(self.n, dtype=np.int16)
        is_given, hesitates = np.zeros((2, self.n), dtype=np.bool_)
        for each, shares in zip(prices, by_chunk, strict=True):
            has_share = np.repeat(shares > 0, width)
            mine = self.choice_at(each)
            hesitates |= has_share & is_given & (mine != choice)
            choice = np.where(has_share & ~is_given, mine, choice)
            is_given |= has_share
        rows = np.flatnonzero(hesitates)
        return Hesitant(choice, rows, np.array([self.choice_at(each)[rows] for each in prices]))

    def regret(self, prices: Floats) -> Singles:
        return regret_at(self.packed, self.table, self.strategies, prices)

    def extremes(self) -> tuple[Floats, Floats]:
        packed = self.packed
        dearest = np.maximum.reduceat(packed.cost, packed.start[:-1]).astype(float)
        has_least = packed.code[packed.start[:-1]] == 0
        least = np.where(has_least, packed.cost[packed.start[:-1]].astype(float), dearest)
        return self._by_chunk(dearest), self._by_chunk(least)

    def lasting(self) -> tuple[Singles, npt.NDArray[np.int32]]:
        loss = self.table.column("loss_fixed_mm") + self.table.column("loss_traffic_mm")
        return self.table.column("start_mm") / np.maximum(loss, np.float32(1e-3)), self.table.pit

    def rows(self, chosen: Rows) -> tuple[SegmentTable, Outcomes]:
        return self.table.rows(chosen), self.packed.rows(chosen, self.strategies.n)

    def _by_chunk(self, values: Floats) -> Floats:
        bounds = zip(self.edges[:-1].tolist(), self.edges[1:].tolist(), strict=True)
        return np.array([values[begin:end].sum() for begin, end in bounds])


def make_block(
    table: SegmentTable,
    strategies: StrategySet,
    years: Course,
    *,
    first: int = 0,
    n_all: int | None = None,
) -> Block:
    """Simulate some segments under all strategies, ready to be asked."""
    outcomes = simulate(table, strategies, years)
    drop_dominated(outcomes, strategies)
    return Block(table, outcomes, strategies, first=first, n_all=n_all)
