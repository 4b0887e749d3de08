"""How every page is put together: the frame's own content round the page's."""

from __future__ import annotations

import csv
import re
from collections.abc import Iterable
from datetime import date
from typing import Any

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse

from crossfall.errors import InputError
from crossfall_app.store import repository
from crossfall_app.web.present.help import HELP
from crossfall_app.web.present.measures import Measures
from crossfall_app.web.roles import Role, name_of, role_of
from crossfall_app.workspace import workspace_from_environment

_WAYS = (
    ("Morning", "morning"),
    ("Roads", "roads"),
    ("Moisture", "moisture"),
    ("Plan", "plan"),
    ("Cards", "cards"),
    ("Field", "field"),
    ("Ledger", "ledger"),
    ("Gravel", "gravel"),
    ("Years", "years"),
    ("Settings", "settings"),
)


def page(
    request: HttpRequest,
    template: str,
    name: str,
    *,
    here: str = "",
    status: int = 200,
    **content: Any,
) -> HttpResponse:
    """Render one page inside the frame."""
    agency = repository.agency()
    user = request.user
    role = role_of(user) if user.is_authenticated else Role.VIEWER
    frame = {
        "page_name": name,
        "own_name": (name_of(user) or user.get_username()) if user.is_authenticated else "",
        "signing_name": name_of(user) if user.is_authenticated else "",
        "can_change": role >= Role.FOREMAN,
        "can_report": role >= Role.OPERATOR,
        "can_settle": role >= Role.SUPERINTENDENT,
        "district_name": agency.name,
        "is_invented": agency.is_invented,
        "units": settings.CROSSFALL_UNITS,
        "help": HELP.get(here, ()) if user.is_authenticated else (),
        "folder": _folder_name(),
        "ways": [
            {"name": label, "url": reverse(way), "is_here": way == here} for label, way in _WAYS
        ],
    }
    return render(request, f"web/{template}", frame | content, status=status)


def empty_page(request: HttpRequest, name: str, here: str) -> HttpResponse:
    """What a page shows before there is a network: how to bring one in."""
    return page(request, "empty.html", name, here=here)


def a_day(text: str, today: date) -> date:
    """A day as a form gives it; today when it is left empty.

    Raises
    ------
    InputError
        If it is not a day.
    """
    if not text:
        return today
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise InputError(f"day is {text!r}; expected a day such as 2026-05-04") from None


def csv_answer(name: str, heads: Iterable[str], rows: Iterable[Iterable[Any]]) -> HttpResponse:
    """A table to download. Text that a spreadsheet would take for a formula is made harmless."""
    answer = HttpResponse(
        content_type="text/csv; charset=utf-8",
        headers={"Content-Disposition": f'attachment; filename="{safe_name(name)}"'},
    )
    write = csv.writer(answer, lineterminator="\r\n")
    write.writerow(heads)
    write.writerows([harmless(cell) for cell in row] for row in rows)
    return answer


def sentence(error: InputError) -> str:
    """An error's message as a sentence of the page."""
    text = str(error)
    return f"{text[:1].upper()}{text[1:]}."


def measures() -> Measures:
    """The agency's units."""
    return Measures(settings.CROSSFALL_UNITS)


def harmless(cell: Any) -> Any:
    """Text that begins like a formula gets an apostrophe before it; figures stay as they are.

    Examples
    --------
    >>> harmless("=1+1"), harmless("-3.5"), harmless("Mill Road")
    ("'=1+1", '-3.5', 'Mill Road')
    """
    if isinstance(cell, str) and cell[:1] in {"=", "+", "-", "@", "\t", "\r"}:
        try:
            float(cell)
        except ValueError:
            return f"'{cell}"
    return cell


def safe_name(name: str) -> str:
    return re.sub(r"[^\w.-]+", "-", name, flags=re.ASCII)


def _folder_name() -> str:
    folder = workspace_from_environment()
    return folder.name if folder is not None else "DIR"
