"""After the plan is made: the rest of the week anew, what if, why not, and the way turn by turn."""

from __future__ import annotations

from datetime import date, datetime, time
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, cast

import typer

from crossfall.errors import InfeasibleError, InputError
from crossfall_app.cli.places import (
    JsonOption,
    WorkspaceOption,
    a_day,
    the_person,
    the_workspace,
    usual_first_day,
)
from crossfall_app.cli.speak import (
    complain,
    count,
    in_units,
    new_table,
    say,
    say_json,
    say_table,
    shown_progress,
)

if TYPE_CHECKING:
    from crossfall_app.runs.midweek import Midweek
    from crossfall_app.store.repository import StoredWeek

_UNTIL = "ID or ID:DAY"


def replan(
    at: Annotated[str | None, typer.Option(metavar="CLOCK", help="Like 11:30; else now.")] = None,
    on: Annotated[str | None, typer.Option(metavar="DAY", help="The day; else today.")] = None,
    down: Annotated[
        list[str] | None,
        typer.Option(metavar=_UNTIL, help="Machine that broke down, and its last day out."),
    ] = None,
    away: Annotated[
        list[str] | None,
        typer.Option(metavar=_UNTIL, help="Operator who is away, and until when."),
    ] = None,
    rain: Annotated[
        list[str] | None, typer.Option(metavar="DAY", help="Day rained out; or: today.")
    ] = None,
    new_needs: Annotated[
        bool, typer.Option("--new-needs", help="Fit in requests and looks since the plan.")
    ] = False,
    seconds: Annotated[float, typer.Option(min=0, help="Time to search for the plan.")] = 4.0,
    seed: Annotated[int, typer.Option(min=0, help="Where the search begins.")] = 1,
    note: Annotated[str, typer.Option(help="What happened, for the record.")] = "",
    is_tried: Annotated[bool, typer.Option("--try", help="Show it; keep nothing.")] = False,
    workspace: WorkspaceOption = None,
    as_json: JsonOption = False,
) -> None:
    """Plan the rest of the week anew; what moved is listed.

    Passes made stay made, machines go on from where they stand, and work that is half done is
    finished today or named as an open windrow. Without --try the plan is kept.
    """
    opened = the_workspace(None, workspace)
    from crossfall_app.runs.midweek import Happened, keep_rest, plan_rest

    today = a_day(on, "on") or usual_first_day(opened)
    now = datetime.combine(today, _clock(at) or opened.now().time(), opened.now().tzinfo)
    happened = Happened(
        tuple(_until(each, today, "down") for each in down or ()),
        tuple(_until(each, today, "away") for each in away or ()),
        tuple(today if each == "today" else cast(date, a_day(each, "rain")) for each in rain or ()),
        new_needs,
    )
    with shown_progress("Planning the rest") as progress:
        found = plan_rest(happened, now=now, seconds=seconds, seed=seed, progress=progress)
    if found.week.violations:
        first = found.week.violations[0]
        complain(
            "crossfall's own mistake: the plan broke its own rules and is not shown"
            f" ({first.message}, {first.where})"
        )
        raise typer.Exit(1)
    kept = None if is_tried else keep_rest(found, by=the_person(), note=note)
    if as_json:
        say_json(_replan_json(found, kept))
    else:
        _say_replan(found, kept)


def what_if(
    grader: Annotated[bool, typer.Option("--grader", help="One more grader.")] = False,
    hour: Annotated[bool, typer.Option("--hour", help="One more hour a day.")] = False,
    overtime: Annotated[bool, typer.Option("--overtime", help="With overtime.")] = False,
    overnight: Annotated[
        bool, typer.Option("--overnight", help="Graders may stay out overnight.")
    ] = False,
    rain: Annotated[
        list[str] | None, typer.Option(metavar="DAY", help="Rain all that day.")
    ] = None,
    helper: Annotated[
        list[str] | None, typer.Option(metavar="KIND", help="One more haul_truck, roller, ...")
    ] = None,
    seconds: Annotated[float, typer.Option(min=0, help="Search for each question.")] = 5.0,
    seed: Annotated[int, typer.Option(min=0, help="Where the search begins.")] = 1,
    workspace: WorkspaceOption = None,
    as_json: JsonOption = False,
) -> None:
    """What one thing more or less would do to the week.

    Without any option: one more grader, one more hour a day, and rain on the second day.
    """
    the_workspace(None, workspace)
    from crossfall.dispatch.what_if import USUAL, Question, ask_what_if
    from crossfall.model.fleet import MachineKind
    from crossfall_app.store import repository

    week = _latest()
    asked = [Question("grader")] if grader else []
    asked += [Question("hour")] if hour else []
    asked += [Question("overtime")] if overtime else []
    asked += [Question("overnight")] if overnight else []
    asked += [Question("rain", a_day(each, "rain")) for each in rain or ()]
    asked += [Question("helper", None, cast(MachineKind, each)) for each in helper or ()]
    with shown_progress("What if") as progress:
        answers = ask_what_if(
            repository.load_district(),
            week.plan,
            week.jobs,
            questions=asked or USUAL,
            made_at=week.plan.made_at,
            seconds=seconds,
            seed=seed,
            progress=progress,
        )
    if as_json:
        say_json(
            {
                "plan": week.plan.id,
                "benefit": week.plan.benefit_h,
                "answers": [
                    {
                        "question": each.question,
                        "benefit": each.benefit_h,
                        "change": each.change_h,
                        "jobs_served": each.n_served,
                        "jobs_served_change": each.n_served_change,
                        "words": each.summary(),
                    }
                    for each in answers
                ],
            }
        )
        return
    for each in answers:
        say(each.summary())
    say("A change of a percent or so may be the search and not the change.")


