"""The inner loops of matching, compiled.

:mod:`crossfall.network.matching_reference` says the same plainly, for the tests.
"""

from __future__ import annotations

import heapq

import numpy as np
import numpy.typing as npt
from numba import njit

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

_FAR = 1e18


@njit(cache=True)
def nearby_roads(
    x: Floats,
    y: Floats,
    search_m: float,
    most: int,
    x0: float,
    y0: float,
    cell_m: float,
    n_columns: int,
    n_rows: int,
    cells: Ints,
    cell_piece: Ints,
    piece_xy: Floats,
    piece_segment: Ints,
    piece_at: Floats,
) -> tuple[Ints, Floats, Floats, Ints]:
    """The nearest place on each of the ``most`` nearest roads of every fix."""
    n = x.shape[0]
    segment = np.full((n, most), -1, dtype=np.int64)
    at = np.zeros((n, most))
    offset = np.full((n, most), _FAR)
    found = np.zeros(n, dtype=np.int64)
    for i in range(n):
        column = int(np.floor((x[i] - x0) / cell_m))
        row = int(np.floor((y[i] - y0) / cell_m))
        for r in range(max(row - 1, 0), min(row + 2, n_rows)):
            for c in range(max(column - 1, 0), min(column + 2, n_columns)):
                key = r * n_columns + c
                k = _row_of(cells, key)
                if k < 0:
                    continue
                for slot in range(cells[k, 1], cells[k, 2]):
                    p = cell_piece[slot]
                    ax, ay = piece_xy[p, 0], piece_xy[p, 1]
                    dx, dy = piece_xy[p, 2] - ax, piece_xy[p, 3] - ay
                    square = dx * dx + dy * dy
                    share = 0.0
                    if square > 0.0:
                        share = ((x[i] - ax) * dx + (y[i] - ay) * dy) / square
                        share = min(max(share, 0.0), 1.0)
                    away = np.hypot(x[i] - ax - share * dx, y[i] - ay - share * dy)
                    if away > search_m:
                        continue
                    metres = piece_at[p] + share * np.sqrt(square)
                    found[i] = _keep_nearest(
                        segment[i], at[i], offset[i], found[i], piece_segment[p], metres, away
                    )
    return segment, at, offset, found


@njit(cache=True)
def _row_of(cells: Ints, key: int) -> int:
    low, high = 0, cells.shape[0]
    while low < high:
        middle = (low + high) // 2
        if cells[middle, 0] < key:
            low = middle + 1
        else:
            high = middle
    if low < cells.shape[0] and cells[low, 0] == key:
        return low
    return -1


@njit(cache=True)
def _keep_nearest(
    segment: Ints, at: Floats, offset: Floats, n: int, new: int, metres: float, away: float
) -> int:
    """Put one road into a short list by distance; a road stands in it once."""
    most = segment.shape[0]
    place = n
    for k in range(n):
        if segment[k] == new:
            if away >= offset[k]:
                return n
            place = k
            break
    if place == n:
        if n == most:
            if away >= offset[n - 1]:
                return n
            place = n - 1
        else:
            n += 1
    while place > 0 and offset[place - 1] > away:
        segment[place] = segment[place - 1]
        at[place] = at[place - 1]
        offset[place] = offset[place - 1]
        place -= 1
    segment[place], at[place], offset[place] = new, metres, away
    return n


@njit(cache=True)
def distances_near(
    nodes: Ints,
    limit_m: float,
    arc_start: Ints,
    arc_node: Ints,
    arc_segment: Ints,
    length_m: Floats,
    n_nodes: int,
) -> tuple[Ints, Ints, Floats, Ints, Ints]:
    """Shortest ways from each node as far as ``limit_m``: sorted rows, with how they end."""
    best = np.full(n_nodes, _FAR)
    by = np.full(n_nodes, -1, dtype=np.int64)
    before = np.full(n_nodes, -1, dtype=np.int64)
    start = np.zeros(nodes.shape[0] + 1, dtype=np.int64)
    room = 16 * nodes.shape[0] + 64
    out_node = np.empty(room, dtype=np.int64)
    out_metres = np.empty(room)
    out_segment = np.empty(room, dtype=np.int64)
    out_before = np.empty(room, dtype=np.int64)
    n_out = 0
    for k in range(nodes.shape[0]):
        source = nodes[k]
        best[source] = 0.0
        heap = [(0.0, source)]
        touched = [source]
        while len(heap) > 0:
            metres, node = heapq.heappop(heap)
            if metres > best[node]:
                continue
            for arc in range(arc_start[node], arc_start[node + 1]):
                other = arc_node[arc]
                new = metres + length_m[arc_segment[arc]]
                if new <= limit_m and new < best[other]:
                    if best[other] >= _FAR:
                        touched.append(other)
                    best[other] = new
                    by[other] = arc_segment[arc]
                    before[other] = node
                    heapq.heappush(heap, (new, other))
        reached = np.sort(np.array(touched))
        while n_out + reached.shape[0] > room:
            room *= 2
            out_node = _longer(out_node, room)
            out_segment = _longer(out_segment, room)
            out_before = _longer(out_before, room)
            more = np.empty(room)
            more[:n_out] = out_metres[:n_out]
            out_metres = more
        for node in reached:
            out_node[n_out] = node
            out_metres[n_out] = best[node]
            out_segment[n_out] = by[node]
            out_before[n_out] = before[node]
            n_out += 1
            best[node] = _FAR
            by[node] = -1
            before[node] = -1
        start[k + 1] = n_out
    return (
        start,
        out_node[:n_out].copy(),
        out_metres[:n_out].copy(),
        out_segment[:n_out].copy(),
        out_before[:n_out].copy(),
    )


