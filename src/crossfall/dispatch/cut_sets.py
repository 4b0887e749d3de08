"""Sets of junctions worth a cut: weighed by the hundred, and grown where driving is scarce.

Compiled, because a bound wants thousands of sets in seconds. :func:`weigh` says for a
batch of sets what each asks for and what it gets; :class:`~crossfall.dispatch.cuts.Roadwork`
says the same for one set in plain numpy, and a test holds them together.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numba import njit

Array = Any

_ROUND = 1e-9


@njit(cache=True, nogil=True)
def weigh(
    sets: Array,
    start: Array,
    end: Array,
    n_passes: Array,
    supply: Array,
    work: Array,
    away: Array,
    shift_work: float,
    takes: Array,
    driven: Array,
) -> tuple[Array, Array, Array, Array]:
    """Driven crossings each set needs, and has: ``sets`` bool (set, junction).

    Then what it still misses when driving in it counts as time too, ``takes`` of a shift for each
    time along a road, and which of the two rates that is by: 2 over what is left of a shift,
    negative when only work and driving strictly inside count.
    """
    n_sets, n_nodes = sets.shape
    need = np.zeros(n_sets)
    has = np.zeros(n_sets)
    missed = np.zeros(n_sets)
    rate = np.zeros(n_sets)
    for k in range(n_sets):
        deep, wide, passes, given = 0.0, 0.0, 0, 0.0
        near, far = np.inf, np.inf
        drive_deep, drive_wide = 0.0, 0.0
        for v in range(n_nodes):
            if sets[k, v]:
                near = min(near, away[v])
        far = near
        for e in range(start.size):
            a, b = sets[k, start[e]], sets[k, end[e]]
            if a and b:
                deep += work[e]
                drive_deep += takes[e] * driven[e]
            elif a or b:
                wide += work[e]
                drive_wide += takes[e] * driven[e]
                passes += n_passes[e]
                given += supply[e]
                has[k] += driven[e]
                far = min(far, away[end[e]] if a else away[start[e]])
        shifts = _shifts(deep, wide, shift_work - 2 * near, shift_work - 2 * far)
        need[k] = max(2.0 * np.ceil(shifts - _ROUND) - given, float(passes % 2), 0.0)
        inner = _share(deep + drive_deep, shift_work - 2 * near)
        outer = _share(deep + wide + drive_deep + drive_wide, shift_work - 2 * far)
        missed[k] = 2.0 * max(inner, outer) - given - has[k]
        rate[k] = 2.0 / (shift_work - 2 * far) if outer >= inner else -2.0 / (shift_work - 2 * near)
    return need, has, missed, rate


@njit(cache=True, nogil=True)
def _shifts(deep: float, wide: float, near_room: float, far_room: float) -> float:
    """Shifts that the work in the set takes, or that in it and across its edge, if more."""
    return max(_share(deep, near_room), _share(deep + wide, far_room))


@njit(cache=True, nogil=True)
def _share(work: float, room: float) -> float:
    if work <= 0.0:
        return 0.0
    return work / room if room > 0.0 else 1e9


@njit(cache=True, nogil=True)
def grow(
    seeds: Array,
    rates: Array,
    noise: Array,
    most: int,
    ptr: Array,
    road_at: Array,
    other_at: Array,
    is_yard: Array,
    n_passes: Array,
    supply: Array,
    work: Array,
    away: Array,
    shift_work: float,
    driven: Array,
) -> tuple[Array, Array]:
    """From each seed, add the junction that keeps crossings fewest for the work, again and again.

    Gives the set along the way that misses most crossings, and how many: bool (seed, junction),
    float (seed,). ``rates`` weighs work against crossings, ``noise`` (seed, junction) breaks ties.
    """
    n_nodes = is_yard.size
    found = np.zeros((seeds.size, n_nodes), dtype=np.bool_)
    breach = np.zeros(seeds.size)
    inside = np.zeros(n_nodes, dtype=np.bool_)
    frontier = np.empty(n_nodes, dtype=np.int64)
    listed = np.zeros(n_nodes, dtype=np.bool_)
    members = np.empty(n_nodes, dtype=np.int64)
    for k in range(seeds.size):
        inside[:] = False
        listed[:] = False
        n_frontier, n_members, best_members = 0, 0, 0
        deep, wide, passes, given, has = 0.0, 0.0, 0, 0.0, 0.0
        near, far = np.inf, np.inf
        choice = seeds[k]
        listed[choice] = True
        best = 1e-4
        for _ in range(most):
            inside[choice] = True
            members[n_members] = choice
            n_members += 1  # noqa: SIM113 - it starts anew with each seed
            near = min(near, away[choice])
            far = min(far, away[choice])
            for q in range(ptr[choice], ptr[choice + 1]):
                e, v = road_at[q], other_at[q]
                if v == choice:
                    deep += work[e]
                elif inside[v]:
                    deep += work[e]
                    wide -= work[e]
                    passes -= n_passes[e]
                    given -= supply[e]
                    has -= driven[e]
                else:
                    wide += work[e]
                    passes += n_passes[e]
                    given += supply[e]
                    has += driven[e]
                    far = min(far, away[v])
                    if not listed[v] and not is_yard[v]:
                        listed[v] = True
                        frontier[n_frontier] = v
                        n_frontier += 1
            shifts = _shifts(deep, wide, shift_work - 2 * near, shift_work - 2 * far)
            need = max(2.0 * np.ceil(shifts - _ROUND) - given, float(passes % 2), 0.0)
            if need - has > best:
                best = need - has
                best_members = n_members
            if n_frontier == 0:
                break
            least, at = np.inf, 0
            for i in range(n_frontier):
                v = frontier[i]
                score = noise[k, v]
                for q in range(ptr[v], ptr[v + 1]):
                    e = road_at[q]
                    if other_at[q] == v:
                        score -= rates[k] * work[e]
                    elif inside[other_at[q]]:
                        score -= driven[e] + supply[e]
                    else:
                        score += driven[e] + supply[e] - rates[k] * work[e]
                if score < least:
                    least, at = score, i
            choice = frontier[at]
            n_frontier -= 1
            frontier[at] = frontier[n_frontier]
        if best_members > 0:
            breach[k] = best
            for i in range(best_members):
                found[k, members[i]] = True
    return found, breach
