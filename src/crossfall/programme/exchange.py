"""Changing segments one at a time, or two, until the limits hold and nothing cheaper fits.

Repair: where a limit is broken, the change that relieves most for its price, until all hold.
Exchange: a cheaper strategy often breaks one year's limit by a little; if another segment can make
room for less than is gained, both change. All pairs are tried, dearest gain first.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from numba import njit

Floats = npt.NDArray[np.float64]
Rows = npt.NDArray[np.int64]


def repair(
    owner: Rows,
    value: Floats,
    use: Floats,
    pick: Rows,
    room: Floats,
    *,
    scale: Floats,
    weight: Floats,
    most_moves: int,
) -> tuple[Rows, bool]:
    """Change ``pick`` until ``use`` fits into ``room``; whether it does in the end.

    ``value`` (candidate,) is the cost with the prices of what is used; relief of each limit, as a
    share of ``scale``, counts by its ``weight``.
    """
    changed = pick.copy()
    used = use[pick].sum(axis=0)
    does_fit = _repair(owner, value, use, changed, used, room, weight / scale, most_moves)
    return changed, bool(does_fit)


def exchange(
    owner: Rows,
    cost: Floats,
    use: Floats,
    pick: Rows,
    room: Floats,
    *,
    slack: Floats,
    most_tries: int,
) -> Rows:
    """Improve ``pick`` (segment,) among candidates; the limits hold before, so they hold after.

    ``owner`` and ``cost`` (candidate,), ``use`` (candidate, limit), ``room`` (limit,) and the
    ``slack`` (limit,) within which a limit counts as kept. ``most_tries`` bounds the pairs tried.
    """
    better = pick.copy()
    used = use[pick].sum(axis=0)
    _exchange(owner, cost, use, better, used, room + slack, most_tries)
    return better


@njit(cache=True)
def _exchange(owner, cost, use, pick, used, room, most_tries):  # type: ignore[no-untyped-def]
    n, n_limits = use.shape
    tries = 0
    over = np.empty(n_limits, dtype=np.int64)
    improved = True
    while improved and tries < most_tries:
        improved = False
        dearer = np.empty(n)
        for j in range(n):
            dearer[j] = cost[j] - cost[pick[owner[j]]]
        order = np.argsort(dearer)
        for a in range(n):
            first = order[a]
            mine = pick[owner[first]]
            gain = cost[mine] - cost[first]
            if gain <= 1e-9 * abs(cost[mine]):
                continue
            n_over = 0
            for r in range(n_limits):
                if used[r] + use[first, r] - use[mine, r] > room[r]:
                    over[n_over] = r
                    n_over += 1
            if n_over == 0:
                for r in range(n_limits):
                    used[r] += use[first, r] - use[mine, r]
                pick[owner[first]] = first
                improved = True
                continue
            for b in range(n):
                second = order[b]
                other = pick[owner[second]]
                paid = cost[second] - cost[other]
                if owner[second] == owner[first] or second == other:
                    continue
                if paid >= gain * (1 - 1e-9):
                    if dearer[second] >= gain:
                        break
                    continue
                tries += 1
                fits = True
                for k in range(n_over):
                    r = over[k]
                    total = used[r] + use[first, r] - use[mine, r]
                    if total + use[second, r] - use[other, r] > room[r]:
                        fits = False
                        break
                if not fits:
                    continue
                for r in range(n_limits):
                    total = used[r] + use[first, r] - use[mine, r]
                    if total + use[second, r] - use[other, r] > room[r]:
                        fits = False
                        break
                if fits:
                    for r in range(n_limits):
                        used[r] += use[first, r] - use[mine, r] + use[second, r] - use[other, r]
                    pick[owner[first]], pick[owner[second]] = first, second
                    improved = True
                    break
            if tries >= most_tries:
                break


@njit(cache=True)
def _repair(owner, value, use, pick, used, room, weight, most_moves):  # type: ignore[no-untyped-def]
    n, n_limits = use.shape
    for _ in range(most_moves):
        total = 0.0
        for r in range(n_limits):
            total += weight[r] * max(used[r] - room[r], 0.0)
        if total <= 0.0:
            return True
        best, least = -1, np.inf
        for j in range(n):
            mine = pick[owner[j]]
            if mine == j:
                continue
            after = 0.0
            for r in range(n_limits):
                left = used[r] + use[j, r] - use[mine, r] - room[r]
                if left > 0.0:
                    after += weight[r] * left
                    if after >= total:
                        break
            relief = total - after
            if relief <= 1e-9 * total:
                continue
            dearer = max(value[j] - value[mine], 0.0) + 1e-9 * abs(value[j])
            if dearer / relief < least:
                best, least = j, dearer / relief
        if best < 0:
            return False
        mine = pick[owner[best]]
        for r in range(n_limits):
            used[r] += use[best, r] - use[mine, r]
        pick[owner[best]] = best
    return False
