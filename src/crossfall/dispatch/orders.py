"""Orders that crews have in hand keep their machines: issued cards as reserved hours."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import Protocol

from crossfall.model import Fleet, Itinerary, Leg, Machine, Network, Plan, Reservation

_DAY_MIN = 24 * 60.0


class Ways(Protocol):
    """What is asked of the road graph; the network room's answers."""

    def nearest_node(self, lon: float, lat: float, /) -> str: ...
    def distance_km(self, from_node: str, to_node: str, /) -> float: ...


def orders_reserved(
    plan: Plan, stage_ids: Collection[str], network: Network, graph: Ways, fleet: Fleet
) -> tuple[Reservation, ...]:
    """Hours that ``stage_ids`` of a plan take: of the grader, its operator, and who helps.

    A grader is held from leaving its yard until it could be back from the last of them; a helping
    machine for its booking and the drive from and to its yard. What else the plan had for them on
    that day is planned anew.
    """
    held: list[Reservation] = []
    for itinerary in plan.itineraries:
        own = [leg for leg in itinerary.legs if leg.kind == "work" and leg.stage_id in stage_ids]
        if own:
            held.append(_grader(itinerary, own))
    machines = {machine.id: machine for machine in fleet.machines}
    legs = {
        leg.stage_id: leg
        for itinerary in plan.itineraries
        for leg in itinerary.legs
        if leg.kind == "work"
    }
    for booking in plan.bookings:
        leg, machine = legs.get(booking.stage_id), machines.get(booking.machine_id)
        if booking.stage_id in stage_ids and leg is not None and machine is not None:
            drive = _drive_min(machine, leg, network, graph, fleet)
            held.append(
                Reservation(
                    f"order-{booking.stage_id}-{machine.id}",
                    booking.day,
                    max(0.0, booking.start_min - drive),
                    min(_DAY_MIN, booking.end_min + drive),
                    "orders",
                    machine.id,
                    note="a card is issued",
                )
            )
    return tuple(held)


def _grader(itinerary: Itinerary, own: Sequence[Leg]) -> Reservation:
    last_work = max(i for i, leg in enumerate(itinerary.legs) if leg.kind == "work")
    home_min = itinerary.legs[-1].end_min - itinerary.legs[last_work].end_min
    end = min(own[-1].end_min + home_min, itinerary.legs[-1].end_min)
    return Reservation(
        f"order-{itinerary.machine_id}-{itinerary.day:%Y%m%d}",
        itinerary.day,
        itinerary.legs[0].start_min,
        max(own[-1].end_min, end),
        "orders",
        itinerary.machine_id,
        itinerary.operator_id,
        note="cards are issued",
    )


def _drive_min(machine: Machine, leg: Leg, network: Network, graph: Ways, fleet: Fleet) -> float:
    """Minutes from the machine's yard to the work, at its own speed [min]."""
    home = next((place for place in fleet.places if place.id == machine.home_id), None)
    segment = network.segment_by_id.get(str(leg.segment_id))
    if home is None or segment is None:
        return 0.0
    km = graph.distance_km(graph.nearest_node(home.lon, home.lat), leg.from_node)
    away = (km + segment.length_m / 1000) * 60 / machine.travel_km_h
    return away if away < _DAY_MIN else 0.0
