"""Small repairs of cut lines: stretches drawn twice, and bridges that are part of their road."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from crossfall.network.noding import Edges


def without_doubled(edges: Edges) -> tuple[Edges, int]:
    """Drop edges that run through the same places as an earlier one, either way; and how many."""
    assert edges.lines.key is not None
    low, high = np.minimum(edges.start, edges.end), np.maximum(edges.start, edges.end)
    marks = np.column_stack([low, high, edges.last - edges.first])
    _, mark, times = np.unique(marks, axis=0, return_inverse=True, return_counts=True)
    keep = np.ones(len(edges.line), dtype=np.bool_)
    seen: set[bytes] = set()
    for edge in np.flatnonzero(times[mark.ravel()] > 1).tolist():
        places = edges.lines.key[edges.first[edge] : edges.last[edge] + 1]
        drawn = min(places.tobytes(), places[::-1].tobytes())
        keep[edge] = drawn not in seen
        seen.add(drawn)
    if keep.all():
        return edges, 0
    names = ("first", "last", "line", "start", "end", "length_m", "official_m", "fact")
    kept = {name: getattr(edges, name)[keep] for name in names}
    return replace(edges, **kept), int(np.count_nonzero(~keep))


def absorb_bridges(edges: Edges, *, longest_m: float) -> Edges:
    """Let a short bridge take the facts of its road, where both sides of it are the same road.

    A deck of planks in a gravel road is not a road of its own; it becomes a point feature.
    """
    is_bridge = edges.lines.is_bridge
    if is_bridge is None or not is_bridge.any():
        return edges
    short = np.flatnonzero(is_bridge[edges.line] & (edges.length_m <= longest_m))
    at: dict[int, list[int]] = {}
    for edge, (start, end) in enumerate(zip(edges.start.tolist(), edges.end.tolist(), strict=True)):
        at.setdefault(start, []).append(edge)
        at.setdefault(end, []).append(edge)
    fact = edges.fact.copy()
    for edge in short.tolist():
        beside = [
            other
            for node in (int(edges.start[edge]), int(edges.end[edge]))
            for other in at[node]
            if other != edge
        ]
        if len(beside) == 2 and fact[beside[0]] == fact[beside[1]]:
            fact[edge] = fact[beside[0]]
    return replace(edges, fact=fact)
