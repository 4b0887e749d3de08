"""How a loaded truck gets from a pit to the work when bridges and roads are posted on the way.

A full truck goes round what is posted below its mass. Where there is no way round, or where it
would cost more, it goes the short way with part loads.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Protocol

from crossfall.model import Network
from crossfall.network import RoadGraph, build_graph


class Distances(Protocol):
    """What a design asks of the road graph."""

    def nearest_node(self, lon: float, lat: float) -> str: ...

    def distance_km(self, from_node: str, to_node: str) -> float: ...


@dataclass(frozen=True, slots=True)
class HaulWay:
    """One way from a place to a junction."""

    km: float
    limit_t: float | None = None
    """Heaviest loaded truck that may take it; None carries a full one [t]."""


@dataclass
class HaulWays:
    """Ways of trucks over one network, each looked up once."""

    graph: Distances
    limits_t: Mapping[str, float]
    """Segments that are posted below a full truck, with what they let on [t]."""
    _around: RoadGraph | None = None
    _found: dict[tuple[str, str], tuple[HaulWay, ...]] = field(default_factory=dict)

    def between(self, from_node: str, to_node: str) -> tuple[HaulWay, ...]:
        """The short way with what it lets on, and the way round for a full truck where it differs.

        No way at all is one of infinite length.
        """
        key = (from_node, to_node)
        if key not in self._found:
            self._found[key] = self._look(from_node, to_node)
        return self._found[key]

    def _look(self, from_node: str, to_node: str) -> tuple[HaulWay, ...]:
        short_km = self.graph.distance_km(from_node, to_node)
        if not self.limits_t or not math.isfinite(short_km):
            return (HaulWay(short_km),)
        if not isinstance(self.graph, RoadGraph):
            return (HaulWay(short_km),)
        on_way = [self.limits_t.get(each) for each, _ in self.graph.path(from_node, to_node)]
        posted = min((limit for limit in on_way if limit is not None), default=None)
        if posted is None:
            return (HaulWay(short_km),)
        round_km = self._round_km(self.graph.network, from_node, to_node)
        ways = (HaulWay(short_km, posted),)
        return (*ways, HaulWay(round_km)) if math.isfinite(round_km) else ways

    def _round_km(self, network: Network, from_node: str, to_node: str) -> float:
        if len(self.limits_t) >= len(network.segments):
            return math.inf
        if self._around is None:
            self._around = build_graph(network.without(set(self.limits_t)))
        return self._around.distance_km(from_node, to_node)


def posted_below(
    network: Network, full_truck_t: float, seasonal_t: Mapping[str, float]
) -> dict[str, float]:
    """Segments that a full truck may not take, with the heaviest that may.

    Parameters
    ----------
    full_truck_t : float
        Mass of the loaded truck. [t]
    seasonal_t : mapping
        Seasonal limits of the days to plan, by segment. [t]
    """
    found: dict[str, float] = {
        segment.id: segment.max_mass_t
        for segment in network.segments
        if segment.max_mass_t is not None
    }
    for segment_id, limit in seasonal_t.items():
        found[segment_id] = min(found.get(segment_id, math.inf), limit)
    for feature in network.features:
        if feature.segment_id is not None and feature.max_mass_t is not None:
            known = found.get(feature.segment_id, math.inf)
            found[feature.segment_id] = min(known, feature.max_mass_t)
    return {key: limit for key, limit in found.items() if limit < full_truck_t}
