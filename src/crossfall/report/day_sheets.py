"""Day sheets as PDF, one page for each person, A4 or Letter, metric or US customary."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from crossfall.cards.day_sheets import DayLine, DaySheet
from crossfall.errors import InputError
from crossfall.report.figures import System, check_system, reword
from crossfall.report.typesetting import paper_name, typeset

LAW = (
    "Local codes, your agency's rules and licensed practice govern; this sheet never replaces them"
    " nor the cards it names."
)


def day_sheets_pdf(
    sheets: Sequence[DaySheet], *, paper: str = "a4", units: str = "metric"
) -> bytes:
    """Typeset day sheets, each on its own page.

    Raises
    ------
    InputError
        If there is no sheet, or ``paper`` or ``units`` is unknown.
    """
    system = check_system(units)
    name = paper_name(paper)
    if not sheets:
        raise InputError("sheets is empty; expected at least one to print")
    book = {
        "paper": name,
        "sheets": [sheet_data(each, units=system) for each in sheets],
    }
    made = max(each.made_at for each in sheets)
    return typeset("day_sheet.typ", book, made_at=made)


def sheet_data(sheet: DaySheet, *, units: System = "metric") -> dict[str, Any]:
    """Everything on a sheet in the words it is shown in; the screen shows the same."""
    system = check_system(units)
    return {
        "operator": sheet.operator,
        "machine": sheet.machine,
        "kind": sheet.kind.replace("_", " "),
        "day": f"{sheet.day:%A} {sheet.day.day} {sheet.day:%B %Y}",
        "start": sheet.start,
        "end": sheet.end,
        "invented": sheet.is_invented,
        "lines": [_line(each, system) for each in sheet.lines],
        "keep": [reword(each, system) for each in sheet.keep],
        "law": LAW,
        "foot": f"crossfall · {sheet.plan_id} · made {sheet.made_at:%Y-%m-%d %H:%M}",
    }


def _line(line: DayLine, system: System) -> dict[str, Any]:
    return {
        "start": line.start,
        "end": line.end,
        "kind": line.kind,
        "what": reword(line.what, system),
        "where": reword(line.where, system),
        "detail": reword(line.detail, system),
        "card": "" if line.card is None else str(line.card),
    }
