"""Job cards: the list, one card, its life from draft to withdrawn, and paper."""

# mypy: disallow-untyped-decorators=False

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from itertools import groupby
from typing import Any
from urllib.parse import urlencode
from uuid import uuid4

from django.conf import settings
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBadRequest
from django.shortcuts import redirect
from django.urls import reverse
from django.views.decorators.http import require_GET, require_POST

from crossfall.cards import DaySheet, make_day_sheets
from crossfall.errors import InputError
from crossfall.model import Clearance, JobCard
from crossfall.report import card_data, cards_pdf, day_sheets_pdf, sheet_data
from crossfall_app.store import repository
from crossfall_app.web.desk import agency_today
from crossfall_app.web.pages import a_day, measures, page, sentence
from crossfall_app.web.present.measures import day_name, moment
from crossfall_app.web.roles import signing_name

_LIVE = ("draft", "issued")
_CHOSEN = ("day", "machine", "status", "plan")
_PAPERS = ("a4", "letter")
_UNITS = ("metric", "us")
CLEARANCE_KINDS = {
    "utilities": "Buried utilities",
    "stream": "Stream",
    "wetland": "Wetland",
    "rail": "Railway",
    "right_of_way": "Right of way",
}


@dataclass(frozen=True)
class Choice:
    """Which cards somebody asked for."""

    day: date | None
    machine: str
    status: str
    numbers: frozenset[int]
    plan: str = ""
    """The newest plan's when empty, ``all``, or one plan's name."""

    @classmethod
    def of(cls, asked: Any) -> Choice:
        """From an address or a form.

        Raises
        ------
        InputError
            If a day, a status or a number is none.
        """
        status = asked.get("status", "")
        if status and status not in repository.CARD_STATUSES:
            raise InputError(
                f"status is {status!r}; expected {', '.join(repository.CARD_STATUSES)}"
            )
        try:
            day = date.fromisoformat(asked["day"]) if asked.get("day") else None
        except ValueError:
            raise InputError("day is not a date; expected 2026-05-04") from None
        try:
            numbers = frozenset(int(each) for each in asked.getlist("card"))
        except ValueError:
            raise InputError("card is not a number") from None
        return cls(day, asked.get("machine", ""), status, numbers, asked.get("plan", ""))

    def takes(self, card: JobCard) -> bool:
        """Whether a card was asked for."""
        return (
            self.day in {None, card.day}
            and self.machine in {"", card.machine}
            and (card.status == self.status if self.status else card.status in _LIVE)
            and (not self.numbers or card.number in self.numbers)
        )

    def of_plan(self, cards: list[JobCard]) -> list[JobCard]:
        """Those of the plan that was asked for; cards asked for by number are of any plan."""
        if self.numbers or self.plan == "all":
            return cards
        newest = repository.list_plans(most=1)
        wanted = self.plan or (newest[0].id if newest else "")
        return [card for card in cards if card.plan_id == wanted]


@require_GET
def card_list(request: HttpRequest) -> HttpResponse:
    """Cards by day, with what holds a draft up; print and issue many at once."""
    try:
        choice = Choice.of(request.GET)
    except InputError as error:
        return HttpResponseBadRequest(str(error))
    every = _newest()
    of_plan = choice.of_plan(every)
    cards = [card for card in of_plan if choice.takes(card)]
    live = [card for card in of_plan if card.status in _LIVE]
    n_older = sum(card.status in _LIVE for card in every) - len(live)
    held, today, units = repository.held_up(cards), agency_today(), measures()
    days = [
        {
            "name": day_name(day, today),
            "iso": day.isoformat(),
            "cards": [
                {
                    "card": each,
                    "where": units.words(each.where),
                    "held": [units.words(obstacle.text) for obstacle in held.get(each.number, ())],
                }
                for each in of_day
            ],
        }
        for day, of_day in groupby(cards, key=lambda card: card.day)
    ]
    return page(
        request,
        "cards.html",
        "Job cards",
        here="cards",
        days=days,
        choice=choice,
        day_iso=choice.day.isoformat() if choice.day else "",
        all_days=[(each.isoformat(), day_name(each, today)) for each in _each(c.day for c in live)],
        machines=_each(card.machine for card in live),
        statuses=repository.CARD_STATUSES,
        n_drafts=sum(card.status == "draft" for card in cards),
        n_held=len(held),
        n_cards=len(cards),
        n_older=n_older,
        is_any=bool(every),
        paper=_usual_paper(),
    )


