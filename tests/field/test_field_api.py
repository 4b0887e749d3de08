"""What phones ask of the office: pairing, facts, the day, photos; and what they may not."""

from __future__ import annotations

import hashlib
import json
from datetime import UTC, datetime, timedelta
from uuid import uuid4

import pytest
from django.db import DatabaseError
from django.test import Client
from django.utils import timezone

from crossfall.errors import InputError
from crossfall_app.field import intake
from crossfall_app.field.models import Device, DeviceKey, Fact, PairingCode, PairingTry, Photo
from crossfall_app.field.pairing import make_code, revoke
from crossfall_app.field.urls import urlpatterns
from crossfall_app.store import models, repository
from pictures import jpeg
from small_district import TODAY

pytestmark = pytest.mark.django_db


def _pair(code: str, **more):
    client = Client(SERVER_NAME="localhost", enforce_csrf_checks=True)
    body = json.dumps({"code": code, **more})
    return client.post("/cab/api/pair", body, content_type="application/json")


# Pairing


def test_a_code_opens_once_and_soon(office):
    code = make_code("g1", "Pat", by="tests", now=timezone.now())
    typed = code.lower().replace("-", " ")
    assert _pair(typed).status_code == 200
    assert _pair(code).status_code == 403, "used"
    late = make_code("g1", "Pat", by="tests", now=timezone.now() - timedelta(minutes=16))
    assert _pair(late).status_code == 403, "too old"


def test_only_hashes_are_kept(office, phone):
    assert phone.key not in {row.sha256 for row in DeviceKey.objects.all()}
    assert hashlib.sha256(phone.key.encode()).hexdigest() == DeviceKey.objects.get().sha256


def test_a_newer_code_ends_the_older_one(office):
    first = make_code("g1", "Pat", by="tests", now=timezone.now())
    make_code("g1", "Pat", by="tests", now=timezone.now())
    assert _pair(first).status_code == 403


def test_guessing_ends_soon(office):
    for _ in range(10):
        assert _pair("AAAAA-AAAAA").status_code == 403
    assert _pair("AAAAA-AAAAA").status_code == 429
    good = make_code("g1", "Pat", by="tests", now=timezone.now())
    assert _pair(good).status_code == 429, "closed for the right one too, for a while"
    PairingTry.objects.update(at=timezone.now() - timedelta(minutes=16))
    assert _pair(good).status_code == 200


def test_nobody_pairs_with_a_machine_that_is_not_there(office):
    with pytest.raises(InputError, match="not in the fleet"):
        make_code("nothing", "Pat", by="tests", now=timezone.now())
    with pytest.raises(InputError, match="whose phone"):
        make_code("g1", "  ", by="tests", now=timezone.now())


def test_two_machines_of_one_name_are_told_apart_by_the_plan(phone, office, pair_phone, card_id):
    """Cards name machines in words; one that left may have borne the name before, too."""
    _grader("g0", is_current=False)
    _grader("g2")
    other = pair_phone("g2", "Second operator")
    assert other.get("/cab/api/day").json()["cards"] == []
    reply = other.send(other.fact("job_done", card=card_id)).json()["answers"][0]
    assert (reply["answer"], "not this phone's" in reply["why"]) == ("rejected", True)
    target = {"target": f"card/{card_id}/remark", "value": "mine"}
    assert other.answers(other.fact("edit", target)) == ["rejected"]
    assert [each["id"] for each in phone.get("/cab/api/day").json()["cards"]] == [card_id]
    assert phone.answers(phone.fact("job_done", card=card_id)) == ["accepted"]
    assert Fact.objects.get().machine_key == "g1"


def _grader(key: str, **more):
    models.Machine.objects.create(
        id=key, name="Grader 1", kind="grader", home_id="yard", blade_m=3.7, travel_km_h=40,
        capacity=0, payload_t=0, mass_t=18, attachments=[], is_available=True, **more,
    )  # fmt: skip