@njit(cache=True)
def _longer(old: Ints, room: int) -> Ints:
    new = np.empty(room, dtype=np.int64)
    new[: old.shape[0]] = old
    return new


@njit(cache=True)
def way_m(row_of: Ints, start: Ints, node: Ints, metres: Floats, a: int, b: int) -> float:
    """Metres from node ``a`` to node ``b``; a huge figure where the table has no way."""
    k = way_entry(row_of, start, node, a, b)
    return metres[k] if k >= 0 else _FAR


@njit(cache=True)
def way_entry(row_of: Ints, start: Ints, node: Ints, a: int, b: int) -> int:
    """Where the way from ``a`` to ``b`` stands in the table, -1 where it does not."""
    row = row_of[a]
    if row < 0:
        return -1
    low, high = start[row], start[row + 1]
    end = high
    while low < high:
        middle = (low + high) // 2
        if node[middle] < b:
            low = middle + 1
        else:
            high = middle
    return low if low < end and node[low] == b else -1


@njit(cache=True)
def likeliest(
    x: Floats,
    y: Floats,
    segment: Ints,
    at: Floats,
    offset: Floats,
    n_found: Ints,
    from_node: Ints,
    to_node: Ints,
    length_m: Floats,
    row_of: Ints,
    start: Ints,
    node: Ints,
    metres: Floats,
    noise_m: float,
    detour_m: float,
    limit_m: float,
) -> tuple[Ints, npt.NDArray[np.bool_]]:
    """The likeliest road of every fix as a whole (Viterbi), and where the chain had to begin anew.

    Log-likelihood of a fix on a road: -(offset / noise)² / 2; of a step between two:
    -|way along roads - straight line| / detour. A way longer than ``limit_m`` is none.
    """
    n, most = segment.shape
    choice = np.full(n, -1, dtype=np.int64)
    begins = np.zeros(n, dtype=np.bool_)
    score = np.full((n, most), -np.inf)
    back = np.full((n, most), -1, dtype=np.int64)
    for i in range(n):
        is_linked = False
        if i > 0 and n_found[i - 1] > 0:
            straight = np.hypot(x[i] - x[i - 1], y[i] - y[i - 1])
            for b in range(n_found[i]):
                for a in range(n_found[i - 1]):
                    if score[i - 1, a] == -np.inf:
                        continue
                    way = _way_between(
                        segment[i - 1, a], at[i - 1, a], segment[i, b], at[i, b],
                        from_node, to_node, length_m, row_of, start, node, metres,
                    )  # fmt: skip
                    if way > limit_m + straight:
                        continue
                    value = score[i - 1, a] - abs(way - straight) / detour_m
                    if value > score[i, b]:
                        score[i, b] = value
                        back[i, b] = a
                        is_linked = True
        for b in range(n_found[i]):
            emission = -0.5 * (offset[i, b] / noise_m) ** 2
            if is_linked:
                score[i, b] += emission
            else:
                score[i, b] = emission
        begins[i] = not is_linked
    i = n - 1
    while i >= 0:
        if n_found[i] == 0:
            i -= 1
            continue
        b = int(np.argmax(score[i, : n_found[i]]))
        while True:
            choice[i] = b
            if begins[i]:
                break
            b = back[i, b]
            i -= 1
        i -= 1
    return choice, begins


@njit(cache=True)
def _way_between(
    s1: int,
    m1: float,
    s2: int,
    m2: float,
    from_node: Ints,
    to_node: Ints,
    length_m: Floats,
    row_of: Ints,
    start: Ints,
    node: Ints,
    metres: Floats,
) -> float:
    if s1 == s2:
        return abs(m2 - m1)
    best = _FAR
    for e in range(2):
        a = from_node[s1] if e == 0 else to_node[s1]
        out = m1 if e == 0 else length_m[s1] - m1
        for f in range(2):
            b = from_node[s2] if f == 0 else to_node[s2]
            way = out + (m2 if f == 0 else length_m[s2] - m2)
            if way >= best:
                continue
            way += way_m(row_of, start, node, metres, a, b)
            best = min(best, way)
    return best