@require_GET
def card(request: HttpRequest, number: int) -> HttpResponse:
    """One card on screen, in the words of the paper one, with its history and what may be done."""
    found = _card(number, request.GET.get("version"))
    history = repository.card_history(number)
    is_newest = found.version == history[0].version
    against = repository.card_obstacles(number) if is_newest and found.status == "draft" else ()
    segment_id, from_m, to_m = repository.card_stretch(number)
    units = measures()
    words = {key.replace("-", "_"): each for key, each in _words(found).items()}
    return page(
        request,
        "card.html",
        f"Card {number}",
        here="cards",
        card=found,
        words=words,
        history=history,
        is_newest=is_newest,
        obstacles=[{"kind": each.kind, "text": units.words(each.text)} for each in against],
        missing=[each.kind for each in against if each.kind != "engineer"],
        needs_engineer=any(each.kind == "engineer" for each in against),
        needs_clearance=any(each.kind == "clearance" for each in against),
        kinds=CLEARANCE_KINDS,
        stretch={
            "segment": segment_id,
            "from": units.show(from_m, "m"),
            "to": units.show(to_m, "m"),
        },
        day_iso=found.day.isoformat(),
        approved_at=moment(found.approved_at) if found.approved_at else "",
        paper=_usual_paper(),
    )


@require_GET
def drawing(request: HttpRequest, number: int, name: str) -> HttpResponse:
    """The card's map, or its road drawn straight."""
    drawn = _words(_card(number, request.GET.get("version"))).get(name)
    if not drawn or name not in {"map", "strip"}:
        raise Http404
    return HttpResponse(drawn, content_type="image/svg+xml")


@require_GET
def card_pdf(request: HttpRequest, number: int) -> HttpResponse:
    """One card as paper."""
    found = _card(number, request.GET.get("version"))
    return _paper(request, (found,), f"card-{number}.pdf")


@require_GET
def all_pdf(request: HttpRequest) -> HttpResponse:
    """The cards that were asked for as one PDF: by day, machine, state or number."""
    try:
        choice = Choice.of(request.GET)
    except InputError as error:
        return HttpResponseBadRequest(str(error))
    cards = tuple(card for card in choice.of_plan(_newest()) if choice.takes(card))
    if not cards:
        raise Http404
    day = f"-{choice.day.isoformat()}" if choice.day else ""
    return _paper(request, cards, f"cards{day}.pdf")


@require_GET
def day_sheets(request: HttpRequest) -> HttpResponse:
    """What each person does on a day: drivers of trucks, water and rollers too."""
    asked = _sheets(request)
    if isinstance(asked, HttpResponse):
        return asked
    week, day, sheets = asked
    days = sorted({each.day for each in week.plan.itineraries})
    today = agency_today()
    return page(
        request,
        "day_sheets.html",
        "Day sheets",
        here="cards",
        sheets=[sheet_data(each, units=settings.CROSSFALL_UNITS) for each in sheets],
        day=day_name(day, today) if day else "",
        day_iso=day.isoformat() if day else "",
        days=[(each.isoformat(), day_name(each, today)) for each in days],
        paper=_usual_paper(),
    )


@require_GET
def day_sheets_file(request: HttpRequest) -> HttpResponse:
    """The same as paper, one page for each person."""
    asked = _sheets(request)
    if isinstance(asked, HttpResponse):
        return asked
    _, day, sheets = asked
    if not sheets:
        raise Http404
    paper = request.GET.get("paper") or _usual_paper()
    units = request.GET.get("units") or settings.CROSSFALL_UNITS
    if paper not in _PAPERS or units not in _UNITS:
        return HttpResponseBadRequest(f"paper is one of {_PAPERS}, units one of {_UNITS}")
    name = f"day-sheets{f'-{day.isoformat()}' if day else ''}.pdf"
    return HttpResponse(
        day_sheets_pdf(sheets, paper=paper, units=units),
        content_type="application/pdf",
        headers={"Content-Disposition": f'inline; filename="{name}"'},
    )


def _sheets(
    request: HttpRequest,
) -> HttpResponse | tuple[repository.StoredWeek, date | None, tuple[DaySheet, ...]]:
    """The newest plan's sheets of one day: today's, or the plan's first, when none is asked."""
    week = repository.latest_week()
    if week is None or not week.plan.itineraries:
        return page(request, "day_sheets.html", "Day sheets", here="cards", sheets=[], days=[])
    days = {each.day for each in week.plan.itineraries}
    asked, today = request.GET.get("day", ""), agency_today()
    usual = today if today in days else min(days)
    try:
        day = None if asked == "all" else date.fromisoformat(asked) if asked else usual
    except ValueError:
        return HttpResponseBadRequest("day is not a date; expected 2026-05-04")
    cards = repository.list_cards(plan_id=week.plan.id)
    sheets = make_day_sheets(week.plan, week.jobs, cards, repository.load_district(), day=day)
    return week, day, sheets


