"""What machines' tracks say of the planner's travel speeds.

Kilometres over hours with the blade up, by road class, against the speed the planner uses; drawn
towards it as far as days are few, and shown as old and new. Nothing changes until a person
accepts the proposed policy, which is a new version.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from crossfall.errors import InputError
from crossfall.learning.rates import Proposal, ProposedRate
from crossfall.learning.shrink import shrink
from crossfall.model import MachineDay, Network, Policy, Segment
from crossfall.model.network import RoadClass

_CLASSES: tuple[RoadClass, ...] = ("arterial", "collector", "local", "minimum")
_LEAST_KM = 2.0
"""A day with less travel on a class of road says nothing of its speed."""


def propose_travel(
    days: Sequence[MachineDay], policy: Policy, *, version: str | None = None
) -> Proposal:
    """Travel speeds of each road class as tracks have them, as a proposed new policy version.

    Days with little travel, or far from believable, are left out and listed.

    Raises
    ------
    InputError
        If ``version`` is the version of ``policy``: a changed policy needs a new one.
    """
    named = version or f"{policy.version}+learned"
    if named == policy.version:
        raise InputError(f"version is {named!r}, which is taken; a proposal needs a new one")
    rows: list[ProposedRate] = []
    left_out: list[str] = []
    changed: dict[str, float] = {}
    for road_class in _CLASSES:
        old = policy.network.travel_km_h(road_class)
        ratios = []
        for day in days:
            for travel in day.travel:
                if travel.road_class != road_class or travel.km < _LEAST_KM:
                    continue
                ratio = travel.km_h / old
                if 1 / policy.learning.believable <= ratio <= policy.learning.believable:
                    ratios.append(ratio)
                else:
                    left_out.append(
                        f"{day.id}: {travel.km_h:.0f} km/h on {road_class} roads is"
                        f" {ratio:.2g} times the planned speed"
                    )
        if not ratios:
            continue
        found = shrink(
            np.array(ratios),
            record_sd=policy.learning.record_sd,
            prior_sd=policy.learning.prior_sd,
        )
        is_prior = found.n < policy.learning.n_enough
        factor = 1.0 if is_prior else found.factor
        name = f"travel_{road_class}_km_h"
        rows.append(
            ProposedRate(
                f"network.{name}",
                f"travel on {road_class} roads",
                "km/h",
                old,
                old * factor,
                old * found.raw,
                found.n,
                is_prior,
            )
        )
        if not is_prior:
            changed[name] = old * factor
    if not changed:
        return Proposal(policy, tuple(rows), tuple(left_out))
    network = replace(policy.network, **changed)
    return Proposal(replace(policy, network=network, version=named), tuple(rows), tuple(left_out))


def with_travel(network: Network, old: Policy, new: Policy) -> tuple[Segment, ...]:
    """Segments whose travel speed was their class's default, at the new default.

    A speed that somebody gave for one road stays.
    """
    moved = []
    for segment in network.segments:
        was = old.network.travel_km_h(segment.road_class)
        now = new.network.travel_km_h(segment.road_class)
        if segment.travel_km_h == was and now != was:
            moved.append(replace(segment, travel_km_h=now))
    return tuple(moved)
