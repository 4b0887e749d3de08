"""The same years as :mod:`crossfall.programme.simulate`, compiled, in blocks that fit the cache.

Exponentials depend on blading, dust control and year only, so all regravelling choices share
them; states of a block of segments lie side by side so that the inner loops run on whole vector
registers. The exponential itself is a polynomial good to single precision. The results are checked
against the reference in the tests.
"""

# ruff: noqa: N803 - kernels name their arrays as the formulas do

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

import numpy as np
import numpy.typing as npt
from numba import get_num_threads, njit, prange, set_num_threads

from crossfall.formulas.user_cost import SMOOTH_IRI
from crossfall.programme.outcomes import Outcomes
from crossfall.programme.simulate import (
    DAYS_A_YEAR,
    FALLBACK_SLACK,
    SLOWEST_RATE,
    Course,
)
from crossfall.programme.table import SegmentTable, StrategySet

Singles = npt.NDArray[np.float32]

BLOCK = 128
SMALL = 30_000
"""Networks as small run on one thread: sharing them out would cost more than it saves."""
_NEEDED = (
    "top_iri",
    "bottom_iri",
    "blading_share",
    "rate_fixed",
    "rate_traffic",
    "loss_fixed_mm",
    "loss_traffic_mm",
    "user_minor_iri",
    "bare_minor",
    "blade_minor",
    "lift_minor_mm",
    "dust_minor",
    "start_mm",
    "start_iri",
    "service_iri",
)
_TOP, _BOTTOM, _SHARE, _RATE0, _RATE1, _LOSS0, _LOSS1, _USER, _BARE, _BLADE, _LIFT, _DUST = range(
    12
)
_START_MM, _START_IRI, _SERVICE = range(12, len(_NEEDED))
_F = np.float32
_DAYS, _SLOWEST, _SMOOTH, _SLACK = (
    _F(DAYS_A_YEAR),
    _F(SLOWEST_RATE),
    _F(SMOOTH_IRI),
    _F(FALLBACK_SLACK),
)
_ONE, _ZERO, _INF = _F(1), _F(0), _F(np.inf)
_LOG2E, _LN2_HIGH, _LN2_LOW = _F(1.442695041), _F(0.693359375), _F(-2.12194440e-4)
_ROUNDING = _F(12582912.0)


def simulate(table: SegmentTable, strategies: StrategySet, years: Course) -> Outcomes:
    """Simulate all segments under all strategies; see ``simulate_reference``."""
    cost = np.empty((table.n, strategies.n), dtype=np.float32)
    mask = np.empty((table.n, strategies.n), dtype=np.uint32)
    settings = np.array(
        [
            years.dust_loss_share,
            years.dust_rate_share,
            years.thin_mm,
            years.thin_iri,
            years.fresh_iri,
            years.end_value_share * years.discount[-1],
            years.reference_mm,
        ],
        dtype=np.float32,
    )
    with one_thread_if(table.n < SMALL):
        _simulate(
            tuple(table.column(name) for name in _NEEDED),
            strategies.bladings,
            strategies.trigger_mm,
            strategies.lift_mm,
            strategies.dust,
            np.array(years.discount, dtype=np.float32),
            np.array(years.growth, dtype=np.float32),
            settings,
            cost,
            mask,
        )
    return Outcomes(cost, mask)


@contextmanager
def one_thread_if(is_small: bool) -> Iterator[None]:
    """Run compiled loops on one thread inside the block."""
    before = get_num_threads()
    if is_small:
        set_num_threads(1)
    try:
        yield
    finally:
        set_num_threads(before)


@njit(cache=True, fastmath={"nsz", "arcp", "contract", "afn"}, inline="always")
def _exp(x, out, whole, n):  # type: ignore[no-untyped-def]
    """``out = exp(x)`` for x in -87..0; ``whole`` is scratch whose bits are the powers of two."""
    scale = whole.view(np.float32)
    for i in range(n):
        clipped = max(x[i], _F(-87.0))
        k = (clipped * _LOG2E + _ROUNDING) - _ROUNDING
        rest = clipped - k * _LN2_HIGH - k * _LN2_LOW
        p = _F(1.9875691500e-4)
        p = p * rest + _F(1.3981999507e-3)
        p = p * rest + _F(8.3334519073e-3)
        p = p * rest + _F(4.1665795894e-2)
        p = p * rest + _F(1.6666665459e-1)
        p = p * rest + _F(5.0000001201e-1)
        out[i] = p * rest * rest + rest + _ONE
        whole[i] = (np.int32(k) + np.int32(127)) << np.int32(23)
    for i in range(n):
        out[i] *= scale[i]


