"""What a foreman works out without a network: time, cover, lifts, trucks, water, gravel.

Every function takes figures by name in SI, refuses what cannot be with a sentence that says
why, and gives back data with a ``summary()`` to read out.
"""

from __future__ import annotations

from crossfall.design.calculator.ditch import culvert, ditch, ditch_grade
from crossfall.design.calculator.grader_time import blade_time, coverage, reshape
from crossfall.design.calculator.gravel import (
    Pile,
    blend_lp,
    foretell,
    gravel_check,
    scalp,
)
from crossfall.design.calculator.lifts import Width, regravel
from crossfall.design.calculator.machines import fleet, roll, water
from crossfall.design.calculator.sift import Sift, sift
from crossfall.design.calculator.small import Edge, dust, edge_cost, job_cost, taper

__all__ = [
    "Edge",
    "Pile",
    "Sift",
    "Width",
    "blade_time",
    "blend_lp",
    "coverage",
    "culvert",
    "ditch",
    "ditch_grade",
    "dust",
    "edge_cost",
    "fleet",
    "foretell",
    "gravel_check",
    "job_cost",
    "regravel",
    "reshape",
    "roll",
    "scalp",
    "sift",
    "taper",
    "water",
]
