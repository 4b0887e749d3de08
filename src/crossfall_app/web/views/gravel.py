"""Gravel at the office: pits and tests, blends, the ledger of piles, edges, dust control."""

# mypy: disallow-untyped-decorators=False

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from typing import Any
from urllib.parse import urlencode
from uuid import uuid4

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.views.decorators.http import require_GET, require_POST

from crossfall.design.calculator import Edge, Pile
from crossfall.design.jobs import make_tools
from crossfall.design.source import Delivered
from crossfall.errors import InputError
from crossfall.model import (
    District,
    DustApplication,
    FittedEdge,
    GravelPit,
    MaterialTest,
    PileEntry,
    Segment,
)
from crossfall.model.policy.specifications import Specification
from crossfall.network import build_graph
from crossfall.report import gradation_svg, zones_svg
from crossfall_app.store import repository
from crossfall_app.web.desk import agency_today, this_morning
from crossfall_app.web.pages import a_day, csv_answer, empty_page, measures, page, sentence
from crossfall_app.web.present.gravel import (
    a_tonne,
    compared,
    csv_rows,
    dust_rows,
    edge_choices,
    edge_lives,
    edge_rows,
    foretold,
    ledger_rows,
    mixed,
    pit_rows,
    test_sheet,
    tests_of,
)

_MOST_CURVES = 5
_DIRECTION = {"in": 1.0, "out": -1.0, "count": 1.0}


@require_GET
def pits(request: HttpRequest) -> HttpResponse:
    """Pits with stock, price, delivered cost and tests; edges on the graders; dust control."""
    district, units, today = this_morning().district, measures(), agency_today()
    if not district.network.segments:
        return empty_page(request, "Gravel", "gravel")
    wanted = request.GET.get("road", "").strip()
    segment = _segment(district, wanted) if wanted else None
    if wanted and segment is None:
        messages.warning(request, f"{wanted} is neither a road's name nor a stretch's id.")
    specification = _specification(district, request.GET.get("spec", ""))
    delivered = _delivered(district, segment)
    return page(
        request,
        "gravel.html",
        "Gravel",
        here="gravel",
        pits=pit_rows(district, repository.load_fleet(), delivered, specification, units),
        road=wanted,
        segment=segment,
        routes=sorted({each.route for each in district.network.maintained}),
        spec=specification,
        specs=district.policy.design.material.specifications,
        edges=edge_rows(district, repository.machine_of_cards(), today, units),
        edge_choices=edge_choices(district, units),
        dust=dust_rows(district.dust, district, today, units),
        today=today.isoformat(),
        road_sign=units.sign("km"),
        rate_sign=units.sign("L/m2"),
        n_tests=len(district.material_tests),
    )


@require_GET
def pit(request: HttpRequest, pit_id: str) -> HttpResponse:
    """One pit: its tests sieve by sieve, its chart, its ledger, and forms for both."""
    district, units = this_morning().district, measures()
    found = _pit(district, pit_id)
    specification = _specification(district, request.GET.get("spec", ""))
    tests = tests_of(district, found)
    chosen = _chosen_test(tests, request.GET.get("test", ""))
    return page(
        request,
        "gravel_pit.html",
        found.place.name,
        here="gravel",
        pit=found,
        stock=units.show(found.stock_m3, "m3"),
        tests=tests,
        sheet=test_sheet(chosen, specification) if chosen else None,
        spec=specification,
        specs=district.policy.design.material.specifications,
        query=urlencode({"spec": specification.name}),
        ledger=ledger_rows(district, repository.load_fleet(), found, units),
        sieves=[f"{sieve:g}" for sieve in district.policy.design.material.form_sieves_mm],
        has_zones=any(_point(test) for test in tests[:_MOST_CURVES]),
        near_homes=request.GET.get("homes") == "1",
        today=agency_today().isoformat(),
        volume_sign=units.sign("m3"),
    )


