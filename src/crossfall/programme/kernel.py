"""The same years as :mod:`crossfall.programme.simulate`, compiled, in blocks that fit the cache.

Gravel does not feel bladings and exponentials do not feel gravel: the thickness is followed once
for all blading choices, a year's closed form worked out once for all regravelling choices. Every
block is filled up to its full width, so that a segment's figures never depend on its neighbours
or on where it stands. The exponential is a polynomial good to single precision. The results are
checked against the reference in the tests.
"""

# ruff: noqa: N806 - kernels name their arrays as the formulas do

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
from crossfall.programme.table import COLUMNS, SegmentTable, StrategySet

Singles = npt.NDArray[np.float32]

BLOCK = 256
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
    "drain_minor",
    "drain_short",
    "start_mm",
    "start_iri",
    "service_iri",
)
_TOP, _BOTTOM, _SHARE, _RATE0, _RATE1, _LOSS0, _LOSS1, _USER, _BARE, _BLADE, _LIFT, _DUST = range(
    12
)
_DRAIN, _SHORT, _START_MM, _START_IRI, _SERVICE = range(12, len(_NEEDED))
_ROWS = np.array([COLUMNS.index(name) for name in _NEEDED])
_F = np.float32
_DAYS, _SLOWEST, _SMOOTH, _SLACK = (
    _F(DAYS_A_YEAR),
    _F(SLOWEST_RATE),
    _F(SMOOTH_IRI),
    _F(FALLBACK_SLACK),
)
_ONE, _ZERO, _INF, _FAR = _F(1), _F(0), _F(np.inf), _F(1e30)
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
            years.drainage_loss_share,
            years.drainage_rate_share,
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
            table.values,
            _ROWS,
            strategies.bladings,
            strategies.by_season,
            strategies.trigger_mm,
            strategies.lift_mm,
            strategies.dust,
            strategies.drain,
            np.array(years.season_days, dtype=np.float32),
            np.array(years.season_rate, dtype=np.float32),
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


_FAST = {"nsz", "arcp", "contract", "afn"}


@njit(cache=True, fastmath=_FAST, inline="always")
def _parts(x):  # type: ignore[no-untyped-def]
    """``exp(x) - 1 = part * power + (power - 1)``; the part, and the bits of the power of two."""
    clipped = max(x, _F(-87.0))
    k = (clipped * _LOG2E + _ROUNDING) - _ROUNDING
    rest = clipped - k * _LN2_HIGH - k * _LN2_LOW
    p = _F(1.9875691500e-4)
    p = p * rest + _F(1.3981999507e-3)
    p = p * rest + _F(8.3334519073e-3)
    p = p * rest + _F(4.1665795894e-2)
    p = p * rest + _F(1.6666665459e-1)
    p = p * rest + _F(5.0000001201e-1)
    return p * rest * rest + rest, (np.int32(k) + np.int32(127)) << np.int32(23)


