"""Gravel at the office: pits, tests against limits, charts, blends, ledger, edges, dust."""

from __future__ import annotations

import csv
import io
from dataclasses import replace
from datetime import date, timedelta

import pytest

from crossfall import model as nouns
from crossfall_app.store import models, repository
from small_district import TODAY, small_record, small_test

pytestmark = pytest.mark.django_db


def _text(client, address: str, status: int = 200) -> str:
    answer = client.get(address)
    assert answer.status_code == status, answer.content[:300]
    return " ".join(answer.content.decode().replace("\N{NO-BREAK SPACE}", " ").split())


def _post(client, address: str, **given: object) -> str:
    answer = client.post(address, given, follow=True)
    assert answer.status_code == 200, answer.content[:300]
    return " ".join(answer.content.decode().replace("\N{NO-BREAK SPACE}", " ").split())


def test_empty_states_teach(empty_office, office, superintendent):
    models.MaterialTest.objects.all().delete()
    models.FittedEdge.objects.all().delete()
    models.DustApplication.objects.all().delete()
    text = _text(superintendent, "/gravel/")
    assert "no test yet" in text
    assert "No edge was entered yet" in text
    assert "No road is treated" in text
    pit = _text(superintendent, "/gravel/pits/pit/")
    assert "This gravel was never tested" in pit
    assert "Nothing was entered yet" in pit
    assert "No gravel was tested yet" in _text(superintendent, "/gravel/blend/")
    assert superintendent.get("/gravel/pits/pit/chart.svg").status_code == 404
    repository.save_fleet(replace(repository.load_fleet(), pits=()), by="tests")
    assert "No pit is known" in _text(superintendent, "/gravel/")


def test_without_roads_the_page_teaches_how_to_bring_them(empty_office, superintendent):
    # The sheet of needs is another room's; here only the page's own answer counts
    assert "There is no road network here yet" in _text(superintendent, "/gravel/")


def test_pits_say_stock_price_and_what_the_gravel_costs_on_a_road(office, superintendent):
    text = _text(superintendent, "/gravel/?road=Road 0")
    assert "4,000 m³" in text
    assert "$12.00 a m³ loose (2022)" in text
    assert "Delivered to Road 0 (s0)" in text
    assert "cheapest" in text
    # From the pit at n3 over two segments and half of the third, there and back
    district = repository.load_district()
    km = 0.78 * 2.5
    haul, costs = district.policy.design.haul, district.policy.costs
    minutes = km * (60 / haul.loaded_km_h + 60 / haul.empty_km_h)
    minor = costs.haul_truck.likely.minor + costs.operator.likely.minor
    body = district.policy.design.haul.default_body_m3
    wanted = 12.0 + minutes / 60 * minor / 100 / body
    assert f"${wanted:,.2f} a m³ loose" in text
    assert "is neither a road" in _text(superintendent, "/gravel/?road=Nowhere")


def test_a_test_is_held_against_each_sieve(office, superintendent):
    text = _text(superintendent, "/gravel/pits/pit/")
    assert "Iowa 11: does not meet it; out: 4.75 mm 60 (wants 30 to 55)" in text
    answer = superintendent.get("/gravel/tests/t1.csv?spec=Iowa 11")
    rows = list(csv.reader(io.StringIO(answer.content.decode())))
    assert rows[0] == ["sieve or index", "value", "low", "high", "verdict"]
    assert ["4.75 mm", "60.0", "30.0", "55.0", "out"] in rows
    assert ["19 mm", "98.0", "95.0", "100.0", "met"] in rows
    chart = superintendent.get("/gravel/pits/pit/chart.svg?spec=Iowa 11")
    assert chart.headers["Content-Type"] == "image/svg+xml"
    assert b"envelope" in chart.content
    other = _text(superintendent, "/gravel/pits/pit/?spec=Example state surface gravel")
    assert "limits not verified" in other
    assert "cannot be judged" in other
    assert "not tested" in other