@require_GET
def chart(request: HttpRequest, pit_id: str) -> HttpResponse:
    """The pit's newest gradations in the envelope of a specification, on a log axis."""
    district = repository.load_district()
    found = _pit(district, pit_id)
    tests = tests_of(district, found)[:_MOST_CURVES]
    if not tests:
        raise Http404
    curves = {
        f"{n}: {test.taken_on.isoformat()} {test.laboratory}".strip(): test.grading
        for n, test in enumerate(tests, start=1)
    }
    drawn = gradation_svg(curves, _specification(district, request.GET.get("spec", "")))
    return HttpResponse(drawn, content_type="image/svg+xml")


@require_GET
def zones(request: HttpRequest, pit_id: str) -> HttpResponse:
    """The pit's newest tests by shrinkage product and grading coefficient, with their zones."""
    district = repository.load_district()
    tests = tests_of(district, _pit(district, pit_id))[:_MOST_CURVES]
    points = {
        f"{n}: {test.taken_on.isoformat()}": point
        for n, test in enumerate(tests, start=1)
        if (point := _point(test)) is not None
    }
    if not points:
        raise Http404
    drawn = zones_svg(
        points,
        practice=district.policy.design.material,
        is_near_homes=request.GET.get("homes") == "1",
    )
    return HttpResponse(drawn, content_type="image/svg+xml")


def _point(test: MaterialTest) -> tuple[float, float] | None:
    try:
        found = foretold(test)
    except InputError:
        return None
    return (found.product, found.coefficient) if found else None


@require_GET
def edges(request: HttpRequest) -> HttpResponse:
    """Cutting edges by what a kilometre of pass costs, with the agency's own figures."""
    district, units = repository.load_district(), measures()
    rows: list[dict[str, str]] = []
    sets: list[Edge] = []
    trouble = ""
    practice, currency = district.policy.design.edge, district.policy.costs.grader.likely.currency
    for number, (name, life_h) in enumerate(edge_lives(district)):
        price_text = request.GET.get(f"price_{number}", "")
        life_text = request.GET.get(f"life_{number}", f"{life_h:g}")
        usual_ratio = practice.bladings_ratio if name == "replaceable bits" else 1.0
        ratio_text = request.GET.get(f"ratio_{number}", f"{usual_ratio:g}")
        rows.append(
            {"n": str(number), "name": name, "price": price_text, "life": life_text,
             "ratio": ratio_text}
        )  # fmt: skip
        try:
            price = _number(price_text, f"price of {name}")
            life = _number(life_text, f"hours of {name}")
            ratio = _number(ratio_text, f"ratio of {name}")
        except InputError as error:
            trouble = trouble or sentence(error)
            continue
        if price is None:
            continue
        sets.append(
            Edge(
                name,
                price,
                life or 0.0,
                practice.change_h,
                currency,
                1.0 if ratio is None else ratio,
            )
        )
    result = compared(sets, district, units) if sets and not trouble else None
    return page(
        request,
        "gravel_edges.html",
        "Cutting edges",
        here="gravel",
        rows=rows,
        result=result,
        trouble=trouble
        or (sentence(InputError(result.trouble)) if result and result.trouble else ""),
        currency=currency,
        road_sign=units.sign("km"),
        change=f"{practice.change_h:g} h",
    )


@require_GET
def test_file(request: HttpRequest, test_id: str) -> HttpResponse:
    """One test's table, for a spreadsheet."""
    district = repository.load_district()
    found = next((each for each in district.material_tests if each.id == test_id), None)
    if found is None:
        raise Http404
    specification = _specification(district, request.GET.get("spec", ""))
    heads = ("sieve or index", "value", "low", "high", "verdict")
    name = f"gravel-{found.pit_id}-{found.taken_on.isoformat()}.csv"
    return csv_answer(name, heads, csv_rows(found, specification))


