"""Hazards at the keyboard: reported, barricaded, repaired, and the register of them all."""

from __future__ import annotations

from typing import Annotated, Any

import typer

from crossfall.errors import InputError
from crossfall_app.cli.places import (
    JsonOption,
    WorkspaceOption,
    the_person,
    the_workspace,
    usual_first_day,
    usual_moment,
)
from crossfall_app.cli.speak import new_table, remark, say, say_json, say_table

GROUP_HELP = "Dangers on the road, secured or closed at once."

_AtOption = Annotated[
    str | None, typer.Option(metavar="TIME", help="When; now when left out: 2026-05-12T07:30.")
]
_ByOption = Annotated[str | None, typer.Option(help="Who; you when left out.")]
_IdArgument = Annotated[str, typer.Argument(metavar="HAZARD", help="Its key in the register.")]


def report(
    road: Annotated[str, typer.Argument(metavar="ROAD", help="Segment key or road name.")],
    kind: Annotated[
        str,
        typer.Option(help="washout, culvert_collapse, sign_missing, obstruction or other."),
    ] = "other",
    at_m: Annotated[
        float | None, typer.Option(metavar="M", help="Metres along the road, or the segment.")
    ] = None,
    noticed: _AtOption = None,
    by: _ByOption = None,
    note: Annotated[str, typer.Option(help="What it looks like.")] = "",
    workspace: WorkspaceOption = None,
    as_json: JsonOption = False,
) -> None:
    """Put a danger into the register; Morning shows it first."""
    opened = the_workspace(None, workspace)
    from crossfall.judgement.hazards import report_hazard, stops_work
    from crossfall_app.store import models, repository

    network = repository.load_network()
    if not network.segments:
        raise InputError("the workspace has no network; bring one in with: crossfall import")
    now = usual_moment(opened)
    hazard = report_hazard(
        network,
        kind=kind,
        road=road,
        at_m=at_m,
        noticed_at=now if noticed is None else usual_moment(opened, noticed, "noticed"),
        by=by or the_person(),
        note=note,
        now=now,
        taken=models.Hazard.objects.values_list("key", flat=True),
    )
    repository.add_hazards([hazard], by=the_person())
    stopped = repository.live_cards([hazard.segment_id]) if stops_work(hazard, now.date()) else ()
    if as_json:
        say_json(_row(hazard, network) | {"cards_to_withdraw": [each.number for each in stopped]})
        return
    say(f"{hazard.id}: {_words(hazard, network)}. Secure or close it now, then: ")
    say(f"  crossfall hazard barricade {hazard.id}")
    for card in stopped:
        remark(
            f"card {card.number} is issued there, for {card.machine} on {card.day}: call the crew"
            f" back, then: crossfall withdraw {card.number} --because '{hazard.id}'"
        )


def barricade(
    hazard: _IdArgument,
    at: _AtOption = None,
    by: _ByOption = None,
    workspace: WorkspaceOption = None,
    as_json: JsonOption = False,
) -> None:
    """Say when a danger was barricaded or closed off."""
    _move(hazard, "barricaded_at", at, by, workspace, as_json)


def repair(
    hazard: _IdArgument,
    at: _AtOption = None,
    by: _ByOption = None,
    workspace: WorkspaceOption = None,
    as_json: JsonOption = False,
) -> None:
    """Say when a danger was repaired and the road opened."""
    _move(hazard, "repaired_at", at, by, workspace, as_json)


def list_(
    every: Annotated[bool, typer.Option("--all", help="Repaired ones too.")] = False,
    workspace: WorkspaceOption = None,
    as_json: JsonOption = False,
) -> None:
    """The register: unsecured dangers first, with every time."""
    opened = the_workspace(None, workspace)
    from crossfall.judgement import open_hazards
    from crossfall_app.store import repository

    district = repository.load_district()
    notices = open_hazards(district, today=usual_first_day(opened))
    shown = [notice.hazard for notice in notices]
    if every:
        closed = [each for each in district.hazards if each not in shown]
        shown += sorted(closed, key=lambda each: each.noticed_at, reverse=True)
    if as_json:
        say_json({"hazards": [_row(each, district.network) for each in shown]})
        return
    table = new_table("Key", "What and where", "Noticed", "Barricaded", "Repaired")
    zone = opened.now().tzinfo
    for each in shown:
        times = (each.noticed_at, each.barricaded_at, each.repaired_at)
        told = ["" if when is None else f"{when.astimezone(zone):%Y-%m-%d %H:%M}" for when in times]
        table.add_row(each.id, _words(each, district.network), *told)
    say_table(table)
    n = len(notices)
    say(f"{n} {'danger is' if n == 1 else 'dangers are'} open." if n else "No danger is open.")


def _move(
    key: str, step: Any, at: str | None, by: str | None, workspace: Any, as_json: bool
) -> None:
    opened = the_workspace(None, workspace)
    from crossfall_app.store import repository

    noticed = [each.noticed_at for each in repository.load_district().hazards if each.id == key]
    # An invented danger may be noticed later than our clock says
    latest = max([usual_moment(opened), *noticed])
    when = latest if at is None else usual_moment(opened, at, "at")
    if when > latest:
        raise InputError(f"at is {when:%Y-%m-%d %H:%M}, after now")
    moved = repository.move_hazard(key, step, when, by=by or the_person())
    network = repository.load_network()
    if as_json:
        say_json(_row(moved, network))
        return
    done = "barricaded" if step == "barricaded_at" else "repaired"
    say(f"{moved.id}, {_words(moved, network)}: {done} {when:%Y-%m-%d %H:%M}.")


def _words(hazard: Any, network: Any) -> str:
    from crossfall.judgement.hazards import hazard_label

    segment = network.segment_by_id.get(hazard.segment_id)
    road = segment.route if segment is not None else hazard.segment_id
    return f"{hazard_label(hazard.kind)}, {road} at {hazard.at_m:.0f} m"


def _row(hazard: Any, network: Any) -> dict[str, Any]:
    segment = network.segment_by_id.get(hazard.segment_id)
    return {
        "hazard": hazard.id,
        "kind": hazard.kind,
        "segment": hazard.segment_id,
        "road": segment.route if segment is not None else "",
        "at_m": hazard.at_m,
        "noticed_at": hazard.noticed_at.isoformat(),
        "noticed_by": hazard.noticed_by,
        "barricaded_at": hazard.barricaded_at and hazard.barricaded_at.isoformat(),
        "barricaded_by": hazard.barricaded_by,
        "repaired_at": hazard.repaired_at and hazard.repaired_at.isoformat(),
        "repaired_by": hazard.repaired_by,
        "note": hazard.note,
    }


COMMANDS = (
    ("hazard report", report, False),
    ("hazard barricade", barricade, False),
    ("hazard repair", repair, False),
    ("hazard list", list_, False),
)
