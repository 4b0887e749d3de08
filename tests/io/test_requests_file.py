"""Requests from files: Open311's shape and plain tables, and never who the resident is."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crossfall.errors import InputError
from crossfall.io.requests import read_requests

TODAY = date(2026, 5, 12)
DENVER = ZoneInfo("America/Denver")
ENTRY = {
    "service_request_id": "311-7",
    "status": "open",
    "service_name": "Road surface",
    "service_code": "RS",
    "description": "Washboard so bad the bus slows down",
    "requested_datetime": "2026-05-12T03:30:00Z",
    "address": "4512 Road 1",
    "lat": 45.001,
    "long": -103.985,
    "media_url": None,
}


@pytest.fixture
def read(tmp_path):
    def reader(given, name: str = "open311.json"):
        path = tmp_path / name
        path.write_text(given if isinstance(given, str) else json.dumps(given))
        return read_requests(path, today=TODAY, zone=DENVER)

    return reader


def test_the_shape_of_open311(read):
    found = read([ENTRY, ENTRY | {"service_request_id": 8, "status": "closed",
                                  "updated_datetime": "2026-05-12T08:00:00-06:00"}])  # fmt: skip
    first, second = found.requests
    assert first.id == "311-7"
    assert first.text == "Washboard so bad the bus slows down"
    assert (first.lon, first.lat, first.road) == (-103.985, 45.001, "4512 Road 1")
    assert first.requested_at == datetime(2026, 5, 12, 3, 30, tzinfo=UTC)
    assert first.received_on == date(2026, 5, 11), "half past three UTC is the evening before there"
    assert (second.id, second.status, second.closed_on) == ("8", "closed", TODAY)
    assert found.summary() == "open311.json: 2 requests"


def test_wrapped_and_single_ones(read):
    assert read({"service_requests": [ENTRY]}).requests == read(ENTRY).requests


def test_a_plain_table(read):
    found = read(
        'id,date,complaint,road,lat,lon\n7,2026-05-10,"potholes, deep",Road 1,,\n', "calls.csv"
    )
    (request,) = found.requests
    assert (request.received_on, request.requested_at) == (date(2026, 5, 10), None)
    assert (request.text, request.lon) == ("potholes, deep", None)


def test_who_the_resident_is_is_left_out(read):
    private = {"first_name": "Ann", "email": "ann@example.org", "phone": "555"}
    found = read([ENTRY | private, ENTRY | {"service_request_id": "9", "email": ""}])
    assert found.n_private == 1
    assert "who the resident is was left out of 1" in found.summary()
    assert "ann" not in repr(found.requests).lower()


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"requested_datetime": "2026-05-13T12:00:00-06:00"}, "is 2026-05-13, after today"),
        ({"requested_datetime": "yesterday"}, "is 'yesterday'; expected like"),
        ({"service_request_id": ""}, "expected a key"),
        ({"status": "pending"}, "is 'pending'; expected open or closed"),
        ({"lat": -103.9, "long": 45.0}, "latitude and longitude look exchanged"),
        ({"lat": "north"}, "expected degrees"),
        ({"description": "", "service_name": ""}, "is missing; what is it about"),
    ],
)
def test_a_bad_entry_is_named_and_the_others_stay(read, change, message):
    found = read([ENTRY, {**ENTRY, "service_request_id": "b", **change}])
    assert len(found.requests) == 1
    assert (found.n_bad, len(found.problems)) == (1, 1)
    assert "open311.json entry 2" in str(found.problems[0])
    assert message in str(found.problems[0])


def test_one_key_twice_is_named(read):
    found = read([ENTRY, ENTRY])
    assert "has the key '311-7' of open311.json entry 1" in str(found.problems[0])


@pytest.mark.parametrize(
    ("text", "name", "message"),
    [
        ("{", "a.json", "is not JSON"),
        ('"words"', "a.json", "not in the shape of Open311"),
        ("[]", "a.json", "holds no request"),
        ("", "a.csv", "is empty"),
        ("id,date,text,colour\n", "a.csv", "column 'colour' is unknown"),
        ("id,date,text,id\n", "a.csv", "'id' is there twice"),
    ],
)
def test_files_that_are_no_requests(read, text, name, message):
    with pytest.raises(InputError, match=message):
        read(text, name)


JUNK = st.recursive(
    st.none() | st.booleans() | st.floats() | st.text(max_size=8),
    lambda each: (
        st.lists(each, max_size=2) | st.dictionaries(st.text(max_size=3), each, max_size=2)
    ),
    max_leaves=4,
)


@settings(max_examples=200, deadline=None)
@given(st.lists(st.dictionaries(st.sampled_from(sorted(ENTRY)), JUNK), max_size=4))
def test_nonsense_is_named_never_a_crash(tmp_path_factory, entries):
    path = tmp_path_factory.mktemp("j") / "r.json"
    path.write_text(json.dumps(entries))
    try:
        found = read_requests(path, today=TODAY, zone=DENVER)
    except InputError:
        return
    assert len(found.requests) + found.n_bad == len(entries)
