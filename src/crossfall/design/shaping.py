"""Work with the gravel that is there: light blading, reshaping, scarify and remix.

Light blading smooths and never cuts; reshaping cuts below the washboard and lays the gravel
back to crown; scarifying loosens the whole layer first, never deeper than the gravel there.
"""

from __future__ import annotations

from crossfall.design.crown import crown_steps, edge_cut_mm
from crossfall.design.passes import PassSet
from crossfall.design.site import Site
from crossfall.design.stages import cut_lengths, depth_and_water, make_stage, part_name
from crossfall.design.transitions import transition_steps
from crossfall.design.words import NBSP, millimetres, no_deeper_than, percent
from crossfall.formulas.grader import scarify_depth
from crossfall.formulas.gravel import windrow_volume
from crossfall.model import Quantity, Stage, Support, Treatment
from crossfall.model.need import Task


def blading_stages(
    site: Site, job_id: str, first: int, after: tuple[str, ...]
) -> tuple[Stage, ...]:
    """Light blading: one pass over each strip, fines carried in and spread again."""
    shape = site.tools.design.shape
    light_mm = min(shape.light_cut_mm, max(site.cuttable_mm, shape.light_cut_least_mm))
    before = (f"Take the high spots only, no deeper than {no_deeper_than(light_mm)}",)
    later = ("Leave no ridge at the edge and none in the middle",)
    return _shaping(
        site,
        job_id,
        first,
        after,
        treatment=Treatment.BLADING,
        task="light_blading",
        name="Light blading",
        depth_mm=light_mm,
        before=before,
        later=later,
        checks=(
            "No washboard felt at travel speed",
            f"Crown about {percent(shape.crossfall_pct)} and not flattened",
            "Water can leave the road on both sides",
        ),
    )


def windrow_stages(
    site: Site, job_id: str, first: int, after: tuple[str, ...]
) -> tuple[Stage, ...]:
    """Spread a windrow that was left, before anybody hits it."""
    shape = site.tools.design.shape
    side = site.condition.windrow_side if site.condition else None
    where = "on both sides" if side == "both" else f"on the {side} side" if side else ""
    return _shaping(
        site,
        job_id,
        first,
        after,
        treatment=Treatment.WINDROW_PICKUP,
        task="light_blading",
        name="Pick up the windrow",
        depth_mm=0.0,
        before=(f"Find the windrow {where}".rstrip() + "; take out sod and stones by hand",),
        later=("Leave no ridge; rock goes only where the foreman has approved",),
        checks=("No windrow anywhere on the length",),
        windrow_m3_per_m=windrow_volume(shape.windrow_base_m, shape.windrow_height_m),
    )


def reshaping_stages(
    site: Site, job_id: str, first: int, after: tuple[str, ...], *, name: str = "Reshape"
) -> tuple[Stage, ...]:
    """Cut below the washboard, mix, lay back to crown."""
    cut = site.cut_mm
    edge_mm = edge_cut_mm(site)
    deeper = "; deeper only at the edges, for the crown" if edge_mm > cut else ", and no deeper"
    before = (
        (f"Cut {no_deeper_than(cut)} deep, {_how_low(site)}{deeper}",)
        if cut > 0
        else ("Too little gravel to cut: only draw the loose gravel in and lay it to crown",)
    )
    return _shaping(
        site,
        job_id,
        first,
        after,
        treatment=Treatment.RESHAPING,
        task="cutting",
        name=name,
        depth_mm=cut,
        before=(*before, *crown_steps(site)),
        later=(
            "Close the windrow before the last pass; leave no ridge at the edge",
            "Let traffic pack the whole width while it is moist; roll where a roller is at hand",
        ),
        checks=_shape_checks(site),
    )


def remix_stages(site: Site, job_id: str, first: int, after: tuple[str, ...]) -> tuple[Stage, ...]:
    """Loosen the layer with the teeth, mix it and lay it back to crown."""
    design = site.tools.design
    depth = scarify_depth(max(site.cut_mm, design.gravel.scarify_mm), *_gravel_and_keep(site))
    before = (
        f"Teeth {no_deeper_than(depth)} deep, never below the gravel; stop where clay comes up",
        *_sift_step(site),
        *crown_steps(site),
    )
    return _shaping(
        site,
        job_id,
        first,
        after,
        treatment=Treatment.SCARIFY_REMIX,
        task="cutting",
        name="Scarify and remix",
        depth_mm=depth,
        before=before,
        later=(
            "Stones that the teeth bring up go only where the foreman has approved, never into"
            " a ridge along the shoulder",
        ),
        checks=(*_shape_checks(site), "Coarse and fine are evenly mixed across the road"),
        needs_attachment="scarifier",
        is_rolled=True,
    )


