"""Where gravel and water come from: the source that is cheapest once it is on the road."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Protocol

from crossfall.design.cost import PriceBook, gravel_line
from crossfall.design.outfit import Outfit
from crossfall.model import Fleet, GravelPit, Place, Policy, Segment


class Distances(Protocol):
    """What a design asks of the road graph."""

    def nearest_node(self, lon: float, lat: float) -> str: ...

    def distance_km(self, from_node: str, to_node: str) -> float: ...


@dataclass(frozen=True, slots=True)
class GravelSource:
    """The pit for one job; ``pit`` is None where none is known."""

    pit: GravelPit | None
    haul_km: float
    """One way, to the middle of the segment [km]."""
    loading_m3_h: float
    price_line: str

    @property
    def name(self) -> str:
        return self.pit.place.name if self.pit else "no pit is known"


@dataclass
class SourceFinder:
    """Looks distances up once for each place and end of a segment."""

    fleet: Fleet
    graph: Distances
    book: PriceBook
    outfit: Outfit
    policy: Policy
    _km: dict[tuple[str, str], float] = field(default_factory=dict)
    _node: dict[str, str] = field(default_factory=dict)

    def gravel(self, segment: Segment) -> GravelSource:
        """The pit with the least cost for gravel delivered to this segment."""
        haul, book = self.policy.design.haul, self.book
        minutes_per_km = 60 / haul.loaded_km_h + 60 / haul.empty_km_h
        truck_minute = (book.rows["haul_truck"][1] + book.rows["operator"][1]) / 60
        best: tuple[float, GravelPit, float] | None = None
        for pit in self.fleet.pits:
            if not pit.stock_m3 > 0:
                continue
            km = self._to_middle(pit.place, segment)
            if not math.isfinite(km):
                continue
            hauling = km * minutes_per_km * truck_minute / self.outfit.body_m3
            delivered = book.rows[gravel_line(pit.place.id)][1] + hauling
            if best is None or delivered < best[0]:
                best = (delivered, pit, km)
        if best is None:
            return GravelSource(
                None, haul.default_haul_km, haul.default_loading_m3_h, gravel_line(None)
            )
        _, pit, km = best
        return GravelSource(pit, km, pit.loading_m3_h, gravel_line(pit.place.id))

    def water_km(self, segment: Segment) -> float:
        """Distance to the nearest water point, or the policy's where none is known [km]."""
        found = [self._to_middle(place, segment) for place in self.outfit.water_points]
        nearest = min(found, default=math.inf)
        return nearest if math.isfinite(nearest) else self.policy.design.water.default_haul_km

    def _to_middle(self, place: Place, segment: Segment) -> float:
        nearer = min(
            self._cached(place, segment.from_node, self.graph.distance_km),
            self._cached(place, segment.to_node, self.graph.distance_km),
        )
        return nearer + segment.length_m / 2000

    def _cached(self, place: Place, node: str, distance: Callable[[str, str], float]) -> float:
        key = (place.id, node)
        if key not in self._km:
            if place.id not in self._node:
                self._node[place.id] = self.graph.nearest_node(place.lon, place.lat)
            self._km[key] = distance(self._node[place.id], node)
        return self._km[key]