def test_a_sheet_is_entered_and_a_wrong_one_is_refused(office, superintendent):
    sheet = {
        "sieve_26.5": "96", "sieve_4.75": "56", "sieve_2": "42", "sieve_0.425": "35",
        "shrinkage": "5", "plasticity": "np", "laboratory": "Our lab", "day": "2026-05-01",
    }  # fmt: skip
    text = _post(superintendent, "/gravel/pits/pit/tests/", **sheet)
    assert "Our lab" in text
    # TRH 20 (1990): Gc = (96 - 42) 56 / 100 and Sp = 5 x 35
    assert "Gc 30.2, Sp 175: good" in text
    assert len(repository.load_district().material_tests) == 2
    wrong = _post(superintendent, "/gravel/pits/pit/tests/", **(sheet | {"sieve_2": "70"}))
    assert "a finer sieve cannot pass more" in wrong
    assert "expected a figure" in _post(
        superintendent, "/gravel/pits/pit/tests/", **(sheet | {"sieve_2": "many"})
    )
    assert superintendent.post("/gravel/pits/moon/tests/", sheet).status_code == 302
    assert len(repository.load_district().material_tests) == 2


def test_the_ledger_is_kept_and_a_line_taken_back(office, superintendent):
    address = "/gravel/pits/pit/ledger/"
    text = _post(superintendent, address, kind="out", amount="1300", reason="card 12")
    assert "2,700 m³ on the pile" in text
    entry = repository.load_district().pile_entries[0]
    text = _post(superintendent, address, takes_back=entry.id, reason="a nought too many")
    assert "4,000 m³ on the pile" in text
    assert "a nought too many" in text
    text = _post(superintendent, address, kind="count", amount="3500.5", day="2026-05-12")
    assert "counted" in text
    assert "3,500 m³ on the pile" in text
    assert "amount is missing" in _post(superintendent, address, kind="in", amount="").lower()
    assert "expected in, out or count" in _post(superintendent, address, kind="up", amount="3")


def test_edges_are_logged_and_foretold(office, superintendent):
    passed = small_record("r5", done_on=TODAY - timedelta(days=2), n_passes=200)
    repository.add_records([passed], by="tests")
    text = _text(superintendent, "/gravel/")
    # 200 passes and 2 passes over 0.78 km, since 1 April, of 480 km
    assert "158 km" in text
    assert "33 %" in text
    text = _post(
        superintendent, "/gravel/edges/", machine="g1", name="bits", life="4000", day="2026-05-12"
    )
    assert "plain from Wed 1 Apr: 158 km" in text
    assert "nothing bladed with it yet" in text
    assert (
        "name or life is missing"
        in _post(superintendent, "/gravel/edges/", machine="g1", name="", life="1").lower()
    )
    assert "is unknown" in _post(
        superintendent, "/gravel/edges/", machine="g7", name="bits", life="400"
    )


def test_dust_control_says_who_paid_and_until_when(office, superintendent):
    text = _text(superintendent, "/gravel/")
    assert "A. Resident" in text
    assert "Wed 1 Jul" in text
    text = _post(
        superintendent, "/gravel/dust/", road="Road 0", product="brine", rate="1.4",
        day="2026-05-10", until="2026-08-01", paid_by="the district",
    )  # fmt: skip
    assert "the district" in text
    assert "who paid" in _post(
        superintendent, "/gravel/dust/", road="Road 0", until="2026-08-01", paid_by=" "
    )
    assert (
        "road is not known"
        in _post(
            superintendent, "/gravel/dust/", road="Nowhere", until="2026-08-01", paid_by="me"
        ).lower()
    )
    _post(superintendent, "/gravel/dust/d1/end/")
    district = repository.load_district()
    assert nouns.no_blade_until(district.dust, TODAY) == {"s0": date(2026, 8, 1)}


