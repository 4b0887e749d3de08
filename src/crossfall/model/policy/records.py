"""What was left open, and what own records may teach."""

from __future__ import annotations

from dataclasses import dataclass

from crossfall.model.policy.setting import setting


@dataclass(frozen=True, slots=True)
class RecordsPolicy:
    """How soon what was left open must be closed, and what is believable in a report."""

    travelled_way_days: int = setting(
        0,
        unit="day",
        doc="A windrow or open culvert in the travelled way: the day it was left.",
        evidence="common practice",
        low=0,
        high=7,
    )
    windrow_days: int = setting(
        7,
        unit="day",
        doc="A windrow along the side, clear of the travelled way: before the next rain or this.",
        low=0,
        high=60,
    )
    culvert_days: int = setting(
        1,
        unit="day",
        doc="A culvert left open and barricaded.",
        low=0,
        high=14,
    )
    unfinished_days: int = setting(
        14, unit="day", doc="Work that was begun and not finished.", low=0, high=90
    )
    most_hours_a_day: float = setting(
        16.0, unit="h", doc="More hours on one card and day are refused.", low=8.0, high=24.0
    )


@dataclass(frozen=True, slots=True)
class LearningPolicy:
    """How far own records move a rate from its default."""

    n_enough: int = setting(
        5,
        unit="records",
        doc="Below so many records a rate stays as it is and is marked as prior.",
        low=2,
        high=100,
    )
    prior_sd: float = setting(
        0.25,
        unit="ln",
        doc="How far rates of agencies are thought to differ from the default.",
        low=0.01,
        high=2.0,
    )
    record_sd: float = setting(
        0.35,
        unit="ln",
        doc="Scatter of single records that is believed before they tell their own.",
        low=0.01,
        high=2.0,
    )
    n_own_scatter: int = setting(
        12, unit="records", doc="The believed scatter counts as so many records.", low=4, high=1000
    )
    believable: float = setting(
        6.0,
        unit="-",
        doc="A record this many times off the default is left out and shown.",
        low=1.5,
        high=100.0,
    )
    thickness_error_mm: float = setting(
        10.0, unit="mm", doc="Error of one measured thickness.", low=1.0, high=50.0
    )
    least_span_mm: float = setting(
        4.0,
        unit="mm",
        doc="A span in which less loss is predicted says nothing.",
        low=0.0,
        high=100.0,
    )
    near_blading_days: int = setting(
        10, unit="day", doc="Roughness so long before and after a blading is that blading's.", low=1
    )
    least_rough_days: float = setting(
        14.0, unit="day", doc="Roughness read again sooner says nothing of its pace.", low=1.0
    )
    segment_sd: float = setting(
        0.25, unit="-", doc="Spread of segments' factors within a group, assumed.", low=0.01, high=2
    )
    group_sd: float = setting(
        0.3, unit="-", doc="Spread of groups' factors within an agency, assumed.", low=0.01, high=2
    )
    agency_sd: float = setting(
        0.5, unit="-", doc="Spread of agencies' factors around 1, assumed.", low=0.01, high=2.0
    )
    least_factor: float = setting(0.3, unit="-", doc="No factor is below.", low=0.01, high=1.0)
    most_factor: float = setting(3.0, unit="-", doc="No factor is above.", low=1.0, high=10.0)
    traffic_edges: tuple[float, ...] = setting(
        (30.0, 100.0, 250.0), unit="veh/day", doc="Edges between classes of traffic."
    )
