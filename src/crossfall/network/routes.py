"""Routes: which chains are one road to the people who live on it, and their measures.

Chains of one name that touch are walked from an end, straight on where the road
forks, and the measure grows along the walk. A name that stands for several
roads (two villages, two branches, the two carriageways of one road) gets a
number after it, longest first.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import atan2, pi
from typing import TYPE_CHECKING

import numpy as np

from crossfall.network.noding import Edges
from crossfall.network.roads import Flags, Floats

if TYPE_CHECKING:
    from crossfall.network.segmentation import Chains


@dataclass(frozen=True, eq=False)
class Routes:
    """For each chain its road, where on it the chain begins, and whether it must be turned."""

    names: list[str]
    from_m: Floats
    is_flipped: Flags


@dataclass(frozen=True, slots=True)
class _Chain:
    """What a walk needs to know of one chain."""

    index: int
    start: int
    end: int
    length_m: float
    heading_out: float
    """Direction in which the chain leaves its start [rad]."""
    heading_in: float
    """Direction in which it arrives at its end [rad]."""
    is_oneway: bool


Step = tuple[_Chain, bool]
"""A chain and whether it is walked from its start."""


def assign_routes(edges: Edges, chains: Chains) -> Routes:
    """Name every chain's route and lay measures along it, in metres from its start."""
    known = _chains(edges, chains)
    facts = [edges.lines.facts[f] for f in edges.fact[chains.edge[chains.offsets[:-1]]].tolist()]
    bases = [edges.lines.ids[k] for k in edges.line[chains.edge[chains.offsets[:-1]]].tolist()]
    names: list[str] = [""] * len(known)
    from_m = np.zeros(len(known))
    is_flipped = np.zeros(len(known), dtype=np.bool_)
    named: dict[str, list[_Chain]] = {}
    unnamed: dict[str, int] = {}
    for chain, fact, base in zip(known, facts, bases, strict=True):
        if fact.name:
            named.setdefault(fact.name, []).append(chain)
            continue
        label = f"Unnamed road {base or chain.index + 1}"
        unnamed[label] = unnamed.get(label, 0) + 1
        names[chain.index] = label if unnamed[label] == 1 else f"{label} ({unnamed[label]})"
    taken = {name for name in names if name}
    for name, group in named.items():
        walks = _walks(group)
        walks.sort(key=lambda walk: (-sum(chain.length_m for chain, _ in walk), walk[0][0].index))
        for number, walk in enumerate(walks, start=1):
            label = name if number == 1 else f"{name} ({number})"
            while label in taken:
                label += "'"
            taken.add(label)
            measure = 0.0
            for chain, is_along in walk:
                names[chain.index] = label
                from_m[chain.index] = measure
                is_flipped[chain.index] = not is_along
                measure += chain.length_m
    return Routes(names, from_m, is_flipped)


def _walks(group: list[_Chain]) -> list[list[Step]]:
    """Split chains of one name into walks that use each once."""
    if len(group) == 1:
        return [[(group[0], True)]]
    at: dict[int, list[_Chain]] = {}
    for chain in group:
        at.setdefault(chain.start, []).append(chain)
        if chain.end != chain.start:
            at.setdefault(chain.end, []).append(chain)
    used: set[int] = set()
    walks: list[list[Step]] = []
    ends_first = sorted(group, key=lambda c: (len(at[c.start]) > 1 and len(at[c.end]) > 1, c.index))
    for chain in ends_first:
        if chain.index in used:
            continue
        is_along = len(at[chain.start]) == 1 or len(at[chain.end]) > 1 or chain.is_oneway
        ahead = _follow(chain, is_along, at, used, with_traffic=True)
        behind = _follow(chain, not is_along, at, used, with_traffic=False)[1:]
        walk = [(each, not way) for each, way in reversed(behind)] + ahead
        along = sum(each.length_m for each, way in walk if way)
        total = sum(each.length_m for each, _ in walk)
        if 2 * along < total and not any(each.is_oneway for each, _ in walk):
            walk = [(each, not way) for each, way in reversed(walk)]
        walks.append(walk)
    return walks


def _follow(
    chain: _Chain,
    is_along: bool,
    at: dict[int, list[_Chain]],
    used: set[int],
    *,
    with_traffic: bool,
) -> list[Step]:
    """Walk on from ``chain``, as straight as possible, until nothing of this name is left.

    One-way chains are entered at their start, or, looking for where the road comes from, at
    their end.
    """
    walk: list[Step] = [(chain, is_along)]
    used.add(chain.index)
    while True:
        here, way = walk[-1]
        node = here.end if way else here.start
        heading = here.heading_in if way else here.heading_out + pi
        choices: list[tuple[float, int, _Chain, bool]] = []
        for other in at[node]:
            if other.index in used:
                continue
            if other.start == node and (with_traffic or not other.is_oneway):
                bend = _bend(heading, other.heading_out)
                choices.append((bend, other.index, other, True))
            elif other.end == node and not (with_traffic and other.is_oneway):
                bend = _bend(heading, other.heading_in + pi)
                choices.append((bend, other.index, other, False))
        if not choices:
            return walk
        bend, _, other, along = min(choices, key=lambda choice: choice[:2])
        if bend > _TURNS_BACK:
            return walk
        used.add(other.index)
        walk.append((other, along))


_TURNS_BACK = 0.75 * pi
"""A road that turns back further than this at a junction is another branch."""


def _bend(heading: float, other: float) -> float:
    return abs((other - heading + pi) % (2 * pi) - pi)


def _chains(edges: Edges, chains: Chains) -> list[_Chain]:
    edge, forward = chains.edge, chains.is_forward
    head, tail = chains.offsets[:-1], chains.offsets[1:] - 1
    first, last = edge[head], edge[tail]
    length = np.add.reduceat(edges.official_m[edge], head)
    begin = np.where(forward[head], edges.first[first], edges.last[first])
    step = np.where(forward[head], 1, -1)
    out = edges.xy[begin + step] - edges.xy[begin]
    finish = np.where(forward[tail], edges.last[last], edges.first[last])
    back = np.where(forward[tail], -1, 1)
    into = edges.xy[finish] - edges.xy[finish + back]
    start = np.where(forward[head], edges.start[first], edges.end[first])
    end = np.where(forward[tail], edges.end[last], edges.start[last])
    one_way = np.array([facts.is_oneway for facts in edges.lines.facts], dtype=np.bool_)
    return [
        _Chain(k, u, v, metres, atan2(y0, x0), atan2(y1, x1), is_oneway)
        for k, (u, v, metres, (x0, y0), (x1, y1), is_oneway) in enumerate(
            zip(
                start.tolist(),
                end.tolist(),
                length.tolist(),
                out.tolist(),
                into.tolist(),
                one_way[edges.fact[first]].tolist(),
                strict=True,
            )
        )
    ]
