"""Gravel there, gravel wanted, gravel left: a screening of every road's layer."""

from __future__ import annotations

from typing import Annotated

import typer

from crossfall_app.cli.moisture import the_district
from crossfall_app.cli.places import (
    DirArgument,
    JsonOption,
    WorkspaceOption,
    a_day,
    the_workspace,
    usual_first_day,
)
from crossfall_app.cli.speak import in_units, new_table, remark, say, say_json, say_table


def thickness(
    folder: DirArgument = None,
    years: Annotated[
        float | None,
        typer.Option(metavar="N", help="To the next regravel; the policy's when left out."),
    ] = None,
    today: Annotated[
        str | None, typer.Option(metavar="DAY", help="The day to judge; today when left out.")
    ] = None,
    most: Annotated[int, typer.Option(min=1, help="Rows to print.")] = 25,
    workspace: WorkspaceOption = None,
    as_json: JsonOption = False,
) -> None:
    """Gravel that is there, is needed, and will be left.

    The thinnest against its need first. The table of trucks and soil, and a second opinion for soft
    soil, are a screening: an engineer confirms before money is spent on thickness.
    """
    opened = the_workspace(folder, workspace)
    from crossfall.judgement import check_layers

    district = the_district()
    day = a_day(today, "today") or usual_first_day(opened)
    checks = check_layers(district, today=day, years=years)
    segments = district.network.segment_by_id
    if as_json:
        rows = [
            {
                "segment": each.segment_id,
                "road": segments[each.segment_id].route,
                "there_mm": each.there_mm,
                "needed_mm": each.needed_mm,
                "second_opinion_mm": each.second_opinion_mm,
                "loss_mm_year": each.loss_mm_year,
                "years_to_least": each.years_to_least,
                "left_mm": each.left_mm,
                "regravel_years": each.regravel_years,
                "is_enough": each.is_enough,
                "assumed": list(each.assumed),
            }
            for each in checks
        ]
        say_json({"today": day.isoformat(), "layers": rows, "is_screening": True})
        return
    figures = ("There", "Needed", "Soft soil", "Lost a year", "Left then")
    table = new_table("Road", "Segment", *figures, right=figures)

    def shown(value: float) -> str:
        return in_units(f"{value:.0f} mm", opened.config.units)

    for each in checks[:most]:
        table.add_row(
            segments[each.segment_id].route,
            each.segment_id,
            shown(each.there_mm),
            "more" if each.needed_mm is None else shown(each.needed_mm),
            shown(each.second_opinion_mm),
            in_units(f"{each.loss_mm_year:.1f} mm", opened.config.units),
            shown(each.left_mm),
        )
    say_table(table)
    thin = sum(not each.is_enough for each in checks)
    then = f"{checks[0].regravel_years:g} years from now" if checks else ""
    say(
        f"On {thin} of {len(checks)} stretches the surface gravel alone is less than the table asks"
        " for gravel and base together; what base there is nobody has said."
    )
    say(f"Left then: {then}.")
    remark("screening only, with an assumed soil: an engineer confirms")


COMMANDS = (("thickness", thickness, False),)
