"""What state the surface is in, what each road needs, and what may be done on it when."""

from __future__ import annotations

from crossfall.formulas.moisture_class import MoistureClass
from crossfall.judgement.gate import GateTable, GateVerdict, judge_gates
from crossfall.judgement.state import MoistureState, surface_state

__all__ = [
    "GateTable",
    "GateVerdict",
    "MoistureClass",
    "MoistureState",
    "judge_gates",
    "surface_state",
]
