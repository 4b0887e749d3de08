"""Dust control: shape first, then spray, and then leave the blade up."""

from __future__ import annotations

from crossfall.design.site import Site
from crossfall.design.stages import cut_lengths, make_stage, part_name
from crossfall.design.words import metres, percent
from crossfall.model import Quantity, Stage, Support, Treatment


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
    stages = []
    for index, (from_m, to_m) in enumerate(parts):
        area = (to_m - from_m) * segment.width_m
        solution_l = design.dust.rate_l_m2 * area
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
                    "Litres sprayed agree with the meter",
                ),
                end_state="Surface sprayed and drying, signs for a wet surface up, no blading"
                " until the date on the road's record.",
                after=after,
                support=(Support("water_truck", 1, hours),),
                quantities=(
                    Quantity("length", to_m - from_m, "m"),
                    Quantity("dust control solution", solution_l, "L"),
                    Quantity("rate", design.dust.rate_l_m2, "L/m2"),
                ),
                water_l=water_l,
                wait_min=design.stage.signs_min,
                materials=(("dust_solution", solution_l),),
            )
        )
    return tuple(stages)


def _keep_off(site: Site, from_m: float, to_m: float) -> tuple[str, ...]:
    near = metres(site.tools.design.dust.keep_off_m)
    return tuple(
        f"Do not spray within {near} of the {feature.kind} at {metres(feature.at_m)}"
        for feature in site.features
        if feature.kind in {"well", "stream", "ford", "bridge"}
        and feature.at_m is not None
        and from_m <= feature.at_m <= to_m
    )
