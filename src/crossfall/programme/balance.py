"""Whole choices from shares: each segment in turn takes what keeps the sums nearest to the mix.

A mix gives each segment a few strategies with shares. Drawing lots would miss the limits by the
square root of chance; taking each time the strategy that keeps money, hours and gravel of every
year, and the cost, nearest to what the shares add up to so far misses them by little more than one
segment's worth.
"""

# ruff: noqa: N803 - kernels name their arrays as the formulas do

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from numba import njit

from crossfall.programme.block import Segments
from crossfall.programme.price import chunk_edges, group_of_chunk, strategy_vectors, taken_columns
from crossfall.programme.prices import Mix

Floats = npt.NDArray[np.float64]
Codes = npt.NDArray[np.int16]

_BLADE, _LIFT, _DUST, _DRAIN, _BLADE_H, _LIFT_H, _LIFT_M3 = range(7)
"""Order of :func:`crossfall.programme.price.taken_columns`."""


def balance(mix: Mix, segments: Segments, limits: Floats) -> tuple[Codes, npt.NDArray[np.bool_]]:
    """Whole choices (segment,), and which segments had more than one to take."""
    group = group_of_chunk(mix.shares.shape[1])
    found = segments.hesitant(mix.prices, mix.shares[:, group])
    inverse = np.where(np.isfinite(limits) & (limits > 0), 1.0 / np.maximum(limits, 1e-9), 0.0)
    cost_scale = 1.0 / max(float(sum(priced.cost.sum() for priced in mix.priced)), 1.0)
    table, outcomes = segments.rows(found.rows)
    chunk = np.searchsorted(chunk_edges(segments.n), found.rows, side="right") - 1
    settled = found.choice[found.rows]
    _balance(
        found.codes,
        np.ascontiguousarray(mix.shares.T),
        group[chunk],
        outcomes.cost,
        outcomes.mask,
        taken_columns(table),
        table.pit,
        *strategy_vectors(segments.strategies),
        inverse,
        cost_scale * len(mix.priced),
        settled,
    )
    chosen = found.choice.copy()
    chosen[found.rows] = settled
    hesitates = np.zeros(segments.n, dtype=np.bool_)
    hesitates[found.rows] = True
    return chosen, hesitates


@njit(cache=True)
def _add(n, s, by, mask, V, pit, bladings, lift, dust, drain, drift):  # type: ignore[no-untyped-def]
    """Add ``by`` times what strategy ``s`` takes on segment ``n`` to ``drift`` (row, year)."""
    n_years = drift.shape[1]
    money = bladings[s] * V[_BLADE][n] + dust[s] * V[_DUST][n] + drain[s] * V[_DRAIN][n]
    money *= by
    hours = by * bladings[s] * V[_BLADE_H][n]
    placed = by * lift[s]
    bits = mask[n, s]
    for t in range(n_years):
        drift[0, t] += money
        drift[1, t] += hours
        if (bits >> np.uint32(t)) & np.uint32(1):
            drift[0, t] += placed * V[_LIFT][n]
            drift[1, t] += placed * V[_LIFT_H][n]
            drift[2 + pit[n], t] += placed * V[_LIFT_M3][n]


@njit(cache=True)
def _distance(n, s, mask, V, pit, bladings, lift, dust, drain, drift, inverse):  # type: ignore[no-untyped-def]
    """How far the sums would be from the mix if segment ``n`` took ``s``."""
    n_years = drift.shape[1]
    money = bladings[s] * V[_BLADE][n] + dust[s] * V[_DUST][n] + drain[s] * V[_DRAIN][n]
    hours = bladings[s] * V[_BLADE_H][n]
    bits = mask[n, s]
    p = 2 + pit[n]
    total = 0.0
    for t in range(n_years):
        is_due = (bits >> np.uint32(t)) & np.uint32(1)
        placed = lift[s] if is_due else 0.0
        for r, taken in (
            (0, money + placed * V[_LIFT][n]),
            (1, hours + placed * V[_LIFT_H][n]),
            (p, placed * V[_LIFT_M3][n]),
        ):
            off = (drift[r, t] + taken) * inverse[r, t]
            total += off * off
    return total


@njit(cache=True)
def _balance(  # type: ignore[no-untyped-def]
    choices,
    shares,
    group,
    cost,
    mask,
    V,
    pit,
    bladings,
    lift,
    dust,
    drain,
    inverse,
    cost_inverse,
    chosen,
):
    n_passes, n_segments = choices.shape
    n_strategies = cost.shape[1]
    drift = np.zeros((inverse.shape[0], inverse.shape[1]))
    cost_drift = 0.0
    weight = np.zeros(n_strategies)
    for n in range(n_segments):
        for k in range(n_passes):
            weight[choices[k, n]] += shares[group[n], k]
        for s in range(n_strategies):
            if weight[s] > 0.0:
                _add(n, s, -weight[s], mask, V, pit, bladings, lift, dust, drain, drift)
                cost_drift -= weight[s] * cost[n, s]
        best, least = -1, np.inf
        for s in range(n_strategies):
            if weight[s] > 0.0:
                off = (cost_drift + cost[n, s]) * cost_inverse
                total = off * off
                total += _distance(n, s, mask, V, pit, bladings, lift, dust, drain, drift, inverse)
                if total < least:
                    best, least = s, total
                weight[s] = 0.0
        _add(n, best, 1.0, mask, V, pit, bladings, lift, dust, drain, drift)
        cost_drift += cost[n, best]
        chosen[n] = best