def test_a_stranger_who_guesses_keeps_nobody_else_from_pairing(office):
    stranger = Client(SERVER_NAME="localhost", REMOTE_ADDR="127.0.0.9")
    for status in [403] * 10 + [429] * 5:
        answer = stranger.post("/cab/api/pair", '{"code": "WRONG"}', content_type="text/plain")
        assert answer.status_code == status
    assert PairingTry.objects.count() == 10
    assert _pair(make_code("g1", "Pat", by="tests", now=timezone.now())).status_code == 200


def test_all_guesses_together_end_too(office):
    now = timezone.now()
    PairingTry.objects.bulk_create(
        PairingTry(at=now, address=f"10.0.{i // 250}.{i % 250}") for i in range(1000)
    )
    assert _pair(make_code("g1", "Pat", by="tests", now=now)).status_code == 429


@pytest.mark.parametrize("caller", ["10.0.0.66", "fe80::1", ""])
def test_a_caller_who_calls_himself_localhost_is_none(office, caller):
    visitor = Client(SERVER_NAME="localhost", REMOTE_ADDR=caller)
    assert visitor.get("/cab/").status_code == 403
    assert visitor.post("/cab/api/pair", "{}", content_type="application/json").status_code == 403
    over_tls = visitor.get("/cab/", secure=True)
    assert over_tls.status_code == 200


def test_a_revoked_phone_reads_and_tells_nothing(phone):
    assert phone.get("/cab/api/day").status_code == 200
    revoke(phone.device, by="tests", now=timezone.now())
    assert phone.get("/cab/api/day").status_code == 401
    assert phone.send(phone.fact("note", {"note": "late"})).status_code == 401
    assert Fact.objects.count() == 0


def test_a_silent_phone_is_paired_again(phone):
    Device.objects.update(seen_at=timezone.now() - timedelta(days=181))
    assert phone.get("/cab/api/day").status_code == 401


def test_a_phone_paired_again_stays_the_same_and_sends_what_waited(phone, office, card_id):
    waiting = phone.fact("pass_done", {"pass": 1}, card=card_id)
    assert phone.answers(waiting) == ["accepted"], "and the answer was lost on the way"
    DeviceKey.objects.exclude(device__key="x")  # the old key still counts as proof
    code = make_code("g1", "Pat", by="tests", now=timezone.now())
    again = _pair(code, was={"device": phone.device, "key": phone.key}).json()
    assert again["device"] == phone.device
    assert phone.get("/cab/api/day").status_code == 401, "the old key is gone"
    phone.key = again["key"]
    assert phone.answers(waiting) == ["duplicate"]


def test_a_phone_that_lost_its_key_is_another_and_doubles_nothing(phone, pair_phone, card_id):
    fact = phone.fact("pass_done", {"pass": 1}, card=card_id)
    phone.answers(fact)
    other = pair_phone()
    assert other.device != phone.device
    assert other.answers(fact) == ["duplicate"]
    assert Fact.objects.count() == 1


def test_a_stranger_gets_nowhere(office, card_id):
    stranger = Client(SERVER_NAME="localhost")
    for key in ("", "guess", "x" * 300):
        answer = stranger.get("/cab/api/day", headers={"X-Cab-Key": key})
        assert answer.status_code == 401
        assert "not paired" in answer.json()["error"]


# Over TLS only


@pytest.mark.parametrize("address", ["/cab/", "/cab/worker.js", "/cab/manifest.webmanifest"])
def test_plain_http_is_refused_with_the_reason(office, settings, address):
    settings.ALLOWED_HOSTS = ["office.example", "localhost"]
    plain = Client(SERVER_NAME="office.example").get(address)
    assert plain.status_code == 403
    assert "not served over plain HTTP" in plain.content.decode()
    assert Client(SERVER_NAME="office.example").get(address, secure=True).status_code == 200
    assert Client(SERVER_NAME="localhost").get(address).status_code == 200


def test_keys_are_not_taken_over_plain_http(phone, settings):
    settings.ALLOWED_HOSTS = ["office.example", "localhost"]
    phone.client.defaults["SERVER_NAME"] = "office.example"
    for answer in (phone.get("/cab/api/day"), phone.send(), _plain_pair()):
        assert answer.status_code == 403
        assert "plain HTTP" in answer.json()["error"]


