"""A place on a road as people say it: a segment's key or a road's name, and how far along."""

from __future__ import annotations

from difflib import get_close_matches

from crossfall.errors import InputError
from crossfall.model import Network
from crossfall.network.linear import LinearReference, Position


def spot_on(network: Network, road: str, at_m: float | None) -> Position:
    """The segment and metre of a place.

    With a segment's key ``at_m`` counts from its start, with a road's name along the road; without
    it a segment's key means its middle, and a road's name is enough only for a road of one segment.

    Raises
    ------
    InputError
        If the road is unknown, or is too long to be a place by itself, or ``at_m`` lies beyond it.
    """
    wanted = " ".join(road.lower().split())
    by_id = {each.id.lower(): each for each in network.segments}
    segment = by_id.get(wanted)
    if segment is not None:
        spot_m = segment.length_m / 2 if at_m is None else at_m
        if not 0 <= spot_m <= segment.length_m:
            raise InputError(
                f"at_m is {spot_m:g}; expected 0 to {segment.length_m:.0f}, the length of"
                f" {segment.id}"
            )
        return Position(segment.id, spot_m)
    found = [each for each in network.segments if each.route.lower() == wanted]
    if not found:
        names = {each.route.lower(): each.route for each in network.segments}
        near = get_close_matches(wanted, list(names), n=1, cutoff=0.7)
        hint = f"; did you mean {names[near[0]]}?" if near else ""
        raise InputError(f"road {road!r} is neither a segment's key nor a road's name{hint}")
    if at_m is not None:
        return LinearReference(network).on_route(found[0].route, at_m)
    if len(found) > 1:
        raise InputError(
            f"{found[0].route} has {len(found)} segments; say how far along it, or name one of"
            f" {', '.join(each.id for each in found[:4])}{' ...' if len(found) > 4 else ''}"
        )
    return Position(found[0].id, found[0].length_m / 2)


def route_of(network: Network, roads: list[str]) -> tuple[str, ...]:
    """Segments of a route that is given as keys and names, in the order given, each once.

    Raises
    ------
    InputError
        If one of them is unknown.
    """
    by_id = {each.id.lower(): each.id for each in network.segments}
    found: dict[str, None] = {}
    for road in roads:
        wanted = " ".join(road.lower().split())
        named = [each.id for each in network.segments if each.route.lower() == wanted]
        if wanted in by_id:
            named = [by_id[wanted]]
        if not named:
            spot_on(network, road, None)
        found.update(dict.fromkeys(named))
    return tuple(found)
