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


@dataclass(frozen=True, slots=True)
class Delivered:
    """What gravel of one pit costs on one segment, for a loose cubic metre."""

    pit: GravelPit
    haul_km: float
    """One way, to the middle of the segment [km]."""
    gate_minor: float
    haul_minor: float
    """Truck and driver there and back, with a full body."""

    @property
    def minor_m3(self) -> float:
        """Minor units of money for a loose m³ on the road."""
        return self.gate_minor + self.haul_minor


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
        found = [each for each in self.delivered(segment) if each.pit.stock_m3 > 0]
        if not found:
            haul = self.policy.design.haul
            return GravelSource(
                None, haul.default_haul_km, haul.default_loading_m3_h, gravel_line(None)
            )
        best = found[0]
        return GravelSource(
            best.pit, best.haul_km, best.pit.loading_m3_h, gravel_line(best.pit.place.id)
        )

    def delivered(self, segment: Segment) -> tuple[Delivered, ...]:
        """Every pit that a truck can come from, the cheapest on this segment first."""
        haul, book = self.policy.design.haul, self.book
        minutes_per_km = 60 / haul.loaded_km_h + 60 / haul.empty_km_h
        truck_minute = (book.rows["haul_truck"][1] + book.rows["operator"][1]) / 60
        found = []
        for pit in self.fleet.pits:
            km = self._to_middle(pit.place, segment)
            if math.isfinite(km):
                hauling = km * minutes_per_km * truck_minute / self.outfit.body_m3
                gate = book.rows[gravel_line(pit.place.id)][1]
                found.append(Delivered(pit, km, gate, hauling))
        return tuple(sorted(found, key=lambda each: each.minor_m3))

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
