"""Job cards: the list, one card, and paper."""

# mypy: disallow-untyped-decorators=False

from __future__ import annotations

from datetime import date
from itertools import groupby
from typing import Any

from django.conf import settings
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBadRequest
from django.views.decorators.http import require_GET

from crossfall.errors import InputError
from crossfall.model import JobCard
from crossfall.report import card_data, cards_pdf
from crossfall_app.store import repository
from crossfall_app.web.desk import agency_today
from crossfall_app.web.pages import measures, page
from crossfall_app.web.present.measures import day_name

_LIVE = ("draft", "issued")


@require_GET
def card_list(request: HttpRequest) -> HttpResponse:
    """Cards that are to be worked by, by day."""
    today, units = agency_today(), measures()
    days = [
        {
            "name": day_name(day, today),
            "iso": day.isoformat(),
            "cards": [{"card": each, "where": units.words(each.where)} for each in cards],
        }
        for day, cards in groupby(_live_cards(), key=lambda card: card.day)
    ]
    return page(request, "cards.html", "Job cards", here="cards", days=days)


@require_GET
def card(request: HttpRequest, number: int) -> HttpResponse:
    """One card on screen, in the words of the paper one."""
    found = _card(number)
    words = {key.replace("-", "_"): each for key, each in _words(found).items()}
    return page(request, "card.html", f"Card {number}", here="cards", card=found, words=words)


@require_GET
def drawing(request: HttpRequest, number: int, name: str) -> HttpResponse:
    """The card's map, or its road drawn straight."""
    drawn = _words(_card(number)).get(name)
    if not drawn:
        raise Http404
    return HttpResponse(drawn, content_type="image/svg+xml")


@require_GET
def card_pdf(request: HttpRequest, number: int) -> HttpResponse:
    """One card as paper."""
    return _paper((_card(number),), f"card-{number}.pdf")


@require_GET
def all_pdf(request: HttpRequest) -> HttpResponse:
    """All cards to be worked by, or those of one day, as paper."""
    try:
        day = date.fromisoformat(request.GET["day"]) if "day" in request.GET else None
    except ValueError:
        return HttpResponseBadRequest("day is not a date; expected 2026-05-04")
    cards = tuple(card for card in _live_cards() if day in {None, card.day})
    if not cards:
        raise Http404
    return _paper(cards, f"cards-{day.isoformat()}.pdf" if day else "cards.pdf")


def _live_cards() -> list[JobCard]:
    cards = [card for card in repository.list_cards() if card.status in _LIVE]
    return sorted(cards, key=lambda card: (card.day, card.machine, card.start_clock, card.number))


def _card(number: int) -> JobCard:
    try:
        return repository.load_card(number)
    except InputError as error:
        raise Http404 from error


def _words(card: JobCard) -> dict[str, Any]:
    return card_data(card, units=settings.CROSSFALL_UNITS)


def _paper(cards: tuple[JobCard, ...], name: str) -> HttpResponse:
    units = settings.CROSSFALL_UNITS
    paper = cards_pdf(cards, paper="letter" if units == "us" else "a4", units=units)
    return HttpResponse(
        paper,
        content_type="application/pdf",
        headers={"Content-Disposition": f'inline; filename="{name}"'},
    )
