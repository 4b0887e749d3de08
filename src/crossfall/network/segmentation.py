"""From cut lines to maintenance segments: the lengths that are inspected, worked and paid for.

Edges between junctions are too short to plan with, and a twenty-mile road is
too long. Edges that meet where nothing else does, with equal facts, become one
chain; a chain is split into equal parts of about a mile. Junctions, and changes
of surface, width or jurisdiction, always end a segment.
"""

from __future__ import annotations

from dataclasses import dataclass
from hashlib import blake2b
from typing import Any

import numpy as np

from crossfall.model import Node, Segment
from crossfall.model.policy import NetworkPolicy
from crossfall.network.noding import Edges
from crossfall.network.roads import Flags, Floats, Ints, RoadFacts
from crossfall.network.routes import Routes, assign_routes

_SHORTEST_M = 1e-3
"""Two different nodes at one place are still a millimetre of road apart."""


@dataclass(frozen=True, eq=False)
class Chains:
    """Edges in the order they follow each other, shape (edge,), cut into chains by ``offsets``."""

    edge: Ints
    is_forward: Flags
    """Whether the chain runs along the edge as it was drawn."""
    offsets: Ints
    """First entry of each chain, shape (chain + 1,)."""

    @property
    def n_chains(self) -> int:
        return len(self.offsets) - 1


def make_segments(
    edges: Edges, policy: NetworkPolicy, *, source: str = "", merge: bool = True
) -> tuple[tuple[Node, ...], tuple[Segment, ...]]:
    """Merge, name, measure and split.

    Parameters
    ----------
    edges : Edges
        From :func:`~crossfall.network.noding.cut_at_junctions`.
    policy : NetworkPolicy
        Target length, and defaults for what nobody said.
    source : str
        Name of the file, kept with every segment.
    merge : bool
        False keeps every edge a segment of its own.

    Returns
    -------
    nodes, segments
        In a fixed order: the same edges always give the same result.
    """
    chains = chain_up(edges, merge=merge)
    routes = assign_routes(edges, chains)
    chains = _turned(chains, routes.is_flipped)
    parts = _Parts(edges, chains, policy)
    return parts.nodes_and_segments(routes, policy, source)


def chain_up(edges: Edges, *, merge: bool = True) -> Chains:
    """Join edges that meet where nothing else does and say the same of their road."""
    n = len(edges.first)
    if not merge:
        every = np.arange(n)
        return Chains(every, np.ones(n, dtype=np.bool_), np.arange(n + 1))
    partner = _partners(edges)
    chains: list[list[int]] = []
    linked = np.flatnonzero((partner[0::2] >= 0) | (partner[1::2] >= 0))
    done = np.ones(n, dtype=np.bool_)
    done[linked] = False
    chains += [[2 * edge] for edge in np.flatnonzero(done).tolist()]
    partners, is_done, length = partner.tolist(), done.tolist(), edges.length_m.tolist()
    free_first = sorted(
        linked.tolist(), key=lambda e: (partners[2 * e] >= 0 and partners[2 * e + 1] >= 0, e)
    )
    for edge in free_first:
        if is_done[edge]:
            continue
        chain = _walk(edge, partners, is_done)
        forward = sum(length[half >> 1] for half in chain if not half & 1)
        if 2 * forward < sum(length[half >> 1] for half in chain):
            chain = [half ^ 1 for half in reversed(chain)]
        chains.append(chain)
    chains.sort(key=lambda chain: min(half >> 1 for half in chain))
    flat = np.fromiter((half for chain in chains for half in chain), dtype=np.int64, count=n)
    offsets = np.concatenate([[0], np.cumsum([len(chain) for chain in chains])]).astype(np.int64)
    return Chains(flat >> 1, (flat & 1) == 0, offsets)


