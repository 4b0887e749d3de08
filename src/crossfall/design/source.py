"""Where gravel and water come from: the source that is cheapest once it is on the road."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from crossfall.design.cost import PriceBook, gravel_line
from crossfall.design.haul_ways import Distances, HaulWay, HaulWays
from crossfall.design.outfit import Outfit
from crossfall.model import Fleet, GravelPit, Place, Policy, Segment

__all__ = ["Delivered", "Distances", "GravelSource", "SourceFinder"]


@dataclass(frozen=True, slots=True)
class GravelSource:
    """The pit for one job; ``pit`` is None where none is known."""

    pit: GravelPit | None
    haul_km: float
    """One way, to the middle of the segment [km]."""
    loading_m3_h: float
    price_line: str
    limit_t: float | None = None
    """Heaviest loaded truck on the way; None lets a full one through [t]."""

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
    """Truck and driver there and back, with the load that the way lets through."""
    limit_t: float | None = None
    """Heaviest loaded truck on the way; None lets a full one through [t]."""

    @property
    def minor_m3(self) -> float:
        """Minor units of money for a loose m³ on the road."""
        return self.gate_minor + self.haul_minor


@dataclass
class SourceFinder:
    """Looks distances up once for each place and end of a segment."""

    fleet: Fleet
    ways: HaulWays
    book: PriceBook
    outfit: Outfit
    policy: Policy
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
        line = gravel_line(best.pit.place.id)
        return GravelSource(best.pit, best.haul_km, best.pit.loading_m3_h, line, best.limit_t)

    def delivered(self, segment: Segment) -> tuple[Delivered, ...]:
        """Every pit that a loaded truck can come from, the cheapest on this segment first."""
        found = []
        for pit in self.fleet.pits:
            gate = self.book.rows[gravel_line(pit.place.id)][1]
            offers = [
                Delivered(pit, way.km, gate, self._hauling_minor(way), way.limit_t)
                for way in self._to_middle(pit.place, segment)
                if math.isfinite(way.km)
            ]
            if offers:
                found.append(min(offers, key=lambda each: each.haul_minor))
        return tuple(sorted(found, key=lambda each: each.minor_m3))

    def water_km(self, segment: Segment) -> float:
        """Distance to the nearest water point, or the policy's where none is known [km]."""
        found = [
            way.km for place in self.outfit.water_points for way in self._to_middle(place, segment)
        ]
        nearest = min(found, default=math.inf)
        return nearest if math.isfinite(nearest) else self.policy.design.water.default_haul_km

    def _hauling_minor(self, way: HaulWay) -> float:
        """Truck and driver for a loose m³, there and back; infinite where no load gets through."""
        haul, rows = self.policy.design.haul, self.book.rows
        load_m3 = self.outfit.body_m3
        if way.limit_t is not None:
            payload_t = min(self.outfit.payload_t, way.limit_t - self.outfit.truck_mass_t)
            load_m3 = min(load_m3, payload_t / self.policy.design.hauled_t_m3)
        if load_m3 < self.policy.design.gravel.least_load_m3:
            return math.inf
        minutes_per_km = 60 / haul.loaded_km_h + 60 / haul.empty_km_h
        truck_minute = (rows["haul_truck"][1] + rows["operator"][1]) / 60
        return way.km * minutes_per_km * truck_minute / load_m3

    def _to_middle(self, place: Place, segment: Segment) -> tuple[HaulWay, ...]:
        """Ways by the nearer end for a full truck, and by the nearer end at all."""
        node, half_km = self._node_of(place), segment.length_m / 2000
        ways = [
            way
            for end in (segment.from_node, segment.to_node)
            for way in self.ways.between(node, end)
        ]
        nearest = min(ways, key=lambda each: each.km)
        free = [each for each in ways if each.limit_t is None]
        chosen = {nearest, *(min(free, key=lambda each: each.km) for _ in free[:1])}
        return tuple(HaulWay(each.km + half_km, each.limit_t) for each in chosen)

    def _node_of(self, place: Place) -> str:
        if place.id not in self._node:
            self._node[place.id] = self.ways.graph.nearest_node(place.lon, place.lat)
        return self._node[place.id]
