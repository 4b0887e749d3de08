"""What state the surface is in, what each road needs, and what may be done on it when."""

from __future__ import annotations

from crossfall.formulas.moisture_class import MoistureClass
from crossfall.judgement.changes import StateChange, changes_sentence, state_changes
from crossfall.judgement.gate import GateTable, GateVerdict, judge_gates
from crossfall.judgement.hazards import HazardNotice, open_hazards
from crossfall.judgement.hindcast import DayAfterRain, Hindcast, day_after_rain, hindcast
from crossfall.judgement.load_limit import LoadAdvisory, advise_load_limits, sign_posting
from crossfall.judgement.needs import find_needs, first_week_conditions
from crossfall.judgement.state import MoistureState, surface_state
from crossfall.judgement.watering import WateringVerdict, water_or_wait

__all__ = [
    "DayAfterRain",
    "GateTable",
    "GateVerdict",
    "HazardNotice",
    "Hindcast",
    "LoadAdvisory",
    "MoistureClass",
    "MoistureState",
    "StateChange",
    "WateringVerdict",
    "advise_load_limits",
    "changes_sentence",
    "day_after_rain",
    "find_needs",
    "first_week_conditions",
    "hindcast",
    "judge_gates",
    "open_hazards",
    "sign_posting",
    "state_changes",
    "surface_state",
    "water_or_wait",
]