def default_facts(facts: RoadFacts, policy: NetworkPolicy) -> dict[str, Any]:
    """Fields of a segment from what its line says, and the policy's value where it is silent."""
    road = facts.road_class
    said: dict[str, Any] = {
        "road_class": road,
        "surface": facts.surface,
        "surface_source": facts.surface_source,
        "is_maintained": facts.is_maintained,
        "jurisdiction": facts.jurisdiction,
        "district": facts.district,
        "is_oneway": facts.is_oneway,
        "width_m": policy.width_m(road) if facts.width_m is None else facts.width_m,
        "width_method": "default" if facts.width_m is None else facts.width_method,
        "adt": policy.adt(road) if facts.adt is None else facts.adt,
        "adt_method": "default" if facts.adt is None else facts.adt_method,
        "travel_km_h": (
            policy.travel_km_h(road) if facts.travel_km_h is None else facts.travel_km_h
        ),
    }
    if facts.gravel_mm is not None:
        said |= {"gravel_mm": facts.gravel_mm, "gravel_method": facts.gravel_method}
    for name in ("heavy_share", "material", "drainage", "shade", "grade_pct", "serves"):
        value = getattr(facts, name)
        if value is not None:
            said[name] = value
    return said


def named(base: str, *parts: str) -> str:
    """An id: ``base`` with a short mark of ``parts``, whose order does not matter.

    The same parts give the same id in every run and on every machine.

    Examples
    --------
    >>> named("w12", "n1", "n2") == named("w12", "n2", "n1")
    True
    """
    # Behind a line's own key four bytes tell its pieces apart; alone they must tell all apart
    size = 4 if len(base) > 1 else 6
    digest = blake2b("|".join(sorted(parts)).encode(), digest_size=size).hexdigest()
    return f"{base}-{digest}" if base else f"s-{digest}"


def _partners(edges: Edges) -> Ints:
    """For each half-edge (2·edge at its start, +1 at its end) the one it continues into, or -1.

    A road continues where exactly two edges meet, their facts are equal, they are not the
    two ends of one edge, and a one-way street does not turn against itself.
    """
    n = len(edges.first)
    half = np.arange(2 * n)
    node = np.empty(2 * n, dtype=np.int64)
    node[0::2], node[1::2] = edges.start, edges.end
    degree = np.bincount(node, minlength=edges.n_nodes)
    order = half[np.argsort(node, kind="stable")]
    order = order[degree[node[order]] == 2]
    one, other = order[0::2], order[1::2]
    facts = edges.fact
    one_way = np.array([each.is_oneway for each in edges.lines.facts], dtype=np.bool_)
    joins = (facts[one >> 1] == facts[other >> 1]) & (one >> 1 != other >> 1)
    joins &= ~one_way[facts[one >> 1]] | ((one & 1) != (other & 1))
    partner = np.full(2 * n, -1, dtype=np.int64)
    partner[one[joins]] = other[joins]
    partner[other[joins]] = one[joins]
    return partner


def _walk(edge: int, partners: list[int], is_done: list[bool]) -> list[int]:
    """Half-edges through which the chain is entered, from one loose end to the other."""
    half = 2 * edge if partners[2 * edge] < 0 else 2 * edge + 1
    if partners[half] >= 0:
        half = 2 * edge  # a ring: begin at its first edge
    chain: list[int] = []
    while half >= 0 and not is_done[half >> 1]:
        is_done[half >> 1] = True
        chain.append(half)
        half = partners[half ^ 1]
    return chain


def _turned(chains: Chains, is_flipped: Flags) -> Chains:
    """Reverse whole chains so that they run along increasing measure."""
    if not is_flipped.any():
        return chains
    edge, is_forward = chains.edge.copy(), chains.is_forward.copy()
    for chain in np.flatnonzero(is_flipped).tolist():
        part = slice(chains.offsets[chain], chains.offsets[chain + 1])
        edge[part] = chains.edge[part][::-1]
        is_forward[part] = ~chains.is_forward[part][::-1]
    return Chains(edge, is_forward, chains.offsets)


