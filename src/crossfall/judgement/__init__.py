"""What state the surface is in, what each road needs, and what may be done on it when."""

from __future__ import annotations

from crossfall.formulas.moisture_class import MoistureClass
from crossfall.judgement.changes import (
    StateChange,
    SurfaceDifference,
    changes_sentence,
    state_changes,
    surface_difference,
)
from crossfall.judgement.field_report import (
    FieldReport,
    ToldReport,
    observations_of,
    told_reports,
)
from crossfall.judgement.gate import GateTable, GateVerdict, judge_gates
from crossfall.judgement.hazards import HazardNotice, closed_by_hazard, open_hazards
from crossfall.judgement.hindcast import DayAfterRain, Hindcast, day_after_rain, hindcast
from crossfall.judgement.load_limit import LoadAdvisory, advise_load_limits, sign_posting
from crossfall.judgement.needs import find_needs, first_week_conditions
from crossfall.judgement.one_road import only_road
from crossfall.judgement.resting import RestingRoad, resting_roads
from crossfall.judgement.road_days import RoadDays, road_days
from crossfall.judgement.state import MoistureState, surface_state
from crossfall.judgement.thickness import LayerCheck, check_layers
from crossfall.judgement.watering import WateringVerdict, water_or_wait
from crossfall.judgement.wording import is_only_reported
from crossfall.judgement.zones import Zone, ZoneKind, zones

__all__ = [
    "DayAfterRain",
    "FieldReport",
    "GateTable",
    "GateVerdict",
    "HazardNotice",
    "Hindcast",
    "LayerCheck",
    "LoadAdvisory",
    "MoistureClass",
    "MoistureState",
    "RestingRoad",
    "RoadDays",
    "StateChange",
    "SurfaceDifference",
    "ToldReport",
    "WateringVerdict",
    "Zone",
    "ZoneKind",
    "advise_load_limits",
    "changes_sentence",
    "check_layers",
    "closed_by_hazard",
    "day_after_rain",
    "find_needs",
    "first_week_conditions",
    "hindcast",
    "is_only_reported",
    "judge_gates",
    "observations_of",
    "only_road",
    "open_hazards",
    "resting_roads",
    "road_days",
    "sign_posting",
    "state_changes",
    "surface_difference",
    "surface_state",
    "told_reports",
    "water_or_wait",
    "zones",
]
