"""The fleet as a file: equal after the round trip, what cannot be so is named."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from crossfall.demo import osier_valley
from crossfall.errors import InputError
from crossfall.io.fleet import check_fleet, fleet_text, read_fleet, write_fleet
from crossfall.model import Fleet, Rate, Treatment
from crossfall.model.policy import EntryPolicy

SMALL = """
[[place]]
id = "yard"
name = "North yard"
kind = "yard"
lon = -98.3
lat = 44.9

[[place]]
id = "pit"
name = "Hill pit"
kind = "pit"
lon = -98.2
lat = 44.8

[[machine]]
id = "g1"
name = "Grader 1"
kind = "grader"
home_id = "yard"

[[operator]]
id = "o1"
name = "First"
machine_id = "g1"
skills = ["blading", "reshaping"]
off_days = [2026-06-12]

[[pit]]
place = "pit"
material = "surface gravel"
stock_m3 = 900
price_per_m3 = 8.5
price_year = 2026
currency = "USD"
"""


@pytest.fixture
def read(tmp_path):
    def read_(text: str, **options) -> Fleet:
        path = tmp_path / "fleet.toml"
        path.write_text(text)
        return read_fleet(path, **options)

    return read_


def test_a_small_fleet_as_a_person_writes_it(read):
    fleet = read(SMALL)
    assert fleet.graders[0].home_id == "yard"
    assert fleet.operators[0].skills == (Treatment.BLADING, Treatment.RESHAPING)
    assert fleet.operators[0].off_days == (date(2026, 6, 12),)
    assert fleet.pits[0].place is fleet.places[1]
    assert fleet.pits[0].price.cost(100).major == 850.0
    assert fleet.pits[0].price.source == "the agency's fleet file"


def test_the_invented_fleet_comes_back_equal(tmp_path):
    fleet = osier_valley(today=date(2026, 6, 10)).fleet
    assert read_fleet(write_fleet(fleet, tmp_path / "fleet.toml")) == fleet


def test_prices_by_the_tonne_come_back_equal(read, tmp_path):
    fleet = read(SMALL)
    price = Rate("pit run", 1234, "t", "CAD", 2024, "quote", True, "measured")
    changed = replace(fleet, pits=(replace(fleet.pits[0], price=price),))
    assert read_fleet(write_fleet(changed, tmp_path / "t.toml")) == changed


def test_currency_of_the_agency_stands_in(read):
    text = SMALL.replace('currency = "USD"\n', "")
    assert read(text, currency="CAD").pits[0].price.currency == "CAD"
    with pytest.raises(InputError, match="pit 1, currency: is missing"):
        read(text)


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ('kind = "grader"', 'kind = "roller"', "no grader that is available"),
        ('home_id = "yard"', 'home_id = "yard"\nis_available = false', "no grader"),
        ('machine_id = "g1"', 'machine_id = "g1"\nshift_h = 0', "o1, shift_h: is 0; expected more"),
        ('machine_id = "g1"', 'machine_id = "g9"', "o1, machine_id: 'g9' is no"),
        ('machine_id = "g1"', 'machine_id = "g1"\nshift_start_h = 630', "half past six"),
        ('machine_id = "g1"', 'machine_id = "g1"\nmax_overtime_h = 9', "16 in all"),
        ('home_id = "yard"', 'home_id = "barn"', "g1, home_id: 'barn' is no"),
        ('home_id = "yard"', 'home_id = "yard"\nblade_m = 14', "metres, not feet"),
        ('home_id = "yard"', 'home_id = "yard"\nmass_t = 18000', "t, not kg or lb"),
        ('home_id = "yard"', 'home_id = "yard"\nblad_m = 4', "blad_m: is unknown; did you mean bl"),
        ('home_id = "yard"', "", "machine 1, home_id: is missing"),
        ('kind = "grader"', 'kind = "digger"', "kind: is 'digger'"),
        ('skills = ["blading"', 'skills = ["blding"', "'blding'; did you mean blading"),
        ("lat = 44.9", "lat = 144.9\n", "lat 144.9 is no place; are they swapped"),
        ('id = "pit"', 'id = "yard"', "pit 1, place: 'pit' is no"),
        ("stock_m3 = 900", "stock_m3 = -1", "stock_m3: is -1"),
        ("price_per_m3 = 8.5", "", "say price_per_m3 or price_per_t"),
        ("price_per_m3 = 8.5", "price_per_m3 = 8.5\nprice_per_t = 5", "one of them"),
        ("price_per_m3 = 8.5", "price_per_m3 = -2", "price is -2"),
        ("[[machine]]", "[[grader]]", r"\[\[grader\]\] is unknown"),
        ("[[machine]]", "[machine]", r"write \[\[machine\]\] above each"),
        ("[[machine]]", "[[machine", "is not TOML"),
    ],
)
def test_what_cannot_be_so_is_named(read, old, new, message):
    text = SMALL.replace(old, new, 1)
    with pytest.raises(InputError, match=message):
        read(text)


def test_doubled_ids_are_found_in_any_fleet(read):
    fleet = read(SMALL)
    doubled = replace(fleet, machines=fleet.machines * 2)
    assert ["id 'g1' is there twice" in str(p) for p in check_fleet(doubled, "f", EntryPolicy())]


@pytest.mark.parametrize(
    ("kind", "capacity", "message"),
    [("water_truck", 15, "litres, not m³"), ("haul_truck", 10_000, "m³, not litres")],
)
def test_capacities_in_another_unit_are_named(read, kind, capacity, message):
    text = SMALL + (
        f'\n[[machine]]\nid = "t1"\nname = "Truck"\nkind = "{kind}"\nhome_id = "yard"\n'
        f"capacity = {capacity}\n"
    )
    with pytest.raises(InputError, match=message):
        read(text)


def test_a_pit_elsewhere_cannot_be_written(read):
    fleet = read(SMALL)
    with pytest.raises(InputError, match="pit at 'pit' is not among the places"):
        fleet_text(replace(fleet, places=fleet.places[:1]))


def test_file_that_is_not_there(tmp_path):
    with pytest.raises(InputError, match=r"fleet\.toml does not exist"):
        read_fleet(tmp_path / "fleet.toml")
