"""Years ahead: one strategy for each segment within yearly money, gravel and grader hours."""

from __future__ import annotations

from crossfall.programme.certify import Certificate, certify
from crossfall.programme.chance import Chance, Contingency, chances, with_contingency
from crossfall.programme.facts import (
    Scenario,
    SegmentFacts,
    check_segments,
    facts_of,
    table_of,
)
from crossfall.programme.limits import Limits, make_limits
from crossfall.programme.parted import PartedProgramme, facts_columns, plan_parted
from crossfall.programme.pits import GravelPlaced, gravel_placed
from crossfall.programme.questions import (
    CurvePoint,
    Delay,
    can_be_told_apart,
    cost_of_delay,
    first_year_needs,
    needs_of_year,
    under_funding_curve,
)
from crossfall.programme.study import study_years
from crossfall.programme.years import Prepared, Programme, plan_prepared, plan_years, prepare

__all__ = [
    "Certificate",
    "Chance",
    "Contingency",
    "CurvePoint",
    "Delay",
    "GravelPlaced",
    "Limits",
    "PartedProgramme",
    "Prepared",
    "Programme",
    "Scenario",
    "SegmentFacts",
    "can_be_told_apart",
    "certify",
    "chances",
    "check_segments",
    "cost_of_delay",
    "facts_columns",
    "facts_of",
    "first_year_needs",
    "gravel_placed",
    "make_limits",
    "needs_of_year",
    "plan_parted",
    "plan_prepared",
    "plan_years",
    "prepare",
    "study_years",
    "table_of",
    "under_funding_curve",
    "with_contingency",
]
