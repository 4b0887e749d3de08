"""Asking: how wet the roads are, what people saw of them, and what each road needs."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Annotated, Any

import typer

from crossfall.errors import InputError, Problem, refuse
from crossfall_app.cli.moisture import COMMANDS as MOISTURE
from crossfall_app.cli.moisture import the_district
from crossfall_app.cli.observe import COMMANDS as OBSERVE
from crossfall_app.cli.places import (
    AcceptOption,
    DirArgument,
    JsonOption,
    WorkspaceOption,
    a_day,
    the_person,
    the_workspace,
    usual_first_day,
)
from crossfall_app.cli.speak import count, in_units, new_table, remark, say, say_json, say_table


def needs(
    folder: DirArgument = None,
    bad_roads: Annotated[
        Path | None,
        typer.Option(
            metavar="CSV",
            help="Columns road, is_bad, last_bladed_on: a first week without a survey.",
        ),
    ] = None,
    last_bladed: Annotated[
        str | None,
        typer.Option(metavar="DAY", help="When every road not in the list was last bladed."),
    ] = None,
    accept: AcceptOption = False,
    today: Annotated[
        str | None, typer.Option(metavar="DAY", help="The day to judge; today when left out.")
    ] = None,
    most: Annotated[int, typer.Option(min=1, help="Rows to print.")] = 25,
    road: Annotated[
        str | None,
        typer.Option(metavar="ROAD", help="Tell all about one road, or one segment by its id."),
    ] = None,
    workspace: WorkspaceOption = None,
    as_json: JsonOption = False,
) -> None:
    """What each road needs today, and why.

    The most urgent first. With --road every reason, what the worth is made of, what comes first and
    what is taken on trust. With --bad-roads a first week without a survey: what you know of the
    roads is taken in, and everything else is assumed and said so.
    """
    if last_bladed is not None and bad_roads is None:
        raise InputError(
            "--last-bladed is for the roads that a list leaves out; name the list with --bad-roads"
        )
    opened = the_workspace(folder, workspace)
    from dataclasses import replace

    from crossfall.judgement import find_needs, resting_roads
    from crossfall.programme.district import needs_with_years

    district = the_district()
    day = a_day(today, "today") or usual_first_day(opened)
    told = _conditions_as_told(district, bad_roads, a_day(last_bladed, "last-bladed"), day)
    if told:
        district = replace(district, conditions=(*district.conditions, *told))
    found, conditions = find_needs(district, today=day)
    found = needs_with_years(found, district, today=day)
    if accept:
        _keep(told)
    ordered = sorted(found, key=lambda need: (-need.urgency, need.segment_id))
    resting = resting_roads(district, today=day)
    if road is not None:
        meant = _segments_of(district, road)
        ordered = [need for need in ordered if need.segment_id in meant]
        resting = tuple(each for each in resting if each.segment_id in meant)
    methods = _count(condition.method for condition in conditions)
    if as_json:
        say_json(
            {
                "today": day.isoformat(),
                "needs": [_need_row(district, need) for need in ordered],
                "resting": [
                    {
                        "segment": each.segment_id,
                        "held_back": each.held_back.value,
                        "until": each.until.isoformat(),
                    }
                    for each in resting
                ],
                "conditions_by_method": methods,
                "conditions_added": len(told) if accept else 0,
            }
        )
        return
    if road is not None:
        _say_why(district, ordered, resting, opened.config.units)
        return
    _say_needs(district, ordered[:most], len(ordered), opened.config.units)
    if resting:
        say(
            f"On {count(len(resting), 'road')} work waits, because dust control rests there; the"
            f" first rest ends on {resting[0].until}. Tell all: --road ROAD"
        )
    say("Conditions: " + ", ".join(f"{n} {method}" for method, n in methods.items()) + ".")
    if methods.get("default"):
        say(
            "Default means that nobody has looked: the reason there is assumed."
            " Look before you send."
        )
    if told and not accept:
        remark(f"{len(told)} conditions as told were not kept; add --accept to keep them")


def _conditions_as_told(
    district: Any, bad_roads: Path | None, last_bladed: date | None, today: date
) -> tuple[Any, ...]:
    if bad_roads is None and last_bladed is None:
        return ()
    from crossfall.io.conditions import read_bad_roads
    from crossfall.judgement import first_week_conditions

    bad: tuple[str, ...] = ()
    bladed: Any = last_bladed
    if bad_roads is not None:
        told = read_bad_roads(bad_roads)
        _refuse_not_bladed(district, told, bad_roads.name)
        bad, bladed = told.bad, dict(told.last_bladed)
        if last_bladed is not None:
            listed = {*bladed}
            others = {
                each.id: last_bladed
                for each in district.network.maintained
                if each.id not in listed and each.route not in listed
            }
            bladed = {**others, **bladed}
    conditions = first_week_conditions(
        district.network, bad, bladed, today=today, policy=district.policy
    )
    # Only what was told is a fact to keep; the rest is assumed afresh each morning
    return tuple(
        each for each in conditions if each.method != "default" or each.last_bladed_on is not None
    )


def _refuse_not_bladed(district: Any, told: Any, file: str) -> None:
    """A road that is on the map but is not bladed is no stranger: say what it is."""
    maintained = {name for each in district.network.maintained for name in (each.id, each.route)}
    others = {
        name: each
        for each in district.network.segments
        if not each.is_maintained
        for name in (each.id, each.route)
    }
    problems = []
    for name, row in told.rows.items():
        if name in maintained:
            continue
        where = f"{file} row {row}"
        if name not in others:
            words = f"road {name!r} is not in the network; expected a segment id or a road's name"
            problems.append(Problem(where, words))
            continue
        surface = others[name].surface
        what = {"paved": "is paved", "unknown": "has a surface that nobody has settled"}.get(
            surface, f"is of {surface} but not marked as maintained by you"
        )
        problems.append(
            Problem(
                f"{file} row {row}", f"{name} {what}, so it is not bladed; take it off the list"
            )
        )
    refuse(problems)


def _keep(told: tuple[Any, ...]) -> None:
    from crossfall_app.store import repository

    if not told:
        raise InputError("there is nothing to accept; give --bad-roads")
    repository.add_conditions(told, by=the_person(), source="as told")


def _need_row(district: Any, need: Any) -> dict[str, Any]:
    return {
        "need": need.id,
        "segment": need.segment_id,
        "road": district.network.segment_by_id[need.segment_id].route,
        "treatment": need.treatment.value,
        "cause": need.cause,
        "urgency": round(need.urgency, 4),
        "worth_h": round(need.benefit_h, 3),
        "worth_parts_h": {part.name: part.hours for part in need.benefit},
        "usual_work_h": need.estimated_h,
        "first": [each.value for each in need.prerequisites],
        "after": [each.value for each in need.follow_ups],
        "reasons": [reason.text for reason in need.reasons],
        "rules": [reason.rule for reason in need.reasons],
        "assumed": list(need.assumed),
    }


def _segments_of(district: Any, road: str) -> frozenset[str]:
    found = frozenset(
        each.id for each in district.network.maintained if road in (each.id, each.route)
    )
    if not found:
        from crossfall.io.written import likely

        known = {name for each in district.network.maintained for name in (each.id, each.route)}
        raise InputError(
            f"--road is {road!r}, none that you maintain{likely(road, tuple(sorted(known)))}"
        )
    return found


def _say_why(district: Any, needs: list[Any], resting: tuple[Any, ...], units: str) -> None:
    """Everything that is known of the needs of one road, as on its page."""
    for need in needs:
        route = district.network.segment_by_id[need.segment_id].route
        say(f"{route}, {need.segment_id}: {need.treatment.label}")
        say(in_units(f"  Because of {need.cause}.", units))
        for words, treatments in (("First", need.prerequisites), ("After", need.follow_ups)):
            if treatments:
                say(f"  {words}: {', then '.join(each.label.lower() for each in treatments)}.")
        for reason in need.reasons:
            ground = f"{reason.evidence}, {reason.source}" if reason.source else reason.evidence
            say(in_units(f"  - {reason.text} [{ground}]", units))
        parts = ", ".join(f"{part.name} {part.hours:.1f}" for part in need.benefit)
        say(f"  Urgency {need.urgency:.2f} of 1. Worth {need.benefit_h:.1f} grader hours: {parts}.")
        for each in need.assumed:
            say(in_units(f"  On trust: {each}", units))
    for each in resting:
        say(f"{each.segment_id}: {each.text}")
    if not needs and not resting:
        say("Nothing is due there.")


def _say_needs(district: Any, shown: list[Any], n_all: int, units: str) -> None:
    table = new_table("Road", "Segment", "Needs", "Why", "Worth, h", right=("Worth, h",))
    for need in shown:
        road = district.network.segment_by_id[need.segment_id].route
        table.add_row(
            road,
            need.segment_id,
            need.treatment.label,
            in_units(need.cause, units),
            f"{need.benefit_h:.1f}",
        )
    say_table(table)
    roads_need = f"{count(n_all, 'road')} {'needs' if n_all == 1 else 'need'} something"
    say(roads_need + (f"; {len(shown)} shown." if len(shown) < n_all else "."))
    if shown:
        say("Worth: the grader hours that would be well spent on it; a plan collects the most.")


def _count(values: Any) -> dict[str, int]:
    counts: dict[str, int] = {}
    for value in values:
        counts[str(value)] = counts.get(str(value), 0) + 1
    return dict(sorted(counts.items(), key=lambda item: -item[1]))


COMMANDS = (*MOISTURE, *OBSERVE, ("needs", needs, False))
