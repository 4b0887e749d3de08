"""Handing out: roads, facts, work and requests as files that anybody can read."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from crossfall.errors import InputError
from crossfall_app.cli.places import JsonOption, WorkspaceOption, the_workspace
from crossfall_app.cli.speak import say, say_json

_ENDS = {
    "roads": (".geojson", ".gpkg", ".csv"),
    "fleet": (".toml",),
    "conditions": (".csv",),
    "policy": (".toml",),
    "everything": (".gpkg", ".geojson", ".zip"),
    "work-zones": (".json", ".geojson"),
    "calendar": (".ics",),
    "cancelled": (".ics",),
    "routes": (".gpx",),
    "requests": (".json", ".xml"),
}
"""What can be written, and how its file may end."""


def export(
    file: Annotated[
        Path,
        typer.Argument(
            metavar="FILE",
            help="Roads: .geojson, .gpkg or .csv; everything: .gpkg, .geojson or .zip of tables.",
        ),
    ],
    what: Annotated[
        str,
        typer.Option(
            help="roads, fleet, conditions, policy, everything, work-zones, calendar, cancelled,"
            " routes or requests.",
        ),
    ] = "roads",
    only_changed: Annotated[
        bool, typer.Option("--only-changed", help="Of the policy, what differs from the defaults.")
    ] = False,
    machine: Annotated[
        str | None, typer.Option(metavar="ID", help="Calendar and routes of this machine only.")
    ] = None,
    plan: Annotated[
        str | None, typer.Option(metavar="PLAN", help="This plan's work; the latest if unsaid.")
    ] = None,
    replace: Annotated[
        bool, typer.Option("--replace", help="Write over a file that is there.")
    ] = False,
    workspace: WorkspaceOption = None,
    as_json: JsonOption = False,
) -> None:
    """Write roads, facts, work or requests to a file.

    Roads, fleet, survey, policy and the .zip of everything can be read back with import, without
    loss. Work-zones is a WZDx 4.2 feed, calendar an iCalendar of the crews, cancelled the same of
    what was withdrawn, routes a GPX with stakes, requests in the shape of Open311.
    """
    if what not in _ENDS:
        raise InputError(f"what is {what!r}; expected {', '.join(_ENDS)}")
    ends = _ENDS[what]
    if file.suffix.lower() not in ends:
        raise InputError(f"{file.name} does not end in {' or '.join(ends)}, as {what} does")
    if only_changed and what != "policy":
        raise InputError("only-changed is for the policy; add --what policy")
    if machine is not None and what not in ("calendar", "cancelled", "routes"):
        raise InputError(f"--machine is for the calendar and the routes, not for {what}")
    if plan is not None and what not in ("work-zones", "calendar", "cancelled", "routes"):
        raise InputError(f"--plan is for planned work, not for {what}")
    if file.exists() and not replace:
        raise InputError(f"{file} exists already; name another file, or add --replace")
    if not file.resolve().parent.is_dir():
        raise InputError(f"the folder {file.parent} for {file.name} is not there")
    opened = the_workspace(None, workspace)
    from crossfall_app.store.hand_out import hand_out

    hand_out(opened, what, file, only_changed=only_changed, machine=machine, plan_id=plan)
    if as_json:
        say_json({"file": str(file), "what": what})
    else:
        many = what in ("roads", "conditions", "work-zones", "routes", "requests", "cancelled")
        say(f"The {what.replace('-', ' ')} {'are' if many else 'is'} in {file}")


COMMANDS = (("export", export, False),)
