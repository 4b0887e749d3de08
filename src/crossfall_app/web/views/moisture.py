"""The moisture page, one road's surface, and what people report from the field."""

# mypy: disallow-untyped-decorators=False

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode
from uuid import uuid4

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.views.decorators.gzip import gzip_page
from django.views.decorators.http import require_GET, require_POST

from crossfall.errors import InputError
from crossfall.judgement import (
    FieldReport,
    SurfaceDifference,
    ZoneKind,
    observations_of,
    zones,
)
from crossfall.workflow import road_surface, what_changed
from crossfall_app.store import repository
from crossfall_app.web.desk import OUTLOOK_DAYS, Desk, this_morning
from crossfall_app.web.pages import a_day, csv_answer, empty_page, measures, page, sentence
from crossfall_app.web.present.moisture import (
    change_of_road,
    change_rows,
    day_heads,
    limit_rows,
    rain_row,
    report_rows,
    strip_csv,
    today_sentence,
    zone_rows,
)
from crossfall_app.web.present.morning import surface_legend
from crossfall_app.web.present.surface import surface_csv, surface_page
from crossfall_app.web.present.words import FELT_LABEL, ZONE_LABEL

_TOLD = "told-"
_TYPED = ("road", "at", "place", "felt", "rain", "day", "note", "corrects")


@require_GET
@gzip_page
def strip(request: HttpRequest) -> HttpResponse:
    """Zones and roads by day."""
    return _strip(request, this_morning(), {})


@require_GET
def strip_file(request: HttpRequest) -> HttpResponse:
    """The strip as a table."""
    desk = this_morning()
    if desk.sheet.state is None:
        raise Http404
    heads, rows = strip_csv(desk.sheet.state, desk.district)
    return csv_answer(f"moisture-{desk.today.isoformat()}.csv", heads, rows)


@require_GET
def road(request: HttpRequest, segment_id: str) -> HttpResponse:
    """One road's surface."""
    return _road(request, this_morning(), segment_id, {})


@require_GET
def road_file(request: HttpRequest, segment_id: str) -> HttpResponse:
    """The figures behind one road's chart."""
    desk = this_morning()
    if desk.sheet.state is None or segment_id not in desk.sheet.state.index_by_id:
        raise Http404
    heads, rows = surface_csv(road_surface(desk.district, desk.sheet, segment_id).days)
    return csv_answer(f"moisture-{segment_id}-{desk.today.isoformat()}.csv", heads, rows)


@require_POST
def tell(request: HttpRequest) -> HttpResponse:
    """Take in a look or a gauge reading, and show what it changed."""
    desk, typed = this_morning(), {name: request.POST.get(name, "") for name in _TYPED}
    segment_id = request.POST.get("segment", "")
    key = f"{_TOLD}{uuid4().hex[:12]}"
    try:
        report = _report(desk, typed, segment_id, request.user.get_username())
        told = observations_of(
            report,
            desk.district.network,
            desk.district.policy,
            key=key,
            today=desk.today,
            told=desk.district.observations,
        )
        repository.add_observations(told, by=request.user.get_username())
    except InputError as error:
        messages.warning(request, sentence(error))
        if segment_id:
            return _road(request, desk, segment_id, typed, status=400)
        return _strip(request, desk, typed, status=400)
    back = reverse("surface", args=[segment_id]) if segment_id else reverse("moisture")
    return redirect(f"{back}?{urlencode({'told': key})}")


