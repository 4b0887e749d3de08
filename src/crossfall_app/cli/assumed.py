"""What stands in until somebody says it: a fleet from a count of graders, a gauge in the middle."""

from __future__ import annotations

from crossfall.errors import InputError
from crossfall.model import Fleet, Machine, Network, Operator, Place

_MOST_GRADERS = 200


def assumed_fleet(network: Network, n_graders: int, yard: tuple[float, float] | None) -> Fleet:
    """Graders that somebody counted, with everything else about them assumed and said so.

    They stand at ``yard`` (lon, lat), or at the junction in the middle of the maintained roads.
    """
    if not 1 <= n_graders <= _MOST_GRADERS:
        raise InputError(f"graders is {n_graders}; expected 1 to {_MOST_GRADERS}")
    lon, lat = yard or middle_of(network)
    note = "assumed from the number of graders; describe it in a fleet file"
    numbers = range(1, n_graders + 1)
    return Fleet(
        places=(Place("yard", "Yard (assumed)", "yard", lon, lat),),
        machines=tuple(
            Machine(f"grader-{n}", f"Grader {n}", "grader", "yard", note=note) for n in numbers
        ),
        operators=tuple(Operator(f"operator-{n}", f"Operator {n}", f"grader-{n}") for n in numbers),
    )


def middle_of(network: Network) -> tuple[float, float]:
    """The junction nearest to the mean place of the maintained roads, (lon, lat)."""
    ends = [network.node_by_id[each.from_node] for each in network.maintained or network.segments]
    lon = sum(node.lon for node in ends) / len(ends)
    lat = sum(node.lat for node in ends) / len(ends)
    nearest = min(ends, key=lambda node: (node.lon - lon) ** 2 + (node.lat - lat) ** 2)
    return nearest.lon, nearest.lat
