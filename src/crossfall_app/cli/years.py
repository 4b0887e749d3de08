"""The years ahead at the keyboard: what a yearly budget buys, and what it leaves."""

from __future__ import annotations

from typing import Annotated

import typer

from crossfall_app.cli.places import DirArgument, JsonOption, WorkspaceOption, the_workspace
from crossfall_app.cli.speak import new_table, remark, say, say_json, say_table, shown_progress


def years(
    folder: DirArgument = None,
    n_years: Annotated[int, typer.Option("--years", min=1, max=30, help="Years ahead.")] = 10,
    budget: Annotated[
        float | None, typer.Option(min=0, help="Money a year; no limit when left out.")
    ] = None,
    grader_h: Annotated[
        float | None, typer.Option(min=0, help="Grader hours a year; no limit when left out.")
    ] = None,
    gravel_m3: Annotated[
        float | None, typer.Option(min=0, help="Compacted gravel a year; no limit when left out.")
    ] = None,
    workspace: WorkspaceOption = None,
    as_json: JsonOption = False,
) -> None:
    """What a yearly budget buys: gravel, roughness, money.

    Chooses one way of keeping up each road, and says how much better any other choice could be.
    Its coefficients are recalled: for comparing budgets, until your own readings replace them.
    """
    opened = the_workspace(folder, workspace)
    from crossfall.workflow import plan_years
    from crossfall_app.cli.places import usual_first_day
    from crossfall_app.store import repository

    today = usual_first_day(opened)
    with shown_progress("Years ahead") as progress:
        programme = plan_years(
            repository.load_district(),
            today=today,
            n_years=n_years,
            budget_minor=None if budget is None else budget * 100,
            grader_h=grader_h,
            gravel_m3=gravel_m3,
            progress=progress,
        )
    rows = [
        {
            "year": programme.first_year + year,
            "cost": programme.use_minor[year] / 100,
            "grader_h": programme.use_h[year],
            "gravel_m3": programme.use_m3[:, year].sum(),
            "mean_iri": programme.mean_iri[year],
            "mean_gravel_mm": programme.mean_gravel_mm[year],
        }
        for year in range(programme.n_years)
    ]
    if as_json:
        say_json(
            {
                "years": [{name: float(value) for name, value in row.items()} for row in rows],
                "currency": programme.currency,
                "gap_pct": programme.gap_pct,
                "avoidable_gap_pct": programme.avoidable_gap_pct,
                "segments": len(programme.items),
                "summary": programme.summary(),
            }
        )
        return
    table = new_table(
        "Year", f"Cost, {programme.currency}", "Grader h", "Gravel, m³", "Roughness", "Gravel left"
    )
    for row in rows:
        table.add_row(
            f"{row['year']:.0f}",
            f"{row['cost']:,.0f}",
            f"{row['grader_h']:,.0f}",
            f"{row['gravel_m3']:,.0f}",
            f"{row['mean_iri']:.1f} m/km",
            f"{row['mean_gravel_mm']:.0f} mm",
        )
    say_table(table)
    say(programme.summary())
    remark("coefficients are recalled, not verified; compare budgets with it, not absolute figures")


COMMANDS = (("years", years, False),)
