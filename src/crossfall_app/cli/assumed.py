"""What stands in until somebody says it: a fleet from a count of graders, a gauge in the middle."""

from __future__ import annotations

import numpy as np

from crossfall.errors import InputError
from crossfall.model import Fleet, Machine, Network, Operator, Place
from crossfall.model.policy import NetworkPolicy
from crossfall.network.projection import LocalPlane

_MOST_GRADERS = 200


def assumed_fleet(
    network: Network,
    n_graders: int,
    yard: tuple[float, float] | None,
    policy: NetworkPolicy | None = None,
) -> Fleet:
    """Graders that somebody counted, with everything else about them assumed and said so.

    They stand at ``yard`` (lon, lat), or at the junction in the middle of the maintained roads.
    """
    if not 1 <= n_graders <= _MOST_GRADERS:
        raise InputError(f"--graders is {n_graders}; expected 1 to {_MOST_GRADERS}")
    if yard is not None:
        _refuse_far(network, yard, policy or NetworkPolicy())
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


def _refuse_far(network: Network, yard: tuple[float, float], policy: NetworkPolicy) -> None:
    """Figures exchanged or a sign lost put a yard in another country."""
    plane = LocalPlane.around(
        np.array([node.lon for node in network.nodes]),
        np.array([node.lat for node in network.nodes]),
    )
    x, y = plane.to_plane(
        np.array([yard[0], *(node.lon for node in network.nodes)]),
        np.array([yard[1], *(node.lat for node in network.nodes)]),
    )
    km = float(np.hypot(x[1:] - x[0], y[1:] - y[0]).min()) / 1000
    if km > policy.yard_far_km:
        near = middle_of(network)
        raise InputError(
            f"--yard {yard[0]:g},{yard[1]:g} is {km:,.0f} km from the nearest road, further than"
            f" {policy.yard_far_km:g}; longitude comes first, west is negative; the roads are"
            f" near {near[0]:.3f},{near[1]:.3f}"
        )