def _plain_pair():
    client = Client(SERVER_NAME="office.example")
    return client.post("/cab/api/pair", "{}", content_type="application/json")


def test_the_shell_holds_nothing_of_the_agency(office):
    answer = Client(SERVER_NAME="localhost").get("/cab/")
    text = answer.content.decode()
    assert "Small district" not in text
    assert "unsafe" not in answer.headers["Content-Security-Policy"]
    assert "manifest-src 'self'" in answer.headers["Content-Security-Policy"]
    assert "geolocation=(self)" in answer.headers["Permissions-Policy"]


# Facts


def test_facts_are_taken_in_and_told_again_are_duplicates(phone, card_id):
    facts = [
        phone.fact("shift_start", {"is_alone": True}),
        phone.fact("pass_done", {"pass": 1}, card=card_id),
        phone.fact("felt", {"felt": "dust", "lon": -104.0, "lat": 45.0}, card=card_id),
    ]
    reply = phone.send(*facts).json()
    assert [each["answer"] for each in reply["answers"]] == ["accepted"] * 3
    numbers = [each["number"] for each in reply["answers"]]
    assert numbers == sorted(set(numbers))
    assert reply["latest"] == numbers[-1]
    again = phone.send(*reversed(facts)).json()["answers"]
    assert [each["answer"] for each in again] == ["duplicate"] * 3
    assert [each["number"] for each in again] == numbers[::-1]
    row = Fact.objects.get(kind="pass_done")
    assert (row.machine_key, row.card_key, row.day, row.by) == (
        "g1", card_id, TODAY, "First operator",
    )  # fmt: skip


def test_one_bad_fact_never_blocks_the_rest(phone, card_id):
    good = phone.fact("note", {"note": "fine"})
    bad = [
        phone.fact("hours", {"hours": 300}, card=card_id),
        phone.fact("pass_done", {"pass": 1}, card="no such card"),
        phone.fact("dance"),
        phone.fact("note", {"note": "x"}, id="not-a-uuid"),
        phone.fact("note", {"note": "x"}, sequence=-1),
        phone.fact("note", {"note": "x"}, at="yesterday"),
        phone.fact("note", {"note": "x"}, at="2026-05-12T12:00:00"),
        phone.fact("note", {"note": "x"}, seen=2**60),
        phone.fact("note", {"note": "half \ud800"}),
        phone.fact("note", {"note": "nul \0"}),
        {**phone.fact("note"), "payload": [1]},
        "no fact at all",
        None,
    ]
    reply = phone.send(*bad[:6], good, *bad[6:]).json()["answers"]
    assert [each["answer"] for each in reply].count("accepted") == 1
    assert reply[6]["answer"] == "accepted"
    for each in reply:
        if each["answer"] == "rejected":
            assert each["why"].endswith("."), each
            assert each["why"][0].isupper() or not each["why"][0].isalpha()
    assert Fact.objects.count() == 1


def test_what_the_store_cannot_take_stays_in_the_outbox(phone, monkeypatch):
    """Trouble of the office's own is no refusal: that fact has no answer, the others have."""
    plain = intake.fingerprint

    def breaks(fact):
        if fact.payload.get("note") == "break":
            raise DatabaseError("disk I/O error")
        return plain(fact)

    one, broken, two = (phone.fact("note", {"note": each}) for each in ("a", "break", "b"))
    with monkeypatch.context() as sick:
        sick.setattr(intake, "fingerprint", breaks)
        answers = phone.send(one, broken, two).json()["answers"]
    assert [each["id"] for each in answers] == [one["id"], two["id"]]
    assert phone.answers(broken) == ["accepted"]


def test_no_figure_is_large_enough_to_block_a_message(phone):
    """A figure of hundreds of digits is an ordinary whole number in JSON."""
    huge = 10**400
    bad = [
        phone.fact("track", {"points": [[huge, 1, 1]]}),
        phone.fact("check_in", {"lon": huge, "lat": 1}),
        phone.fact("shift_start", {"expected_back": "9999-12-31T23:59:59+00:00"}),
        phone.fact("note", {"note": "a"}, sequence=huge),
    ]
    reply = phone.send(*bad, phone.fact("note", {"note": "good"})).json()["answers"]
    assert [each["answer"] for each in reply] == ["rejected"] * 4 + ["accepted"]
    assert all(len(each["why"]) < 600 for each in reply)


