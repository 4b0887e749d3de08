"""How a machine gets about: travel minutes between the ends of jobs, turns included.

A machine is never just at a junction, it stands there facing somewhere. So
distances are kept between *directed* roads ("arcs"): from having come along
one to being about to leave along another. Going back the way it came costs a
turn, and where a node is too narrow to turn (infinite minutes) the machine has
to drive on to a place where it can. Shortest ways come from Dijkstra's method
(scipy) over arcs instead of nodes.

Segment ``i`` is arc ``2 i`` along increasing measure and ``2 i + 1`` against it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
import numpy.typing as npt
from scipy.sparse import csr_array
from scipy.sparse.csgraph import dijkstra

from crossfall.model import Network
from crossfall.model.policy import DispatchPolicy

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

_LEAST_MIN = 1e-6
_CHUNK_STEPS = 2_000_000


class Roads:
    """Arcs that one class of machine may use, and the shortest ways between them.

    Parameters
    ----------
    network
        The whole network, paved and others' roads too.
    policy
        For the minutes of a turn where a node says nothing.
    mass_t
        Mass of the machine; roads and bridges posted for less are closed to it [t].
    most_km_h
        The machine's own top speed; no road is driven faster [km/h].
    yards
        Node ids that shifts start from and end at.
    """

    def __init__(
        self,
        network: Network,
        policy: DispatchPolicy,
        *,
        mass_t: float,
        most_km_h: float,
        yards: Sequence[str],
    ) -> None:
        node_index = {node.id: i for i, node in enumerate(network.nodes)}
        segments = network.segments
        self.segment_index = {segment.id: i for i, segment in enumerate(segments)}
        self.turn_min = np.array(
            [policy.turn_min if node.turn_min is None else node.turn_min for node in network.nodes]
        )
        start = np.array([node_index[s.from_node] for s in segments], dtype=np.int64)
        end = np.array([node_index[s.to_node] for s in segments], dtype=np.int64)
        km_h = np.minimum([s.travel_km_h for s in segments], most_km_h)
        length = np.array([s.length_m for s in segments])
        minutes = np.maximum(length * 0.06 / km_h, _LEAST_MIN)
        is_open = passable(network, mass_t)
        is_two_way = np.array([not s.is_oneway for s in segments], dtype=bool)
        self.n_arcs = 2 * len(segments)
        self.tail = np.column_stack([start, end]).ravel()
        self.head = np.column_stack([end, start]).ravel()
        self.minutes = np.repeat(minutes, 2)
        self.usable = np.column_stack([is_open, is_open & is_two_way]).ravel()
        self.yards = np.array([node_index[yard] for yard in yards], dtype=np.int64)
        self._graph = self._over_arcs(len(network.nodes))

    def segment_minutes(self, segment_index: int) -> float:
        """Travel minutes over the whole segment [min]."""
        return float(self.minutes[2 * segment_index])

    def between(
        self,
        segments: Ints,
        *,
        standing: Ints | None = None,
        check: Callable[[], None] = lambda: None,
    ) -> npt.NDArray[np.float32]:
        """Minutes between ports: rows leave from, columns arrive at, shape (port, port) [min].

        Ports ``2 k`` and ``2 k + 1`` are the two arcs of ``segments[k]``; after them one for each
        yard, and one for each arc in ``standing`` that a machine out on the road has come along
        (nobody arrives there). Entry (x, e) is the time from having come along arc x to being
        about to start along arc e; infinite where there is no way.
        """
        arcs = np.column_stack([2 * segments, 2 * segments + 1]).ravel()
        n_yards = self.yards.size
        extra = np.zeros(0, dtype=np.int64) if standing is None else standing
        sources = np.concatenate([arcs, self.n_arcs + np.arange(n_yards), extra])
        found = np.full((sources.size, sources.size), np.inf, dtype=np.float32)
        into_yard = [np.flatnonzero((self.head == yard) & self.usable) for yard in self.yards]
        chunk = max(1, min(128, _CHUNK_STEPS // max(1, self.n_arcs)))
        for first in range(0, sources.size, chunk):
            check()
            rows = slice(first, min(first + chunk, sources.size))
            dist = dijkstra(self._graph, indices=sources[rows])
            found[rows, : arcs.size] = dist[:, arcs] - self.minutes[arcs]
            for y, ways_in in enumerate(into_yard):
                to_yard = dist[:, ways_in].min(axis=1) if ways_in.size else np.inf
                found[rows, arcs.size + y] = to_yard
            for i in range(first, rows.stop):
                if sources[i] < self.n_arcs:
                    # Starting along the arc just driven means coming round to it once more
                    same = np.flatnonzero(arcs == sources[i])
                    found[i, same] = self._again(int(sources[i]), dist[i - first])[0]
        for y, yard in enumerate(self.yards):
            found[arcs.size + y, arcs.size : arcs.size + n_yards][self.yards == yard] = 0.0
        closed = ~self.usable[arcs]
        found[: arcs.size][closed] = np.inf
        found[:, : arcs.size][:, closed] = np.inf
        return found

    def ways_from(self, source: int) -> tuple[Floats, Ints]:
        """Minutes to and predecessor of every arc, from arc ``source`` (or ``n_arcs + yard``)."""
        dist, before = dijkstra(self._graph, indices=source, return_predecessors=True)
        return dist, before.astype(np.int64)

    def way(self, source: int, target: int, ways: tuple[Floats, Ints]) -> list[int]:
        """Arcs driven between leaving ``source`` and starting on ``target`` (either may be a yard).

        ``ways`` is what :meth:`ways_from` gave for ``source``.
        """
        dist, before = ways
        if target >= self.n_arcs:
            yard = self.yards[target - self.n_arcs]
            if source >= self.n_arcs and self.yards[source - self.n_arcs] == yard:
                return []
            ways_in = np.flatnonzero((self.head == yard) & self.usable)
            last = int(ways_in[np.argmin(dist[ways_in])])
        elif target == source:
            last = self._again(source, dist)[1]
        else:
            last = int(before[target])
        driven: list[int] = []
        while last != source:
            driven.append(last)
            last = int(before[last])
        return driven[::-1]

    def _again(self, arc: int, dist: Floats) -> tuple[float, int]:
        """Coming round to start once more along the arc just driven: minutes, last arc before."""
        ways_in = np.flatnonzero((self.head == self.tail[arc]) & self.usable)
        if ways_in.size == 0:
            return np.inf, -1
        turn = np.where(ways_in == (arc ^ 1), self.turn_min[self.tail[arc]], 0.0)
        total = dist[ways_in] + turn
        # A loop road ends where it begins, so its own arc is a way in at no cost
        best = int(np.argmin(total))
        return float(total[best]), int(ways_in[best])

    def _over_arcs(self, n_nodes: int) -> csr_array:
        """Graph whose vertices are arcs (and yards); weights are minutes of turn and next arc."""
        usable = np.flatnonzero(self.usable)
        order = usable[np.argsort(self.tail[usable], kind="stable")]
        n_out = np.bincount(self.tail[usable], minlength=n_nodes)
        first_out = np.concatenate([[0], np.cumsum(n_out)])
        at = np.concatenate([self.head[usable], self.yards])
        come = np.concatenate([usable, self.n_arcs + np.arange(self.yards.size)])
        n_next = n_out[at]
        source = np.repeat(come, n_next)
        offset = np.arange(n_next.sum()) - np.repeat(np.cumsum(n_next) - n_next, n_next)
        target = order[np.repeat(first_out[at], n_next) + offset]
        is_back = target == (source ^ 1)
        weight = self.minutes[target] + np.where(is_back, self.turn_min[self.tail[target]], 0.0)
        keep = np.isfinite(weight) & (target != source)
        size = self.n_arcs + self.yards.size
        return csr_array((weight[keep], (source[keep], target[keep])), shape=(size, size))


def passable(network: Network, mass_t: float) -> npt.NDArray[np.bool_]:
    """Whether a machine of ``mass_t`` may use each segment, by its own and its bridges' limits."""
    open_to = np.ones(len(network.segments), dtype=bool)
    for i, segment in enumerate(network.segments):
        limits = [segment.max_mass_t]
        limits += [f.max_mass_t for f in network.features_by_segment.get(segment.id, ())]
        open_to[i] = all(limit is None or mass_t <= limit for limit in limits)
    return open_to
