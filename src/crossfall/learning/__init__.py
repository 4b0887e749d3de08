"""From own records to proposed rates and factors: shown first, never applied in silence."""

from __future__ import annotations

from crossfall.learning.gravel import GravelCalibration, calibrate_gravel_loss
from crossfall.learning.rates import Proposal, ProposedRate, propose_rates
from crossfall.learning.roughness import RoughnessFactors, fit_roughness
from crossfall.learning.shrink import Shrunk, shrink

__all__ = [
    "GravelCalibration",
    "Proposal",
    "ProposedRate",
    "RoughnessFactors",
    "Shrunk",
    "calibrate_gravel_loss",
    "fit_roughness",
    "propose_rates",
    "shrink",
]