def test_a_fault_of_ours_with_one_fact_leaves_the_others_their_answers(phone, monkeypatch):
    plain = intake.fingerprint

    def breaks(fact):
        if fact.payload.get("note") == "break":
            raise OverflowError("a fault of ours")
        return plain(fact)

    monkeypatch.setattr(intake, "fingerprint", breaks)
    one, broken, two = (phone.fact("note", {"note": each}) for each in ("a", "break", "b"))
    answers = phone.send(one, broken, two).json()["answers"]
    assert [each["id"] for each in answers] == [one["id"], two["id"]]


@pytest.mark.parametrize(
    "body", ["", "[]", "{", '{"facts": 3, "protocol": 1}', '{"protocol": 1, "facts": [NaN]}',
             '{"facts": [], "protocol": 99}', "[" * 5000]
)  # fmt: skip
def test_what_is_no_message_is_refused_whole(phone, body):
    answer = phone.post("/cab/api/facts", body)
    assert answer.status_code == 400
    assert answer.json()["error"]


def test_a_phone_speaks_only_of_its_own_machine(phone, office, card_id):
    models.JobCard.objects.update(machine="Grader 9")
    reply = phone.send(phone.fact("job_done", card=card_id)).json()["answers"][0]
    assert reply["answer"] == "rejected"
    assert "not this phone's" in reply["why"]
    assert phone.get("/cab/api/day").json()["cards"] == []
    stranger = {"target": "shift/g9/expected_back", "value": timezone.now().isoformat()}
    assert phone.answers(phone.fact("edit", stranger)) == ["rejected"]


def test_facts_of_an_earlier_machine_still_arrive(phone, office, card_id, pair_phone):
    models.Machine.objects.create(
        id="g2", name="Grader 2", kind="grader", home_id="yard", blade_m=3.7, travel_km_h=40,
        capacity=0, payload_t=0, mass_t=18, attachments=[], is_available=True,
    )  # fmt: skip
    waiting = phone.fact("job_done", card=card_id)
    code = make_code("g2", "Pat", by="tests", now=timezone.now())
    phone.key = _pair(code, was={"device": phone.device, "key": phone.key}).json()["key"]
    assert phone.get("/cab/api/day").json()["cards"] == [], "reads its own machine's only"
    assert phone.answers(waiting) == ["accepted"]
    assert Fact.objects.get().machine_key == "g1"


def test_clocks_that_are_off_are_corrected(phone):
    off = timedelta(minutes=-47)
    told = datetime.now(UTC) + off - timedelta(minutes=10)
    fact = phone.fact("note", {"note": "slow clock"}, at=told.isoformat())
    phone.send(fact, sent_at=(datetime.now(UTC) + off).isoformat())
    row = Fact.objects.get()
    ago = timezone.now() - row.at
    assert timedelta(minutes=9) < ago < timedelta(minutes=11)
    assert "47 min off" in row.doubts[0]
    assert row.at_phone == told
    assert Device.objects.get(key=phone.device).skew_s == pytest.approx(-47 * 60, abs=5)


def test_a_clock_that_was_changed_before_sending_is_noticed(phone):
    """Two hours fast, then put right: what waited was told two hours too late, or was not."""
    fast = timedelta(hours=2)
    phone.send(sent_at=(datetime.now(UTC) + fast).isoformat())
    told_at = (datetime.now(UTC) - timedelta(minutes=1)).isoformat()
    waited = phone.fact("note", {"note": "by the fast clock"}, at=told_at)
    phone.send(waited)
    doubts = Fact.objects.get(key=waited["id"]).doubts
    assert any("was changed by -120 min" in each for each in doubts)
    later = phone.fact("note", {"note": "by the right clock"})
    phone.send(later)
    assert Fact.objects.get(key=later["id"]).doubts == []
    earlier = (datetime.now(UTC) - timedelta(minutes=5)).isoformat()
    late = phone.fact("note", {"note": "left over"}, at=earlier)
    phone.send(late)
    assert any("was changed" in each for each in Fact.objects.get(key=late["id"]).doubts)


