"""The protocol: nothing lost, nothing doubled, and a model that would notice."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crossfall.errors import InputError
from crossfall.model import FieldFact
from crossfall.model.policy.cab import CabPolicy
from crossfall.records.field_facts import KINDS, check_fact
from crossfall.records.field_protocol import Phone, PlainOffice, run_protocol
from crossfall.records.field_sync import (
    answer_fact,
    edits_in_force,
    fingerprint,
    numbered,
    standing,
)

NOON = datetime(2026, 5, 12, 12, tzinfo=UTC)


def _fact(key: str, *, device: str = "a", sequence: int = 1, kind: str = "note", **more):
    payload = more.pop("payload", {"note": key})
    return FieldFact(key, device, sequence, kind, NOON, payload, **more)


def _edit(key: str, device: str, value: str, *, seen: int, number: int):
    payload = {"target": "shift/g1/remark", "value": value}
    return _fact(key, device=device, kind="edit", payload=payload, seen=seen, number=number)


@settings(max_examples=80, deadline=None)
@given(st.integers(0, 2**32 - 1), st.integers(1, 4), st.floats(0.0, 1.0))
def test_no_fact_is_lost_or_doubled(seed, n_phones, trouble):
    office = PlainOffice()
    devices = [f"phone{i}" for i in range(n_phones)]
    outcome = run_protocol(
        office, np.random.default_rng(seed), devices=devices, n_facts=40, trouble=trouble
    )
    assert (outcome.lost, outcome.doubled, outcome.left_waiting) == (0, 0, 0)
    assert outcome.kept == outcome.told == 40


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 2**32 - 1))
def test_what_stands_does_not_depend_on_arrival(seed):
    rng = np.random.default_rng(seed)
    office = PlainOffice()
    run_protocol(office, rng, n_facts=30, trouble=0.7)
    shuffled = list(office.facts)
    rng.shuffle(shuffled)
    assert standing(shuffled) == standing(office.facts)
    assert standing([*shuffled, *shuffled]) == standing(office.facts)


class Forgetful(PlainOffice):
    """An office that does not look for a fact that is there already."""

    def _one(self, device, told):
        before = list(self.facts)
        self.facts = []
        answer = super()._one(device, told)
        self.facts = [*before, *self.facts]
        return answer


def test_the_model_notices_an_office_that_doubles():
    found = [
        run_protocol(Forgetful(), np.random.default_rng(seed), trouble=0.8).doubled
        for seed in range(5)
    ]
    assert all(found)


def test_the_model_notices_a_phone_that_forgets_too_soon(monkeypatch):
    plain = Phone.message

    def forgets(self, keys):
        message = plain(self, keys)
        for key in keys:
            self.waiting.pop(key, None)
        return message

    monkeypatch.setattr(Phone, "message", forgets)
    lost = sum(
        run_protocol(PlainOffice(), np.random.default_rng(seed), trouble=0.8).lost
        for seed in range(5)
    )
    assert lost > 0


def test_the_model_notices_an_office_that_is_cut_off_between_facts(monkeypatch):
    """A message is taken in whole: half of one, answered as a whole, would lose the rest."""
    whole = PlainOffice.receive

    def half(self, device, message):
        reply = whole(self, device, message)
        n_kept = len(message["facts"]) // 2
        gone = {each["id"] for each in message["facts"][n_kept:]}
        self.facts = [each for each in self.facts if each.id not in gone]
        return reply

    monkeypatch.setattr(PlainOffice, "receive", half)
    with pytest.raises(RuntimeError, match="still wait"):
        # Each phone sees that its newest answered fact is unknown, and offers all of them again
        run_protocol(PlainOffice(), np.random.default_rng(1), trouble=0.0)


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 2**32 - 1), st.integers(1, 25))
def test_an_office_restored_from_a_backup_gets_everything_again(seed, n_after):
    """Facts that came after the backup are gone from the office; the phones still have them."""
    rng = np.random.default_rng(seed)
    office, phone = PlainOffice(), Phone("a")
    told = [phone.tell("note", {"note": str(i)}, key=f"k{i}") for i in range(30)]
    for _ in range(3):
        phone.hear(office.receive("a", phone.message(list(phone.waiting)[:10])))
    assert not phone.waiting
    kept = 30 - n_after
    office.facts = office.facts[:kept]
    n_new = int(rng.integers(0, 4))
    told += [phone.tell("note", {"note": "new"}, key=f"n{i}") for i in range(n_new)]
    for _ in range(8):
        phone.hear(office.receive("a", phone.message(list(phone.waiting)[:20])))
    assert sorted(office.kept()) == sorted(told)
    assert not phone.waiting


def test_one_bad_fact_blocks_nothing():
    office, phone = PlainOffice(refused=frozenset({"bad"})), Phone("a")
    for key in ("first", "bad", "last"):
        phone.tell("note", {"note": key}, key=key)
    phone.hear(office.receive("a", phone.message(list(phone.waiting))))
    assert office.kept() == ["first", "last"]
    assert list(phone.refused) == ["bad"]
    assert not phone.waiting


def test_a_phone_never_clashes_with_itself():
    first = _edit("1", "a", "one", seen=0, number=1)
    second = _edit("2", "a", "two", seen=0, number=2)
    assert not answer_fact(second, kept_fingerprint=None, edits_by_others=[first]).is_conflict
    in_force, clashes = edits_in_force([first, second])
    assert in_force["shift/g1/remark"].id == "2"
    assert clashes == ()


@pytest.mark.parametrize(("seen", "is_conflict"), [(0, True), (1, False)])
def test_an_edit_clashes_only_with_what_its_phone_had_not_seen(seen, is_conflict):
    first = _edit("1", "a", "one", seen=0, number=1)
    second = _edit("2", "b", "two", seen=seen, number=2)
    said = answer_fact(second, kept_fingerprint=None, edits_by_others=[first])
    assert (said.answer, said.is_conflict) == ("accepted", is_conflict)
    in_force, clashes = edits_in_force([second, first])
    assert len(clashes) == is_conflict
    assert in_force["shift/g1/remark"].id == ("1" if is_conflict else "2")


def test_two_who_say_the_same_do_not_clash():
    first = _edit("1", "a", "same", seen=0, number=1)
    second = _edit("2", "b", "same", seen=0, number=2)
    assert edits_in_force([first, second])[1] == ()


@pytest.mark.parametrize(("settled", "winner"), [({"1": "2"}, "2"), ({"2": "1"}, "1")])
def test_the_foreman_settles_a_clash_either_way(settled, winner):
    facts = [
        _edit("1", "a", "one", seen=0, number=1),
        _edit("2", "b", "two", seen=0, number=2),
    ]
    in_force, clashes = edits_in_force(facts, settled)
    assert in_force["shift/g1/remark"].id == winner
    assert clashes == ()


def test_the_same_id_with_other_words_is_refused():
    there = _fact("1")
    other = replace(there, payload={"note": "something else"})
    said = answer_fact(other, kept_fingerprint=fingerprint(there), kept_number=7)
    assert said.answer == "rejected"
    assert "copy of another" in said.why
    again = answer_fact(
        replace(there, device="b"), kept_fingerprint=fingerprint(there), kept_number=7
    )
    assert (again.answer, again.number) == ("duplicate", 7), "a phone that was paired anew"


def test_undo_counts_before_and_after_and_only_for_the_own_machine():
    tick = _fact("1", kind="pass_done", payload={"pass": 1}, machine_id="g1")
    undo = _fact("2", sequence=2, kind="undo", payload={"of": "1"}, machine_id="g1")
    assert standing([tick, undo]) == standing([undo, tick]) == ()
    stranger = replace(undo, device="b", machine_id="g2")
    assert [each.id for each in standing([tick, stranger])] == ["1"]
    of_undo = _fact("3", sequence=3, kind="undo", payload={"of": "2"}, machine_id="g1")
    assert standing([tick, undo, of_undo]) == (), "an undo is not undone: tell the thing again"


@pytest.mark.parametrize(
    ("kind", "payload", "told"),
    [
        ("hours", {"hours": 300}, "were minutes meant"),
        ("hours", {"hours": float("nan")}, "expected 0 to 24"),
        ("hours", {"hours": True}, "expected a figure"),
        ("hours", {"hours": 10**400}, "expected 0 to 24"),
        ("check_in", {"lon": 10**400, "lat": 1}, "degrees"),
        ("track", {"points": [[10**400, 1, 1]]}, "no position"),
        ("shift_start", {"expected_back": "9999-12-31T23:59:59+00:00"}, "from 1970 to 2200"),
        ("shift_start", {"expected_back": "2026-05-12T15:30"}, "no time zone"),
        ("loads", {"loads": 2.5}, "whole number"),
        ("note", {"note": "x" * 501}, "at most 500"),
        ("note", {"note": "\ud800"}, "half a character"),
        ("note", {}, "does not say note"),
        ("note", {"note": "a", "nothing": 1}, "says 'nothing'"),
        ("felt", {"felt": "damp"}, "expected too_wet"),
        ("windrow", {"side": "left", "from_m": 9, "to_m": 3}, "swap them"),
        ("check_in", {"lon": 200, "lat": 1}, "degrees"),
        ("undo", {"of": "it"}, "id of a fact"),
        ("edit", {"target": "shift/g1/wage", "value": "1"}, "expected one that ends in"),
        ("edit", {"target": "shift/g1/expected_back", "value": "later"}, "expected 2026"),
        ("edit", {"target": "card/c/n_passes", "value": "4"}, "whole number"),
        ("photo", {"bytes": 1, "sha256": "abc"}, "SHA-256"),
        ("track", {"points": [[0, 1]]}, "expected seconds"),
        ("dance", {}, "does not know"),
    ],
)
def test_what_cannot_be_is_refused_in_one_sentence(kind, payload, told):
    with pytest.raises(InputError, match=told):
        check_fact(kind, payload, "c1", CabPolicy())


def test_a_fact_about_work_names_its_card():
    for kind, (_, needs_card) in KINDS.items():
        if needs_card:
            with pytest.raises(InputError, match="names no card"):
                check_fact(kind, {}, None, CabPolicy())


def test_numbers_are_the_offices():
    assert numbered(_fact("1"), 9).number == 9
    assert NOON + timedelta(0) == _fact("1").at
