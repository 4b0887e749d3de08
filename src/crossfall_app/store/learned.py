"""Rates that were learned, put in force: a new policy version, and the roads that follow it."""

from __future__ import annotations

from django.db import transaction

from crossfall.learning import Proposal, with_travel
from crossfall_app.store import repository


def put_rates_in_force(found: Proposal, *, by: str) -> int:
    """Save the proposed policy and move roads at their class's default speed; returns how many.

    Raises
    ------
    InputError
        If the version is in the store with other figures.
    """
    with transaction.atomic():
        old, network = repository.load_policy(), repository.load_network()
        moved = with_travel(network, old, found.policy)
        repository.save_policy(found.policy, by=by, note="learned from records and tracks")
        if moved:
            by_id = {segment.id: segment for segment in moved}
            repository.replace_network(
                type(network)(
                    network.nodes,
                    tuple(by_id.get(segment.id, segment) for segment in network.segments),
                    network.features,
                    network.backdrop,
                ),
                by=by,
                source="learned travel speeds",
            )
    return len(moved)
