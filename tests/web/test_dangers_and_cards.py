"""A road washes out under an issued card: the pages say which card to take back."""

from __future__ import annotations

import pytest

from crossfall_app.store import repository
from small_district import NOON

pytestmark = pytest.mark.django_db
REPORT = {"kind": "washout", "road": "s0", "at": "40", "noticed": "2026-05-12T00:00", "by": "M."}


def test_an_issued_card_on_a_washed_out_road_is_named(planned_office, superintendent):
    repository.issue_card(1, approved_by="R. Foreman", by="tests", at=NOON)
    told = superintendent.post("/ledger/dangers/", REPORT, follow=True).content.decode()
    assert "Card 1 is issued there, for Grader 1 on 2026-05-12" in told
    morning = superintendent.get("/").content.decode()
    assert '<a href="/cards/1/">Card 1</a> is issued there' in morning
    repository.withdraw_card(1, because="washed out", by="tests")
    assert "is issued there" not in superintendent.get("/").content.decode()


def test_a_draft_on_a_washed_out_road_is_held_up(planned_office, superintendent):
    superintendent.post("/ledger/dangers/", REPORT)
    assert "washout at" in superintendent.get("/cards/").content.decode()
    superintendent.post("/cards/issue/", {"card": "1", "approved_by": "R. Foreman"})
    assert repository.load_card(1).status == "draft"
