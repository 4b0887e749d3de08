"""From own records to proposed rates and factors: shown first, never applied in silence."""

from __future__ import annotations

from crossfall.learning.gravel import GravelCalibration, calibrate_gravel_loss
from crossfall.learning.rates import Proposal, ProposedRate, propose_rates
from crossfall.learning.roughness import RoughnessFactors, fit_roughness
from crossfall.learning.shrink import Shrunk, shrink
from crossfall.learning.together import learn_rates
from crossfall.learning.travel import propose_travel, with_travel
from crossfall.learning.years import FactorFit, YearsCalibration, calibrate_years

__all__ = [
    "FactorFit",
    "GravelCalibration",
    "Proposal",
    "ProposedRate",
    "RoughnessFactors",
    "Shrunk",
    "YearsCalibration",
    "calibrate_gravel_loss",
    "calibrate_years",
    "fit_roughness",
    "learn_rates",
    "propose_rates",
    "propose_travel",
    "shrink",
    "with_travel",
]
