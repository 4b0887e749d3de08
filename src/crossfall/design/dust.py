"""Dust control: shape first, then spray, and then leave the blade up.

Rain soon after spraying washes it off, so a day with rain to be expected within the dry hours is
no day for it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from datetime import date, timedelta
from typing import Any, Protocol

import numpy as np
import numpy.typing as npt

from crossfall.design.site import Site
from crossfall.design.stages import cut_lengths, make_stage, part_name
from crossfall.design.words import metres, percent
from crossfall.model import DustApplication, Job, Quantity, Stage, Support, Treatment
from crossfall.model.policy.design import DustPractice

DRY_FORECAST = "dry_forecast"
"""What a stage lacks when rain is expected too soon after every day of the plan."""


class ExpectedRain(Protocol):
    """What dust control asks of the moisture state."""

    @property
    def segment_ids(self) -> Sequence[str]: ...

    @property
    def first_day(self) -> date: ...

    @property
    def rain_mm(self) -> npt.NDArray[Any]: ...


def dust_stages(site: Site, job_id: str, first: int, after: tuple[str, ...]) -> tuple[Stage, ...]:
    """Shape to crown and spray the same shift."""
    design, segment = site.tools.design, site.segment
    passes = site.tools.passes.of(Treatment.DUST_CONTROL, segment.width_m)
    parts = cut_lengths(
        segment.length_m,
        passes.total_min_per_m,
        max(site.tools.outfit.work_min - design.stage.signs_min, 1.0),
        longest_m=site.tools.policy.dispatch.open_windrow_m,
    )
    rate_l_m2 = design.dust.rate_l_m2 * (design.dust.again_share if site.is_treated else 1.0)
    again = "of the first rate, for it was treated not long ago" if site.is_treated else ""
    stages = []
    for index, (from_m, to_m) in enumerate(parts):
        area = (to_m - from_m) * segment.width_m
        solution_l = rate_l_m2 * area
        water_l = site.water_l(to_m - from_m, design.shape.light_cut_mm)
        hours = sum(passes.minutes(to_m - from_m)) / 60
        stages.append(
            make_stage(
                site,
                job_id=job_id,
                number=first + index,
                name=part_name("Dust control", index + 1, len(parts)),
                span_m=(from_m, to_m),
                treatment=Treatment.DUST_CONTROL,
                task="light_blading",
                passes=passes,
                before=(
                    f"Not with rain forecast within {design.dust.dry_hours:g} hours",
                    "Moist surface first: wet it unless it rained in the last two days",
                ),
                later=(
                    f"Spray {solution_l:,.0f}\N{NO-BREAK SPACE}L of solution evenly, edge to edge",
                    *_keep_off(site, from_m, to_m),
                ),
                checks=(
                    f"Crown {percent(design.shape.crossfall_pct)} before spraying",
                    "What was sprayed agrees with the meter",
                ),
                end_state="Surface sprayed and drying, signs for a wet surface up, no blading"
                " until the date on the road's record.",
                after=after,
                support=(Support("water_truck", 1, hours),),
                quantities=(
                    Quantity("length", to_m - from_m, "m"),
                    Quantity("dust control solution", solution_l, "L"),
                    Quantity(
                        "rate",
                        rate_l_m2,
                        "L/m2",
                        f"{percent(100 * design.dust.again_share)} {again}" if again else "",
                    ),
                ),
                water_l=water_l,
                wait_min=design.stage.signs_min,
                materials=(("dust_solution", solution_l),),
            )
        )
    return tuple(stages)


def treated_roads(
    applications: Sequence[DustApplication], day: date, practice: DustPractice
) -> frozenset[str]:
    """Segments that were sprayed within the days after which a road counts as new again."""
    since = day - timedelta(days=practice.again_days)
    return frozenset(each.segment_id for each in applications if since <= each.applied_on <= day)


def hold_for_rain(
    jobs: Sequence[Job], state: ExpectedRain, practice: DustPractice
) -> tuple[Job, ...]:
    """The same jobs, with dust control kept to days after which it is likely to stay dry.

    Parameters
    ----------
    state : MoistureState
        Rain of each member on each segment and day [mm]; days after its last are not judged.
    """
    row_of = {segment_id: row for row, segment_id in enumerate(state.segment_ids)}
    n_days_dry = math.ceil(practice.dry_hours / 24)

    def bound(stage: Stage) -> Stage:
        row = row_of.get(stage.segment_id)
        if stage.treatment != Treatment.DUST_CONTROL or row is None:
            return stage
        is_wet = np.nanmean(state.rain_mm[:, row, :] >= practice.rain_mm, axis=0)
        is_wet = is_wet >= practice.rain_chance
        dry = [
            state.first_day + timedelta(days=day)
            for day in range(is_wet.size)
            if not is_wet[day : day + 1 + n_days_dry].any()
        ]
        if len(dry) == is_wet.size:
            return stage
        held = dry if stage.leave_days is None else [d for d in stage.leave_days if d in dry]
        lacks = stage.leave_lacks if held or dry else (*stage.leave_lacks, DRY_FORECAST)
        return replace(stage, leave_days=tuple(held), leave_lacks=lacks)

    return tuple(
        replace(job, stages=tuple(bound(stage) for stage in job.stages))
        if any(stage.treatment == Treatment.DUST_CONTROL for stage in job.stages)
        else job
        for job in jobs
    )


def _keep_off(site: Site, from_m: float, to_m: float) -> tuple[str, ...]:
    near = metres(site.tools.design.dust.keep_off_m)
    return tuple(
        f"Do not spray within {near} of the {feature.kind} at {metres(feature.at_m)}"
        for feature in site.features
        if feature.kind in {"well", "stream", "ford", "bridge"}
        and feature.at_m is not None
        and from_m <= feature.at_m <= to_m
    )
