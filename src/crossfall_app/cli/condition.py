"""The condition of the roads on paper."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from crossfall.errors import InputError
from crossfall_app.cli.places import (
    JsonOption,
    WorkspaceOption,
    a_day,
    the_workspace,
    usual_first_day,
    usual_moment,
)
from crossfall_app.cli.speak import say, say_json


def condition(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="The PDF to write.")],
    paper: Annotated[
        str | None, typer.Option(help="a4 or letter; by the agency's units when left out.")
    ] = None,
    units: Annotated[
        str | None, typer.Option(help="metric or us; the agency's when left out.")
    ] = None,
    today: Annotated[
        str | None, typer.Option(metavar="DAY", help="The day to judge; today when left out.")
    ] = None,
    replace: Annotated[
        bool, typer.Option("--replace", help="Write over a file that is there.")
    ] = False,
    workspace: WorkspaceOption = None,
    as_json: JsonOption = False,
) -> None:
    """Print the condition of all roads: map, shares, the worst.

    Beside every figure stands how much of it was measured, judged by eye, or assumed.
    """
    if file.suffix.lower() != ".pdf":
        raise InputError(f"{file.name} does not end in .pdf")
    if file.exists() and not replace:
        raise InputError(f"{file} exists already; name another file, or add --replace")
    opened = the_workspace(None, workspace)
    from crossfall.judgement import find_needs
    from crossfall.report.condition_summary import condition_summary_data, condition_summary_pdf
    from crossfall_app.store import repository

    district = repository.load_district()
    day = a_day(today, "today") or usual_first_day(opened)
    chosen = units or opened.config.units
    needs, conditions = find_needs(district, today=day)
    pdf = condition_summary_pdf(
        district,
        conditions,
        needs,
        today=day,
        made_at=usual_moment(opened),
        paper=paper or ("letter" if chosen == "us" else "a4"),
        units=chosen,
    )
    file.write_bytes(pdf)
    told = condition_summary_data(district, conditions, needs, today=day, units=chosen)
    if as_json:
        say_json(
            {
                "file": str(file),
                "ratings": {
                    row["label"]: {"length": row["km"], "share": row["share"], "segments": row["n"]}
                    for row in told["ratings"]
                },
                "known": {row["method"]: row["share"] for row in told["how"]},
            }
        )
        return
    for row in told["ratings"]:
        say(f"{row['label']}: {row['share']}, {row['km']}")
    say(f"The condition of the roads is in {file}")


COMMANDS = (("condition", condition, False),)
