"""The work zone of a stage: what kind it is, what to set up, and how far apart.

Light blading goes along with the traffic and carries its own beacon; work that stays gets signs,
and a taper where it takes a shoulder or a lane. Figures are for loading the truck; the local
manual, and whoever answers for it, govern.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal

from crossfall.design.words import NBSP, metres
from crossfall.formulas.given import at_least
from crossfall.formulas.work_zone import taper_length, taper_spacing
from crossfall.model import Segment
from crossfall.model.need import Task
from crossfall.model.policy.work_zone import SignSpacing, ZonePractice

Duration = Literal["mobile", "short duration", "short term", "long term"]


@dataclass(frozen=True, slots=True)
class WorkZone:
    """What one stage sets up."""

    duration: Duration
    posted_km_h: float
    sign_a_m: float
    """From the work to the last sign before it [m]."""
    taper_m: float
    """Zero where nothing is closed [m]."""
    device_spacing_m: float
    n_devices: int
    needs_flaggers: bool
    needs_shadow: bool
    lane_least_m: float
    steps: tuple[str, ...]


def work_zone(
    segment: Segment, task: Task, stay_min: float, practice: ZonePractice, *, is_beside: bool
) -> WorkZone:
    """The zone of work that stays ``stay_min`` minutes at one place.

    Parameters
    ----------
    stay_min : float
        How long a driver finds it in the same place; light blading moves on and stays 0. [min]
    is_beside : bool
        It takes the shoulder and no lane: ditches, shoulders, culvert ends.
    """
    duration = duration_of(stay_min, practice)
    at_least("adt", segment.adt, 0.0)
    return _zone(
        practice,
        posted=practice.posted_on(segment.road_class),
        duration=duration,
        needs_shadow=duration == "mobile" and segment.adt >= practice.shadow_adt,
        is_busy=segment.adt >= practice.flagger_adt,
        is_hauling=task == "hauling",
        is_beside=is_beside,
    )


def _zone(
    practice: ZonePractice,
    *,
    posted: float,
    duration: Duration,
    needs_shadow: bool,
    is_busy: bool,
    is_hauling: bool,
    is_beside: bool,
) -> WorkZone:
    signs = _rural(practice)
    spacing, taper = taper_spacing(posted), 0.0
    needs_flaggers = False
    if duration != "mobile" and is_beside:
        taper = taper_length(practice.shoulder_m, posted, "shoulder")
    elif duration != "mobile":
        needs_flaggers = is_busy or is_hauling
        taper, spacing = practice.one_lane_taper_high_m, practice.one_lane_spacing_m
    n_devices = 0 if taper == 0 else math.ceil(taper / spacing - 1e-9) + 1
    zone = WorkZone(
        duration=duration,
        posted_km_h=posted,
        sign_a_m=signs.a_m,
        taper_m=taper,
        device_spacing_m=spacing,
        n_devices=n_devices,
        needs_flaggers=needs_flaggers,
        needs_shadow=needs_shadow,
        lane_least_m=practice.lane_least_m,
        steps=(),
    )
    return _with_steps(zone, practice, is_beside=is_beside)


def duration_of(stay_min: float, practice: ZonePractice) -> Duration:
    """Which of the manual's durations work falls under.

    Examples
    --------
    >>> duration_of(0.0, ZonePractice()), duration_of(240.0, ZonePractice())
    ('mobile', 'short term')
    """
    at_least("stay_min", stay_min, 0.0)
    if stay_min <= practice.mobile_min:
        return "mobile"
    if stay_min <= practice.short_duration_min:
        return "short duration"
    return "short term" if stay_min <= practice.short_term_min else "long term"


def _with_steps(zone: WorkZone, practice: ZonePractice, *, is_beside: bool) -> WorkZone:
    speed = f"{zone.posted_km_h:.1f}{NBSP}km/h"
    if zone.duration == "mobile":
        shadow = "; a shadow vehicle behind, slow before crests and curves"
        step = (
            f"Mobile zone: beacon on, hazard lights are no substitute{shadow * zone.needs_shadow}"
            f" — under {practice.mobile_min:.0f}{NBSP}min in one place; signs covered when stopped"
        )
    else:
        lane = f"keep {zone.lane_least_m:.1f}{NBSP}m open"
        taper = (
            f"shoulder taper {metres(zone.taper_m)}"
            if is_beside
            else f"one-lane taper {metres(practice.one_lane_taper_low_m)} to"
            f" {metres(practice.one_lane_taper_high_m)}"
        )
        who = ", flaggers at both ends" if zone.needs_flaggers else ""
        # To a tenth: the manual's round figure is in feet and must come back whole
        step = (
            f"Signs at both ends, {zone.sign_a_m:.1f}{NBSP}m apart{who}; {lane}"
            f" — {zone.duration}, {speed} assumed: {taper}, {zone.n_devices} devices"
            f" {zone.device_spacing_m:.1f}{NBSP}m apart"
        )
    return replace(zone, steps=(step,))


def _rural(practice: ZonePractice) -> SignSpacing:
    table = practice.sign_spacings
    return next((each for each in table if each.road == "rural"), table[0])
