"""The search's inner loop: take a few stages out near one place, put better ones back.

Ruin and recreate, after Christiaens and Vanden Berghe, "Slack Induction by
String Removals" (Transportation Science, 2020; recalled). A plan is accepted
when it is better, or worse by less than a temperature that falls to nothing.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numba import njit

from crossfall.dispatch.insertion import (
    best_place,
    broken_by,
    cost_of,
    place_if_it_stands,
    take_out,
)
from crossfall.dispatch.kernel import (
    BEHIND,
    DAY,
    SMALL,
    STAGE,
    WHERE,
    Array,
    Lines,
    Routes,
    Tables,
    draw,
    refresh,
)
from crossfall.dispatch.timetable import timetable

_LONGEST_STRING = 10.0
_SPLIT_CHANCE = 0.5


class Undo(NamedTuple):
    """What changed in a round, and how it was before."""

    lines: Lines
    load: Array
    at: Array
    is_moved: Array
    """bool (stage,)."""
    touched: Array
    """int64: shifts."""
    moved: Array
    """int64: stages."""
    count: Array
    """int64 (2,): how many are listed in ``touched`` and in ``moved``."""


@njit(cache=True, nogil=True)
def search(
    t: Tables,
    r: Routes,
    u: Undo,
    best: Routes,
    rng: Array,
    n_rounds: int,
    heat: float,
    n_away: float,
    blink: float,
    scores: Array,
) -> None:
    """``n_rounds`` rounds of ruin and recreate at temperature ``heat`` [h].

    ``scores`` holds the worth of ``r`` and of ``best`` and is kept up to date.
    """
    n_stages = r.at.shape[0]
    out = np.empty(n_stages + t.behind.size + 1, dtype=np.int64)
    keys = np.empty(n_stages + 1)
    spot = np.zeros(4, dtype=np.int64)
    for _ in range(n_rounds):
        _begin(r, u)
        seed = t.seeds[min(t.seeds.size - 1, int(draw(rng) * t.seeds.size))]
        count = _remove_near(t, r, u, seed, rng, n_away, out)
        count = _call_in(t, r, u, seed, rng, out, count)
        _order(t.keys, t.rules, keys, out, count, rng)
        z = 0
        while z < count:
            s = out[z]
            z += 1
            if r.at[s, WHERE] < 0 and _put_back(t, r, u, s, rng, blink, spot):
                # What was waiting for it may go in now
                for q in range(t.stage[s, BEHIND], t.stage[s + 1, BEHIND]):
                    if r.at[t.behind[q], WHERE] < 0:
                        out[count] = t.behind[q]
                        count += 1
        score = scores[0] + _change(t, r, u)
        if score > scores[0] + heat * np.log(draw(rng) + 1e-300):
            scores[0] = score
            if score > scores[1] + SMALL:
                scores[1] = score
                _keep(r, best)
        else:
            _go_back(t, r, u)


@njit(cache=True, nogil=True)
def _put_back(t: Tables, r: Routes, u: Undo, s: int, rng: Array, blink: float, spot: Array) -> bool:
    """Put ``s`` where it is worth most; if something breaks by it there, in another shift."""
    barred: Any = np.int64(-1)
    for _ in range(2):
        if not best_place(t, r, s, rng, blink, spot, barred):
            return False
        _touch(r, u, spot[0])
        _note(r, u, s)
        if place_if_it_stands(t, r, s, spot):
            return True
        barred = spot[0]
    return False


@njit(cache=True, nogil=True)
def _touch(r: Routes, u: Undo, h: int) -> None:
    """Keep shift ``h`` as it is now, to go back to."""
    if r.is_touched[h]:
        return
    r.is_touched[h] = True
    u.touched[u.count[0]] = h
    u.count[0] += 1
    u.load[h] = r.load[h]
    _copy_line(r.lines, u.lines, h)


@njit(cache=True, nogil=True)
def _copy_line(p: Lines, q: Lines, h: int) -> None:
    q.n[h] = p.n[h]
    q.minutes[h] = p.minutes[h]
    for i in range(p.n[h]):
        q.seq[h, i] = p.seq[h, i]
        q.mode[h, i] = p.mode[h, i]
        q.begin[h, i] = p.begin[h, i]
        for m in range(8):
            q.cost[h, i, m] = p.cost[h, i, m]
    for i in range(p.n[h] + 1):
        q.spare[h, i] = p.spare[h, i]


@njit(cache=True, nogil=True)
def _note(r: Routes, u: Undo, s: int) -> None:
    """Keep where stage ``s`` is now, to go back to."""
    if u.is_moved[s]:
        return
    u.is_moved[s] = True
    u.moved[u.count[1]] = s
    u.count[1] += 1
    for k in range(2):
        u.at[s, k] = r.at[s, k]


@njit(cache=True, nogil=True)
def _begin(r: Routes, u: Undo) -> None:
    """Start a round: from here on changes are noted."""
    for k in range(u.count[0]):
        r.is_touched[u.touched[k]] = False
    for k in range(u.count[1]):
        u.is_moved[u.moved[k]] = False
    u.count[0] = 0
    u.count[1] = 0


@njit(cache=True, nogil=True)
def _go_back(t: Tables, r: Routes, u: Undo) -> None:
    """Everything as it was when the round began."""
    for k in range(u.count[0]):
        h = u.touched[k]
        r.load[h] = u.load[h]
        _copy_line(u.lines, r.lines, h)
    for k in range(u.count[1]):
        s = u.moved[k]
        for z in range(2):
            r.at[s, z] = u.at[s, z]
    if r.m_used.shape[0] > 0:
        # The timetable follows from the shifts
        for k in range(u.count[0]):
            day = t.ways.shift[u.touched[k], DAY]
            is_made = False
            for z in range(k):
                is_made = is_made or t.ways.shift[u.touched[z], DAY] == day
            if not is_made:
                timetable(t, r, day)


@njit(cache=True, nogil=True)
def _keep(r: Routes, best: Routes) -> None:
    """Copy what makes a plan; the rest follows by refreshing."""
    for h in range(r.load.size):
        best.lines.n[h] = r.lines.n[h]
        best.load[h] = r.load[h]
        for i in range(r.lines.n[h]):
            best.lines.seq[h, i] = r.lines.seq[h, i]
    for s in range(r.at.shape[0]):
        for k in range(2):
            best.at[s, k] = r.at[s, k]


@njit(cache=True, nogil=True)
def _change(t: Tables, r: Routes, u: Undo) -> float:
    """What the round did to the worth of the plan [h]."""
    total = 0.0
    for k in range(u.count[1]):
        s = u.moved[k]
        if r.at[s, WHERE] >= 0:
            total += t.worth[s, r.at[s, WHERE]]
        if u.at[s, WHERE] >= 0:
            total -= t.worth[s, u.at[s, WHERE]]
    for k in range(u.count[0]):
        h = u.touched[k]
        total -= cost_of(t, h, r.lines.minutes[h]) - cost_of(t, h, u.lines.minutes[h])
    return total


@njit(cache=True, nogil=True)
def _remove_near(
    t: Tables, r: Routes, u: Undo, seed: int, rng: Array, n_away: float, out: Array
) -> int:
    """Take strings of stages around ``seed`` out of a few shifts; returns how many stages."""
    n_used, total = 0, 0
    for h in range(r.load.size):
        if r.lines.n[h] > 0:
            n_used += 1
            total += r.lines.n[h]
    n_out: Any = np.int64(0)
    if n_used == 0:
        return n_out
    longest = min(_LONGEST_STRING, total / n_used)
    most_strings = 4.0 * n_away / (1.0 + longest) - 1.0
    n_strings = int(1.0 + draw(rng) * max(0.0, most_strings))
    for k in range(t.near.shape[1]):
        s: Any = np.int64(t.near[seed, k])
        if s < 0 or n_strings == 0:
            break
        h = r.at[s, WHERE]
        if h >= 0 and not r.is_touched[h]:
            n_strings -= 1
            n_out = _remove_string(t, r, u, s, longest, rng, out, n_out)
    for k in range(u.count[0]):
        refresh(t.ways, r.lines, u.touched[k])
    return _mend(t, r, u, out, n_out)


@njit(cache=True, nogil=True)
def _mend(t: Tables, r: Routes, u: Undo, out: Array, n_out: int) -> int:
    """Times have moved: take out what cannot stay any more, until all that is left stands."""
    k = 0
    while k < u.count[0]:
        s: Any = np.int64(broken_by(t, r, u.touched[k]))
        if s < 0:
            k += 1
            continue
        first = n_out
        out[n_out] = s
        n_out = _remove_with_followers(t, r, u, out, first, n_out + 1)
        for z in range(first, n_out):
            refresh(t.ways, r.lines, u.at[out[z], WHERE])
        # Shifts touched before may stand differently now
        k = 0
    return n_out


@njit(cache=True, nogil=True)
def _remove_string(
    t: Tables, r: Routes, u: Undo, s: int, longest: float, rng: Array, out: Array, n_out: int
) -> int:
    """Take out a run of stages that holds ``s``, perhaps sparing some in its middle."""
    h = r.at[s, WHERE]
    n = r.lines.n[h]
    length = int(1.0 + draw(rng) * min(float(n), longest))
    spared = 0
    if length > 1 and length < n and draw(rng) < _SPLIT_CHANCE:
        spared = 1
        while length + spared < n and draw(rng) > 0.5:
            spared += 1
    middle = 0
    for i in range(n):
        if t.ways.block[r.lines.seq[h, i], STAGE] == s:
            middle = i
            break
    span = min(n, length + spared)
    start = max(0, min(middle - int(draw(rng) * span), n - span))
    spare_from = start + 1 + int(draw(rng) * max(1, length - 1))
    first = n_out
    for i in range(start, start + span):
        if spared > 0 and spare_from <= i < spare_from + spared:
            continue
        member = np.int64(t.ways.block[r.lines.seq[h, i], STAGE])
        is_new = True
        for z in range(first, n_out):
            if out[z] == member:
                is_new = False
        if is_new:
            out[n_out] = member
            n_out += 1
    return _remove_with_followers(t, r, u, out, first, n_out)


@njit(cache=True, nogil=True)
def _remove_with_followers(
    t: Tables, r: Routes, u: Undo, out: Array, first: int, n_out: int
) -> int:
    """Take out the stages listed from ``first`` on; the list grows by what must follow them."""
    z = first
    while z < n_out:
        member = out[z]
        z += 1
        if r.at[member, WHERE] >= 0:
            _touch(r, u, r.at[member, WHERE])
            _note(r, u, member)
            take_out(t, r, member)
        for q in range(t.stage[member, BEHIND], t.stage[member + 1, BEHIND]):
            if r.at[t.behind[q], WHERE] >= 0:
                is_new = True
                for y in range(first, n_out):
                    if out[y] == t.behind[q]:
                        is_new = False
                if is_new:
                    out[n_out] = t.behind[q]
                    n_out += 1
    return n_out


@njit(cache=True, nogil=True)
def _call_in(t: Tables, r: Routes, u: Undo, seed: int, rng: Array, out: Array, count: int) -> int:
    """Add waiting stages near ``seed``, and a few from anywhere, to those to be put back."""
    n_near = int(draw(rng) * t.near.shape[1])
    for k in range(n_near + 3):
        s: Any = np.int64(-1)
        if k < n_near:
            s = np.int64(t.near[seed, k])
        else:
            s = t.seeds[min(t.seeds.size - 1, int(draw(rng) * t.seeds.size))]
        # Those just taken out are noted as moved and are in the list already
        if s >= 0 and r.at[s, WHERE] < 0 and not u.is_moved[s]:
            is_new = True
            if k >= n_near:
                for z in range(count):
                    if out[z] == s:
                        is_new = False
            if is_new:
                out[count] = s
                count += 1
    return count


@njit(cache=True, nogil=True)
def _order(keys: Array, rules: Array, own: Array, out: Array, count: int, rng: Array) -> None:
    """Sort the candidates for putting back by a rule drawn at random."""
    chance = draw(rng)
    rule = 0
    while rule < rules.size and chance >= rules[rule]:
        rule += 1
    for z in range(count):
        noise = draw(rng)
        own[z] = noise if rule == rules.size else keys[rule, out[z]] * (0.9 + 0.2 * noise)
    for z in range(1, count):
        key, s = own[z], out[z]
        q = z - 1
        while q >= 0 and own[q] > key:
            own[q + 1] = own[q]
            out[q + 1] = out[q]
            q -= 1
        own[q + 1] = key
        out[q + 1] = s