@require_POST
def add_test(request: HttpRequest, pit_id: str) -> HttpResponse:
    """Keep a laboratory's sheet."""
    given = request.POST

    def add(by: str) -> None:
        passing = []
        for sieve in repository.load_policy().design.material.form_sieves_mm:
            value = _number(given.get(f"sieve_{sieve:g}", ""), f"passing {sieve:g} mm")
            if value is not None:
                passing.append((sieve, value))
        plasticity = given.get("plasticity", "").strip()
        is_np = plasticity.upper() == "NP"
        test = MaterialTest(
            id=f"test-{uuid4().hex[:12]}",
            pit_id=pit_id,
            taken_on=a_day(given.get("day", ""), agency_today()),
            passing_pct=tuple(passing),
            plasticity=None if is_np else _number(plasticity, "plasticity"),
            is_non_plastic=is_np,
            liquid_limit=_number(given.get("liquid_limit", ""), "liquid limit"),
            linear_shrinkage_pct=_number(given.get("shrinkage", ""), "linear shrinkage"),
            laboratory=given.get("laboratory", "").strip(),
        )
        repository.add_material_tests([test], by=by)

    return _change(request, add, reverse("pit", args=[pit_id]))


@require_POST
def add_entry(request: HttpRequest, pit_id: str) -> HttpResponse:
    """Put a line into the pile's ledger, or take one back."""
    given = request.POST

    def add(by: str) -> None:
        back = given.get("takes_back", "")
        kind = given.get("kind", "")
        amount = measures().read(given.get("amount", ""), "m3", "amount")
        if not back and kind not in _DIRECTION:
            raise InputError(f"kind is {kind!r}; expected in, out or count")
        if not back and (amount is None or amount < 0):
            raise InputError("amount is missing or below 0; say how much gravel, loose")
        entry = PileEntry(
            pit_id=pit_id,
            day=a_day(given.get("day", ""), agency_today()),
            loose_m3=0.0 if back else _DIRECTION[kind] * (amount or 0.0),
            reason=given.get("reason", "").strip(),
            id=f"pile-{uuid4().hex[:12]}",
            is_count=not back and kind == "count",
            supersedes=back or None,
        )
        repository.add_pile_entries([entry], by=by)

    return _change(request, add, f"{reverse('pit', args=[pit_id])}#ledger")


@require_POST
def fit_edge(request: HttpRequest) -> HttpResponse:
    """Say that a new cutting edge is on a grader."""
    given = request.POST

    def add(by: str) -> None:
        name = given.get("name", "").strip()
        life = measures().read(given.get("life", ""), "km", "life")
        if not name or life is None or not life > 0:
            raise InputError("name or life is missing; say which edge, and how far it should go")
        edge = FittedEdge(
            machine_id=given.get("machine", ""),
            name=name,
            fitted_on=a_day(given.get("day", ""), agency_today()),
            life_km=life,
            id=f"edge-{uuid4().hex[:12]}",
        )
        repository.add_edges([edge], by=by)

    return _change(request, add, f"{reverse('gravel')}#edges")


@require_POST
def add_dust(request: HttpRequest) -> HttpResponse:
    """Keep dust control that was applied: until when no blade, and who paid."""
    given = request.POST

    def add(by: str) -> None:
        district, today = repository.load_district(), agency_today()
        segment = _segment(district, given.get("road", "").strip())
        if segment is None:
            raise InputError("road is not known; name a road or a stretch's id")
        rate = measures().read(given.get("rate", ""), "L/m2", "rate")
        usual = district.policy.design.dust.rate_l_m2
        application = DustApplication(
            id=f"dust-{uuid4().hex[:12]}",
            segment_id=segment.id,
            applied_on=a_day(given.get("day", ""), today),
            product=given.get("product", "").strip() or "not said",
            rate_l_m2=usual if rate is None else rate,
            no_blade_until=a_day(given.get("until", ""), today),
            paid_by=given.get("paid_by", ""),
        )
        repository.add_dust([application], by=by)

    return _change(request, add, f"{reverse('gravel')}#dust")


@require_POST
def end_rest(request: HttpRequest, dust_id: str) -> HttpResponse:
    """Let a treated road be bladed from today on."""

    def end(by: str) -> None:
        repository.end_rest(dust_id, agency_today() - timedelta(days=1), by=by)

    return _change(request, end, f"{reverse('gravel')}#dust")


