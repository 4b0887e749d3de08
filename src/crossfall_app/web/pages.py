"""How every page is put together: the frame's own content round the page's."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse

from crossfall.errors import InputError
from crossfall_app.store import repository
from crossfall_app.web.present.measures import Measures
from crossfall_app.workspace import workspace_from_environment

_WAYS = (("Morning", "morning"), ("Roads", "roads"), ("Plan", "plan"), ("Cards", "cards"))


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
    frame = {
        "page_name": name,
        "district_name": agency.name,
        "is_invented": agency.is_invented,
        "units": settings.CROSSFALL_UNITS,
        "folder": _folder_name(),
        "ways": [
            {"name": label, "url": reverse(way), "is_here": way == here} for label, way in _WAYS
        ],
    }
    return render(request, f"web/{template}", frame | content, status=status)


def empty_page(request: HttpRequest, name: str, here: str) -> HttpResponse:
    """What a page shows before there is a network: how to bring one in."""
    return page(request, "empty.html", name, here=here)


def sentence(error: InputError) -> str:
    """An error's message as a sentence of the page."""
    text = str(error)
    return f"{text[:1].upper()}{text[1:]}."


def measures() -> Measures:
    """The agency's units."""
    return Measures(settings.CROSSFALL_UNITS)


def _folder_name() -> str:
    folder = workspace_from_environment()
    return folder.name if folder is not None else "DIR"
