"""Shoulders, high edges, ditches and culverts: letting the water away from the road."""

from __future__ import annotations

import math

from crossfall.design.passes import PassSet
from crossfall.design.site import Site
from crossfall.design.stages import PASSABLE, cut_lengths, depth_and_water, make_stage, part_name
from crossfall.design.transitions import transition_steps
from crossfall.design.words import metres, percent
from crossfall.formulas.gravel import n_loads
from crossfall.formulas.hauling import truck_cycle
from crossfall.model import Operation, PointFeature, Quantity, Stage, Support, Treatment

_CLEARANCE = "No cut before utilities are located and marked, and the clearances are in hand"


def shoulder_stages(
    site: Site, job_id: str, first: int, after: tuple[str, ...]
) -> tuple[Stage, ...]:
    """Bring gravel and fines back from the shoulders and lay the edge to slope."""
    return _edge_work(
        site,
        job_id,
        first,
        after,
        treatment=Treatment.SHOULDER_PULLING,
        name="Pull shoulders",
        before=(_CLEARANCE, "Do not undercut the toe of a bank"),
        later=("Take out sod and stones; they go only where the foreman has approved",),
        checks=("Shoulder falls away at least as steeply as the road, no high edge",),
    )


def secondary_ditch_stages(
    site: Site, job_id: str, first: int, after: tuple[str, ...]
) -> tuple[Stage, ...]:
    """Take off the high edge that holds water on the road."""
    return _edge_work(
        site,
        job_id,
        first,
        after,
        treatment=Treatment.SECONDARY_DITCH_REMOVAL,
        name="Remove secondary ditch",
        before=(_CLEARANCE, "Clean gravel is bladed back in; sod goes onto the foreslope"),
        later=("Open an outlet wherever water stood",),
        checks=("A straight fall from the crown to the foreslope, no channel at the edge",),
    )


def ditch_stages(site: Site, job_id: str, first: int, after: tuple[str, ...]) -> tuple[Stage, ...]:
    """Clean the ditches, one side after the other, outlet first."""
    design, segment, outfit = site.tools.design, site.segment, site.tools.outfit
    passes = site.tools.passes.of(Treatment.DITCH_CLEANING, segment.width_m)
    signs_min = design.stage.signs_min
    truck_min_per_m = _truck_min_per_m(site)
    n_trucks = min(
        max(outfit.n_trucks, 1), max(1, math.ceil(truck_min_per_m / passes.total_min_per_m - 1e-9))
    )
    parts = cut_lengths(
        segment.length_m,
        max(passes.total_min_per_m, truck_min_per_m / n_trucks),
        max(outfit.work_min - signs_min, 1.0),
        longest_m=site.tools.policy.dispatch.open_windrow_m,
    )
    culverts = [f for f in site.features if f.kind == "culvert"]
    stages: list[Stage] = []
    for side in ("left", "right"):
        for index, (from_m, to_m) in enumerate(parts):
            spoil_m3 = design.drain.spoil_m3_per_m * (to_m - from_m)
            hauled_m3 = spoil_m3 * design.drain.hauled_share
            loads = n_loads(hauled_m3, _spoil_load_m3(site))
            name = part_name(f"Clean ditch, {side} side", index + 1, len(parts))
            stages.append(
                make_stage(
                    site,
                    job_id=job_id,
                    number=first + len(stages),
                    name=name,
                    span_m=(from_m, to_m),
                    treatment=Treatment.DITCH_CLEANING,
                    task="cutting",
                    passes=passes,
                    before=(
                        _CLEARANCE,
                        "Start at the outlet and work uphill; do not undercut the bank",
                        *_keep_markers(culverts, from_m, to_m),
                    ),
                    later=("Haul away what the foreslope cannot take; sweep the shoulder",),
                    checks=(
                        f"Bottom {design.drain.bottom_below_m:g}\N{NO-BREAK SPACE}m or more below"
                        " the edge of the subgrade",
                        "Water runs to the outlet; outlet and culvert ends are open",
                    ),
                    end_state="Ditch runs, no spoil on the road, wheel tracks clear, no open cut"
                    " beside the travelled way without signs.",
                    after=after,
                    support=_spoil_trucks(n_trucks, truck_min_per_m * (to_m - from_m), loads),
                    quantities=(
                        Quantity("length, one side", to_m - from_m, "m"),
                        Quantity("loose spoil", spoil_m3, "m3"),
                        Quantity("loose spoil hauled away", hauled_m3, "m3"),
                        Quantity("loads of spoil", loads, "loads", "a loader fills the trucks"),
                    ),
                    wait_min=signs_min,
                    least_min=truck_min_per_m * (to_m - from_m) / n_trucks,
                )
            )
    return tuple(stages)