def test_a_clock_that_is_off_and_stays_so_was_not_changed(phone):
    for _ in range(3):
        off = datetime.now(UTC) - timedelta(hours=1)
        fact = phone.fact("note", {"note": "slow"}, at=off.isoformat())
        phone.send(fact, sent_at=off.isoformat())
        assert not any("was changed" in each for each in Fact.objects.get(key=fact["id"]).doubts)


def test_a_fact_from_the_future_is_as_of_its_arrival(phone):
    ahead = (datetime.now(UTC) + timedelta(days=400)).isoformat()
    phone.answers(phone.fact("note", {"note": "x"}, at=ahead))
    row = Fact.objects.get()
    assert row.at <= timezone.now()
    assert "future" in row.doubts[0]


def test_an_old_page_may_still_tell(phone):
    assert phone.answers(phone.fact("note", {"note": "old"}), release="0000old") == ["accepted"]
    assert Device.objects.get(key=phone.device).release == "0000old"


def test_a_phone_learns_that_the_office_was_restored(phone):
    fact = phone.fact("note", {"note": "x"})
    reply = phone.send(fact).json()
    last = {"id": fact["id"], "number": reply["answers"][0]["number"]}
    assert phone.send(last=last).json()["knows_last"] is True
    Fact.objects.all().delete()
    assert phone.send(last=last).json()["knows_last"] is False
    assert phone.answers(fact) == ["accepted"]


def test_a_withdrawn_card_keeps_its_facts_with_a_doubt(phone, card_id):
    models.JobCard.objects.update(status="withdrawn", withdrawn_because="washout ahead")
    assert phone.answers(phone.fact("job_done", card=card_id)) == ["accepted"]
    assert "withdrawn: washout ahead" in Fact.objects.get().doubts[0]
    shown = phone.get("/cab/api/day").json()
    assert shown["cards"] == []
    assert shown["withdrawn"][0]["because"] == "washout ahead"


def test_dangers_are_in_the_register_at_once(phone, card_id):
    phone.answers(phone.fact("sign_missing", {"at_m": 120.0, "note": "stop sign"}, card=card_id))
    hazard = repository.load_district().hazards[-1]
    assert (hazard.kind, hazard.at_m, hazard.noticed_by) == (
        "sign_missing", 120.0, "First operator",
    )  # fmt: skip
    assert "stop sign" in hazard.note


def test_two_phones_of_one_machine_see_each_others_passes(phone, pair_phone, card_id):
    other = pair_phone(name="Second operator")
    phone.answers(phone.fact("pass_done", {"pass": 1}, card=card_id))
    shown = other.get("/cab/api/day").json()
    assert [each["kind"] for each in shown["told"]] == ["pass_done"]
    assert phone.get("/cab/api/day").json()["told"] == [], "its own it knows"
    target = "shift/g1/expected_back"
    value = {"target": target, "value": timezone.now().isoformat()}
    later = {"target": target, "value": (timezone.now() + timedelta(hours=1)).isoformat()}
    assert phone.send(phone.fact("edit", value)).json()["answers"][0]["is_conflict"] is False
    clash = other.send(other.fact("edit", later, seen=0)).json()["answers"][0]
    assert (clash["answer"], clash["is_conflict"]) == ("accepted", True)
    assert "foreman" in clash["why"]


def test_the_day_holds_the_issued_cards_and_no_drafts(phone, card_id):
    shown = phone.get("/cab/api/day").json()
    (card,) = shown["cards"]
    assert card["id"] == card_id
    assert card["cautions"]
    assert [each["number"] for each in card["passes"]] == list(range(1, len(card["passes"]) + 1))
    assert card["passes"][0]["speed"].replace("\N{NO-BREAK SPACE}", " ") == "5–8 km/h"
    assert shown["machine"]["id"] == "g1"
    models.JobCard.objects.update(status="draft")
    drafts = phone.get("/cab/api/day").json()
    assert drafts["cards"] == []
    assert drafts["n_drafts"] == 1


