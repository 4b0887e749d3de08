"""Adding gravel in lifts.

What is missing sets the depth; compaction sets the lifts. Shape comes first and has its own
stages, so that depth is not spent on filling a bad crown. Every lift is cut into lengths that
the slowest of loader, trucks, grader, roller and water can finish in a shift.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

from crossfall.design.crown import crown_steps, missing_crown_m, reached_pct
from crossfall.design.hauling import load_for, match_fleet, mixing_water_m3, source_words
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
from crossfall.formulas.grader import scarify_depth
from crossfall.formulas.gravel import (
    loose_volume,
    mass,
    n_lifts,
    n_loads,
    section_area,
)
from crossfall.formulas.hauling import Pace
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
    crown_m: float
    """Height at the centre that the shape is short of, brought in before the lifts [m]."""


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
    n_trucks, n_wanted, n_water, pace = match_fleet(site, lift_mm, area, load, source)
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
        crown_m=missing_crown_m(site),
    )


def regravel_stages(
    site: Site, job_id: str, first: int, after: tuple[str, ...]
) -> tuple[Stage, ...]:
    """Shape the base, then place the lifts, each part after the same part below it."""
    plan, design, segment = plan_gravel(site), site.tools.design, site.segment
    base = _base_stages(site, plan, job_id, first, after)
    passes = site.tools.passes.of(Treatment.REGRAVELLING, segment.width_m)
    limit_min = max(site.tools.outfit.work_min - design.stage.signs_min, 1.0)

    def parts_of(area_m2: float) -> tuple[tuple[float, float], ...]:
        paced_min_per_m = area_m2 / plan.pace.rate * 60
        return cut_lengths(
            segment.length_m, max(paced_min_per_m, passes.total_min_per_m), limit_min
        )

    layers = [
        _Layer(f"Lift {n} of {plan.n_lifts}", f"lift {n}", n == plan.n_lifts)
        for n in range(1, plan.n_lifts + 1)
    ]
    stages, below = list(base), list(base)
    if plan.crown_m > 0:
        # The shape is put right by gravel of its own, so that no depth is spent on it
        thick = max(1, math.ceil(1000 * plan.crown_m / design.gravel.lift_limit_mm - 1e-9))
        each_m = plan.crown_m / thick
        layers = [
            *(
                _Layer("Gravel for the crown", f"crown {n}", False, each_m)
                if thick == 1
                else _Layer(
                    f"Gravel for the crown, layer {n} of {thick}", f"crown {n}", False, each_m
                )
                for n in range(1, thick + 1)
            ),
            *layers,
        ]
    for layer in layers:
        parts = parts_of(layer.area_m2(plan, segment.width_m, design.gravel.edge_slope))
        laid = []
        for index, span_m in enumerate(parts):
            rests_on = tuple(
                each.id for each in below if each.from_m < span_m[1] and each.to_m > span_m[0]
            )
            name = part_name(layer.name, index + 1, len(parts))
            laid.append(
                _lift_stage(
                    site, plan, layer, passes, job_id, first + len(stages) + index, name, span_m,
                    rests_on,
                )
            )  # fmt: skip
        stages += laid
        below = laid
    return tuple(stages)


@dataclass(frozen=True, slots=True)
class _Layer:
    """One layer over the whole length: a lift of even thickness, or a wedge for the crown."""

    name: str
    load_name: str
    is_last: bool
    crown_m: float = 0.0
    """Thickness at the centre of a wedge that runs out to the edges; 0 is a lift [m]."""

    def area_m2(self, plan: GravelPlan, width_m: float, edge_slope: float) -> float:
        """Section across a road of this width [m²]."""
        if self.crown_m > 0:
            return width_m * self.crown_m / 2
        return section_area(width_m, plan.lift_mm, edge_slope=edge_slope)

    def quantities(self, plan: GravelPlan, compacted_m3: float) -> tuple[Quantity, ...]:
        """Thickness and compacted volume; shape and depth are never added up."""
        if self.crown_m > 0:
            thick = Quantity("at the centre, nothing at the edges", 1000 * self.crown_m, "mm")
            return thick, Quantity("compacted gravel for shape", compacted_m3, "m3")
        return (
            Quantity("compacted lift", plan.lift_mm, "mm"),
            Quantity("compacted gravel", compacted_m3, "m3"),
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
                    *crown_steps(site),
                    *transition_steps(site, from_m, to_m),
                ),
                later=(
                    "Close the windrow; the crown is built here, not by the depth of the lifts"
                    if plan.crown_m == 0
                    else "Close the windrow; what the crown is short of comes as gravel of its own",
                ),
                checks=(
                    f"Base at {percent(min(reached_pct(site), design.shape.crossfall_pct))} crown,"
                    " no soft spot, no standing water",
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
    layer: _Layer,
    passes: PassSet,
    job_id: str,
    number: int,
    name: str,
    span_m: tuple[float, float],
    after: tuple[str, ...],
) -> Stage:
    design, gravel = site.tools.design, site.tools.design.gravel
    from_m, to_m = span_m
    length = to_m - from_m
    at_m, area_m2 = _profile(site, plan, layer, from_m, to_m)
    compacted = float(volume_between(at_m, area_m2)[-1])
    loose = loose_volume(compacted, gravel.bulking)
    loads = n_loads(loose, plan.load_m3)
    water_l = 1000 * mixing_water_m3(site, compacted)
    paced_min = 60 * compacted / plan.pace.rate
    blade_min = sum(passes.minutes(length))
    hours = max(paced_min, blade_min) / 60
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
            "Dump each load from the end of the last heap up to the next marker, all on one half of"
            " the road" + _other_half(site),
            f"Even windrow: about {_windrow_size(site, loose / length)}",
            f"Water while mixing: {water_l:,.0f}{NBSP}L in all",
            *transition_steps(site, from_m, to_m, is_cutting=False),
        ),
        later=(
            f"Roll {design.rolling.n_passes} passes at {design.rolling.speed_km_h:g}"
            "\N{NO-BREAK SPACE}km/h, edges first, while it is moist",
            f"Ramp the open end over {ramp}; no gravel on pavement, deck or rails",
        ),
        checks=(
            f"{_depth_check(plan, layer)} compacted: dig three holes",
            f"Crown {percent(design.shape.crossfall_pct)} by slope meter every"
            " 100\N{NO-BREAK SPACE}m",
            *(("Edge runs out to the shoulder, no lip",) if layer.is_last else ()),
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
            *layer.quantities(plan, compacted),
            Quantity("loose gravel", loose, "m3", source_words(plan.source)),
            Quantity("gravel, dry mass", mass(compacted, gravel.dry_t_m3), "t"),
            Quantity("loads", loads, "loads", f"{cubic_metres(plan.load_m3)} loose each"),
            Quantity("water", water_l, "L"),
            Quantity("trucks", plan.n_trucks, "each", _who_waits(plan)),
        ),
        stakes=tuple(
            Stake(index + 1, at - from_m, f"{layer.load_name}, load {index + 1}")
            for index, at in enumerate(load_starts(at_m, area_m2, loads).tolist())
        ),
        water_l=water_l,
        wait_min=design.stage.signs_min,
        least_min=paced_min,
        materials=((plan.source.price_line, loose), ("water", water_l / 1000)),
    )


def _depth_check(plan: GravelPlan, layer: _Layer) -> str:
    if layer.crown_m > 0:
        return f"Centre {1000 * layer.crown_m:.0f}{NBSP}mm, nothing at the edges,"
    return f"Depth {plan.lift_mm:.0f}{NBSP}mm"


def _profile(
    site: Site, plan: GravelPlan, layer: _Layer, from_m: float, to_m: float
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
        here = 0.0 if is_bare else layer.area_m2(plan, width, gravel.edge_slope)
        at += [low, high]
        area += [here, here]
    return at, area


def _other_half(site: Site) -> str:
    """What the half without heaps is for, by whether a lane is left on it."""
    if site.segment.width_m / 2 >= site.tools.design.zone.lane_least_m:
        return "; the other half carries traffic"
    left = f"{site.segment.width_m / 2:.1f}{NBSP}m"
    return (
        f"; {left} beside them is no lane: close the road or send traffic round until it is spread"
    )


def _windrow_size(site: Site, loose_m3_per_m: float) -> str:
    """Height and base of the triangle that holds so much loose gravel."""
    slope = site.tools.design.gravel.windrow_slope
    high_m = math.sqrt(loose_m3_per_m / slope)
    size = f"{millimetres(1000 * high_m)} high, {millimetres(2000 * slope * high_m)} wide"
    limit_mm = site.tools.design.zone.berm_close_mm
    # Heaps on one half keep a lane open beside a ridge that nobody may cross
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
