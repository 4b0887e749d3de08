"""From plan to road and back: issued by name, recorded once, nothing kept of a bad report."""

from __future__ import annotations

import pytest

from crossfall.errors import InputError, UnitsError
from crossfall_app.store import repository
from crossfall_app.store.closing import record_card
from small_district import small_district, small_week


@pytest.fixture
def planned_office(any_workspace):
    """A small district with one planned week, stored."""
    repository.store_district(small_district(), by="test")
    repository.save_week(small_week(), by="test")
    return any_workspace


@pytest.fixture
def issued(planned_office):
    card = repository.list_cards()[0]
    repository.issue_card(card.number, approved_by="F. Foreman", by="test")
    return card.number


def test_finished_work_closes_its_card(issued):
    record = record_card(issued, by="A. Alder", entered_by="test", hours=1.5)
    assert record.is_finished
    assert repository.load_card(issued).status == "closed"
    assert record in repository.load_district().records


def test_work_can_be_left_and_finished_the_same_day(issued):
    left = record_card(
        issued, by="A. Alder", entered_by="test", hours=1, is_finished=False, n_passes=1
    )
    assert repository.load_card(issued).status == "issued"
    done = record_card(issued, by="A. Alder", entered_by="test", hours=0.5)
    assert left.id != done.id
    assert {left, done} <= set(repository.load_district().records)


@pytest.mark.parametrize(
    ("facts", "error"),
    [
        ({"hours": 90}, UnitsError),
        ({"hours": 0}, InputError),
        ({"hours": 1, "n_loads": -1}, InputError),
        ({"hours": 1, "is_windrow_in_travelled_way": True}, InputError),
    ],
)
def test_an_impossible_report_leaves_nothing(issued, facts, error):
    before = repository.load_district().records
    with pytest.raises(error):
        record_card(issued, by="A. Alder", entered_by="test", **facts)
    assert repository.load_district().records == before
    assert repository.load_card(issued).status == "issued"


def test_a_draft_cannot_be_recorded(planned_office):
    card = repository.list_cards()[0]
    with pytest.raises(InputError, match="only an issued card can be closed"):
        record_card(card.number, by="A. Alder", entered_by="test", hours=1)


def test_the_whole_way_at_the_keyboard(crossfall, planned_office):
    here = ("--workspace", planned_office.path)
    number = repository.list_cards()[0].number
    assert crossfall("record", number, "--hours", 1, *here).is_refused("only an issued card")
    told = crossfall("issue", number, "--approved-by", "F. Foreman", "--json", *here)
    assert told.json == {"issued": [number], "approved_by": "F. Foreman"}
    up = crossfall("record", number, "--hours", 1, "--windrow", "up", *here)
    assert up.is_refused("--windrow")
    left = crossfall("record", number, "--hours", 1, "--windrow", "left", "--json", *here)
    assert left.code == 0
    assert repository.load_card(number).status == "closed"
