"""The Years page: a board's questions, answered beside the page, shown, adopted and printed."""

# mypy: disallow-untyped-decorators=False

from __future__ import annotations

import math
from typing import Any
from urllib.parse import urlencode
from uuid import UUID

from django.contrib import messages
from django.http import (
    Http404,
    HttpRequest,
    HttpResponse,
    HttpResponseBadRequest,
    JsonResponse,
)
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_POST

from crossfall.errors import InputError
from crossfall.report.board import board_report_pdf
from crossfall_app import runs
from crossfall_app.store import years as kept
from crossfall_app.store.years import KeptStudy
from crossfall_app.web.desk import agency_today, this_morning
from crossfall_app.web.pages import csv_answer, empty_page, measures, page, sentence
from crossfall_app.web.present.measures import moment
from crossfall_app.web.present.runs import run_row
from crossfall_app.web.present.years import (
    CSV_HEAD,
    csv_rows,
    question_of,
    study_data,
    years_sheet,
)


@require_GET
def sheet(request: HttpRequest) -> HttpResponse:
    """The latest study, or the form to ask with."""
    desk = this_morning()
    if not desk.district.network.segments:
        return empty_page(request, "Years", "years")
    found = _wanted(request)
    content: dict[str, Any] = {}
    if found is not None and any(each.is_feasible for each in found.study.levels):
        shown = years_sheet(
            found.study,
            desk.district,
            measures(),
            share=_figure(request, "share", found.adopted_share or 1.0),
            year=int(_figure(request, "year", found.study.question.first_year)),
        )
        content = {
            "shown": shown,
            "study": found.study,
            "key": found.key,
            "asked_money": f"{(found.study.question.budget_minor or 0) / 100:.0f}",
            "made": moment(timezone.localtime(found.made_at), desk.today),
            "adopted": found if found.adopted_on else None,
        }
    adopted = desk.district.years
    return page(
        request,
        "years.html",
        "Years",
        here="years",
        run=_shown_run(request),
        done_url=reverse("years"),
        usual_year=desk.today.year + 1,
        pits=[pit.place.name for pit in desk.district.fleet.pits],
        volume_sign=measures().sign("m3"),
        currency=desk.district.policy.costs.grader.likely.currency,
        in_force=adopted,
        is_due=adopted is not None and adopted.first_year < desk.today.year + 1,
        **content,
    )


@require_POST
def start(request: HttpRequest) -> HttpResponse:
    """Start answering in the background and go back to the page, which follows it."""
    desk = this_morning()
    try:
        question = question_of(
            request.POST.dict(),
            [pit.place.name for pit in desk.district.fleet.pits],
            measures(),
            usual_year=desk.today.year + 1,
        )
        started = runs.start_years(question, today=desk.today, by=request.user.get_username())
    except InputError as error:
        messages.warning(request, sentence(error))
        return redirect("years")
    return redirect(f"{reverse('years')}?run={started.pk}")


@require_POST
def adopt(request: HttpRequest, key: str) -> HttpResponse:
    """Work by the programme of one level of money; its first year feeds the week."""
    share = _as_figure(request.POST.get("share", ""), math.nan)
    if not math.isfinite(share):
        return HttpResponseBadRequest("share is missing; expected a level of money such as 0.8")
    try:
        found = kept.adopt(key, share=share, today=agency_today(), by=request.user.get_username())
    except InputError as error:
        messages.warning(request, sentence(error))
        return redirect("years")
    n_due = sum(1 for each in found.items if found.first_year in each.regravel_years)
    messages.success(
        request,
        f"Adopted: in {found.first_year} its {n_due} stretches are among the needs of the week.",
    )
    return redirect(f"{reverse('years')}?{urlencode({'study': key, 'share': share})}")


@require_GET
def study_file(request: HttpRequest, key: str) -> JsonResponse:
    """The study for the page's script."""
    return JsonResponse(study_data(_study(key).study, measures()))


@require_GET
def table_file(request: HttpRequest, key: str) -> HttpResponse:
    """The table by year to take away."""
    study = _study(key).study
    level = study.level(_figure(request, "share", 1.0))
    if not level.is_feasible:
        raise Http404
    return csv_answer(f"{key}-{100 * level.share:.0f}.csv", CSV_HEAD, csv_rows(study, level))


@require_GET
def roads_file(request: HttpRequest, key: str) -> HttpResponse:
    """Every road with its strategy and the years it is regravelled, to take away."""
    study = _study(key).study
    level = study.level(_figure(request, "share", 1.0))
    known = this_morning().district.network.segment_by_id
    return csv_answer(
        f"{key}-{100 * level.share:.0f}-roads.csv",
        ("segment_id", "route", "strategy", "regravel_years", "gravel_m3", "gravel_mm_end"),
        (
            (
                each.segment_id,
                known[each.segment_id].route if each.segment_id in known else "",
                each.strategy_id,
                " ".join(map(str, each.regravel_years)),
                round(sum(each.gravel_m3), 1),
                each.gravel_mm_end,
            )
            for each in level.items
        ),
    )


@require_GET
def report(request: HttpRequest, key: str) -> HttpResponse:
    """The report for the board, about one level of money."""
    units = measures().system
    found = _study(key)
    try:
        pdf = board_report_pdf(
            found.study,
            this_morning().district,
            share=_figure(request, "share", 1.0),
            made_at=timezone.localtime(),
            paper="letter" if units == "us" else "a4",
            units=units,
        )
    except InputError as error:
        raise Http404 from error
    return HttpResponse(
        pdf,
        content_type="application/pdf",
        headers={"Content-Disposition": f'inline; filename="{key}.pdf"'},
    )


def _wanted(request: HttpRequest) -> KeptStudy | None:
    key = request.GET.get("study", "")
    return kept.load_study(key) if key else kept.latest_study()


def _study(key: str) -> KeptStudy:
    found = kept.load_study(key)
    if found is None:
        raise Http404
    return found


def _figure(request: HttpRequest, name: str, usual: float) -> float:
    return _as_figure(request.GET.get(name, ""), usual)


def _as_figure(text: str, usual: float) -> float:
    """A figure out of an address; anything else is the usual one."""
    try:
        value = float(text)
    except ValueError:
        return usual
    return value if math.isfinite(value) and abs(value) < 1e6 else usual


def _shown_run(request: HttpRequest) -> dict[str, Any] | None:
    """The run that was asked for, or one that is at work on the years."""
    wanted = request.GET.get("run", "")
    try:
        found = runs.load(UUID(wanted)) if wanted else runs.at_work("years")
    except ValueError:
        return None
    if found is None or found.kind != "years":
        return None
    return run_row(found)