@njit(cache=True)
def trace_pieces(
    segment: Ints,
    at: Floats,
    begins: npt.NDArray[np.bool_],
    from_node: Ints,
    to_node: Ints,
    length_m: Floats,
    row_of: Ints,
    start: Ints,
    node: Ints,
    metres: Floats,
    by: Ints,
    before: Ints,
) -> tuple[Ints, Ints, Floats, Floats]:
    """Every stretch driven between one fix and the next: which step, segment, from and to metre."""
    n = segment.shape[0]
    room = 3 * n + 16
    step = np.empty(room, dtype=np.int64)
    road = np.empty(room, dtype=np.int64)
    first = np.empty(room)
    last = np.empty(room)
    k = 0
    for i in range(1, n):
        s1, s2 = segment[i - 1], segment[i]
        if s1 < 0 or s2 < 0 or begins[i]:
            continue
        if k + 256 > room:
            room *= 2
            step, road = _longer(step, room), _longer(road, room)
            more = np.empty(room)
            more[:k] = first[:k]
            first = more
            more = np.empty(room)
            more[:k] = last[:k]
            last = more
        if s1 == s2:
            step[k], road[k], first[k], last[k] = i, s1, at[i - 1], at[i]
            k += 1
            continue
        best, best_e, best_f = _FAR, -1, -1
        for e in range(2):
            a = from_node[s1] if e == 0 else to_node[s1]
            out = at[i - 1] if e == 0 else length_m[s1] - at[i - 1]
            for f in range(2):
                b = from_node[s2] if f == 0 else to_node[s2]
                into = at[i] if f == 0 else length_m[s2] - at[i]
                way = out + into + way_m(row_of, start, node, metres, a, b)
                if way < best:
                    best, best_e, best_f = way, e, f
        if best_e < 0:
            continue
        a = from_node[s1] if best_e == 0 else to_node[s1]
        b = from_node[s2] if best_f == 0 else to_node[s2]
        step[k], road[k], first[k] = i, s1, at[i - 1]
        last[k] = 0.0 if best_e == 0 else length_m[s1]
        k += 1
        # The way between the two ends is walked backwards, then turned round
        begin = k
        while a != b and k + 4 < room:
            entry = way_entry(row_of, start, node, a, b)
            s = by[entry]
            is_forward = to_node[s] == b and from_node[s] == before[entry]
            step[k], road[k] = i, s
            first[k] = 0.0 if is_forward else length_m[s]
            last[k] = length_m[s] if is_forward else 0.0
            k += 1
            b = before[entry]
        low, high = begin, k - 1
        while low < high:
            road[low], road[high] = road[high], road[low]
            first[low], first[high] = first[high], first[low]
            last[low], last[high] = last[high], last[low]
            low += 1
            high -= 1
        step[k], road[k] = i, s2
        first[k] = 0.0 if best_f == 0 else length_m[s2]
        last[k] = at[i]
        k += 1
    return step[:k].copy(), road[:k].copy(), first[:k].copy(), last[:k].copy()


@njit(cache=True)
def settled_bits(
    bits: npt.NDArray[np.int8], travels: npt.NDArray[np.bool_], wrong: float, change: float
) -> npt.NDArray[np.int8]:
    """The likeliest course of a two-state switch whose reading is wrong now and then (Viterbi).

    ``bits`` are 0, 1 or -1 for no reading; ``travels`` says where the machine is too fast for work,
    which speaks for 0 as much as a reading does. ``wrong`` is the share of wrong readings and
    ``change`` the chance that the state changes from one fix to the next.
    """
    n = bits.shape[0]
    state = np.zeros(n, dtype=np.int8)
    if n == 0:
        return state
    right, off = np.log(1 - wrong), np.log(wrong)
    stay, move = np.log(1 - change), np.log(change)
    came = np.zeros((n, 2), dtype=np.int8)
    up, down = 0.0, 0.0
    for i in range(n):
        if i > 0:
            new_up = max(up + stay, down + move)
            new_down = max(down + stay, up + move)
            came[i, 0] = 0 if up + stay >= down + move else 1
            came[i, 1] = 1 if down + stay >= up + move else 0
            up, down = new_up, new_down
        if bits[i] == 0:
            up, down = up + right, down + off
        elif bits[i] == 1:
            up, down = up + off, down + right
        if travels[i]:
            up, down = up + right, down + off
    state[n - 1] = 1 if down > up else 0
    for i in range(n - 1, 0, -1):
        state[i - 1] = came[i, state[i]]
    return state


@njit(cache=True)
def turning_points(at: Floats, back_m: float) -> Ints:
    """Indices where a machine truly turned round, first and last included.

    A turn is the farthest place before it came back by more than ``back_m``.
    """
    n = at.shape[0]
    turns = [0]
    direction = 0
    low, high = 0, 0
    for i in range(1, n):
        if direction >= 0 and at[i] > at[high]:
            high = i
        if direction <= 0 and at[i] < at[low]:
            low = i
        if direction == 0:
            if at[i] - at[low] > back_m and i > low and high == i:
                direction = 1
                if low > 0:
                    turns.append(low)
            elif at[high] - at[i] > back_m and low == i:
                direction = -1
                if high > 0:
                    turns.append(high)
        elif direction == 1:
            if at[high] - at[i] > back_m:
                turns.append(high)
                direction = -1
                low = i
        elif at[i] - at[low] > back_m:
            turns.append(low)
            direction = 1
            high = i
    if n > 1:
        turns.append(n - 1)
    return np.array(turns, dtype=np.int64)
