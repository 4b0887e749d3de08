"""One table for each noun; columns carry the noun's own field names."""

from __future__ import annotations

from crossfall_app.store.models.agency import Agency, Audit, ImportStage, PolicyVersion, Run
from crossfall_app.store.models.books import EndApproval, Event, EventItem
from crossfall_app.store.models.calendar import OtherWork, Reservation, RoadBan
from crossfall_app.store.models.facts import (
    Clearance,
    Condition,
    DesignSignature,
    DustApplication,
    HaulAgreement,
    Hazard,
    LoadExemption,
    LoadPosting,
    Observation,
    Request,
    WorkRecord,
)
from crossfall_app.store.models.fleet import CrewCall, Machine, Operator, Pit, Place
from crossfall_app.store.models.gravel import (
    Contract,
    FittedEdge,
    MachineDay,
    MaterialTest,
    PileEntry,
)
from crossfall_app.store.models.network import (
    Backdrop,
    Node,
    PointFeature,
    Segment,
    Succession,
)
from crossfall_app.store.models.plans import Job, JobCard, Need, Plan
from crossfall_app.store.models.weather import Forecast, WeatherRecord
from crossfall_app.store.models.years import YearsStudy

__all__ = [
    "Agency",
    "Audit",
    "Backdrop",
    "Clearance",
    "Condition",
    "Contract",
    "CrewCall",
    "DesignSignature",
    "DustApplication",
    "EndApproval",
    "Event",
    "EventItem",
    "FittedEdge",
    "Forecast",
    "HaulAgreement",
    "Hazard",
    "ImportStage",
    "Job",
    "JobCard",
    "LoadExemption",
    "LoadPosting",
    "Machine",
    "MachineDay",
    "MaterialTest",
    "Need",
    "Node",
    "Observation",
    "Operator",
    "OtherWork",
    "PileEntry",
    "Pit",
    "Place",
    "Plan",
    "PointFeature",
    "PolicyVersion",
    "Request",
    "Reservation",
    "RoadBan",
    "Run",
    "Segment",
    "Succession",
    "WeatherRecord",
    "WorkRecord",
    "YearsStudy",
]
