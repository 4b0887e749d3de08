"""Which pit serves each segment over the years, and what its gravel costs placed there."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from crossfall.design.jobs import make_tools
from crossfall.model import Fleet, Policy, Segment
from crossfall.network import RoadGraph


@dataclass(frozen=True, slots=True)
class GravelPlaced:
    """Gravel on one segment, from the pit that is cheapest once it is on the road."""

    pit: str
    minor_m3: float
    """Minor units of money for a compacted cubic metre, placed."""
    haul_km: float


def gravel_placed(
    segments: Sequence[Segment], fleet: Fleet, graph: RoadGraph, policy: Policy
) -> dict[str, GravelPlaced]:
    """Pit and price of each segment that a pit can reach, by segment id.

    The price is the gate's and the haul's for the loose volume, and spreading and rolling for the
    compacted one. What is in stock today does not count: years are long.
    """
    finder = make_tools(fleet, graph, policy).sources
    bulking = policy.design.gravel.bulking
    spread = policy.programme.costs.gravel_spread_minor_m3
    found = {}
    for segment in segments:
        sources = finder.delivered(segment)
        if sources:
            best = sources[0]
            found[segment.id] = GravelPlaced(
                best.pit.place.name, best.minor_m3 * bulking + spread, best.haul_km
            )
    return found