def culvert_stages(
    site: Site, job_id: str, first: int, after: tuple[str, ...]
) -> tuple[Stage, ...]:
    """Clear culvert ends by hand; one trip along the road stops at each of them."""
    drain, segment = site.tools.design.drain, site.segment
    culverts = [f for f in site.features if f.kind == "culvert" and f.at_m is not None]
    each_min = drain.culvert_min
    a_day = max(1, int(site.tools.outfit.work_min // each_min))
    n_culverts = max(1, len(culverts))
    groups = [(start, min(start + a_day, n_culverts)) for start in range(0, n_culverts, a_day)]
    stages = []
    for index, (start, end) in enumerate(groups):
        places = culverts[start:end]
        minutes = each_min * (end - start)
        by_hand = PassSet(
            (Operation("stop at each culvert, clear both ends by hand", 1, 0.0),),
            (minutes / segment.length_m,),
            _culvert_steps(places),
        )
        stages.append(
            make_stage(
                site,
                job_id=job_id,
                number=first + index,
                name=part_name("Clear culverts", index + 1, len(groups)),
                span_m=(0.0, segment.length_m),
                treatment=Treatment.CULVERT_CLEARING,
                task="hand_work",
                passes=by_hand,
                before=(
                    "No digging before utilities are located; dig by hand near the marks",
                    "Nobody goes into a pipe; nobody stands downstream of a plug that may go",
                ),
                later=("Spoil goes clear of the channel and off the road",),
                checks=("Light or a clear view through the pipe", "Both ends open, apron sound"),
                end_state="Culverts open, markers standing, no tool or spoil on the road.",
                after=after,
                quantities=(Quantity("culverts to clear", end - start, "each"),),
                n_people=drain.n_hands,
            )
        )
    return tuple(stages)


def _edge_work(
    site: Site,
    job_id: str,
    first: int,
    after: tuple[str, ...],
    *,
    treatment: Treatment,
    name: str,
    before: tuple[str, ...],
    later: tuple[str, ...],
    checks: tuple[str, ...],
) -> tuple[Stage, ...]:
    design, segment = site.tools.design, site.segment
    passes = site.tools.passes.of(treatment, segment.width_m)
    signs_min = design.stage.signs_min
    parts = cut_lengths(
        segment.length_m,
        passes.total_min_per_m,
        max(site.tools.outfit.work_min - signs_min, 1.0),
        longest_m=site.tools.policy.dispatch.open_windrow_m,
    )
    crown = percent(design.shape.crossfall_pct)
    stages = []
    for index, (from_m, to_m) in enumerate(parts):
        length_m = to_m - from_m
        water_l, rows = depth_and_water(site, length_m, site.cut_mm)
        stages.append(
            make_stage(
                site,
                job_id=job_id,
                number=first + index,
                name=part_name(name, index + 1, len(parts)),
                span_m=(from_m, to_m),
                treatment=treatment,
                task="cutting",
                passes=passes,
                before=(*before, *transition_steps(site, from_m, to_m)),
                later=later,
                checks=(*checks, f"Crown {crown} from centre to edge"),
                end_state=PASSABLE,
                after=after,
                quantities=(
                    Quantity("length, both sides", length_m, "m"),
                    Quantity(
                        "loose gravel reclaimed",
                        design.drain.reclaim_m3_per_m * length_m,
                        "m3",
                        "assumed; only what is clean goes back",
                    ),
                    Quantity("width", segment.width_m, "m"),
                    *rows,
                ),
                water_l=water_l,
                wait_min=signs_min,
            )
        )
    return tuple(stages)


def _truck_min_per_m(site: Site) -> float:
    """Minutes of one truck for the spoil of a metre of one side [min/m]."""
    haul, drain = site.tools.design.haul, site.tools.design.drain
    load_m3 = _spoil_load_m3(site)
    loading = 60 * load_m3 / haul.default_loading_m3_h
    cycle = truck_cycle(
        loading, drain.spoil_haul_km, haul.loaded_km_h, haul.empty_km_h, haul.dump_min,
        haul.spot_min,
    )  # fmt: skip
    loads_per_m = drain.spoil_m3_per_m * drain.hauled_share / load_m3
    return loads_per_m * cycle / site.tools.design.grader.efficiency


def _spoil_load_m3(site: Site) -> float:
    """Loose spoil in one load; taken as heavy as gravel, for wet it is no lighter [m³]."""
    outfit = site.tools.outfit
    return min(outfit.body_m3, outfit.payload_t / site.tools.design.hauled_t_m3)


def _spoil_trucks(n_trucks: int, truck_min: float, loads: int) -> tuple[Support, ...]:
    return (Support("haul_truck", n_trucks, truck_min / n_trucks / 60),) if loads else ()


def _keep_markers(culverts: list[PointFeature], from_m: float, to_m: float) -> tuple[str, ...]:
    here = [c for c in culverts if c.at_m is not None and from_m <= c.at_m <= to_m]
    if not here:
        return ()
    places = ", ".join(metres(culvert.at_m or 0.0) for culvert in here)
    return (f"Hand dig at culvert ends: {places}",)


def _culvert_steps(places: list[PointFeature]) -> tuple[str, ...]:
    if not places:
        return ("Find the blocked culvert; open outlet, then inlet — no culvert is on the map",)
    return tuple(
        f"At {metres(place.at_m or 0.0)} {place.name or 'culvert'}: open outlet, then inlet"
        for place in places
    )
