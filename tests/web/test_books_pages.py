"""The books: sums with a table behind them, nothing left open without a name, bundles whole."""

from __future__ import annotations

import csv
import hashlib
import io
import zipfile

import pytest
from django.contrib.auth import get_user_model
from django.test import Client

from crossfall.errors import InputError
from crossfall_app.store import books, models, repository
from crossfall_app.web.models import Member
from small_district import TODAY, small_condition, small_record

pytestmark = pytest.mark.django_db


@pytest.fixture
def foreman(office) -> Client:
    user = get_user_model().objects.create(username="bo")
    Member.objects.create(user=user, name="Bo Lind", role="foreman")
    visitor = Client()
    visitor.force_login(user)
    return visitor


def _unzipped(answer) -> dict[str, bytes]:
    assert answer["Content-Type"] == "application/zip"
    with zipfile.ZipFile(io.BytesIO(answer.content)) as bundle:
        assert bundle.testzip() is None
        return {name: bundle.read(name) for name in bundle.namelist()}


def _table(content: bytes) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(content.decode())))


def _sums_hold(files: dict[str, bytes]) -> None:
    manifest = files.pop("manifest.txt").decode()
    told = dict(
        reversed(line.split("  ", 1)) for line in manifest.splitlines() if line[64:66] == "  "
    )
    assert told == {name: hashlib.sha256(content).hexdigest() for name, content in files.items()}


@pytest.mark.parametrize("by", ["road", "treatment", "month", "district"])
def test_work_is_summed_every_way(foreman, by):
    text = foreman.get(f"/ledger/work/?sum={by}&from=2026-01-01").content.decode()
    assert "1 piece of work" in text
    assert "priced" in text
    assert {
        "road": "Road 1",
        "treatment": "blading",
        "month": "2026-04",
        "district": "no district",
    }[by].lower() in text.lower()


def test_the_table_behind_it_can_be_downloaded(foreman):
    rows = _table(foreman.get("/ledger/work.csv?from=2026-01-01").content)
    assert [(row["road"], row["hours"], row["how"]) for row in rows] == [
        ("Road 1", "1.5", "priced")
    ]


def test_bad_spans_and_sums_are_said(foreman):
    answer = foreman.get("/ledger/work/?from=2026-05-01&to=2026-04-01", follow=True)
    assert "is before from" in answer.content.decode()
    assert foreman.get("/ledger/work/?sum=moon").status_code == 404
    assert foreman.get("/ledger/work.csv?from=soon").status_code == 404


def _left_in_the_way() -> None:
    left = small_record("r2", done_on=TODAY, windrow_side="left", is_windrow_in_travelled_way=True)
    repository.add_records([left], by="tests")


def test_nothing_stays_open_overnight_without_a_name(foreman):
    _left_in_the_way()
    assert "1 must be closed before dark" in foreman.get("/ledger/open/").content.decode()
    form = {"is_delineated": "1", "approved_by": "Somebody Else"}
    answer = foreman.post("/ledger/open/r2/windrow/approve/", form, follow=True)
    assert "delineated and its height is limited" in answer.content.decode()
    assert not models.EndApproval.objects.exists()
    form["is_height_limited"] = "1"
    text = foreman.post("/ledger/open/r2/windrow/approve/", form, follow=True).content.decode()
    assert "must be closed before dark" not in text
    assert "May stay: Bo Lind" in text
    assert models.EndApproval.objects.get().approved_by == "Bo Lind", "the account's own name"
    models.EndApproval.objects.update(until=TODAY.replace(day=TODAY.day - 1))
    assert "1 must be closed before dark" in foreman.get("/ledger/open/").content.decode()


def test_the_days_sheet_is_what_was_reported(foreman):
    text = foreman.get("/ledger/day/?day=2026-04-20").content.decode()
    assert "First operator" in text
    assert "1.5" in text
    assert "Nobody types it twice" in foreman.get("/ledger/day/").content.decode()


def test_an_event_gathers_labour_machines_material_and_dangers(foreman):
    form = {"code": "flood-1", "name": "Spring flood", "first_day": "2026-04-01"}
    foreman.post("/ledger/events/open/", form)
    foreman.post("/ledger/events/gather/", {"code": "flood-1", "key": ["r1"]})
    gather = {"code": "flood-1", "kind": "hazard", "key": ["h1"]}
    foreman.post("/ledger/events/gather/", gather)
    files = _unzipped(foreman.get("/ledger/events/flood-1.zip"))
    (labour,) = _table(files["labour.csv"])
    assert (labour["person"], labour["hours"], labour["amount"]) == (
        "First operator",
        "1.5",
        "71.25",
    )
    (machine,) = _table(files["equipment.csv"])
    assert machine["amount"] == "142.5"
    assert [row["danger"] for row in _table(files["dangers.csv"])] == ["h1"]
    assert b"not from invoices" in files["manifest.txt"]
    _sums_hold(files)
    foreman.post("/ledger/events/gather/", {"code": "flood-1", "key": ["r1"], "act": "out"})
    assert books.load_event("flood-1").records == frozenset()
    assert models.EventItem.objects.count() == 3, "taking out is a line of its own"


@pytest.mark.parametrize(
    ("form", "told"),
    [
        ({"code": "a b", "name": "x"}, "code is"),
        ({"code": "ok", "name": " "}, "name is empty"),
        ({"code": "ok", "name": "x", "first_day": "2026-05-02", "last_day": "2026-05-01"}, "ends"),
    ],
)
def test_bad_events_are_refused(foreman, form, told):
    text = foreman.post("/ledger/events/open/", form, follow=True).content.decode()
    assert told in text.lower()
    assert not models.Event.objects.exists()


def test_unknown_work_is_never_half_gathered(foreman):
    books.open_event("ok", "x", TODAY, by="tests")
    with pytest.raises(InputError, match="unknown"):
        books.put_under("ok", "record", ["r1", "no-such"], by="tests")
    assert not models.EventItem.objects.exists()


def test_a_records_request_gives_everything_about_a_road(foreman):
    repository.add_conditions([small_condition("s1", note="=HYPERLINK")], by="tests")
    files = _unzipped(foreman.get("/ledger/kept/road.zip?road=Road+1&from=2026-01-01"))
    assert {"work.csv", "inspections.csv", "requests.csv", "cards.csv", "left_out.csv"} <= set(
        files
    )
    assert [row["record"] for row in _table(files["work.csv"])] == ["r1"]
    assert all(row["segment"] == "s1" for row in _table(files["inspections.csv"]))
    assert "'=HYPERLINK" in files["inspections.csv"].decode()
    _sums_hold(files)
    answer = foreman.get("/ledger/kept/road.zip?road=Nowhere", follow=True)
    assert "choose one of the list" in answer.content.decode()


def test_the_schedule_says_what_is_past_its_time(foreman):
    repository.add_records([small_record("r9", done_on=TODAY.replace(year=2009))], by="tests")
    text = foreman.get("/ledger/kept/").content.decode()
    assert "past its time" in text
    assert models.WorkRecord.objects.filter(key="r9").exists(), "and nothing is thrown away"
