"""What state the surface is in, what each road needs, and what may be done on it when."""

from __future__ import annotations

from crossfall.formulas.moisture_class import MoistureClass
from crossfall.judgement.gate import GateTable, GateVerdict, judge_gates
from crossfall.judgement.hazards import HazardNotice, open_hazards
from crossfall.judgement.needs import find_needs, first_week_conditions
from crossfall.judgement.state import MoistureState, surface_state

__all__ = [
    "GateTable",
    "GateVerdict",
    "HazardNotice",
    "MoistureClass",
    "MoistureState",
    "find_needs",
    "first_week_conditions",
    "judge_gates",
    "open_hazards",
    "surface_state",
]