@pytest.fixture
def two_pits(office):
    """A second pit whose gravel has what the first one lacks."""
    fleet = repository.load_fleet()
    other = nouns.GravelPit(
        nouns.Place("pit2", "Rock pit", "pit", -103.98, 45.0),
        "rock",
        nouns.Rate("rock", 2400, "t", "USD", 2022, "invented"),
        900.0,
    )
    repository.save_fleet(replace(fleet, pits=(*fleet.pits, other)), by="tests")
    coarse = ((25.0, 100.0), (19.0, 98.0), (12.5, 75.0), (4.75, 20.0), (2.36, 12.0), (0.075, 4.0))
    test = small_test(id="t2", pit_id="pit2", passing_pct=coarse, plasticity=None)
    repository.add_material_tests([test], by="tests")


def test_a_blend_is_found_with_its_price_and_chart(two_pits, superintendent):
    text = _text(
        superintendent, "/gravel/blend/?pile=t1&pile=t2&spec=Iowa 11&price_t1=5&price_t2=9"
    )
    assert "The mix, USD 5.50 a t" in text
    assert "88 %" in text
    assert "4.75 mm at most 55" in text
    query = "pile=t1&pile=t2&spec=Iowa 11&price_t1=5&price_t2=9"
    assert b"mix" in superintendent.get(f"/gravel/blend.svg?{query}").content


def test_a_blend_that_cannot_be_names_its_sieves(two_pits, superintendent):
    text = _text(superintendent, "/gravel/blend/?pile=t2&spec=Iowa 11")
    assert "No mix" in text
    assert "4.75 mm at least 30 (misses by 10.0)" in text
    assert "0.075 mm at least 6 (misses by 2.0)" in text
    assert superintendent.get("/gravel/blend.svg?pile=t2&spec=Iowa 11").status_code == 404
    assert "has no 0.425 mm sieve" in _text(
        superintendent, "/gravel/blend/?pile=t2&spec=Example state surface gravel"
    )
    assert "expected a figure" in _text(superintendent, "/gravel/blend/?pile=t2&price_t2=cheap")


def test_unknown_pits_and_tests_are_not_there(office, superintendent, stranger):
    for address in ("/gravel/pits/moon/", "/gravel/pits/moon/chart.svg", "/gravel/tests/t9.csv"):
        assert superintendent.get(address).status_code == 404
    assert stranger.get("/gravel/").status_code == 302
    assert stranger.post("/gravel/edges/", {"machine": "g1"}).status_code == 302


def test_edges_are_compared_by_a_kilometre_of_pass(office, superintendent):
    """Arithmetic: a set of 300 over 60 h at 6.5 km/h and 0.83 goes 323.7 km."""
    blank = superintendent.get("/gravel/edges/compare/").content.decode()
    assert "Which edge is cheaper?" in blank
    assert "no saving in bladings" not in blank
    asked = superintendent.get(
        "/gravel/edges/compare/?price_0=300&life_0=60&price_3=1800&life_3=600"
    )
    text = " ".join(asked.content.decode().replace("\N{NO-BREAK SPACE}", " ").split())
    assert "replaceable bits; no saving in bladings is assumed" in text
    assert "324 km" in text
    # 300 and an hour of the shop at 47.50, over 323.7 km
    assert "1.07" in text
    bad = superintendent.get("/gravel/edges/compare/?price_0=dear")
    assert "expected a figure" in bad.content.decode()
    never = superintendent.get("/gravel/edges/compare/?price_0=300&life_0=0")
    assert "expected a figure above 0" in never.content.decode()


def test_what_a_tested_gravel_foretells_is_drawn_with_its_zones(office, superintendent):
    assert superintendent.get("/gravel/pits/pit/zones.svg").status_code == 404
    passing = ((37.5, 100.0), (26.5, 96.0), (4.75, 56.0), (2.0, 42.0), (0.425, 35.0))
    test = small_test(id="t9", passing_pct=passing, linear_shrinkage_pct=5.0)
    repository.add_material_tests([test], by="tests")
    drawn = superintendent.get("/gravel/pits/pit/zones.svg")
    assert drawn["Content-Type"] == "image/svg+xml"
    assert "Sp 175, Gc 30.2" in drawn.content.decode()
    assert "What each zone foretells" in superintendent.get("/gravel/pits/pit/").content.decode()
    near = superintendent.get("/gravel/pits/pit/zones.svg?homes=1").content.decode()
    assert "dusty: too" in near
