"""The network as something to travel on: how long from here to there, and by which roads.

Each segment is an arc in both directions, or in one where it is one-way. Of
several segments between the same two nodes the quickest is kept, so that the
minutes, the metres and the path always speak of the same road.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import numpy.typing as npt
from scipy.sparse import csr_matrix
from scipy.sparse.csgraph import connected_components, dijkstra
from scipy.spatial import KDTree

from crossfall.errors import InputError
from crossfall.model import Network
from crossfall.network.projection import LocalPlane

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

_SHORTEST_M = 1e-3
"""An arc of no length would vanish from a sparse matrix; one millimetre stands in for it."""

_REMEMBERED_BYTES = 64_000_000


def build_graph(network: Network, *, mass_t: float | None = None) -> RoadGraph:
    """Make the graph of a network.

    Parameters
    ----------
    network : Network
        Nodes and segments; every segment is travelled on, maintained or not.
    mass_t : float, optional
        Leave out segments posted below this mass. [t]

    Raises
    ------
    InputError
        If there is no segment, or a ``travel_km_h`` is not positive.

    Examples
    --------
    >>> from crossfall.model import Node, Segment
    >>> line = ((-107.0, 40.5), (-107.0, 40.51))
    >>> road = Segment("a", "Creek Road", "n1", "n2", 0.0, 1110.4, line, travel_km_h=40.0)
    >>> graph = build_graph(Network((Node("n1", *line[0]), Node("n2", *line[1])), (road,)))
    >>> graph.travel_minutes(["n1"]).round(3)
    array([[0.   , 1.666]])
    >>> graph.path("n2", "n1")
    [('a', False)]
    """
    segments = network.segments
    if not segments:
        raise InputError("the network has no segment; expected at least one to travel on")
    node_ids = tuple(node.id for node in network.nodes)
    node_index = {node_id: index for index, node_id in enumerate(node_ids)}
    n = len(segments)
    start = np.fromiter((node_index[s.from_node] for s in segments), dtype=np.int64, count=n)
    end = np.fromiter((node_index[s.to_node] for s in segments), dtype=np.int64, count=n)
    metres = np.fromiter((s.length_m for s in segments), dtype=np.float64, count=n)
    speed = np.fromiter((s.travel_km_h for s in segments), dtype=np.float64, count=n)
    one_way = np.fromiter((s.is_oneway for s in segments), dtype=np.bool_, count=n)
    if not np.all(speed > 0):
        slow = segments[int(np.flatnonzero(~(speed > 0))[0])]
        raise InputError(
            f"segment {slow.id} has travel_km_h {slow.travel_km_h:g}; expected a speed above 0"
        )
    is_open = np.ones(n, dtype=np.bool_)
    if mass_t is not None:
        limits = (np.inf if s.max_mass_t is None else s.max_mass_t for s in segments)
        is_open = np.fromiter(limits, dtype=np.float64, count=n) >= mass_t
    np.maximum(metres, _SHORTEST_M, out=metres)
    minutes = metres / speed * 0.06

    forward, backward = np.flatnonzero(is_open), np.flatnonzero(is_open & ~one_way)
    minutes_matrix, metres_matrix, arc = _quickest(
        len(node_ids),
        np.concatenate([start[forward], end[backward]]),
        np.concatenate([end[forward], start[backward]]),
        np.concatenate([minutes[forward], minutes[backward]]),
        np.concatenate([metres[forward], metres[backward]]),
    )
    return RoadGraph(
        network=network,
        node_ids=node_ids,
        node_index=node_index,
        minutes=minutes_matrix,
        metres=metres_matrix,
        arc_segment=np.concatenate([forward, backward])[arc],
        arc_is_forward=arc < forward.size,
    )


@dataclass(frozen=True, eq=False)
class RoadGraph:
    """Nodes, arcs and what it takes to travel along them."""

    network: Network
    node_ids: tuple[str, ...]
    node_index: dict[str, int]
    minutes: csr_matrix
    """Minutes from node (row) to node (column) along the quickest segment [min]."""
    metres: csr_matrix
    """Length of that same segment, entry for entry [m]."""
    arc_segment: Ints
    """Index into ``network.segments`` of each entry of ``minutes.data``."""
    arc_is_forward: npt.NDArray[np.bool_]
    """Whether that entry runs along increasing measure."""
    _trees: OrderedDict[int, tuple[Floats, npt.NDArray[np.int32]]] = field(
        default_factory=OrderedDict, repr=False
    )

    def nearest_node(self, lon: float, lat: float, *, anywhere: bool = False) -> str:
        """The node closest to a place.

        Parameters
        ----------
        lon, lat : float
            The place. [degrees]
        anywhere : bool
            Also look at nodes outside the largest connected part; a machine that starts
            there may not get away.
        """
        if not (-180 <= lon <= 180 and -90 <= lat <= 90):
            raise InputError(
                f"({lon:g}, {lat:g}) is not a longitude and a latitude in degrees;"
                " are the two swapped?"
            )
        tree, indices = self._all_nodes if anywhere else self._main_nodes
        x, y = self._plane.to_plane([lon], [lat])
        return self.node_ids[int(indices[tree.query((x[0], y[0]))[1]])]

    def travel_minutes(self, from_node_ids: Sequence[str]) -> Floats:
        """Minutes from each source to every node, shape (source, node); inf is unreachable."""
        sources = [self._index(node_id) for node_id in from_node_ids]
        if not sources:
            return np.empty((0, len(self.node_ids)))
        return np.asarray(dijkstra(self.minutes, indices=sources))

    def travel_km(self, from_node_ids: Sequence[str]) -> Floats:
        """Kilometres along the quickest way to every node, shape (source, node) [km]."""
        return np.array([self._km_from(self._index(node_id)) for node_id in from_node_ids])

    def predecessors(self, from_node_id: str) -> npt.NDArray[np.int32]:
        """For each node the one before it on the quickest way from the source; -9999 is none."""
        return self._tree(self._index(from_node_id))[1]

    def path(self, from_node: str, to_node: str) -> list[tuple[str, bool]]:
        """The quickest way as (segment id, along increasing measure) in order of travel.

        Raises
        ------
        InputError
            If there is no way from one to the other.
        """
        segments = self.network.segments
        return [
            (segments[int(self.arc_segment[arc])].id, bool(self.arc_is_forward[arc]))
            for arc in self._arcs(from_node, to_node)
        ]

    def minutes_between(self, from_node: str, to_node: str) -> float:
        """Minutes by the quickest way; inf where there is none [min]."""
        return float(self._tree(self._index(from_node))[0][self._index(to_node)])

    def distance_km(self, from_node: str, to_node: str) -> float:
        """Length of the quickest way, the one :meth:`path` gives; inf where there is none [km]."""
        if not np.isfinite(self.minutes_between(from_node, to_node)):
            return float("inf")
        return float(sum(self.metres.data[arc] for arc in self._arcs(from_node, to_node))) / 1000

    @cached_property
    def main_part(self) -> npt.NDArray[np.bool_]:
        """For each node, whether it lies in the largest part where every way out leads back."""
        _, part = connected_components(self.minutes, directed=True, connection="strong")
        return np.asarray(part == np.bincount(part).argmax())

    @cached_property
    def parts(self) -> Ints:
        """For each node the number of the connected part it lies in, one-way streets ignored."""
        _, part = connected_components(self.minutes, directed=False)
        return np.asarray(part, dtype=np.int64)

    @cached_property
    def _plane(self) -> LocalPlane:
        return LocalPlane.of(self.network)

    @cached_property
    def _all_nodes(self) -> tuple[KDTree, Ints]:
        return self._node_tree(np.arange(len(self.node_ids)))

    @cached_property
    def _main_nodes(self) -> tuple[KDTree, Ints]:
        return self._node_tree(np.flatnonzero(self.main_part))

    def _node_tree(self, indices: Ints) -> tuple[KDTree, Ints]:
        nodes = [self.network.nodes[int(index)] for index in indices]
        x, y = self._plane.to_plane([node.lon for node in nodes], [node.lat for node in nodes])
        return KDTree(np.column_stack([x, y])), indices

    def _index(self, node_id: str) -> int:
        try:
            return self.node_index[node_id]
        except KeyError:
            raise InputError(f"node {node_id!r} is not in this network") from None

    def _tree(self, source: int) -> tuple[Floats, npt.NDArray[np.int32]]:
        if source in self._trees:
            self._trees.move_to_end(source)
            return self._trees[source]
        minutes, before = dijkstra(self.minutes, indices=source, return_predecessors=True)
        self._trees[source] = (minutes, before)
        while len(self._trees) > max(1, _REMEMBERED_BYTES // (12 * len(self.node_ids))):
            self._trees.popitem(last=False)
        return self._trees[source]

    def _arcs(self, from_node: str, to_node: str) -> list[int]:
        source, target = self._index(from_node), self._index(to_node)
        minutes, before = self._tree(source)
        if not np.isfinite(minutes[target]):
            raise InputError(f"there is no way from node {from_node} to node {to_node}")
        arcs: list[int] = []
        while target != source:
            previous = int(before[target])
            arcs.append(self._arc(previous, target))
            target = previous
        return arcs[::-1]

    def _arc(self, start: int, end: int) -> int:
        first, last = self.minutes.indptr[start], self.minutes.indptr[start + 1]
        return int(first + np.searchsorted(self.minutes.indices[first:last], end))

    def _km_from(self, source: int) -> Floats:
        """Sum the metres up the tree by doubling the stride: log2(depth) sweeps."""
        minutes, before = self._tree(source)
        n = len(self.node_ids)
        has_before = before >= 0
        up = np.where(has_before, before, np.arange(n))
        metres = np.zeros(n)
        ends = np.flatnonzero(has_before)
        metres[ends] = np.asarray(self.metres[before[ends], ends]).ravel()
        while np.any(up != up[up]):
            metres += metres[up]
            up = up[up]
        return np.where(np.isfinite(minutes), metres / 1000, np.inf)


def _quickest(
    n_nodes: int, start: Ints, end: Ints, minutes: Floats, metres: Floats
) -> tuple[csr_matrix, csr_matrix, Ints]:
    """Two aligned matrices without doubled arcs, and which arc each entry came from.

    A sparse matrix made the usual way would add parallel arcs up; here the quickest stays.
    """
    order = np.lexsort((minutes, start * n_nodes + end))
    pair = start[order] * n_nodes + end[order]
    is_first = np.ones(order.size, dtype=np.bool_)
    is_first[1:] = pair[1:] != pair[:-1]
    kept = order[is_first]
    columns = end[kept].astype(np.int32)
    rows = np.zeros(n_nodes + 1, dtype=np.int32)
    np.cumsum(np.bincount(start[kept], minlength=n_nodes), out=rows[1:])
    shape = (n_nodes, n_nodes)
    return (
        csr_matrix((minutes[kept], columns, rows), shape=shape),
        csr_matrix((metres[kept], columns, rows), shape=shape),
        kept,
    )