def _treated_step(site: Site) -> tuple[str, ...]:
    """A road under dust control keeps what was paid for."""
    if not site.is_treated:
        return ()
    return ("Treated road: only while it is moist; keep all of it on the road, none to the ditch",)


def _sift_step(site: Site) -> tuple[str, ...]:
    gap_mm = site.tools.design.shape.sift_gap_mm
    if gap_mm <= 0:
        return ()
    return (
        f"Screen in place: what stays on the {gap_mm:.0f}{NBSP}mm gap of the teeth is loaded and"
        " carried where the foreman has approved; nothing of it lies on the road or the shoulder"
        " at shift end",
    )


def _shaping(
    site: Site,
    job_id: str,
    first: int,
    after: tuple[str, ...],
    *,
    treatment: Treatment,
    task: Task,
    name: str,
    depth_mm: float,
    before: tuple[str, ...],
    later: tuple[str, ...],
    checks: tuple[str, ...],
    needs_attachment: str = "",
    is_rolled: bool = False,
    windrow_m3_per_m: float = 0.0,
) -> tuple[Stage, ...]:
    design, segment = site.tools.design, site.segment
    passes = site.tools.passes.of(treatment, segment.width_m)
    signs_min = design.stage.signs_min if task == "cutting" else 0.0
    parts = cut_lengths(
        segment.length_m,
        passes.total_min_per_m,
        max(site.tools.outfit.work_min - signs_min, 1.0),
        longest_m=site.tools.policy.dispatch.open_windrow_m,
    )
    stages = []
    for index, (from_m, to_m) in enumerate(parts):
        length_m = to_m - from_m
        water_l, rows = depth_and_water(site, length_m, depth_mm)
        stages.append(
            make_stage(
                site,
                job_id=job_id,
                number=first + index,
                name=part_name(name, index + 1, len(parts)),
                span_m=(from_m, to_m),
                treatment=treatment,
                task=task,
                passes=passes,
                before=(
                    *_treated_step(site),
                    *before,
                    *transition_steps(site, from_m, to_m, is_cutting=task == "cutting"),
                ),
                later=(*_rolling_step(site, is_rolled), *later),
                checks=checks,
                after=after,
                support=_roller(passes, length_m, is_rolled),
                quantities=(
                    Quantity("length", length_m, "m"),
                    Quantity("width", segment.width_m, "m"),
                    *_windrow(site, windrow_m3_per_m * length_m),
                    *rows,
                ),
                water_l=water_l,
                wait_min=signs_min,
                needs_attachment=needs_attachment,
            )
        )
    return tuple(stages)


def _windrow(site: Site, loose_m3: float) -> tuple[Quantity, ...]:
    """About how much gravel a left windrow gives back."""
    if loose_m3 <= 0:
        return ()
    shape = site.tools.design.shape
    size = f"{shape.windrow_base_m:.1f}{NBSP}m wide, {shape.windrow_height_m * 1000:.0f}{NBSP}mm"
    return (Quantity("loose gravel in the windrow", loose_m3, "m3", f"{size} high assumed"),)


def _roller(passes: PassSet, length_m: float, is_rolled: bool) -> tuple[Support, ...]:
    if not is_rolled:
        return ()
    return (Support("roller", 1, sum(passes.minutes(length_m)) / 60),)


def _rolling_step(site: Site, is_rolled: bool) -> tuple[str, ...]:
    if not is_rolled:
        return ()
    return (f"Roll {site.tools.design.rolling.n_passes} passes, edges first, while it is moist",)


def _how_low(site: Site) -> str:
    """Whether the cut reaches below what is worn into the surface."""
    if site.cut_mm >= site.wanted_cut_mm:
        return "below the washboard"
    kept = millimetres(site.tools.design.shape.keep_uncut_mm)
    return f"not below the washboard, for {kept} of gravel stays uncut"


def _shape_checks(site: Site) -> tuple[str, ...]:
    wanted = percent(site.tools.design.shape.crossfall_pct)
    return (
        f"Crown {wanted} by slope meter every 100\N{NO-BREAK SPACE}m, straight from centre to edge",
        "No washboard left under the loose gravel",
        "No high edge; water runs off into the ditch",
    )


def _gravel_and_keep(site: Site) -> tuple[float, float]:
    return site.gravel_mm, site.tools.design.shape.keep_uncut_mm
