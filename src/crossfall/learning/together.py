"""Working speeds and travel speeds in one proposal, for one new policy version."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from crossfall.learning.rates import Proposal, propose_rates
from crossfall.learning.travel import propose_travel
from crossfall.model import MachineDay, Network, Policy, WorkRecord


def learn_rates(
    records: Sequence[WorkRecord],
    days: Sequence[MachineDay],
    network: Network,
    policy: Policy,
    *,
    version: str | None = None,
) -> Proposal:
    """What records say of working speeds and tracks of travel speeds, as one proposal.

    Raises
    ------
    InputError
        If ``version`` is the version of ``policy``.
    """
    named = version or f"{policy.version}+learned"
    work = propose_rates(records, network, policy, version=named)
    travel = propose_travel(days, replace(work.policy, version=policy.version), version=named)
    return Proposal(
        travel.policy if travel.has_changes else work.policy,
        (*work.rows, *travel.rows),
        (*work.left_out, *travel.left_out),
    )
