"""From own records to proposed rates: shown beside the old ones, never applied in silence."""

from __future__ import annotations

from crossfall.learning.rates import Proposal, ProposedRate, propose_rates
from crossfall.learning.shrink import Shrunk, shrink

__all__ = ["Proposal", "ProposedRate", "Shrunk", "propose_rates", "shrink"]
