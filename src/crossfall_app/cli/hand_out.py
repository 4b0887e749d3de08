"""Handing out: roads, fleet, survey and policy as files that anybody can read, and read back."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from crossfall.errors import InputError
from crossfall_app.cli.places import JsonOption, WorkspaceOption, the_workspace
from crossfall_app.cli.speak import say, say_json

_WHAT = ("roads", "fleet", "conditions", "policy")


def export(
    file: Annotated[
        Path,
        typer.Argument(
            metavar="FILE",
            help="Roads: .geojson, .gpkg or .csv; fleet and policy: .toml; conditions: .csv.",
        ),
    ],
    what: Annotated[str, typer.Option(help="roads, fleet, conditions or policy.")] = "roads",
    only_changed: Annotated[
        bool, typer.Option("--only-changed", help="Of the policy, what differs from the defaults.")
    ] = False,
    replace: Annotated[
        bool, typer.Option("--replace", help="Write over a file that is there.")
    ] = False,
    workspace: WorkspaceOption = None,
    as_json: JsonOption = False,
) -> None:
    """Write roads, fleet, survey or policy to a file.

    What is written can be read back with import, without loss.
    """
    if what not in _WHAT:
        raise InputError(f"what is {what!r}; expected {', '.join(_WHAT)}")
    if file.exists() and not replace:
        raise InputError(f"{file} exists already; name another file, or add --replace")
    the_workspace(None, workspace)
    _write(what, file, only_changed)
    if as_json:
        say_json({"file": str(file), "what": what})
    else:
        say(f"The {what} {'are' if what in ('roads', 'conditions') else 'is'} in {file}")


def _write(what: str, file: Path, only_changed: bool) -> None:
    from crossfall.io.conditions import write_conditions
    from crossfall.io.export import write_network
    from crossfall.io.fleet import write_fleet
    from crossfall.io.policy import write_policy
    from crossfall_app.store import repository

    wanted = {"fleet": ".toml", "policy": ".toml", "conditions": ".csv"}.get(what)
    if wanted is not None and file.suffix != wanted:
        raise InputError(f"{file.name} does not end in {wanted}, as a file of {what} does")
    if only_changed and what != "policy":
        raise InputError("only-changed is for the policy; add --what policy")
    if what == "roads":
        if not repository.has_network():
            raise InputError("the workspace has no network; bring one in with: crossfall import")
        write_network(repository.load_network(), file)
    elif what == "fleet":
        write_fleet(repository.load_fleet(), file)
    elif what == "conditions":
        write_conditions(repository.load_district().conditions, file)
    else:
        write_policy(repository.load_policy(), file, only_changed=only_changed)


COMMANDS = (("export", export, False),)
