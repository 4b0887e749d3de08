"""Gravel in spots: loads to the worst places, spread and blended."""

from __future__ import annotations

from crossfall.design.hauling import haul_cycle, load_for, source_words
from crossfall.design.site import Site
from crossfall.design.stages import cut_lengths, make_stage, part_name
from crossfall.design.words import metres, millimetres
from crossfall.formulas.gravel import compacted_volume, loose_volume, n_loads
from crossfall.formulas.hauling import trucks_to_match
from crossfall.model import Quantity, Stage, Support, Treatment


def spot_gravel_stages(
    site: Site, job_id: str, first: int, after: tuple[str, ...]
) -> tuple[Stage, ...]:
    """Loads to the worst places, spread and blended; the foreman marks where."""
    design, segment = site.tools.design, site.segment
    gravel = design.gravel
    spots_m = segment.length_m * gravel.spot_share
    compacted = compacted_volume(spots_m, segment.width_m, gravel.spot_mm)
    loose = loose_volume(compacted, gravel.bulking)
    source = site.tools.sources.gravel(segment)
    load = load_for(site, source)
    loads = n_loads(loose, load)
    passes = site.tools.passes.of(Treatment.SPOT_GRAVEL, segment.width_m)
    cycle = haul_cycle(site, load, source)
    outfit = site.tools.outfit
    limit_min = max(outfit.work_min - design.stage.signs_min, 1.0)
    n_trucks = min(
        outfit.n_trucks,
        max(1, trucks_to_match(loose / (limit_min / 60), load, cycle, design.grader.efficiency)),
    )
    haul_min = loads * cycle / n_trucks / design.grader.efficiency
    parts = cut_lengths(
        segment.length_m, max(haul_min / segment.length_m, passes.total_min_per_m), limit_min
    )
    stages = []
    for index, (from_m, to_m) in enumerate(parts):
        share = (to_m - from_m) / segment.length_m
        stage_min = max(haul_min * share, sum(passes.minutes(to_m - from_m)))
        stages.append(
            make_stage(
                site,
                job_id=job_id,
                number=first + index,
                name=part_name("Spot gravel", index + 1, len(parts)),
                span_m=(from_m, to_m),
                treatment=Treatment.SPOT_GRAVEL,
                task="hauling",
                passes=passes,
                before=(
                    f"Foreman marks the worst {metres(spots_m * share)} with paint",
                    f"Loosen each spot, then {millimetres(gravel.spot_mm)} of gravel, compacted,"
                    " feathered at both ends",
                ),
                later=("Track in with loaded trucks or roll; leave no heap",),
                checks=("Spots meet the old surface without a bump", "Crown kept over the spots"),
                after=after,
                support=(Support("haul_truck", n_trucks, stage_min / 60),),
                quantities=(
                    Quantity("compacted gravel", compacted * share, "m3"),
                    Quantity("loose gravel", loose * share, "m3", source_words(source)),
                    Quantity("loads", n_loads(loose * share, load), "loads"),
                ),
                water_l=0.0,
                wait_min=design.stage.signs_min,
                least_min=stage_min,
                materials=((source.price_line, loose * share),),
            )
        )
    return tuple(stages)
