"""The words and colour names that pages use for what the engine says in keys."""

from __future__ import annotations

from crossfall.judgement import ZoneKind
from crossfall.model import Treatment
from crossfall.model.plan import Binding

FAMILY: dict[Treatment, str] = {
    Treatment.NONE: "none",
    Treatment.BLADING: "smooth",
    Treatment.RESHAPING: "shape",
    Treatment.SCARIFY_REMIX: "shape",
    Treatment.REGRAVELLING: "gravel",
    Treatment.SPOT_GRAVEL: "gravel",
    Treatment.SHOULDER_PULLING: "drain",
    Treatment.SECONDARY_DITCH_REMOVAL: "drain",
    Treatment.DITCH_CLEANING: "drain",
    Treatment.CULVERT_CLEARING: "drain",
    Treatment.DUST_CONTROL: "other",
    Treatment.WINDROW_PICKUP: "other",
    Treatment.ENGINEER: "other",
}
"""Treatments that share a colour; the label always stands beside it."""

FAMILY_LABEL = {
    "smooth": "Light blading",
    "shape": "Reshape, or scarify and remix",
    "gravel": "Gravel",
    "drain": "Shoulders, ditches and culverts",
    "other": "Dust, windrows, engineer",
    "none": "Nothing due",
}

LEFT_OUT: dict[Binding, str] = {
    "higher_priorities": "After more pressing work",
    "no_workable_day": "No day with the right moisture",
    "not_worth_hours": "Not worth the hours now",
    "too_long_for_shift": "Too long for one shift",
    "no_machine": "No machine for it",
    "no_operator": "Nobody free to do it",
    "no_support": "No truck, roller or water free",
    "unreachable": "No road there for the machine",
    "waits_for_other_work": "Waits for other work first",
    "engineer_to_confirm": "Engineer to confirm first",
    "road_class_closed": "Road closed or of the lowest class",
    "time_ran_out": "Planning stopped before it was tried",
    "barred_hours": "Barred at the hours it would take",
    "no_clearance": "Permission to dig or cross is missing",
    "kept_out": "Kept out by somebody's wish",
}

TASK_LABEL = {
    "light_blading": "Light blading",
    "cutting": "Cutting and reshaping",
    "hauling": "Hauling gravel",
    "hand_work": "Ditch and hand work",
    "emergency": "Emergency",
}

VERDICT_LABEL = {
    "allowed": "go",
    "if_watered": "go with water",
    "refused": "hold",
}

SURFACE = ("frozen", "too_wet", "workable", "drying", "dry", "unknown")
"""Moisture classes by number, as colour names."""

SURFACE_LABEL = {
    "frozen": "Frozen",
    "too_wet": "Too wet",
    "workable": "Workable",
    "drying": "Drying out",
    "dry": "Dry",
    "unknown": "Not known",
}

PART_LABEL = {"early": "Early", "midday": "Midday", "late": "Late"}
"""Parts of a working day."""

FELT_LABEL = {"too_wet": "Too wet", "just_right": "Just right", "dust": "Dust"}

DRAINAGE_LABEL = {"poor": "Poor drainage", "fair": "Fair drainage", "good": "Good drainage"}

ZONE_LABEL: dict[ZoneKind, str] = {
    "district": "Board district",
    "drainage": "Drainage",
    "route": "Road",
}

WATER_LABEL = {
    "water": "Water it, or leave it",
    "wait": "Wait, do not water",
    "not_needed": "No water needed",
    "look": "Look before watering",
    "unknown": "Nobody knows how much water",
}

HAZARD_LABEL = {
    "washout": "Washout",
    "culvert_collapse": "Collapsed culvert",
    "sign_missing": "Sign missing",
    "obstruction": "Obstruction",
    "other": "Danger",
}

LEG_LABEL = {"travel": "Travel", "work": "Work", "turn": "Turn", "break": "Break", "wait": "Wait"}

FEATURE_LABEL = {
    "bridge": "Bridge",
    "rail_crossing": "Rail crossing",
    "culvert": "Culvert",
    "gate": "Gate",
    "cattle_guard": "Cattle guard",
    "ford": "Ford",
    "driveway": "Driveway",
    "pipeline": "Pipeline",
    "overhead_line": "Overhead line",
    "survey_monument": "Survey monument",
    "sign": "Sign",
    "well": "Well",
    "stream": "Stream",
    "wetland": "Wetland",
    "right_of_way": "Narrow right of way",
}

BACKDROP_LABEL = {"stream": "Creek", "water": "River", "rail": "Railway"}

MACHINE_LABEL = {
    "grader": "Grader",
    "water_truck": "Water truck",
    "roller": "Roller",
    "haul_truck": "Truck",
    "loader": "Loader",
    "excavator": "Excavator",
}