@require_GET
def blend(request: HttpRequest) -> HttpResponse:
    """Mix tested gravels at least cost, or say which sieves cannot be met together."""
    district, units = repository.load_district(), measures()
    specification = _specification(district, request.GET.get("spec", ""))
    rows, piles, trouble = _piles(request, district)
    result = mixed(piles, specification, units) if piles and not trouble else None
    return page(
        request,
        "gravel_blend.html",
        "Blend",
        here="gravel",
        rows=rows,
        result=result,
        trouble=trouble,
        spec=specification,
        specs=district.policy.design.material.specifications,
        mass_sign=units.sign("t"),
        query=request.GET.urlencode(),
    )


@require_GET
def blend_chart(request: HttpRequest) -> HttpResponse:
    """Piles and mix in the envelope."""
    district = repository.load_district()
    specification = _specification(district, request.GET.get("spec", ""))
    _, piles, trouble = _piles(request, district)
    result = mixed(piles, specification, measures()) if piles and not trouble else None
    if result is None or result.grading is None:
        raise Http404
    curves = {pile.name: pile.grading for pile in piles[: _MOST_CURVES - 1]}
    drawn = gradation_svg(curves | {"mix": result.grading}, specification)
    return HttpResponse(drawn, content_type="image/svg+xml")


def _piles(
    request: HttpRequest, district: District
) -> tuple[list[dict[str, Any]], list[Pile], str]:
    """The newest test of each pit as a line of the form, and the piles that were chosen."""
    chosen, units = set(request.GET.getlist("pile")), measures()
    density = district.policy.design.gravel.loose_t_m3
    per_tonne = units.read("1", "t", "mass") or 1.0
    rows: list[dict[str, Any]] = []
    piles: list[Pile] = []
    trouble = ""
    for found in district.fleet.pits:
        for test in tests_of(district, found)[:1]:
            asked = request.GET.get(f"price_{test.id}", "")
            share_text = request.GET.get(f"share_{test.id}", "100")
            price = a_tonne(found, test, density)
            try:
                typed = _number(asked, f"price of {found.place.name}")
                price = price if typed is None else typed / per_tonne
                share = _number(share_text, f"share of {found.place.name}")
                pile = Pile(
                    found.place.name,
                    test.grading,
                    price,
                    found.price.currency,
                    "NP" if test.is_non_plastic else test.plasticity,
                    1.0 if share is None else share / 100,
                )
            except InputError as error:
                trouble = trouble or sentence(error)
                continue
            rows.append(
                {
                    "test": test,
                    "name": found.place.name,
                    "is_chosen": test.id in chosen,
                    "price": f"{price * per_tonne:.2f}",
                    "share": share_text,
                    "currency": found.price.currency,
                }
            )
            if test.id in chosen:
                piles.append(pile)
    return rows, piles, trouble


def _change(request: HttpRequest, change: Callable[[str], None], back: str) -> HttpResponse:
    try:
        change(request.user.get_username())
    except InputError as error:
        messages.warning(request, measures().words(sentence(error)))
    return redirect(back)


def _pit(district: District, pit_id: str) -> GravelPit:
    found = next((each for each in district.fleet.pits if each.place.id == pit_id), None)
    if found is None:
        raise Http404
    return found


def _segment(district: District, wanted: str) -> Segment | None:
    """A stretch by its id, or the longest stretch of a road by its name."""
    here = [each for each in district.network.maintained if wanted in (each.id, each.route)]
    return max(here, key=lambda each: each.length_m, default=None)


def _delivered(district: District, segment: Segment | None) -> dict[str, Delivered]:
    if segment is None or not district.fleet.pits:
        return {}
    tools = make_tools(district.fleet, build_graph(district.network), district.policy)
    return {each.pit.place.id: each for each in tools.sources.delivered(segment)}


def _specification(district: District, name: str) -> Specification:
    """The specification of that name; the first where it is left out or unknown."""
    known = district.policy.design.material.specifications
    return next((each for each in known if each.name == name), known[0])


def _chosen_test(tests: list[MaterialTest], test_id: str) -> MaterialTest | None:
    return next((each for each in tests if each.id == test_id), tests[0] if tests else None)


def _number(text: str, name: str) -> float | None:
    said = text.strip().replace(",", ".")
    if not said:
        return None
    try:
        return float(said)
    except ValueError:
        raise InputError(f"{name} is {text.strip()!r}; expected a figure") from None