class _Parts:
    """Chains laid out vertex by vertex and split into parts of equal length."""

    def __init__(self, edges: Edges, chains: Chains, policy: NetworkPolicy) -> None:
        self.edges, self.chains = edges, chains
        vertex, offsets = self._vertices()
        places = edges.lines.places[vertex]
        along = self._official(vertex, offsets)
        total = along[offsets[1:] - 1]
        longest = policy.segment_target_m * policy.segment_longest_share
        n_parts = np.maximum(1, np.ceil(total / longest - 1e-9)).astype(np.int64)
        self.n_parts = n_parts
        self.part_m = np.repeat(np.maximum(total / n_parts, _SHORTEST_M), n_parts)
        self.places, self.offsets = _split(places, along, offsets, n_parts)
        self.chain_of_part = np.repeat(np.arange(chains.n_chains), n_parts)
        ends = np.concatenate([[0], np.cumsum(n_parts)])
        self.number = np.arange(len(self.part_m)) - ends[self.chain_of_part]

    def nodes_and_segments(
        self, routes: Routes, policy: NetworkPolicy, source: str
    ) -> tuple[tuple[Node, ...], tuple[Segment, ...]]:
        edges, chains = self.edges, self.chains
        lines = edges.lines
        nodes = _NodeNamer(lines.places[edges.node_vertex], edges)
        first_edge, last_edge = (
            chains.edge[chains.offsets[:-1]],
            chains.edge[chains.offsets[1:] - 1],
        )
        forward_first = chains.is_forward[chains.offsets[:-1]]
        forward_last = chains.is_forward[chains.offsets[1:] - 1]
        begin = np.where(forward_first, edges.start[first_edge], edges.end[first_edge]).tolist()
        finish = np.where(forward_last, edges.end[last_edge], edges.start[last_edge]).tolist()
        bases, is_whole = self._bases()
        limits = self._limits()
        said = [default_facts(facts, policy) for facts in lines.facts]
        fact = edges.fact[first_edge].tolist()
        places = [tuple(place) for place in self.places.tolist()]
        offsets, part_m = self.offsets.tolist(), self.part_m.tolist()
        n_parts, from_m = self.n_parts.tolist(), routes.from_m.tolist()
        taken: set[str] = set()
        segments: list[Segment] = []
        for part, (chain, number) in enumerate(
            zip(self.chain_of_part.tolist(), self.number.tolist(), strict=True)
        ):
            line = tuple(places[offsets[part] : offsets[part + 1]])
            is_last = number == n_parts[chain] - 1
            start = nodes.at_junction(begin[chain]) if number == 0 else nodes.at_cut(line[0])
            end = nodes.at_junction(finish[chain]) if is_last else nodes.at_cut(line[-1])
            whole = is_whole[chain] and n_parts[chain] == 1
            base = bases[chain]
            segment_id = base if whole and base else named(base, start, end)
            if segment_id in taken:
                segment_id = named(segment_id, *map(str, line[len(line) // 2]))
            taken.add(segment_id)
            segments.append(
                Segment(
                    id=segment_id,
                    route=routes.names[chain],
                    from_node=start,
                    to_node=end,
                    from_m=from_m[chain] + number * part_m[part],
                    length_m=part_m[part],
                    line=line,
                    max_mass_t=limits[chain],
                    external_id=base,
                    source=source,
                    **said[fact[chain]],
                )
            )
        return nodes.all(), tuple(segments)

    def _vertices(self) -> tuple[Ints, Ints]:
        """Vertex indices of every chain in order, and where each chain begins."""
        edges, chains = self.edges, self.chains
        first, last = edges.first[chains.edge], edges.last[chains.edge]
        is_head = np.zeros(len(chains.edge), dtype=np.bool_)
        is_head[chains.offsets[:-1]] = True
        n = last - first + is_head
        ends = np.cumsum(n)
        step = np.arange(ends[-1] if len(ends) else 0) - np.repeat(ends - n, n)
        skip = np.repeat(~is_head, n).astype(np.int64)
        forward = np.repeat(chains.is_forward, n)
        vertex = np.where(
            forward, np.repeat(first, n) + skip + step, np.repeat(last, n) - skip - step
        )
        offsets = np.concatenate([[0], ends])[chains.offsets]
        return vertex, offsets

    def _official(self, vertex: Ints, offsets: Ints) -> Floats:
        """Measure of every vertex in its chain, in the agency's own length where it gave one."""
        edges, chains = self.edges, self.chains
        xy = edges.xy[vertex]
        step = np.zeros(len(xy))
        step[1:] = np.hypot(*np.diff(xy, axis=0).T)
        step[offsets[:-1]] = 0.0
        if edges.lines.official_m is not None:
            scale = np.divide(
                edges.official_m,
                edges.length_m,
                out=np.ones(len(edges.line)),
                where=edges.length_m > 0,
            )[chains.edge]
            n = edges.last[chains.edge] - edges.first[chains.edge]
            n[chains.offsets[:-1]] += 1
            step *= np.repeat(scale, n)
        total = np.cumsum(step)
        return total - np.repeat(total[offsets[:-1]], np.diff(offsets))

    def _bases(self) -> tuple[list[str], list[bool]]:
        """Source id of each chain's first line, and whether the chain is that line, whole."""
        edges, chains = self.edges, self.chains
        line = edges.line[chains.edge]
        head = line[chains.offsets[:-1]]
        pieces = np.bincount(edges.line, minlength=edges.lines.n_lines)
        n_edges = np.diff(chains.offsets)
        is_whole = (n_edges == pieces[head]) & (
            np.maximum.reduceat(line, chains.offsets[:-1]) == head
        )
        is_whole &= np.minimum.reduceat(line, chains.offsets[:-1]) == head
        return [edges.lines.ids[index] for index in head.tolist()], is_whole.tolist()

    def _limits(self) -> list[float | None]:
        """Lowest posted limit along each chain [t]."""
        edges, chains = self.edges, self.chains
        if edges.lines.max_mass_t is None:
            return [None] * chains.n_chains
        limit = np.nan_to_num(edges.lines.max_mass_t, nan=np.inf)[edges.line[chains.edge]]
        lowest = np.minimum.reduceat(limit, chains.offsets[:-1])
        return [None if np.isinf(value) else value for value in lowest.tolist()]


class _NodeNamer:
    """Nodes with ids that the same place gets again next time."""

    def __init__(self, places: Floats, edges: Edges) -> None:
        self._places = [tuple(place) for place in places.tolist()]
        self._keys = edges.node_ids
        self._nodes: dict[str, Node] = {}
        self._names: dict[int, str] = {}

    def at_junction(self, node: int) -> str:
        if node not in self._names:
            own = self._keys[node] if self._keys is not None else ""
            self._names[node] = self._add(own or "", self._places[node])
        return self._names[node]

    def at_cut(self, place: tuple[float, float]) -> str:
        node_id = named("m", *map(repr, place))
        self._nodes.setdefault(node_id, Node(node_id, *place))
        return node_id

    def all(self) -> tuple[Node, ...]:
        return tuple(self._nodes.values())

    def _add(self, own: str, place: tuple[float, float]) -> str:
        node_id = own or named("n", *(f"{degrees:.7f}" for degrees in place))
        if node_id in self._nodes:
            node_id = named(node_id, *map(repr, place))
        self._nodes[node_id] = Node(node_id, *place)
        return node_id


def _split(places: Floats, along: Floats, offsets: Ints, n_parts: Ints) -> tuple[Floats, Ints]:
    """Put a doubled vertex at every cut: one ends a part, the other begins the next."""
    n_cuts = n_parts - 1
    if not n_cuts.any():
        return places, offsets
    chain = np.repeat(np.arange(len(n_parts)), n_cuts)
    before = np.repeat(np.cumsum(n_cuts) - n_cuts, n_cuts)
    share = (np.arange(len(chain)) - before + 1) / n_parts[chain]
    total = along[offsets[1:] - 1]
    # Chains get disjoint stretches of one long ruler, so that a single search finds the vertex
    base = np.concatenate([[0.0], np.cumsum(total + 1.0)[:-1]])
    ruler = along + np.repeat(base, np.diff(offsets))
    cut = base[chain] + share * total[chain]
    at = np.searchsorted(ruler, cut, side="left")
    weight = ((cut - ruler[at - 1]) / (ruler[at] - ruler[at - 1]))[:, None]
    new = places[at - 1] * (1 - weight) + places[at] * weight
    twice = np.repeat(at, 2)
    result = np.insert(places, twice, np.repeat(new, 2, axis=0), axis=0)
    # A part ends after the first of each doubled vertex
    ends_of_chains = offsets[1:] + 2 * np.cumsum(n_cuts)
    ends_of_cuts = at + 2 * np.arange(len(at)) + 1
    return result, np.concatenate([[0], np.sort(np.concatenate([ends_of_chains, ends_of_cuts]))])