@njit(cache=True, parallel=True, fastmath=_FAST)
def _simulate(  # type: ignore[no-untyped-def]
    values,
    rows,
    bladings,
    by_season,
    trigger,
    lift,
    dust,
    drain,
    season_days,
    season_rate,
    discount,
    growth,
    settings,
    cost,
    mask,
):
    n_segments = values.shape[1]
    n_gravel, n_blading, n_care = trigger.shape[0], bladings.shape[0], dust.shape[0]
    n_strategies = n_gravel * n_blading * n_care
    n_years, n_seasons = discount.shape[0], season_days.shape[0]
    thin_inverse = _ONE / settings[4]
    annuity = _ZERO
    for t in range(n_years):
        annuity += discount[t]
    for block in prange((n_segments + BLOCK - 1) // BLOCK):
        low = block * BLOCK
        n_here = min(BLOCK, n_segments - low)
        V = np.empty((rows.shape[0], BLOCK), dtype=np.float32)
        below = np.empty((n_blading, n_gravel, BLOCK), dtype=np.float32)
        paid = np.empty((n_blading, n_gravel, BLOCK), dtype=np.float32)
        iri = np.empty((n_care, n_blading, n_gravel, BLOCK), dtype=np.float32)
        total = np.empty((n_care, n_blading, n_gravel, BLOCK), dtype=np.float32)
        bits = np.zeros((n_care, n_gravel, BLOCK), dtype=np.int32)
        gravel = np.empty((n_gravel, BLOCK), dtype=np.float32)
        lump = np.empty((n_gravel, BLOCK), dtype=np.float32)
        fresh = np.empty((n_gravel, BLOCK), dtype=np.float32)
        thin = np.empty((n_gravel, BLOCK), dtype=np.float32)
        log_share = np.empty(BLOCK, dtype=np.float32)
        added = np.empty(BLOCK, dtype=np.float32)
        loss_share = np.empty(BLOCK, dtype=np.float32)
        rate_share = np.empty(BLOCK, dtype=np.float32)
        rate = np.empty(BLOCK, dtype=np.float32)
        span = np.empty(BLOCK, dtype=np.float32)
        loss = np.empty(BLOCK, dtype=np.float32)
        users = np.empty(BLOCK, dtype=np.float32)
        bare = np.empty(BLOCK, dtype=np.float32)
        mean_0 = np.empty(BLOCK, dtype=np.float32)
        mean_1 = np.empty(BLOCK, dtype=np.float32)
        end_0 = np.empty(BLOCK, dtype=np.float32)
        end_1 = np.empty(BLOCK, dtype=np.float32)
        part_k = np.empty(BLOCK, dtype=np.float32)
        part_s = np.empty(BLOCK, dtype=np.float32)
        bits_k = np.empty(BLOCK, dtype=np.int32)
        bits_s = np.empty(BLOCK, dtype=np.int32)
        power_k, power_s = bits_k.view(np.float32), bits_s.view(np.float32)
        for row in range(rows.shape[0]):
            for i in range(n_here):
                V[row, i] = values[rows[row], low + i]
            for i in range(n_here, BLOCK):
                V[row, i] = values[rows[row], low]
        for i in range(BLOCK):
            log_share[i] = np.log(V[_SHARE, i])
            added[i] = (_ONE - V[_SHARE, i]) * (V[_TOP, i] - V[_BOTTOM, i])
        for care in range(n_care):
            dusted, drained = dust[care] > _ZERO, drain[care] > _ZERO
            loss_dust = settings[0] if dusted else _ONE
            rate_dust = settings[1] if dusted else _ONE
            loss_drain = _ONE - settings[2] if drained else _ZERO
            rate_drain = _ONE - settings[3] if drained else _ZERO
            for i in range(BLOCK):
                loss_share[i] = loss_dust * (_ONE - loss_drain * V[_SHORT, i])
                rate_share[i] = rate_dust * (_ONE - rate_drain * V[_SHORT, i])
            for g in range(n_gravel):
                for i in range(BLOCK):
                    gravel[g, i] = V[_START_MM, i]
                    lump[g, i] = _ZERO
                for m in range(n_blading):
                    for i in range(BLOCK):
                        below[m, g, i] = V[_TOP, i] - V[_START_IRI, i]
                        paid[m, g, i] = _ZERO
                        iri[care, m, g, i] = _ZERO
            for t in range(n_years):
                grown, now = growth[t], discount[t]
                bit = np.int32(np.uint32(1) << np.uint32(t))
                for i in range(BLOCK):
                    pace = rate_share[i] * (V[_RATE0, i] + grown * V[_RATE1, i])
                    rate[i] = max(pace, _SLOWEST)
                    loss[i] = loss_share[i] * (V[_LOSS0, i] + grown * V[_LOSS1, i])
                    users[i] = now * grown * V[_USER, i]
                    bare[i] = now * grown * V[_BARE, i]
                for g in range(n_gravel):
                    at_least, placed = trigger[g], lift[g]
                    placed_now = placed * now
                    for i in range(BLOCK):
                        h = gravel[g, i]
                        is_due = h < at_least
                        h = h + placed if is_due else h
                        bits[care, g, i] |= bit if is_due else np.int32(0)
                        short = max(_ONE - h * thin_inverse, _ZERO)
                        thin[g, i] = settings[5] * short
                        fresh[g, i] = V[_TOP, i] - settings[6] if is_due else -_FAR
                        money = bare[i] * short
                        money += placed_now * V[_LIFT, i] if is_due else _ZERO
                        lump[g, i] += money
                        gravel[g, i] = max(h - loss[i], _ZERO)
                for m in range(n_blading):
                    for i in range(BLOCK):
                        mean_0[i], mean_1[i] = _ZERO, _ZERO
                        end_0[i], end_1[i] = _ZERO, _ONE
                    for season in range(n_seasons):
                        n_times = by_season[m, season]
                        days = season_days[season]
                        of_year = days / _DAYS
                        if n_times > _ZERO:
                            each = season_rate[season] * days / n_times
                            by_times = _ONE / n_times
                            for i in range(BLOCK):
                                x = -rate[i] * each
                                span[i] = x
                                part_k[i], bits_k[i] = _parts(x)
                                part_s[i], bits_s[i] = _parts(n_times * (log_share[i] + x))
                            for i in range(BLOCK):
                                share = V[_SHARE, i]
                                less = part_k[i] * power_k[i] + (power_k[i] - _ONE)
                                gone = part_s[i] * power_s[i] + (power_s[i] - _ONE)
                                inverse = _ONE / ((_ONE - share) - share * less)
                                settled = added[i] * inverse
                                weight = -gone * inverse * by_times
                                part = of_year * less / span[i]
                                off = end_0[i] - settled
                                left = _ONE + gone
                                mean_0[i] += part * (settled + off * weight)
                                mean_1[i] += part * weight * end_1[i]
                                end_0[i] = settled + left * off
                                end_1[i] *= left
                        else:
                            each = season_rate[season] * days
                            for i in range(BLOCK):
                                x = -rate[i] * each
                                span[i] = x
                                part_k[i], bits_k[i] = _parts(x)
                            for i in range(BLOCK):
                                less = part_k[i] * power_k[i] + (power_k[i] - _ONE)
                                part = of_year * less / span[i]
                                mean_0[i] += part * end_0[i]
                                mean_1[i] += part * end_1[i]
                                end_0[i] += less * end_0[i]
                                end_1[i] += less * end_1[i]
                    for g in range(n_gravel):
                        for i in range(BLOCK):
                            y = max(below[m, g, i], fresh[g, i])
                            mean = V[_TOP, i] - mean_0[i] - mean_1[i] * y + thin[g, i]
                            iri[care, m, g, i] += mean
                            paid[m, g, i] += users[i] * max(mean - _SMOOTH, _ZERO)
                            below[m, g, i] = end_0[i] + end_1[i] * y
            for m in range(n_blading):
                for g in range(n_gravel):
                    for i in range(BLOCK):
                        routine = bladings[m] * V[_BLADE, i] + dust[care] * V[_DUST, i]
                        routine += drain[care] * V[_DRAIN, i]
                        owed = max(settings[8] - gravel[g, i], _ZERO) * V[_LIFT, i]
                        spent = paid[m, g, i] + lump[g, i] + annuity * routine
                        total[care, m, g, i] = spent + settings[7] * owed
        for i in range(BLOCK):
            span[i] = _INF
        for care in range(n_care):
            for m in range(n_blading):
                for g in range(n_gravel):
                    for i in range(BLOCK):
                        span[i] = min(span[i], iri[care, m, g, i])
        for i in range(BLOCK):
            span[i] = max(span[i] * _SLACK, V[_SERVICE, i] * _F(n_years))
        for i in range(n_here):
            for s in range(n_strategies):
                care, rest = s // (n_blading * n_gravel), s % (n_blading * n_gravel)
                m, g = rest // n_gravel, rest % n_gravel
                is_rough = iri[care, m, g, i] > span[i]
                cost[low + i, s] = _INF if is_rough else total[care, m, g, i]
                mask[low + i, s] = np.uint32(bits[care, g, i])
