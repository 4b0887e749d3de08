"""Adding gravel in lifts, and in spots.

What is missing sets the depth; compaction sets the lifts. Shape comes first and has its own
stages, so that depth is not spent on filling a bad crown. Every lift is cut into lengths that
the slowest of loader, trucks, grader, roller and water can finish in a shift.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

from crossfall.design.passes import PassSet
from crossfall.design.site import Site
from crossfall.design.source import GravelSource
from crossfall.design.stages import cut_lengths, depth_and_water, make_stage, part_name
from crossfall.design.transitions import transition_steps
from crossfall.design.words import (
    NBSP,
    cubic_metres,
    metres,
    millimetres,
    no_deeper_than,
    percent,
)
from crossfall.errors import InfeasibleError
from crossfall.formulas.compaction import roller_rate, water_truck_rate, water_volume
from crossfall.formulas.grader import scarify_depth
from crossfall.formulas.gravel import (
    compacted_volume,
    load_volume,
    loose_volume,
    mass,
    n_lifts,
    n_loads,
    section_area,
)
from crossfall.formulas.hauling import Pace, slowest, truck_cycle, truck_rate, trucks_to_match
from crossfall.formulas.stakes import load_starts, volume_between
from crossfall.model import Quantity, Stage, Stake, Support, Treatment


@dataclass(frozen=True, slots=True)
class GravelPlan:
    """Figures of one regravel before it is cut into stages."""

    depth_mm: float
    n_lifts: int
    lift_mm: float
    area_m2: float
    """Compacted section of one lift [m²]."""
    load_m3: float
    """Loose gravel in one load [m³]."""
    source: GravelSource
    n_trucks: int
    n_trucks_wanted: int
    """Trucks that would keep up with the slowest of the others."""
    n_water_trucks: int
    pace: Pace
    """Compacted output of the slowest [m³/h]."""
    scarify_mm: float


def plan_gravel(site: Site) -> GravelPlan:
    """Depth, lifts, load and pace of a regravel.

    Raises
    ------
    InfeasibleError
        If a posted limit lets no loaded truck in.
    """
    gravel = site.tools.design.gravel
    depth = max(gravel.target_mm - site.gravel_mm, gravel.least_mm)
    lifts = n_lifts(depth, min(gravel.lift_max_mm, gravel.lift_limit_mm))
    lift_mm = depth / lifts
    area = section_area(site.segment.width_m, lift_mm, edge_slope=gravel.edge_slope)
    source = site.tools.sources.gravel(site.segment)
    load = load_for(site, source)
    n_trucks, n_wanted, n_water, pace = _pace(site, lift_mm, area, load, source)
    return GravelPlan(
        depth_mm=depth,
        n_lifts=lifts,
        lift_mm=lift_mm,
        area_m2=area,
        load_m3=load,
        source=source,
        n_trucks=n_trucks,
        n_trucks_wanted=n_wanted,
        n_water_trucks=n_water,
        pace=pace,
        scarify_mm=scarify_depth(
            gravel.scarify_mm, site.gravel_mm, site.tools.design.shape.keep_uncut_mm
        ),
    )


def regravel_stages(
    site: Site, job_id: str, first: int, after: tuple[str, ...]
) -> tuple[Stage, ...]:
    """Shape the base, then place the lifts, each part after the same part below it."""
    plan, design, segment = plan_gravel(site), site.tools.design, site.segment
    base = _base_stages(site, plan, job_id, first, after)
    passes = site.tools.passes.of(Treatment.REGRAVELLING, segment.width_m)
    paced_min_per_m = plan.area_m2 / plan.pace.rate * 60
    parts = cut_lengths(
        segment.length_m,
        max(paced_min_per_m, passes.total_min_per_m),
        max(site.tools.outfit.work_min - design.stage.signs_min, 1.0),
    )
    stages = list(base)
    below: list[tuple[str, ...]] = [
        tuple(s.id for s in base if s.from_m < to_m and s.to_m > from_m) for from_m, to_m in parts
    ]
    for lift in range(1, plan.n_lifts + 1):
        for index, span_m in enumerate(parts):
            name = part_name(f"Lift {lift} of {plan.n_lifts}", index + 1, len(parts))
            stage = _lift_stage(
                site, plan, passes, job_id, first + len(stages), name, lift, span_m, below[index]
            )
            below[index] = (stage.id,)
            stages.append(stage)
    return tuple(stages)


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
    cycle = _cycle(site, load, source)
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
                    Quantity("loose gravel", loose * share, "m3", _from(source)),
                    Quantity("loads", n_loads(loose * share, load), "loads"),
                ),
                water_l=0.0,
                wait_min=design.stage.signs_min,
                least_min=stage_min,
                materials=((source.price_line, loose * share),),
            )
        )
    return tuple(stages)


def load_for(site: Site, source: GravelSource) -> float:
    """Loose gravel in one load, after body, legal payload and posted limits [m³].

    What is posted on the road, its bridges and the way there counts; where an engineer has signed
    for a heavier or a lighter truck, that counts instead.

    Raises
    ------
    InfeasibleError
        If the limit lets no loaded truck in.
    """
    outfit, gravel = site.tools.outfit, site.tools.design.gravel
    limits = [
        site.posted_t,
        site.segment.max_mass_t,
        *(feature.max_mass_t for feature in site.features),
        source.limit_t,
    ]
    posted = min((limit for limit in limits if limit is not None), default=None)
    if site.signed_t is not None:
        posted = site.signed_t
    payload = outfit.payload_t
    if posted is not None:
        payload = min(payload, posted - outfit.truck_mass_t)
    if payload < gravel.least_load_m3 * gravel.loose_t_m3:
        raise InfeasibleError(
            f"a limit of {posted:g} t on the road or on the way lets no loaded truck in; an empty"
            f" one weighs {outfit.truck_mass_t:g} t"
        )
    return load_volume(outfit.body_m3, payload, gravel.loose_t_m3, least_m3=gravel.least_load_m3)


def _pace(
    site: Site, lift_mm: float, area_m2: float, load_m3: float, source: GravelSource
) -> tuple[int, int, int, Pace]:
    design, outfit, segment = site.tools.design, site.tools.outfit, site.segment
    efficiency, bulking = design.grader.efficiency, design.gravel.bulking
    rolling = design.rolling
    passes = site.tools.passes.of(Treatment.REGRAVELLING, segment.width_m)
    rates = {
        "loader": source.loading_m3_h * efficiency / bulking,
        "grader": 60 * area_m2 / passes.total_min_per_m,
        "roller": roller_rate(
            rolling.drum_m - rolling.overlap_m,
            rolling.speed_km_h,
            lift_mm,
            rolling.n_passes,
            efficiency,
        ),
    }
    cycle = _cycle(site, load_m3, source)
    wanted = min(rates.values())
    n_wanted = trucks_to_match(wanted * bulking, load_m3, cycle, efficiency)
    n_trucks = min(outfit.n_trucks, n_wanted)
    rates["trucks"] = truck_rate(n_trucks, load_m3, cycle, efficiency) / bulking
    water_share = _water_m3(site, 1.0)
    n_water = 1
    if water_share > 0:
        one = water_truck_rate(
            outfit.tank_l / 1000,
            design.water.fill_min,
            site.tools.sources.water_km(segment),
            design.haul.loaded_km_h,
            design.water.spray_min,
            efficiency,
        )
        wanted = min(rates.values())
        n_water = min(outfit.n_water_trucks, max(1, -int(-wanted * water_share // one)))
        rates["water truck"] = n_water * one / water_share
    return n_trucks, n_wanted, n_water, slowest(rates)


def _cycle(site: Site, load_m3: float, source: GravelSource) -> float:
    haul = site.tools.design.haul
    loading = 60 * load_m3 / source.loading_m3_h
    return truck_cycle(
        loading, source.haul_km, haul.loaded_km_h, haul.empty_km_h, haul.dump_min, haul.spot_min
    )


def _water_m3(site: Site, compacted_m3: float) -> float:
    design = site.tools.design
    return water_volume(
        compacted_m3,
        design.gravel.dry_t_m3,
        design.water.pit_pct,
        design.water.target_pct,
        allowance=design.water.allowance,
    )


def _base_stages(
    site: Site, plan: GravelPlan, job_id: str, first: int, after: tuple[str, ...]
) -> tuple[Stage, ...]:
    design, segment = site.tools.design, site.segment
    book = site.tools.passes
    rules = book.rules(Treatment.RESHAPING)
    needs_teeth = plan.scarify_mm > 0 and site.tools.outfit.has_scarifier
    if needs_teeth:
        rules = (book.rules(Treatment.SCARIFY_REMIX)[0], *rules)
    passes = book.following(rules, segment.width_m)
    signs_min = design.stage.signs_min
    parts = cut_lengths(
        segment.length_m,
        passes.total_min_per_m,
        max(site.tools.outfit.work_min - signs_min, 1.0),
        longest_m=site.tools.policy.dispatch.open_windrow_m,
    )
    loosen = (
        f"Loosen {no_deeper_than(plan.scarify_mm)} so that the first lift bonds, not below the"
        " gravel"
        if plan.scarify_mm > 0
        else "Too little gravel to loosen: roughen the surface with the blade only"
    )
    stages = []
    for index, (from_m, to_m) in enumerate(parts):
        depth_mm = max(site.cut_mm, plan.scarify_mm)
        water_l, rows = depth_and_water(site, to_m - from_m, depth_mm)
        stages.append(
            make_stage(
                site,
                job_id=job_id,
                number=first + index,
                name=part_name("Shape the base", index + 1, len(parts)),
                span_m=(from_m, to_m),
                treatment=Treatment.REGRAVELLING,
                task="cutting",
                passes=passes,
                before=(
                    "Fix soft spots and open ditches first; gravel does not cure water",
                    loosen,
                    *transition_steps(site, from_m, to_m),
                ),
                later=("Close the windrow; the base carries the crown that the surface will have",),
                checks=(
                    f"Base at {percent(design.shape.crossfall_pct)} crown, no soft spot, no"
                    " standing water",
                ),
                after=after,
                quantities=(
                    Quantity("length", to_m - from_m, "m"),
                    Quantity("width", segment.width_m, "m"),
                    *rows,
                ),
                water_l=water_l,
                wait_min=signs_min,
                needs_attachment="scarifier" if needs_teeth else "",
            )
        )
    return tuple(stages)


def _lift_stage(
    site: Site,
    plan: GravelPlan,
    passes: PassSet,
    job_id: str,
    number: int,
    name: str,
    lift: int,
    span_m: tuple[float, float],
    after: tuple[str, ...],
) -> Stage:
    design, gravel = site.tools.design, site.tools.design.gravel
    from_m, to_m = span_m
    length = to_m - from_m
    at_m, area_m2 = _profile(site, plan.lift_mm, from_m, to_m)
    compacted = float(volume_between(at_m, area_m2)[-1])
    loose = loose_volume(compacted, gravel.bulking)
    loads = n_loads(loose, plan.load_m3)
    water_l = 1000 * _water_m3(site, compacted)
    paced_min = 60 * compacted / plan.pace.rate
    blade_min = sum(passes.minutes(length))
    hours = max(paced_min, blade_min) / 60
    is_last = lift == plan.n_lifts
    ramp = metres(gravel.ramp_m)
    return make_stage(
        site,
        job_id=job_id,
        number=number,
        name=name,
        span_m=span_m,
        treatment=Treatment.REGRAVELLING,
        task="hauling",
        passes=passes,
        before=(
            f"Set {loads} markers from the stake table; wet the surface below",
            "Dump each load from the end of the last heap up to the next marker, half the road"
            " at a time; the other half carries traffic",
            f"Even windrow of each half: about {_windrow_size(site, loose / length / 2)}",
            f"Water while mixing: {water_l:,.0f}{NBSP}L in all",
            *transition_steps(site, from_m, to_m, is_cutting=False),
        ),
        later=(
            f"Roll {design.rolling.n_passes} passes at {design.rolling.speed_km_h:g}"
            "\N{NO-BREAK SPACE}km/h, edges first, while it is moist",
            f"Ramp the open end over {ramp}; no gravel on pavement, deck or rails",
        ),
        checks=(
            f"Depth {plan.lift_mm:.0f}{NBSP}mm compacted: dig three holes",
            f"Crown {percent(design.shape.crossfall_pct)} by slope meter every"
            " 100\N{NO-BREAK SPACE}m",
            *(("Edge runs out to the shoulder, no lip",) if is_last else ()),
        ),
        end_state="All heaps spread and rolled, windrow closed, open end ramped and signed, both"
        " lanes passable.",
        after=after,
        support=(
            Support("haul_truck", plan.n_trucks, hours),
            Support("water_truck", plan.n_water_trucks, hours),
            Support("roller", 1, hours),
        ),
        quantities=(
            Quantity("length", length, "m"),
            Quantity("compacted lift", plan.lift_mm, "mm"),
            Quantity("compacted gravel", compacted, "m3"),
            Quantity("loose gravel", loose, "m3", _from(plan.source)),
            Quantity("gravel, dry mass", mass(compacted, gravel.dry_t_m3), "t"),
            Quantity("loads", loads, "loads", f"{cubic_metres(plan.load_m3)} loose each"),
            Quantity("water", water_l, "L"),
            Quantity("trucks", plan.n_trucks, "each", _who_waits(plan)),
        ),
        stakes=tuple(
            Stake(index + 1, at - from_m, f"lift {lift}, load {index + 1}")
            for index, at in enumerate(load_starts(at_m, area_m2, loads).tolist())
        ),
        water_l=water_l,
        wait_min=design.stage.signs_min,
        least_min=paced_min,
        materials=((plan.source.price_line, loose), ("water", water_l / 1000)),
    )


def _profile(
    site: Site, lift_mm: float, from_m: float, to_m: float
) -> tuple[list[float], list[float]]:
    """Chainages and areas of a lift: wider where the road is, nothing on decks and rails."""
    gravel = site.tools.design.gravel
    bare_m = {"bridge": gravel.deck_m, "rail_crossing": gravel.rails_m}
    bare = [
        (feature.at_m - bare_m[feature.kind] / 2, feature.at_m + bare_m[feature.kind] / 2)
        for feature in site.features
        if feature.kind in bare_m and feature.at_m is not None
    ]
    wider = [(low, high) for low, high, _ in site.widenings]
    ends = [end for stretch in (*bare, *wider) for end in stretch]
    cuts = sorted({from_m, to_m, *(end for end in ends if from_m < end < to_m)})
    at: list[float] = []
    area: list[float] = []
    for low, high in pairwise(cuts):
        middle = (low + high) / 2
        is_bare = any(start <= middle <= end for start, end in bare)
        width = site.width_at(low, high)
        here = 0.0 if is_bare else section_area(width, lift_mm, edge_slope=gravel.edge_slope)
        at += [low, high]
        area += [here, here]
    return at, area


def _windrow_size(site: Site, loose_m3_per_m: float) -> str:
    """Height and base of the triangle that holds so much loose gravel."""
    slope = site.tools.design.gravel.windrow_slope
    high_m = math.sqrt(loose_m3_per_m / slope)
    size = f"{millimetres(1000 * high_m)} high, {millimetres(2000 * slope * high_m)} wide"
    limit_mm = site.tools.design.zone.berm_close_mm
    # Half the road at a time keeps a lane open beside a ridge that nobody may cross
    return size + f"; over {limit_mm:.0f}{NBSP}mm nobody crosses it" * (1000 * high_m > limit_mm)


def _who_waits(plan: GravelPlan) -> str:
    """The slowest, the two that wait for it longest, and the trucks that would keep up."""
    idle = sorted(plan.pace.idle_share.items(), key=lambda each: -each[1])
    waits = ", ".join(
        f"{name} idle {percent(round(100 * share))}" for name, share in idle[:2] if share > 0.05
    )
    more = (
        f"; {plan.n_trucks_wanted} trucks would keep up"
        if plan.n_trucks_wanted > plan.n_trucks
        else ""
    )
    return f"slowest: {plan.pace.bottleneck}" + (f"; {waits}" if waits else "") + more


def _from(source: GravelSource) -> str:
    limit = "" if source.limit_t is None else f", {source.limit_t:g}{NBSP}t posted on the way"
    return f"{source.name}, {source.haul_km:.1f}{NBSP}km{limit}"