def why(
    road: Annotated[str, typer.Argument(metavar="ROAD", help="Segment's id or road's name.")],
    workspace: WorkspaceOption = None,
    as_json: JsonOption = False,
) -> None:
    """Why a road is left out of the plan, and what would change it."""
    opened = the_workspace(None, workspace)
    from crossfall_app.store import repository
    from crossfall_app.web.present.words import LEFT_OUT

    network, week = repository.load_network(), _latest()
    mine = {each.id for each in network.segments if road in (each.id, each.route)}
    if not mine:
        raise InputError(f"road is {road!r}; expected a segment's id or a road's name")
    left = [each for each in week.plan.unserved if each.segment_id in mine]
    planned = [
        (itinerary.day, itinerary.machine_id, stage.name, stage.segment_id)
        for itinerary in week.plan.itineraries
        for job in week.jobs
        for stage in job.stages
        if stage.segment_id in mine and stage.id in itinerary.stage_ids
    ]
    if as_json:
        say_json(
            {
                "road": road,
                "plan": week.plan.id,
                "planned": [
                    {"day": day.isoformat(), "machine": machine, "work": name, "segment": segment}
                    for day, machine, name, segment in planned
                ],
                "left_out": [
                    {
                        "segment": each.segment_id,
                        "binding": each.binding,
                        "reason": each.reason,
                        "would_change": each.would_change,
                    }
                    for each in left
                ],
            }
        )
        return
    for day, machine, name, segment in planned:
        say(f"{segment}: {name} on {day:%a} {day.day} {day:%b} by {machine}.")
    for each in left:
        say(f"{each.segment_id}: {LEFT_OUT[each.binding]}.")
        say(f"  {in_units(each.reason, opened.config.units)}")
        if each.would_change:
            say(f"  What would change it: {each.would_change}")
    if not planned and not left:
        say(f"Nothing is asked for on {road} in these days.")


def itinerary(
    day: Annotated[str | None, typer.Option(metavar="DAY", help="Only this day.")] = None,
    machine: Annotated[str | None, typer.Option(metavar="ID", help="Only this machine.")] = None,
    gpx: Annotated[
        Path | None, typer.Option(metavar="FOLDER", help="A GPX track of each day goes here.")
    ] = None,
    workspace: WorkspaceOption = None,
    as_json: JsonOption = False,
) -> None:
    """The way turn by turn: passes, drives, turns, clock."""
    units = the_workspace(None, workspace).config.units
    from crossfall.dispatch.turn_by_turn import gpx_of, steps_of
    from crossfall_app.store import repository

    week, network = _latest(), repository.load_network()
    only = a_day(day, "day")
    chosen = [
        each
        for each in week.plan.itineraries
        if (only is None or each.day == only) and machine in (None, each.machine_id)
    ]
    if not chosen:
        raise InputError(f"plan {week.plan.id} has no such day or machine")
    files: list[str] = []
    if gpx is not None:
        gpx.mkdir(parents=True, exist_ok=True)
        for each in chosen:
            file = gpx / f"{each.machine_id}-{each.day}.gpx"
            part = file.with_name(file.name + ".part")
            part.write_text(gpx_of(each, network), encoding="utf-8")
            part.replace(file)
            files.append(str(file))
    days = [(each, steps_of(each, network)) for each in chosen]
    if as_json:
        say_json({"plan": week.plan.id, "files": files, "itineraries": [
            {"day": each.day.isoformat(), "machine": each.machine_id,
             "operator": each.operator_id, "steps": [_step_json(step) for step in steps]}
            for each, steps in days]})  # fmt: skip
        return
    if files:
        say(f"{count(len(files), 'track')} in {gpx}")
        return
    for each, steps in days:
        table = new_table(
            "Clock", "Minutes", "What", title=f"{each.machine_id} {each.day:%a %d %b}",
            right=("Minutes",),
        )  # fmt: skip
        for step in steps:
            table.add_row(step.clock, f"{step.minutes:.0f}", in_units(step.text, units))
        say_table(table)


