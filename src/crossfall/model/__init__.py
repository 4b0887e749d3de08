"""Nouns that survive the night: frozen dataclasses, and the policy they are judged by."""

from __future__ import annotations

from crossfall.model.calendar import DUTY_KINDS, CrewCalendar, OtherWork, Reservation, RoadBan
from crossfall.model.card import CardStep, Caution, JobCard, Sketch, SketchFeature
from crossfall.model.clearance import Clearance, ClearanceKind
from crossfall.model.common import CostRange, Evidence, Method, Money, Progress, Rate, Side, quiet
from crossfall.model.condition import Condition, Hazard, Observation, Request
from crossfall.model.contract import BidItem, Contract, HoldPoint, ScaleTicket
from crossfall.model.district import District
from crossfall.model.dust import DustApplication, no_blade_until
from crossfall.model.field import FactAnswer, FieldFact
from crossfall.model.fleet import Fleet, GravelPit, Machine, MachineKind, Operator, Place
from crossfall.model.gravel import FittedEdge, MaterialTest, PileEntry
from crossfall.model.haul import HaulAgreement, LoadExemption
from crossfall.model.job import Job, Operation, Quantity, Stage, Stake, Support
from crossfall.model.need import BenefitPart, Need, Reason, Task, Treatment
from crossfall.model.network import Backdrop, Network, Node, PointFeature, Segment
from crossfall.model.plan import Itinerary, Leg, Plan, Stay, SupportBooking, Unserved, Violation
from crossfall.model.policy import Policy
from crossfall.model.posting import LoadPosting
from crossfall.model.programme import (
    AdoptedYears,
    ProgrammeItem,
    Strategy,
    YearsLevel,
    YearsQuestion,
    YearsScenario,
    YearsStudy,
)
from crossfall.model.record import WorkRecord
from crossfall.model.signature import DesignSignature
from crossfall.model.track import ClassTravel, MachineDay
from crossfall.model.weather import HOURS, Forecast, Station, WeatherRecord
from crossfall.model.wish import PlanWish, WishKind

__all__ = [
    "DUTY_KINDS",
    "HOURS",
    "AdoptedYears",
    "Backdrop",
    "BenefitPart",
    "BidItem",
    "CardStep",
    "Caution",
    "ClassTravel",
    "Clearance",
    "ClearanceKind",
    "Condition",
    "Contract",
    "CostRange",
    "CrewCalendar",
    "DesignSignature",
    "District",
    "DustApplication",
    "Evidence",
    "FactAnswer",
    "FieldFact",
    "FittedEdge",
    "Fleet",
    "Forecast",
    "GravelPit",
    "HaulAgreement",
    "Hazard",
    "HoldPoint",
    "Itinerary",
    "Job",
    "JobCard",
    "Leg",
    "LoadExemption",
    "LoadPosting",
    "Machine",
    "MachineDay",
    "MachineKind",
    "MaterialTest",
    "Method",
    "Money",
    "Need",
    "Network",
    "Node",
    "Observation",
    "Operation",
    "Operator",
    "OtherWork",
    "PileEntry",
    "Place",
    "Plan",
    "PlanWish",
    "PointFeature",
    "Policy",
    "ProgrammeItem",
    "Progress",
    "Quantity",
    "Rate",
    "Reason",
    "Request",
    "Reservation",
    "RoadBan",
    "ScaleTicket",
    "Segment",
    "Side",
    "Sketch",
    "SketchFeature",
    "Stage",
    "Stake",
    "Station",
    "Stay",
    "Strategy",
    "Support",
    "SupportBooking",
    "Task",
    "Treatment",
    "Unserved",
    "Violation",
    "WeatherRecord",
    "WishKind",
    "WorkRecord",
    "YearsLevel",
    "YearsQuestion",
    "YearsScenario",
    "YearsStudy",
    "no_blade_until",
    "quiet",
]
