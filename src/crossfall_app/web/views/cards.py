"""Job cards: the list, one card, and paper."""

# mypy: disallow-untyped-decorators=False

from __future__ import annotations

from datetime import date
from itertools import groupby

from django.conf import settings
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBadRequest
from django.views.decorators.http import require_GET

from crossfall.errors import InputError
from crossfall.model import JobCard
from crossfall.report import cards_pdf
from crossfall_app.store import repository
from crossfall_app.web.desk import agency_today
from crossfall_app.web.pages import measures, page
from crossfall_app.web.present.measures import day_name, money, money_range

_LIVE = ("draft", "issued")


@require_GET
def card_list(request: HttpRequest) -> HttpResponse:
    """Cards that are to be worked by, by day."""
    today = agency_today()
    days = [
        {"name": day_name(day, today), "iso": day.isoformat(), "cards": list(cards)}
        for day, cards in groupby(_live_cards(), key=lambda card: card.day)
    ]
    return page(request, "cards.html", "Job cards", here="cards", days=days)


@require_GET
def card(request: HttpRequest, number: int) -> HttpResponse:
    """One card on screen, in the words of the paper one."""
    found = _card(number)
    units = measures()
    return page(
        request,
        "card.html",
        f"Card {number}",
        here="cards",
        card=found,
        day_label=day_name(found.day),
        quantities=[
            (each.name.capitalize(), units.quantity(each), each.note) for each in found.quantities
        ],
        stakes=[
            {"number": each.number, "at": units.show(each.at_m, "m", 0), "load": each.load}
            for each in found.stakes
        ],
        cost=money(found.cost.likely),
        cost_range=money_range(found.cost),
    )


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


def _paper(cards: tuple[JobCard, ...], name: str) -> HttpResponse:
    units = settings.CROSSFALL_UNITS
    paper = cards_pdf(cards, paper="letter" if units == "us" else "a4", units=units)
    return HttpResponse(
        paper,
        content_type="application/pdf",
        headers={"Content-Disposition": f'inline; filename="{name}"'},
    )