def _latest() -> StoredWeek:
    from crossfall_app.store import repository

    week = repository.latest_week()
    if week is None:
        raise InputError("there is no plan yet; make one with: crossfall plan")
    if not week.plan.itineraries and not week.plan.unserved:
        raise InfeasibleError(f"plan {week.plan.id} holds no work at all")
    return week


def _clock(text: str | None) -> time | None:
    if text is None:
        return None
    try:
        return time.fromisoformat(text)
    except ValueError:
        raise InputError(f"--at is {text!r}; expected a clock such as 11:30") from None


def _until(text: str, today: date, name: str) -> tuple[str, date]:
    who, _, last = text.rpartition(":") if ":" in text else (text, "", "")
    return who, a_day(last, name) or today if last else today


def _step_json(step: Any) -> dict[str, Any]:
    return {
        "clock": step.clock,
        "kind": step.kind,
        "text": step.text,
        "minutes": round(step.minutes, 2),
        "segment": step.segment_id,
        "stage": step.stage_id,
        "pass": step.pass_number,
        "passes": step.n_passes,
    }


def _replan_json(found: Midweek, kept: StoredWeek | None) -> dict[str, Any]:
    plan, change = found.week.plan, found.replan
    return {
        "plan": kept.plan.id if kept else None,
        "kept": kept is not None,
        "words": change.summary(),
        "pieces_kept": change.n_kept,
        "pieces_planned": change.n_planned,
        "moves": [
            {
                "stage": each.stage_id,
                "job": each.job_id,
                "kind": each.kind,
                "before": _where(each.before),
                "after": _where(each.after),
                "reason": each.reason,
            }
            for each in change.moves
        ],
        "open_windrows": [
            {"segment": each.segment_id, "stage": each.stage_id, "words": each.text}
            for each in change.open_windrows
        ],
        "machines_to_fetch": [
            {"machine": each.machine_id, "node": each.node} for each in change.stranded
        ],
        "cards_to_take_back": [card.number for card in found.take_back],
        "jobs_served": len(plan.served),
        "benefit": plan.benefit_h,
        "benefit_bound": plan.benefit_bound_h,
        "gap_pct": plan.gap_pct,
        "checker_violations": len(found.week.violations),
    }


def _where(place: tuple[str, date] | None) -> dict[str, str] | None:
    return None if place is None else {"machine": place[0], "day": place[1].isoformat()}


def _say_replan(found: Midweek, kept: StoredWeek | None) -> None:
    say(found.replan.summary())
    if found.replan.moves:
        table = new_table("Work", "Was", "Now", "Why")
        names = _names(found)
        for each in found.replan.moves:
            name = names.get(each.stage_id, each.stage_id)
            table.add_row(name, _told(each.before), _told(each.after), each.reason)
        say_table(table)
    for windrow in found.replan.open_windrows:
        say(f"Open windrow on {windrow.segment_id}: {windrow.text}")
    for standing in found.replan.stranded:
        say(f"{standing.machine_id} stands at {standing.node}: fetch it or make it safe.")
    if found.take_back:
        numbers = ", ".join(str(card.number) for card in found.take_back)
        say(f"Cards that do not hold any more, take them back: {numbers}")
    say(f"It is plan {kept.plan.id} now." if kept else "Nothing was kept.")


def _names(found: Midweek) -> dict[str, str]:
    """Road, segment and work of each piece, as people call them."""
    roads = found.district.network.segment_by_id
    return {
        stage.id: f"{roads[stage.segment_id].route} ({stage.segment_id}): {stage.name}"
        for job in (*found.base.jobs, *found.week.jobs)
        for stage in job.stages
        if stage.segment_id in roads
    }


def _told(place: tuple[str, date] | None) -> str:
    return "left out" if place is None else f"{place[0]}, {place[1]:%a} {place[1].day}"


COMMANDS = (
    ("replan", replan, False),
    ("what-if", what_if, False),
    ("why", why, False),
    ("itinerary", itinerary, False),
)