@njit(cache=True, parallel=True, fastmath={"nsz", "arcp", "contract", "afn"})
def _simulate(  # type: ignore[no-untyped-def]
    V, bladings, trigger, lift, dust, discount, growth, settings, cost, mask
):
    n_segments = V[0].shape[0]
    n_gravel, n_blading, n_dust = trigger.shape[0], bladings.shape[0], dust.shape[0]
    n_strategies = n_gravel * n_blading * n_dust
    n_years = discount.shape[0]
    n_blocks = (n_segments + BLOCK - 1) // BLOCK
    thin_inverse = _ONE / settings[2]
    for block in prange(n_blocks):
        low = block * BLOCK
        n = min(BLOCK, n_segments - low)
        gravel = np.empty((n_gravel, BLOCK), dtype=np.float32)
        iri = np.empty((n_gravel, BLOCK), dtype=np.float32)
        total = np.empty((n_gravel, BLOCK), dtype=np.float32)
        iri_sum = np.empty((n_strategies, BLOCK), dtype=np.float32)
        bits = np.empty((n_gravel, BLOCK), dtype=np.int32)
        settled = np.empty(BLOCK, dtype=np.float32)
        all_year = np.empty(BLOCK, dtype=np.float32)
        mean_share = np.empty(BLOCK, dtype=np.float32)
        climb = np.empty(BLOCK, dtype=np.float32)
        loss = np.empty(BLOCK, dtype=np.float32)
        users = np.empty(BLOCK, dtype=np.float32)
        bare = np.empty(BLOCK, dtype=np.float32)
        span = np.empty(BLOCK, dtype=np.float32)
        kept = np.empty(BLOCK, dtype=np.float32)
        share_year = np.empty(BLOCK, dtype=np.float32)
        whole = np.empty(BLOCK, dtype=np.int32)
        best = np.empty(BLOCK, dtype=np.float32)
        top, bottom = V[_TOP][low : low + n], V[_BOTTOM][low : low + n]
        share, service = V[_SHARE][low : low + n], V[_SERVICE][low : low + n]
        lift_minor = V[_LIFT][low : low + n]
        for d in range(n_dust):
            loss_share = settings[0] if dust[d] > _ZERO else _ONE
            rate_share = settings[1] if dust[d] > _ZERO else _ONE
            for m in range(n_blading):
                bladed = bladings[m]
                for i in range(n):
                    share_year[i] = share[i] ** bladed
                for g in range(n_gravel):
                    s = (d * n_blading + m) * n_gravel + g
                    for i in range(n):
                        gravel[g, i] = V[_START_MM][low + i]
                        iri[g, i] = V[_START_IRI][low + i]
                        total[g, i] = _ZERO
                        bits[g, i] = 0
                        iri_sum[s, i] = _ZERO
                for t in range(n_years):
                    grown = growth[t]
                    for i in range(n):
                        rate = rate_share * (V[_RATE0][low + i] + grown * V[_RATE1][low + i])
                        span[i] = -max(rate, _SLOWEST) * _DAYS / bladed
                    _exp(span, kept, whole, n)
                    for i in range(n):
                        all_year[i] = span[i] * bladed
                    _exp(all_year, all_year, whole, n)
                    for i in range(n):
                        rest = _ONE - share[i] * kept[i]
                        a = all_year[i] * share_year[i]
                        all_year[i] = a
                        settled[i] = (
                            share[i] * top[i] * (_ONE - kept[i]) + (_ONE - share[i]) * bottom[i]
                        ) / rest
                        mean_share[i] = (_ONE - a) / (bladed * rest)
                        climb[i] = (kept[i] - _ONE) / span[i]
                        loss[i] = loss_share * (V[_LOSS0][low + i] + grown * V[_LOSS1][low + i])
                        users[i] = discount[t] * grown * V[_USER][low + i]
                        bare[i] = discount[t] * grown * V[_BARE][low + i]
                    bit = np.int32(np.uint32(1) << np.uint32(t))
                    for g in range(n_gravel):
                        s = (d * n_blading + m) * n_gravel + g
                        below, placed = trigger[g], lift[g]
                        placed_now = placed * discount[t]
                        for i in range(n):
                            h, r = gravel[g, i], iri[g, i]
                            is_due = h < below
                            h = h + placed if is_due else h
                            r = min(r, settings[4]) if is_due else r
                            bits[g, i] |= bit if is_due else np.int32(0)
                            start = settled[i] + (r - settled[i]) * mean_share[i]
                            mean = top[i] - (top[i] - start) * climb[i]
                            short = max(_ONE - h * thin_inverse, _ZERO)
                            mean += settings[3] * short
                            iri_sum[s, i] += mean
                            money = users[i] * max(mean - _SMOOTH, _ZERO) + bare[i] * short
                            money += placed_now * lift_minor[i] if is_due else _ZERO
                            total[g, i] += money
                            iri[g, i] = settled[i] + all_year[i] * (r - settled[i])
                            gravel[g, i] = max(h - loss[i], _ZERO)
                annuity = _ZERO
                for t in range(n_years):
                    annuity += discount[t]
                for g in range(n_gravel):
                    s = (d * n_blading + m) * n_gravel + g
                    for i in range(n):
                        routine = bladed * V[_BLADE][low + i] + dust[d] * V[_DUST][low + i]
                        owed = max(settings[6] - gravel[g, i], _ZERO) * lift_minor[i]
                        cost[low + i, s] = total[g, i] + annuity * routine + settings[5] * owed
                        mask[low + i, s] = np.uint32(bits[g, i])
        for i in range(n):
            best[i] = _INF
        for s in range(n_strategies):
            for i in range(n):
                best[i] = min(best[i], iri_sum[s, i])
        for i in range(n):
            best[i] = max(best[i] * _SLACK, service[i] * _F(n_years))
        for s in range(n_strategies):
            for i in range(n):
                if iri_sum[s, i] > best[i]:
                    cost[low + i, s] = _INF
