"""Piles, edges, tests, dust and contracts are kept, corrected and signed for."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from crossfall import model as nouns
from crossfall.errors import InputError
from crossfall_app.store import repository
from small_district import TODAY, small_district, small_test


@pytest.fixture
def district(any_workspace):
    """A small district, stored."""
    given = small_district()
    repository.store_district(given, by="test")
    return given


def stock() -> float:
    return repository.load_district().fleet.pits[0].stock_m3


def test_stock_follows_the_ledger(district):
    assert stock() == 4000.0
    taken = nouns.PileEntry("pit", TODAY, -1300.0, "card 12", "p1")
    repository.add_pile_entries([taken], by="test")
    assert stock() == 2700.0
    back = nouns.PileEntry("pit", TODAY, -130.0, "a nought too many", "p2", supersedes="p1")
    repository.add_pile_entries([back], by="test")
    assert stock() == 3870.0
    count = nouns.PileEntry("pit", date(2026, 5, 20), 3500.0, "measured", "p3", is_count=True)
    repository.add_pile_entries([count], by="test")
    assert stock() == 3500.0
    assert repository.load_fleet().pits[0].stock_m3 == 4000.0, "the fleet's own figure stays"


def test_a_pile_is_never_less_than_empty(district):
    repository.add_pile_entries([nouns.PileEntry("pit", TODAY, -9e3, "card 1", "p1")], by="test")
    assert stock() == 0.0


@pytest.mark.parametrize(
    ("add", "noun", "words"),
    [
        ("add_pile_entries", nouns.PileEntry("no-pit", TODAY, 1.0, "", "p"), "pit 'no-pit'"),
        ("add_edges", nouns.FittedEdge("g9", "plain", TODAY, 480.0, "e"), "machine 'g9'"),
        ("add_material_tests", small_test(), "in the store already"),
        (
            "add_pile_entries",
            nouns.PileEntry("pit", TODAY, 0.0, "", "p", False, "never"),
            "corrects an unknown one",
        ),
    ],
)
def test_what_points_nowhere_is_refused(district, add, noun, words):
    with pytest.raises(InputError, match=words):
        getattr(repository, add)([noun], by="test")


def test_a_contract_takes_its_course(district):
    tickets = [nouns.ScaleTicket(str(n), TODAY, 16.4) for n in range(40)]
    repository.add_tickets("c1", tickets, by="test")
    with pytest.raises(InputError, match="twice"):
        repository.add_tickets("c1", tickets[:1], by="test")
    repository.add_depths("c1", [82.0, 79.0, 81.0], by="test")
    with pytest.raises(InputError, match="expected millimetres"):
        repository.add_depths("c1", [-3.0], by="test")
    with pytest.raises(InputError, match="nobody has looked at: clearances in hand, depth"):
        repository.accept_contract("c1", accepted_by="R. Foreman", on=TODAY, by="test")
    with pytest.raises(InputError, match="not the next one"):
        repository.pass_hold_point("c1", "depth and crown", seen_by="R. F.", on=TODAY, by="test")
    for name in ("clearances in hand", "depth and crown"):
        repository.pass_hold_point("c1", name, seen_by="R. Foreman", on=TODAY, by="test")
    done = repository.accept_contract("c1", accepted_by="R. Foreman", on=TODAY, by="test")
    assert repository.load_district().contracts == (done,)
    assert (len(done.tickets), done.accepted_by) == (40, "R. Foreman")
    with pytest.raises(InputError, match="nothing is added"):
        repository.add_depths("c1", [80.0], by="test")
    with pytest.raises(InputError, match="already"):
        repository.accept_contract("c1", accepted_by="R. Foreman", on=TODAY, by="test")


def test_a_rest_cannot_end_before_it_began(district):
    with pytest.raises(InputError, match="before it was applied"):
        repository.end_rest("d1", date(2026, 1, 1), by="test")
    ended = repository.end_rest("d1", date(2026, 5, 11), by="test")
    assert repository.load_district().dust == (ended,)
    assert nouns.no_blade_until([ended], TODAY) == {}
    assert nouns.no_blade_until(district.dust, TODAY) == {"s2": date(2026, 7, 1)}


def test_a_test_says_what_is_wrong():
    with pytest.raises(InputError, match="a finer sieve cannot pass more"):
        small_test(passing_pct=((19.0, 60.0), (4.75, 80.0)))
    with pytest.raises(InputError, match="non-plastic and has a plasticity"):
        small_test(is_non_plastic=True)
    with pytest.raises(InputError, match="expected 0 or more"):
        small_test(liquid_limit=-1.0)
    with pytest.raises(InputError, match="names a sieve twice"):
        small_test(passing_pct=((19.0, 60.0), (19.0, 60.0), (4.75, 30.0)))


def test_dust_control_says_who_paid(district):
    with pytest.raises(InputError, match="who paid"):
        replace(district.dust[0], paid_by=" ")