@require_POST
def issue(request: HttpRequest) -> HttpResponse:
    """Issue the chosen drafts in one person's name; what holds one up is said for each."""
    given = request.POST
    try:
        choice = Choice.of(given)
    except InputError as error:
        return HttpResponseBadRequest(str(error))
    n_issued, held = 0, []
    approved_by = signing_name(request.user, given.get("approved_by", ""))
    numbers = choice.numbers
    if given.get("all") == "1":
        shown = [card for card in _newest() if choice.takes(card) and card.status == "draft"]
        numbers = frozenset(each.number for each in shown) - set(repository.held_up(shown))
    for number in sorted(numbers):
        try:
            repository.issue_card(
                number,
                approved_by=approved_by,
                confirmed_by=given.get("confirmed_by", ""),
                by=request.user.get_username(),
            )
            n_issued += 1
        except InputError as error:
            held.append(measures().words(sentence(error)))
    if n_issued:
        plural = "card is" if n_issued == 1 else "cards are"
        messages.success(request, f"{n_issued} {plural} issued in the name of {approved_by}.")
    if not numbers:
        messages.warning(request, "No card was chosen; tick those that are to be issued.")
    for told in held:
        messages.warning(request, told)
    return _back(request)


@require_POST
def withdraw(request: HttpRequest, number: int) -> HttpResponse:
    """Take a card back, with the reason."""
    return _change(
        request,
        number,
        lambda by: repository.withdraw_card(number, because=request.POST.get("because", ""), by=by),
    )


@require_POST
def write_anew(request: HttpRequest, number: int) -> HttpResponse:
    """The next version of a withdrawn card, as a draft."""
    given = request.POST
    return _change(
        request,
        number,
        lambda by: repository.next_version(
            number,
            by=by,
            operator=given.get("operator", ""),
            start_clock=given.get("start", ""),
            note=given.get("note", ""),
        ),
    )


@require_POST
def put_on_file(request: HttpRequest, number: int) -> HttpResponse:
    """Put a clearance on file for the stretch that a card works on."""
    given, units = request.POST, measures()
    segment_id, from_m, to_m = repository.card_stretch(number)

    def add(by: str) -> None:
        today = agency_today()
        kind = given.get("kind", "")
        if kind not in CLEARANCE_KINDS:
            raise InputError(f"kind is {kind!r}; expected one of {', '.join(CLEARANCE_KINDS)}")
        for name in ("reference", "granted_by"):
            if not given.get(name, "").strip():
                raise InputError(f"{name.replace('_', ' ')} is empty; a crew reads it out")
        start = units.read(given.get("from", ""), "m", "from")
        end = units.read(given.get("to", ""), "m", "to")
        leave = Clearance(
            id=f"clearance-{uuid4().hex[:12]}",
            kind=kind,
            segment_id=segment_id,
            reference=given["reference"].strip(),
            granted_by=given["granted_by"].strip(),
            valid_from=a_day(given.get("valid_from", ""), today),
            expires_on=a_day(given.get("expires_on", ""), today),
            from_m=from_m if start is None else start,
            to_m=to_m if end is None else end,
        )
        repository.add_clearances([leave], by=by)

    return _change(request, number, add)


def _change(request: HttpRequest, number: int, change: Any) -> HttpResponse:
    _card(number)
    try:
        change(request.user.get_username())
    except InputError as error:
        messages.warning(request, measures().words(sentence(error)))
    return redirect("card", number)


def _back(request: HttpRequest) -> HttpResponse:
    """To the card or to the list, in the choice that was looked at."""
    given = request.POST
    if given.get("back") == "card" and len(given.getlist("card")) == 1:
        return redirect("card", int(given["card"]))
    kept = {name: given.get(name, "") for name in _CHOSEN if given.get(name)}
    return redirect(f"{reverse('cards')}?{urlencode(kept)}" if kept else "cards")


def _newest() -> list[JobCard]:
    """The newest version of each card, in the order of the days."""
    newest = {card.number: card for card in repository.list_cards()}
    return sorted(
        newest.values(), key=lambda card: (card.day, card.machine, card.start_clock, card.number)
    )


def _card(number: int, version: str | None = None) -> JobCard:
    try:
        return repository.load_card(number, int(version) if version else None)
    except (InputError, ValueError) as error:
        raise Http404 from error


def _each(values: Iterable[Any]) -> list[Any]:
    return sorted(set(values))


def _words(card: JobCard) -> dict[str, Any]:
    return card_data(card, units=settings.CROSSFALL_UNITS)


def _usual_paper() -> str:
    return "letter" if settings.CROSSFALL_UNITS == "us" else "a4"


def _paper(request: HttpRequest, cards: tuple[JobCard, ...], name: str) -> HttpResponse:
    paper = request.GET.get("paper") or _usual_paper()
    units = request.GET.get("units") or settings.CROSSFALL_UNITS
    if paper not in _PAPERS or units not in _UNITS:
        return HttpResponseBadRequest(f"paper is one of {_PAPERS}, units one of {_UNITS}")
    address = settings.CROSSFALL_ADDRESS.rstrip("/")
    link = f"{address}/cards/" if address else ""
    return HttpResponse(
        cards_pdf(cards, paper=paper, units=units, link=link),
        content_type="application/pdf",
        headers={"Content-Disposition": f'inline; filename="{name}"'},
    )
