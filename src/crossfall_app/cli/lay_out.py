"""Laying out work before any plan: of a road in the workspace, or of any piece of road."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from crossfall.errors import InputError
from crossfall_app.cli.alone import is_treatment, job_json, lay_out_alone
from crossfall_app.cli.places import (
    JsonOption,
    WorkspaceOption,
    a_day,
    the_workspace,
    usual_first_day,
)
from crossfall_app.cli.screen import SCREENS, screen
from crossfall_app.cli.speak import new_table, say, say_json, say_table

if TYPE_CHECKING:
    from crossfall.model import District, Job, Need, Segment, Stage


def design(
    what: Annotated[
        str,
        typer.Argument(
            metavar="TREATMENT|ROAD",
            help="A treatment, or ditch, culvert or zone to screen, or a road's name or id.",
        ),
    ],
    treatment: Annotated[
        str | None, typer.Option(help="For a road: what to do; what it needs when left out.")
    ] = None,
    on: Annotated[
        str | None,
        typer.Option(metavar="DAY", help="For a road: the day's moisture; today when left out."),
    ] = None,
    length_m: Annotated[float | None, typer.Option(help="Length of the road.")] = None,
    length_km: Annotated[float | None, typer.Option(help="The same in kilometres.")] = None,
    length_mi: Annotated[float | None, typer.Option(help="The same in miles.")] = None,
    length_ft: Annotated[float | None, typer.Option(help="The same in feet.")] = None,
    width_m: Annotated[float | None, typer.Option(help="Width of the gravel; 7 m.")] = None,
    width_ft: Annotated[float | None, typer.Option(help="The same in feet.")] = None,
    depth_mm: Annotated[
        float | None, typer.Option(help="Compacted gravel to place; what is missing to 200 mm.")
    ] = None,
    depth_in: Annotated[float | None, typer.Option(help="The same in inches.")] = None,
    gravel_mm: Annotated[float | None, typer.Option(help="Gravel that is there; 100 mm.")] = None,
    crossfall_pct: Annotated[float | None, typer.Option(help="Slope that is there.")] = None,
    washboard_mm: Annotated[float | None, typer.Option(help="Washboard, trough to crest.")] = None,
    moisture_pct: Annotated[
        float | None, typer.Option(help="Of the surface; no water for shaping when left out.")
    ] = None,
    haul_km: Annotated[float | None, typer.Option(help="Pit to the work, one way.")] = None,
    haul_mi: Annotated[float | None, typer.Option(help="The same in miles.")] = None,
    water_km: Annotated[float | None, typer.Option(help="Water to the work, one way.")] = None,
    trucks: Annotated[int | None, typer.Option(help="Trucks that can be had.")] = None,
    body_m3: Annotated[float | None, typer.Option(help="Loose gravel in one truck.")] = None,
    payload_t: Annotated[float | None, typer.Option(help="Legal payload of one truck.")] = None,
    limit_t: Annotated[float | None, typer.Option(help="Posted limit, loaded truck.")] = None,
    truck_t: Annotated[float | None, typer.Option(help="Empty truck; 11 t.")] = None,
    tank_l: Annotated[float | None, typer.Option(help="Tank of the water truck.")] = None,
    blade_m: Annotated[float | None, typer.Option(help="Moldboard.")] = None,
    shift_h: Annotated[float | None, typer.Option(help="Length of a shift.")] = None,
    bulking: Annotated[float | None, typer.Option(help="Loose over compacted.")] = None,
    edge_slope: Annotated[
        float | None, typer.Option(help="Run-out of each edge, horizontal to vertical.")
    ] = None,
    culvert_at_m: Annotated[list[float] | None, typer.Option(help="A culvert; repeat it.")] = None,
    bridge_at_m: Annotated[list[float] | None, typer.Option(help="A bridge; repeat it.")] = None,
    rail_at_m: Annotated[
        list[float] | None, typer.Option(help="A rail crossing; repeat it.")
    ] = None,
    left_z: Annotated[float | None, typer.Option(help="Ditch: side to 1 vertical; 4.")] = None,
    right_z: Annotated[float | None, typer.Option(help="Ditch: other side; 2.")] = None,
    ditch_depth_m: Annotated[float | None, typer.Option(help="Ditch: until it spills.")] = None,
    ditch_depth_ft: Annotated[float | None, typer.Option(help="The same in feet.")] = None,
    slope_pct: Annotated[float | None, typer.Option(help="Ditch, culvert: its fall.")] = None,
    levels: Annotated[
        Path | None, typer.Option(metavar="CSV", help="Ditch: a survey with at_m, level_m.")
    ] = None,
    roughness_n: Annotated[
        float | None, typer.Option(help="Manning's; 0.030 grass, 0.024 corrugated pipe.")
    ] = None,
    runoff_c: Annotated[
        float | None, typer.Option(help="Gravel 0.70, slope 0.50, grass 0.35, woods 0.20.")
    ] = None,
    rain_mm_h: Annotated[
        float | None, typer.Option(help="Rain of the time of concentration.")
    ] = None,
    rain_in_h: Annotated[float | None, typer.Option(help="The same in inches.")] = None,
    over_h: Annotated[float | None, typer.Option(help="Averaged over; half an hour.")] = None,
    area_ha: Annotated[float | None, typer.Option(help="Area that drains there.")] = None,
    area_ac: Annotated[float | None, typer.Option(help="The same in acres.")] = None,
    flow_m3_s: Annotated[float | None, typer.Option(help="Culvert: what comes.")] = None,
    diameter_mm: Annotated[float | None, typer.Option(help="Culvert: its diameter.")] = None,
    diameter_in: Annotated[float | None, typer.Option(help="The same in inches.")] = None,
    posted_km_h: Annotated[float | None, typer.Option(help="Zone: posted speed.")] = None,
    posted_mph: Annotated[float | None, typer.Option(help="The same in mph.")] = None,
    offset_m: Annotated[float | None, typer.Option(help="Zone: width closed.")] = None,
    offset_ft: Annotated[float | None, typer.Option(help="The same in feet.")] = None,
    stay_min: Annotated[float | None, typer.Option(help="Zone: minutes in one place; 240.")] = None,
    adt: Annotated[float | None, typer.Option(help="Zone: vehicles a day; 50.")] = None,
    beside: Annotated[
        bool, typer.Option("--beside", help="Zone: takes the shoulder, no lane.")
    ] = False,
    widen: Annotated[
        list[str] | None,
        typer.Option(metavar="FROM-TO=M", help="Wider by M from and to metres; repeat it."),
    ] = None,
    treated: Annotated[
        bool, typer.Option("--treated", help="Dust control lies on it from before.")
    ] = False,
    sift_gap_mm: Annotated[
        float | None, typer.Option(help="scarify_remix: screen in place, gap of the teeth.")
    ] = None,
    stakes: Annotated[bool, typer.Option("--stakes", help="Print every stake.")] = False,
    units: Annotated[str, typer.Option(help="Show in metric or us.")] = "metric",
    workspace: WorkspaceOption = None,
    as_json: JsonOption = False,
) -> None:
    """Lay out work: passes, loads, stakes, water, hours, cost.

    With a treatment's name it needs no workspace: give the length of the road and whatever else
    you know. The words ditch, culvert and zone screen drainage and a work zone instead. With a
    road's name it lays out the work on that road of the workspace, with --treatment or what the
    road needs. Each job comes in stages that fit a shift and leave the
    road passable.
    """
    given: dict[str, Any] = {
        "length_m": length_m, "length_km": length_km, "length_mi": length_mi,
        "length_ft": length_ft, "width_m": width_m, "width_ft": width_ft, "depth_mm": depth_mm,
        "depth_in": depth_in, "gravel_mm": gravel_mm, "crossfall_pct": crossfall_pct,
        "washboard_mm": washboard_mm, "moisture_pct": moisture_pct, "haul_km": haul_km,
        "haul_mi": haul_mi, "water_km": water_km, "trucks": trucks, "body_m3": body_m3,
        "payload_t": payload_t, "limit_t": limit_t, "truck_t": truck_t, "tank_l": tank_l,
        "blade_m": blade_m, "shift_h": shift_h, "bulking": bulking, "edge_slope": edge_slope,
        "culverts_at_m": culvert_at_m, "bridges_at_m": bridge_at_m, "rails_at_m": rail_at_m,
        "sift_gap_mm": sift_gap_mm, "widenings": _widenings(widen), "is_treated": treated or None,
    }  # fmt: skip
    screened: dict[str, Any] = {
        "left_z": left_z, "right_z": right_z, "ditch_depth_m": ditch_depth_m,
        "ditch_depth_ft": ditch_depth_ft, "slope_pct": slope_pct, "levels": levels,
        "roughness_n": roughness_n, "runoff_c": runoff_c, "rain_mm_h": rain_mm_h,
        "rain_in_h": rain_in_h, "over_h": over_h, "area_ha": area_ha, "area_ac": area_ac,
        "flow_m3_s": flow_m3_s, "diameter_mm": diameter_mm, "diameter_in": diameter_in,
        "posted_km_h": posted_km_h, "posted_mph": posted_mph, "offset_m": offset_m,
        "offset_ft": offset_ft, "stay_min": stay_min, "adt": adt, "beside": beside or None,
    }  # fmt: skip
    if what in SCREENS:
        _refuse_stray(given, f"a treatment's name, not with {what}")
        screen(what, screened, units=units, as_json=as_json)
        return
    _refuse_stray(screened, "ditch, culvert or zone")
    if is_treatment(what):
        if treatment is not None or on is not None:
            raise InputError(f"treatment and on go with a road's name; {what} is a treatment")
        lay_out_alone(what, given, units=units, with_stakes=stakes, as_json=as_json)
        return
    _refuse_stray(
        given, f"a treatment's name; {what!r} is none of {', '.join((*_known(), *SCREENS))}"
    )
    _lay_out_road(what, treatment, on, workspace, as_json)


def _widenings(told: list[str] | None) -> list[tuple[float, float, float]]:
    found = []
    for each in told or ():
        stretch, _, extra = each.partition("=")
        try:
            start, end = (float(part) for part in stretch.split("-"))
            found.append((start, end, float(extra)))
        except ValueError:
            raise InputError(f"widen is {each!r}; expected FROM-TO=M such as 400-500=2") from None
    return found


def _refuse_stray(given: dict[str, Any], goes_with: str) -> None:
    stray = [name for name, value in given.items() if value not in (None, [])]
    if stray:
        raise InputError(f"{stray[0]} goes with {goes_with}")


def _lay_out_road(
    road: str, treatment: str | None, on: str | None, workspace: Path | None, as_json: bool
) -> None:
    opened = the_workspace(None, workspace)
    from crossfall_app.store import repository

    district = repository.load_district()
    segments = [each for each in district.network.maintained if road in (each.id, each.route)]
    if not segments:
        raise InputError(
            f"{road!r} is neither a treatment, a maintained segment's id nor a road's name"
        )
    jobs = _jobs(district, segments, treatment, a_day(on, "on") or usual_first_day(opened))
    if as_json:
        say_json({"road": road, "jobs": [job_json(job) for job in jobs]})
        return
    if not jobs:
        say(f"{road} needs nothing now; name a treatment to lay it out all the same")
    for job in jobs:
        _say_job(district, job)


def _known() -> list[str]:
    from crossfall.design.alone import ALONE

    return [each.value for each in ALONE]


def _jobs(
    district: District, segments: list[Segment], treatment: str | None, day: date
) -> tuple[Job, ...]:
    from crossfall.design import design_jobs
    from crossfall.judgement import find_needs, surface_state
    from crossfall.network import build_graph

    needs, conditions = find_needs(district, today=day)
    chosen = {each.id for each in segments}
    wanted = tuple(need for need in needs if need.segment_id in chosen)
    if treatment is not None:
        wanted = tuple(_asked_for(each, treatment) for each in segments)
    state = surface_state(district, first_day=day, n_days=1)
    graph = build_graph(district.network)
    return design_jobs(
        wanted, conditions, district.network, graph, district.fleet, state, district.policy
    )


def _asked_for(segment: Segment, treatment: str) -> Need:
    from crossfall.model import Need, Reason, Treatment

    if treatment not in _known():
        raise InputError(f"treatment is {treatment!r}; expected {', '.join(_known())}")
    return Need(
        id=f"{segment.id}-asked",
        segment_id=segment.id,
        treatment=Treatment(treatment),
        cause="asked for",
        reasons=(Reason("asked", "Somebody asked for it.", "default"),),
        urgency=0.0,
        benefit=(),
    )


def _say_job(district: District, job: Job) -> None:
    segment = district.network.segment_by_id[job.segment_id]
    cost = job.cost
    say(
        f"{job.treatment.label}: {segment.route} ({segment.id}, {segment.length_m:,.0f} m),"
        f" {job.work_h:.1f} h of the grader, about {cost.likely.currency} {cost.likely.major:,.0f}"
        f" ({cost.low.major:,.0f} to {cost.high.major:,.0f}, {cost.likely.year} prices)"
    )
    table = new_table("Stage", "Passes", "Hours", "Needs", right=("Passes", "Hours"))
    for stage in job.stages:
        table.add_row(
            f"{stage.number}. {stage.name}",
            str(stage.n_passes),
            f"{stage.work_min / 60:.1f}",
            _support(stage),
        )
    say_table(table)
    for quantity in job.quantities:
        digits = 0 if abs(quantity.value) >= 100 else 1
        say(f"  {quantity.name}: {quantity.value:,.{digits}f} {quantity.unit}")
    for text in job.assumed:
        say(f"  Assumed: {text}")
    if job.needs_engineer:
        say("  An engineer has to confirm this before it is issued.")
    say()


def _support(stage: Stage) -> str:
    told = [
        f"{each.n_machines} {each.kind.replace('_', ' ')} {each.hours:.1f} h"
        for each in stage.support
    ]
    return ", ".join(told) or "the grader alone"


COMMANDS = (("design", design, False),)
