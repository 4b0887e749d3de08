"""The map, the list beside it, and one road."""

# mypy: disallow-untyped-decorators=False

from __future__ import annotations

import json
from datetime import date
from itertools import islice
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
from crossfall_app.web.present.plan import where_on
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
    theme_codes,
)
from crossfall_app.web.tiles import (
    CLOSEST,
    FROM_SEGMENTS,
    NAMED_FROM,
    Tiles,
    fingerprint,
    held_tiles,
    keep_tiles,
    make_tiles,
)
from crossfall_app.workspace import current_workspace

_MOST_LISTED = 300


@require_GET
def atlas(request: HttpRequest) -> HttpResponse:
    """The map and the list."""
    desk = this_morning()
    if not desk.district.network.segments:
        return empty_page(request, "Roads", "roads")
    coloured, is_large = _coloured(desk), _is_large(desk)
    listed = desk.once("listed", lambda: _listed(desk))
    wanted = request.GET.get("q", "")
    shown = _found(listed, wanted) if is_large else listed
    return page(
        request,
        "roads.html",
        "Roads",
        here="roads",
        themes=coloured.themes,
        backdrop=backdrop_kinds(desk.district),
        roads=shown,
        n_roads=len(listed),
        is_large=is_large,
        q=wanted,
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


@require_GET
def tile(request: HttpRequest, version: str, zoom: int, x: int, y: int) -> HttpResponse:
    """One vector tile; its address changes with the network, so browsers may keep it for good."""
    held = held_tiles(version)
    if held is None:
        made = _tiles(this_morning())
        if made.version != version:
            raise Http404
        held = made
    try:
        content = held.tile(zoom, x, y)
    except InputError as error:
        raise Http404 from error
    answer = HttpResponse(content, content_type="application/vnd.mapbox-vector-tile")
    answer.headers["Cache-Control"] = "private, max-age=31536000, immutable"
    return answer


def _is_large(desk: Desk) -> bool:
    return len(desk.district.network.segments) > FROM_SEGMENTS


def _listed(desk: Desk) -> list[dict[str, str]]:
    rows = road_list(desk.district, desk.sheet.needs, _coloured(desk), measures())
    if _is_large(desk):
        known = desk.district.network.segment_by_id
        for row in rows:
            row["box"] = _box(known[row["id"]].line)
    return rows


def _found(rows: list[dict[str, str]], wanted: str) -> list[dict[str, str]]:
    """Of a long list the first, or those that hold every word."""
    words = wanted.lower().split()
    found = (row for row in rows if all(word in row["search"] for word in words))
    return list(islice(found, _MOST_LISTED))


def _box(line: tuple[tuple[float, float], ...]) -> str:
    x, y = [at[0] for at in line], [at[1] for at in line]
    return f"{min(x):.5f},{min(y):.5f},{max(x):.5f},{max(y):.5f}"


def _tiles(desk: Desk) -> Tiles:
    """The network's tiles, held for as long as the network stays."""
    network = desk.district.network
    version = desk.once("tiles", lambda: fingerprint(network), of=("network",))
    held = held_tiles(version)
    if held is not None:
        return held
    units = measures()
    wheres = (where_on(segment, units) for segment in network.segments)
    folder = current_workspace().out / "tiles"
    return keep_tiles(make_tiles(network, wheres, folder, version=version))


def _large_json(desk: Desk) -> str:
    tiles = _tiles(desk)
    answer = {
        "tiles": f"/tiles/{tiles.version}/{{z}}/{{x}}/{{y}}.mvt",
        "closest": CLOSEST,
        "named_from": NAMED_FROM,
        "bounds": tiles.bounds,
        "codes": theme_codes(desk.district, _coloured(desk)),
        "places": places_geojson(desk.district),
        "backdrop": backdrop_geojson(desk.district),
    }
    return json.dumps(answer, separators=(",", ":"))


def _map_json(desk: Desk) -> str:
    if _is_large(desk):
        return _large_json(desk)
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
