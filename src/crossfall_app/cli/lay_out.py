"""Laying out one road's work: passes, lifts, loads, water, hours and cost, before any plan."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, Annotated, Any

import typer

from crossfall.errors import InputError
from crossfall_app.cli.places import (
    JsonOption,
    WorkspaceOption,
    a_day,
    the_workspace,
    usual_first_day,
)
from crossfall_app.cli.speak import new_table, say, say_json, say_table

if TYPE_CHECKING:
    from crossfall.model import District, Job, Need, Segment, Stage


def design(
    road: Annotated[str, typer.Argument(metavar="ROAD", help="A road's name or a segment's id.")],
    treatment: Annotated[
        str | None, typer.Option(help="What to do; what the road needs when left out.")
    ] = None,
    on: Annotated[
        str | None, typer.Option(metavar="DAY", help="For the moisture; today when left out.")
    ] = None,
    workspace: WorkspaceOption = None,
    as_json: JsonOption = False,
) -> None:
    """Lay out the work on one road: passes, loads, hours, cost.

    Each job comes in stages that fit a shift and leave the road passable.
    """
    opened = the_workspace(None, workspace)
    from crossfall_app.store import repository

    district = repository.load_district()
    segments = [each for each in district.network.maintained if road in (each.id, each.route)]
    if not segments:
        raise InputError(f"road {road!r} is neither a maintained segment's id nor a road's name")
    jobs = _jobs(district, segments, treatment, a_day(on, "on") or usual_first_day(opened))
    if as_json:
        say_json({"road": road, "jobs": [_job_row(job) for job in jobs]})
        return
    if not jobs:
        say(f"{road} needs nothing now; name a treatment to lay it out all the same")
    for job in jobs:
        _say_job(district, job)


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

    known = [each.value for each in Treatment if each not in (Treatment.NONE, Treatment.ENGINEER)]
    if treatment not in known:
        raise InputError(f"treatment is {treatment!r}; expected {', '.join(known)}")
    return Need(
        id=f"{segment.id}-asked",
        segment_id=segment.id,
        treatment=Treatment(treatment),
        cause="asked for",
        reasons=(Reason("asked", "Somebody asked for it.", "default"),),
        urgency=0.0,
        benefit=(),
    )


def _job_row(job: Job) -> dict[str, Any]:
    from crossfall_app.store.convert import CONVERTER

    plain: dict[str, Any] = CONVERTER.unstructure(job)
    return plain | {"work_h": job.work_h}


def _say_job(district: District, job: Job) -> None:
    segment = district.network.segment_by_id[job.segment_id]
    cost = job.cost
    say(
        f"{job.treatment.label}: {segment.route} ({segment.id}, {segment.length_m:,.0f} m),"
        f" {job.work_h:.1f} h blade down, about {cost.likely.currency} {cost.likely.major:,.0f}"
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
