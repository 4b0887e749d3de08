"""Which workspace a command means, who is at the keyboard, and what options share."""

from __future__ import annotations

import getpass
import os
from datetime import date, datetime
from pathlib import Path
from typing import Annotated, Any

import typer

from crossfall.errors import InputError, WorkspaceError
from crossfall_app.workspace import (
    CONFIG_FILE,
    WORKSPACE_VARIABLE,
    Workspace,
    is_workspace,
    open_workspace,
)

DirArgument = Annotated[
    Path | None, typer.Argument(metavar="[DIR]", help="The workspace folder.", show_default=False)
]
WorkspaceOption = Annotated[
    Path | None,
    typer.Option(
        "--workspace",
        "-w",
        metavar="DIR",
        help=f"The workspace folder; else {WORKSPACE_VARIABLE}, else the folder you are in.",
        show_default=False,
    ),
]
JsonOption = Annotated[bool, typer.Option("--json", help="Print one JSON object.")]
AcceptOption = Annotated[
    bool, typer.Option("--accept", help="Write it; without this nothing is written.")
]


def the_workspace(folder: Path | None = None, option: Path | None = None) -> Workspace:
    """Open the workspace that is meant.

    Raises
    ------
    WorkspaceError
        If none is meant, two different ones are, or it cannot be opened.
    """
    return open_workspace(named_workspace(folder, option))


def named_workspace(folder: Path | None = None, option: Path | None = None) -> Path:
    """The folder that is meant: named, in the environment, or the one we are in.

    Raises
    ------
    WorkspaceError
        If none is meant, or two different ones are.
    """
    if folder is not None and option is not None and folder.resolve() != option.resolve():
        raise WorkspaceError(f"two workspaces are named, {folder} and {option}; name one")
    named = folder or option
    if named is None and os.environ.get(WORKSPACE_VARIABLE, "").strip():
        named = Path(os.environ[WORKSPACE_VARIABLE])
    if named is None and is_workspace(Path()):
        named = Path()
    if named is None:
        raise WorkspaceError(
            f"no workspace is named and there is no {CONFIG_FILE} here;"
            " give its folder, or make one with: crossfall init DIR"
        )
    return named


def the_person() -> str:
    """The name of whoever is logged in, for the audit."""
    try:
        return getpass.getuser()
    except (KeyError, OSError):
        return "unknown"


def a_day(text: str | None, name: str) -> date | None:
    """A date as people type it in an option.

    Raises
    ------
    InputError
        If it is not a day.
    """
    if text is None:
        return None
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise InputError(
            f"{_option(name)} is {text!r}; expected a day such as 2026-05-12"
        ) from None


def pairs(given: list[str] | None, name: str) -> dict[str, str]:
    """``["rain=PRCP", "tmin=TMIN"]`` as a dictionary."""
    found: dict[str, str] = {}
    for each in given or ():
        ours, sign, theirs = each.partition("=")
        if not sign or not ours.strip() or not theirs.strip():
            raise InputError(
                f"{_option(name)} is {each!r}; expected ours=theirs, like"
                f" {_option(name)} {_example(name)}"
            )
        if ours.strip() in found:
            raise InputError(f"{_option(name)} gives {ours.strip()} twice")
        found[ours.strip()] = theirs.strip()
    return found


def a_place(text: str | None, name: str) -> tuple[float, float] | None:
    """``lon,lat`` in degrees.

    Raises
    ------
    InputError
        If it is not two figures, or they look exchanged.
    """
    if text is None:
        return None
    parts = text.split(",")
    try:
        lon, lat = (float(part) for part in parts)
    except ValueError:
        raise InputError(
            f"{_option(name)} is {text!r}; expected LON,LAT such as -104.9,45.2"
        ) from None
    if not (-180 <= lon <= 180 and -90 <= lat <= 90):
        hint = "; longitude comes first" if abs(lat) > 90 and abs(lon) <= 90 else ""
        raise InputError(f"{_option(name)} is {text!r}; expected -180 to 180 and -90 to 90{hint}")
    return lon, lat


def usual_first_day(workspace: Workspace) -> date:
    """Today where the roads are; an invented district stays on the morning it was made for."""
    from crossfall_app.store import repository

    invented: Any = repository.agency().invented_today
    return invented or workspace.today()


def usual_moment(workspace: Workspace, text: str | None = None, name: str = "at") -> datetime:
    """A moment as people type it, in the agency's own time; this moment when left out.

    Raises
    ------
    InputError
        If it is not a time of a day.
    """
    now = workspace.now()
    if text is None:
        return datetime.combine(usual_first_day(workspace), now.time(), now.tzinfo)
    try:
        when = datetime.fromisoformat(text)
    except ValueError:
        raise InputError(
            f"{_option(name)} is {text!r}; expected a time such as 2026-05-12T07:30"
        ) from None
    return when if when.tzinfo is not None else when.replace(tzinfo=now.tzinfo)


def _option(name: str) -> str:
    """An option as it is typed."""
    return f"--{name.removeprefix('--')}"


def _example(name: str) -> str:
    examples = {"unit": "rain=in", "surface": "HMA=paved", "where": "STATION=airport"}
    return examples.get(name, "rain=Rain")
