"""What the checker looks up: where things stand, who is on duty, which roads bear how much."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date, datetime
from zoneinfo import ZoneInfo

from crossfall.model import Fleet, Machine, Network, Node, Operator, Place, Segment
from crossfall.model.policy import DispatchPolicy


@dataclass(frozen=True)
class Facts:
    """Plain look-ups over the nouns."""

    nodes: dict[str, Node]
    segments: dict[str, Segment]
    limits_t: dict[str, float]
    machines: dict[str, Machine]
    operators: dict[str, Operator]
    home_nodes: dict[str, frozenset[str]]
    """Nodes nearest to each machine's place: more than one when they lie equally near."""
    camps: tuple[tuple[Place, frozenset[str]], ...]
    """Places where machines may stand overnight, and the nodes at them."""
    policy: DispatchPolicy
    middle: tuple[float, float]
    """Longitude and latitude of the middle of the network."""

    @classmethod
    def of(cls, network: Network, fleet: Fleet, policy: DispatchPolicy) -> Facts:
        limits: dict[str, float] = {}
        for segment in network.segments:
            limits[segment.id] = math.inf if segment.max_mass_t is None else segment.max_mass_t
        for feature in network.features:
            if feature.segment_id in limits and feature.max_mass_t is not None:
                limits[feature.segment_id] = min(limits[feature.segment_id], feature.max_mass_t)
        places = {place.id: place for place in fleet.places}
        homes: dict[str, frozenset[str]] = {}
        for machine in fleet.machines:
            place = places.get(machine.home_id)
            homes[machine.id] = (
                frozenset() if place is None else _nearest(network, place.lon, place.lat)
            )
        return cls(
            nodes={node.id: node for node in network.nodes},
            segments={segment.id: segment for segment in network.segments},
            limits_t=limits,
            machines={machine.id: machine for machine in fleet.machines},
            operators={operator.id: operator for operator in fleet.operators},
            home_nodes=homes,
            camps=tuple(
                (place, _nearest(network, place.lon, place.lat))
                for place in fleet.places
                if place.kind == "camp"
            ),
            policy=policy,
            middle=(
                sum(node.lon for node in network.nodes) / max(1, len(network.nodes)),
                sum(node.lat for node in network.nodes) / max(1, len(network.nodes)),
            ),
        )

    def turn_min(self, node_id: str) -> float:
        """Minutes to turn round at a node [min]."""
        own = self.nodes[node_id].turn_min
        return self.policy.turn_min if own is None else own

    def longest_h(self, operator: Operator) -> float:
        """Hours of the operator's day, with overtime where plans may count on it [h]."""
        is_grader = operator.machine_id in self.machines and (
            self.machines[operator.machine_id].kind == "grader"
        )
        over = operator.max_overtime_h if is_grader and self.policy.is_overtime_planned else 0.0
        return operator.shift_h + over

    def manned_h(self, machine_id: str, day: date) -> float:
        """Longest hours that somebody assigned to the machine is there that day [h]."""
        return max(
            (
                operator.shift_h
                for operator in self.operators.values()
                if operator.machine_id == machine_id and day not in operator.off_days
            ),
            default=0.0,
        )

    def last_light_min(self, day: date) -> float:
        """When machines must be home: sunset less the margin [min].

        Half the day by FAO-56 eqs. 24, 25, 34, noon by eqs. 31 to 33, clock by the zone's offset.
        """
        lon, lat = self.middle
        number = day.timetuple().tm_yday
        tilt = 0.409 * math.sin(2 * math.pi * number / 365 - 1.39)
        x = -math.tan(lat * math.pi / 180) * math.tan(tilt)
        half_day_h = 12 / math.pi * math.acos(max(-1.0, min(1.0, x)))
        b = (number - 81) * math.pi / 182
        sun_ahead_h = 0.1645 * math.sin(2 * b) - 0.1255 * math.cos(b) - 0.025 * math.sin(b)
        noon_h = 12 - sun_ahead_h - lon / 15 + self._clock_ahead_h(day)
        return (noon_h + half_day_h) * 60 - self.policy.dusk_margin_min

    def _clock_ahead_h(self, day: date) -> float:
        """Hours that the crews' clock is ahead of Greenwich at noon."""
        if not self.policy.time_zone:
            return float(math.floor((self.middle[0] + 7.5) / 15))
        noon = datetime(day.year, day.month, day.day, 12, tzinfo=ZoneInfo(self.policy.time_zone))
        ahead = noon.utcoffset()
        return 0.0 if ahead is None else ahead.total_seconds() / 3600


def _nearest(network: Network, lon: float, lat: float) -> frozenset[str]:
    """Nodes on a road nearest to a point, within a metre of the nearest."""
    used = {end for segment in network.segments for end in (segment.from_node, segment.to_node)}
    apart = {
        node.id: _apart_m(lon, lat, node.lon, node.lat) for node in network.nodes if node.id in used
    }
    least = min(apart.values(), default=0.0)
    return frozenset(node_id for node_id, metres in apart.items() if metres <= least + 1.0)


def _apart_m(lon: float, lat: float, lon2: float, lat2: float) -> float:
    """Metres between two near points on a sphere of the earth's mean radius."""
    radius_m = 6_371_008.8
    x = math.radians(lon2 - lon) * math.cos(math.radians((lat + lat2) / 2))
    return radius_m * math.hypot(x, math.radians(lat2 - lat))
