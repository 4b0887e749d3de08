"""Day sheets for everybody the plan sends out, written from the command for cards."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from crossfall.errors import InputError
from crossfall_app.cli.speak import count, say, say_json
from crossfall_app.workspace import Workspace

if TYPE_CHECKING:
    from crossfall_app.store.repository import StoredWeek


def write_day_sheets(
    workspace: Workspace,
    week: StoredWeek,
    day: date | None,
    *,
    out: Path | None,
    paper: str | None,
    units: str | None,
    as_json: bool,
) -> None:
    """Write one PDF with a sheet for each person and day.

    Raises
    ------
    InputError
        If nobody is sent out, or paper, units or the file cannot be.
    """
    from crossfall.cards import make_day_sheets
    from crossfall.report import day_sheets_pdf
    from crossfall_app.cli.week import paper_and_units, write_whole
    from crossfall_app.store import repository

    wanted, paper = paper_and_units(workspace, out=out, paper=paper, units=units)
    cards = repository.list_cards(plan_id=week.plan.id)
    district = repository.load_district()
    sheets = make_day_sheets(week.plan, week.jobs, cards, district, day=day)
    if not sheets:
        told = f" on {day}" if day else ""
        raise InputError(f"plan {week.plan.id} sends nobody out{told}")
    days = [sheet.day for sheet in sheets]
    span = f"{min(days)}" + (f"-to-{max(days)}" if max(days) > min(days) else "")
    file = out or workspace.out / f"day-sheets-{span}.pdf"
    write_whole(file, day_sheets_pdf(sheets, paper=paper, units=wanted))
    if as_json:
        say_json({"file": str(file), "sheets": len(sheets), "plan": week.plan.id})
        return
    is_are = "is" if len(sheets) == 1 else "are"
    say(f"{count(len(sheets), 'day sheet')} of plan {week.plan.id} {is_are} in {file}")