def _strip(
    request: HttpRequest, desk: Desk, typed: dict[str, str], *, status: int = 200
) -> HttpResponse:
    sheet, district, units = desk.sheet, desk.district, measures()
    if not district.network.segments:
        return empty_page(request, "Moisture", "moisture")
    if sheet.state is None or sheet.gates is None:
        return page(
            request, "moisture.html", "Moisture", here="moisture",
            trouble=sentence(InputError(sheet.trouble)),
            has_weather=bool(district.weather), status=status,
        )  # fmt: skip
    wanted, opened = request.GET.get("q", ""), request.GET.get("zone")
    network = district.network.maintained
    state, gates = sheet.state, sheet.gates
    kinds = desk.once(
        "zones", lambda: {kind: zones(state, gates, network, kind) for kind in ZONE_LABEL}
    )
    kind = _kind(request.GET.get("by", ""), kinds)
    (whole,) = desk.once("whole", lambda: zones(state, gates, network))

    def rows() -> list[Any]:
        return list(
            zone_rows(kinds[kind], kind, state, district, units, opened=opened, wanted=wanted)
        )

    told = _difference(request, desk)
    difference = told or desk.news
    return page(
        request,
        "moisture.html",
        "Moisture",
        here="moisture",
        status=status,
        lead=today_sentence(whole, units),
        kinds=[
            {"key": key, "label": label, "is_here": key == kind}
            for key, label in ZONE_LABEL.items()
            if len(kinds[key]) > 1 or key == kind
        ],
        kind=kind,
        kind_label=ZONE_LABEL[kind],
        q=wanted,
        days=day_heads(sheet.state),
        **rain_row(whole, district, units),
        n_columns=sheet.state.n_days + 1,
        zones=rows() if wanted or opened else desk.once(f"zone rows {kind}", rows),
        legend=surface_legend(bool(row.any()) for row in whole.class_share),
        notes=[units.words(each) for each in sheet.state.notes],
        change=change_rows(difference, district, units) if difference else None,
        is_news=told is None,
        limits=limit_rows(sheet.limits, district.postings, units),
        **_form(desk, typed),
    )  # fmt: skip


def _road(
    request: HttpRequest,
    desk: Desk,
    segment_id: str,
    typed: dict[str, str],
    *,
    status: int = 200,
) -> HttpResponse:
    segment = desk.district.network.segment_by_id.get(segment_id)
    if segment is None or not segment.is_maintained or desk.sheet.state is None:
        raise Http404
    surface = road_surface(desk.district, desk.sheet, segment_id)
    difference = _difference(request, desk)
    return page(
        request,
        "surface.html",
        f"{segment.route}, moisture",
        here="moisture",
        status=status,
        road=surface_page(segment, surface, measures()),
        change=change_of_road(difference, segment_id) if difference else None,
        **_form(desk, typed),
    )


def _kind(wanted: str, kinds: dict[ZoneKind, Any]) -> ZoneKind:
    """What was asked for, else the first that divides the roads at all."""
    named = [kind for kind in kinds if kind == wanted]
    several = [kind for kind, found in kinds.items() if len(found) > 1]
    return (*named, *several, "route")[0]


def _difference(request: HttpRequest, desk: Desk) -> SurfaceDifference | None:
    """What the report that the address names changed, if it is there."""
    key = request.GET.get("told", "")
    told = {each.id for each in desk.district.observations if key and each.id.startswith(f"{key}-")}
    if not told or not key.startswith(_TOLD):
        return None
    return what_changed(desk.district, told, today=desk.today, n_days=OUTLOOK_DAYS)


def _form(desk: Desk, typed: dict[str, str]) -> dict[str, Any]:
    """What the form for a report offers, and what was typed into it."""
    units = measures()
    places = {place.id: place.name for place in desk.district.fleet.places}
    places.update({each.station.id: each.station.name for each in desk.district.weather})
    return {
        "typed": {"day": desk.today.isoformat(), **typed},
        "today": desk.today.isoformat(),
        "felt_choices": list(FELT_LABEL.items()),
        "reports": report_rows(desk.district, units, desk.today),
        "routes": sorted({each.route for each in desk.district.network.maintained}),
        "places": sorted(places.items(), key=lambda each: each[1]),
        "rain_sign": units.sign("mm"),
        "road_sign": units.sign("km"),
    }


def _report(desk: Desk, typed: dict[str, str], segment_id: str, observer: str) -> FieldReport:
    units = measures()
    return FieldReport(
        observed_on=a_day(typed["day"], desk.today),
        felt=typed["felt"] or None,
        rain_mm=units.read(typed["rain"], "mm", "rain"),
        road="" if _says_nothing(typed) else segment_id or typed["road"],
        at_m=units.read(typed["at"], "km", "at", into="m"),
        place=_place(desk, typed["place"]),
        observer=observer,
        note=typed["note"].strip(),
        corrects=typed["corrects"],
    )


def _says_nothing(typed: dict[str, str]) -> bool:
    """Whether a report only takes another back, wherever it is told."""
    return bool(typed["corrects"]) and not typed["felt"] and not typed["rain"].strip()


def _place(desk: Desk, place_id: str) -> tuple[float, float] | None:
    if not place_id:
        return None
    places: dict[str, Any] = {each.id: each for each in desk.district.fleet.places}
    places.update({each.station.id: each.station for each in desk.district.weather})
    if place_id not in places:
        raise InputError(f"place {place_id!r} is unknown; choose one of the list")
    return places[place_id].lon, places[place_id].lat