# Photos


def _photo(phone, data: bytes, card_id: str):
    said = {"bytes": len(data), "sha256": hashlib.sha256(data).hexdigest()}
    fact = phone.fact("photo", said, card=card_id)
    return fact, f"/cab/api/photos/{fact['id']}"


def test_a_photo_goes_on_from_where_it_stopped(phone, office, card_id):
    data = jpeg(exif=b"WHERE AND WHOSE") + b""
    fact, address = _photo(phone, data, card_id)
    assert phone.put(f"{address}?offset=0", data).status_code == 409, "the text first"
    phone.answers(fact)
    half = len(data) // 2
    assert phone.put(f"{address}?offset=0", data[:half]).json()["have"] == half
    assert phone.get(address).json() == {
        "have": half, "n_bytes": len(data), "is_complete": False, "refused": "",
    }  # fmt: skip
    assert phone.put(f"{address}?offset=0", data[:half]).json()["have"] == half, "twice is once"
    gap = phone.put(f"{address}?offset={half + 9}", data[half + 9 :]).json()
    assert gap["have"] == half, "a gap is not written"
    assert phone.put(f"{address}?offset={half}", data[half:]).json()["is_complete"]
    again = phone.put(f"{address}?offset=0", data).json()
    assert again["is_complete"]
    photo = Photo.objects.get()
    kept = (office.path / "photos" / photo.name).read_bytes()
    assert b"WHERE AND WHOSE" not in kept
    assert list((office.path / "incoming").iterdir()) == []


def test_a_damaged_photo_starts_again(phone, office, card_id):
    data = jpeg()
    fact, address = _photo(phone, data, card_id)
    phone.answers(fact)
    wrong = data[:-1] + bytes([data[-1] ^ 1])
    assert phone.put(f"{address}?offset=0", wrong).json()["have"] == 0
    assert phone.put(f"{address}?offset=0", data).json()["is_complete"]


def test_what_is_no_picture_is_refused_for_good(phone, office, card_id):
    fact, address = _photo(phone, b"<script>alert(1)</script>", card_id)
    phone.answers(fact)
    said = phone.put(f"{address}?offset=0", b"<script>alert(1)</script>").json()
    assert not said["is_complete"]
    assert "not a picture" in said["refused"]
    assert list((office.path / "photos").iterdir()) == []


def test_nobody_writes_beside_or_beyond(phone, office, card_id):
    data = jpeg()
    fact, address = _photo(phone, data, card_id)
    phone.answers(fact)
    assert phone.put(f"{address}?offset=-5", data).json()["have"] == 0
    assert phone.put(f"{address}?offset=0", data + b"more").json()["have"] == 0
    assert phone.put(f"{address}?offset=x", data).status_code == 400
    assert phone.put(f"/cab/api/photos/{uuid4()}?offset=0", data).status_code == 409


# Guards


@pytest.mark.parametrize("pattern", urlpatterns, ids=lambda each: each.name)
def test_the_offices_side_is_for_those_who_have_come_in(office, pattern):
    if pattern.name.startswith("cab"):
        pytest.skip("phones have keys of their own")
    samples = {"number": 1, "first": uuid4(), "second": uuid4(), "device_key": "x",
               "machine_id": "g1", "day": "2026-05-12"}  # fmt: skip
    from django.urls import reverse

    given = {name: samples[name] for name in pattern.pattern.converters}
    address = reverse(pattern.name, kwargs=given)
    for ask in (Client(SERVER_NAME="localhost").get, Client(SERVER_NAME="localhost").post):
        answer = ask(address)
        assert answer.status_code == 302
        assert answer.url.startswith("/door/")


def test_codes_and_keys_are_in_no_backup():
    from crossfall_app.store.backup import _KEYS_TO_THE_DOOR

    assert DeviceKey._meta.db_table in _KEYS_TO_THE_DOOR
    assert PairingCode._meta.db_table in _KEYS_TO_THE_DOOR
