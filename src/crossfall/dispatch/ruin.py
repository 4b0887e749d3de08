"""The search's inner loop: take a few stages out near one place, put better ones back.

Ruin and recreate, after Christiaens and Vanden Berghe, "Slack Induction by
String Removals" (Transportation Science, 2020; recalled). A plan is accepted
when it is better, or worse by less than a temperature that falls to nothing.
"""

from __future__ import annotations

import numpy as np
from numba import njit

from crossfall.dispatch.kernel import (
    Array,
    Routes,
    Tables,
    copy_routes,
    draw,
    insert,
    refresh,
    take_out,
    worth_of,
)

_SMALL = 1e-9


@njit(cache=True, nogil=True)
def _remove_near(
    t: Tables, r: Routes, seed: int, rng: Array, n_away: int, out: Array, touched: Array
) -> int:
    """Take strings of stages around ``seed`` out of up to a few shifts; returns how many."""
    count = 0
    longest = 1.0 + draw(rng) * 10.0
    most_shifts = 1 + int(draw(rng) * 4.0 * n_away / (1.0 + longest))
    n_shifts = 0
    for k in range(t.near.shape[1]):
        s = t.near[seed, k]
        if s < 0 or n_shifts >= most_shifts:
            break
        h = r.where[s]
        if h < 0 or touched[h] == 1:
            continue
        touched[h] = 1
        n_shifts += 1
        length = 1 + int(draw(rng) * min(longest, r.n[h]))
        middle = 0
        for i in range(r.n[h]):
            if t.b_stage[r.seq[h, i]] == s:
                middle = i
                break
        start = middle - int(draw(rng) * length)
        start = max(0, min(start, r.n[h] - length))
        first = count
        for i in range(start, min(start + length, r.n[h])):
            member = t.b_stage[r.seq[h, i]]
            is_new = True
            for z in range(first, count):
                if out[z] == member:
                    is_new = False
            if is_new:
                out[count] = member
                count += 1
        for z in range(first, count):
            if r.where[out[z]] >= 0:
                take_out(t, r, out[z])
        # What must follow a stage cannot stay when it goes
        z = first
        while z < count:
            for q in range(t.behind_ptr[out[z]], t.behind_ptr[out[z] + 1]):
                member = t.behind[q]
                if r.where[member] >= 0:
                    touched[r.where[member]] = 1
                    take_out(t, r, member)
                    out[count] = member
                    count += 1
            z += 1
    for h in range(touched.size):
        if touched[h] == 1:
            refresh(t, r, h)
    return count


@njit(cache=True, nogil=True)
def _order(t: Tables, keys: Array, out: Array, count: int, rng: Array) -> None:
    """Sort the candidates for putting back by a rule drawn at random."""
    rule = draw(rng)
    for z in range(count):
        s = out[z]
        noise = draw(rng)
        if rule < 0.3:
            keys[z] = noise
        elif rule < 0.7:
            worth = 0.0
            for h in range(t.sh_day.size):
                if t.ok[s, h]:
                    worth = max(worth, t.worth[s, h])
            keys[z] = -worth / t.s_least[s] * (0.8 + 0.4 * noise)
        elif rule < 0.85:
            keys[z] = -t.s_least[s] * (0.9 + 0.2 * noise)
        else:
            keys[z] = z + 5.0 * noise
    for z in range(1, count):
        key, s = keys[z], out[z]
        q = z - 1
        while q >= 0 and keys[q] > key:
            keys[q + 1] = keys[q]
            out[q + 1] = out[q]
            q -= 1
        keys[q + 1] = key
        out[q + 1] = s


@njit(cache=True, nogil=True)
def search(
    t: Tables,
    now: Routes,
    before: Routes,
    best: Routes,
    rng: Array,
    n_rounds: int,
    heat: float,
    n_away: int,
    blink: float,
    scores: Array,
) -> None:
    """``n_rounds`` rounds of ruin and recreate at temperature ``heat`` [h].

    ``scores`` holds the worth of ``now`` and of ``best`` and is kept up to date.
    """
    n_stages, n_shifts = t.s_load.size, t.sh_day.size
    out = np.empty(n_stages + t.behind.size + 1, dtype=np.int64)
    keys = np.empty(n_stages + 1)
    touched = np.zeros(n_shifts, dtype=np.int64)
    is_in = np.zeros(n_stages, dtype=np.bool_)
    for _ in range(n_rounds):
        seed = min(n_stages - 1, int(draw(rng) * n_stages))
        touched[:] = 0
        copy_routes(now, before)
        count = _remove_near(t, now, seed, rng, n_away, out, touched)
        for z in range(count):
            is_in[out[z]] = True
        n_near = int(draw(rng) * t.near.shape[1])
        for k in range(n_near):
            s = t.near[seed, k]
            if s >= 0 and now.where[s] < 0 and not is_in[s]:
                is_in[s] = True
                out[count] = s
                count += 1
        for _k in range(4):
            s = min(n_stages - 1, int(draw(rng) * n_stages))
            if now.where[s] < 0 and not is_in[s]:
                is_in[s] = True
                out[count] = s
                count += 1
        for z in range(count):
            is_in[out[z]] = False
        _order(t, keys, out, count, rng)
        z = 0
        while z < count:
            s = out[z]
            z += 1
            if now.where[s] < 0 and insert(t, now, s, rng, blink):
                # What was waiting for it may go in now
                for q in range(t.behind_ptr[s], t.behind_ptr[s + 1]):
                    if now.where[t.behind[q]] < 0:
                        out[count] = t.behind[q]
                        count += 1
        score = worth_of(t, now)
        if score > scores[0] + heat * np.log(draw(rng) + 1e-300):
            scores[0] = score
            if score > scores[1] + _SMALL:
                scores[1] = score
                copy_routes(now, best)
        else:
            for h in range(n_shifts):
                is_changed = now.n[h] != before.n[h]
                for i in range(now.n[h]):
                    if not is_changed and now.seq[h, i] != before.seq[h, i]:
                        is_changed = True
                touched[h] = 1 if is_changed else 0
            copy_routes(before, now)
            for h in range(n_shifts):
                if touched[h] == 1:
                    refresh(t, now, h)
