"""The map, the list beside it, and one road."""

# mypy: disallow-untyped-decorators=False

from __future__ import annotations

import json
from datetime import date
from urllib.parse import urlencode

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.gzip import gzip_page
from django.views.decorators.http import require_GET, require_POST

from crossfall.errors import InputError
from crossfall.judgement import check_layers, first_week_conditions, only_road, resting_roads
from crossfall.report.condition_summary import condition_summary_pdf
from crossfall_app.store import repository
from crossfall_app.web.desk import Desk, this_morning
from crossfall_app.web.pages import empty_page, measures, page, sentence
from crossfall_app.web.present.road import road_page
from crossfall_app.web.present.road_ledger import road_ledger
from crossfall_app.web.present.themes import (
    MapRoads,
    backdrop_geojson,
    backdrop_kinds,
    colour_roads,
    places_geojson,
    road_list,
    segments_geojson,
)


@require_GET
def atlas(request: HttpRequest) -> HttpResponse:
    """The map and the list."""
    desk = this_morning()
    if not desk.district.network.segments:
        return empty_page(request, "Roads", "roads")
    coloured = _coloured(desk)
    return page(
        request,
        "roads.html",
        "Roads",
        here="roads",
        themes=coloured.themes,
        backdrop=backdrop_kinds(desk.district),
        roads=road_list(desk.district, desk.sheet.needs, coloured, measures()),
        q=request.GET.get("q", ""),
    )


@require_GET
@gzip_page
def segments(request: HttpRequest) -> HttpResponse:
    """All roads and places as GeoJSON, for the map."""
    desk = this_morning()
    return HttpResponse(
        desk.once("segments", lambda: _map_json(desk)), content_type="application/json"
    )


@require_GET
def road(request: HttpRequest, segment_id: str) -> HttpResponse:
    """One road: what it needs and why, surface, condition, facts."""
    desk = this_morning()
    segment = desk.district.network.segment_by_id.get(segment_id)
    if segment is None:
        raise Http404
    needs = {each.segment_id: each for each in desk.sheet.needs}
    conditions = {each.segment_id: each for each in desk.sheet.conditions}
    alone = only_road(desk.district, segment_id) if segment.is_maintained else None
    shown = road_page(
        segment,
        desk.district,
        needs.get(segment_id),
        conditions.get(segment_id),
        desk.sheet.state,
        desk.sheet.gates,
        desk.week,
        desk.today,
        measures(),
        next(iter(resting_roads(alone, today=desk.today)), None) if alone else None,
        check_layers(alone, today=desk.today)[0] if alone else None,
    )
    ledger = road_ledger(segment, desk.district, desk.today, measures())
    return page(request, "road.html", segment.route, here="roads", road=shown, ledger=ledger)


@require_GET
def condition_pdf(request: HttpRequest) -> HttpResponse:
    """The condition of all roads, to print."""
    desk = this_morning()
    units = measures().system
    try:
        pdf = condition_summary_pdf(
            desk.district,
            desk.sheet.conditions,
            desk.sheet.needs,
            today=desk.today,
            made_at=timezone.localtime(),
            paper="letter" if units == "us" else "a4",
            units=units,
        )
    except InputError as error:
        raise Http404 from error
    return HttpResponse(
        pdf,
        content_type="application/pdf",
        headers={"Content-Disposition": f'inline; filename="condition-{desk.today}.pdf"'},
    )


@require_POST
def tell(request: HttpRequest, segment_id: str) -> HttpResponse:
    """Take in what somebody knows of a road that nobody has surveyed."""
    desk = this_morning()
    segment = desk.district.network.segment_by_id.get(segment_id)
    if segment is None or not segment.is_maintained:
        raise Http404
    name = segment.route if request.POST.get("reach") == "road" else segment.id
    try:
        told = first_week_conditions(
            desk.district.network,
            [name] if request.POST.get("state") == "bad" else [],
            _bladed(name, request.POST.get("bladed", "")),
            today=desk.today,
            policy=desk.district.policy,
        )
    except InputError as error:
        messages.warning(request, sentence(error))
    else:
        meant = {
            each.id for each in desk.district.network.segments if name in {each.id, each.route}
        }
        seen = {each.segment_id for each in desk.district.conditions}
        # A survey outweighs a word in passing
        new = [each for each in told if each.segment_id in meant - seen]
        repository.add_conditions(new, by=request.user.get_username(), source="told on the map")
    return redirect(f"{reverse('roads')}?{urlencode({'road': segment_id})}")


def _bladed(name: str, day: str) -> dict[str, date]:
    if not day:
        return {}
    try:
        return {name: date.fromisoformat(day)}
    except ValueError as error:
        raise InputError(f"last bladed is {day!r}; expected a day such as 2026-05-04") from error


def _map_json(desk: Desk) -> str:
    answer = {
        "segments": segments_geojson(desk.district, _coloured(desk), measures()),
        "places": places_geojson(desk.district),
        "backdrop": backdrop_geojson(desk.district),
    }
    return json.dumps(answer, separators=(",", ":"))


def _coloured(desk: Desk) -> MapRoads:
    """Every colouring; worked out once for each desk."""
    return desk.once(
        "coloured",
        lambda: colour_roads(
            desk.district,
            desk.sheet.needs,
            desk.sheet.conditions,
            desk.sheet.state,
            desk.week,
            desk.today,
            measures(),
        ),
    )
