"""An inspection told on the web, the road's past, and the ledger's forms."""

from __future__ import annotations

import html
from dataclasses import replace
from datetime import date, timedelta

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from crossfall.model import DustApplication, HaulAgreement, Request
from crossfall_app.store import audit, models, repository
from pictures import jpeg, png
from small_district import TODAY, small_condition, small_record

pytestmark = pytest.mark.django_db
SCORES = {"crown": "4", "drainage": "3", "gravel": "5", "deformation": "2", "defects": "4"}


def _text(answer, status: int = 200) -> str:
    assert answer.status_code == status, answer.content[:400]
    return " ".join(answer.content.decode().replace("\N{NO-BREAK SPACE}", " ").split())


def _tell(client, segment: str = "s1", follow: bool = True, **fields):
    filled = {**SCORES, "observed_on": TODAY.isoformat(), "side": "both", **fields}
    filled = {name: value for name, value in filled.items() if value is not None}
    return client.post(f"/inspect/{segment}/", filled, follow=follow)


def _kept(segment: str = "s1"):
    looks = [each for each in repository.load_district().conditions if each.segment_id == segment]
    return looks[-1]


def test_the_form_says_every_score_in_words(office, superintendent):
    text = _text(superintendent.get("/inspect/s1/"))
    assert text.count('type="radio" name="crown"') == 5
    assert "Nearly flat; puddles after every rain" in text
    assert 'name="observer" value="superintendent"' in text
    assert "up to 15 MB each" in text
    assert superintendent.get("/inspect/nowhere/").status_code == 404


def test_a_windshield_look_is_kept(office, superintendent):
    text = _text(
        _tell(superintendent, is_culvert_blocked="on", observer="M. Field", note="near the bend")
    )
    assert "Inspection of Road 1 kept." in text
    look = _kept()
    assert (look.crown, look.deformation, look.method) == (4.0, 2.0, "estimated")
    assert (look.is_culvert_blocked, look.observer, look.note) == (
        True,
        "M. Field",
        "near the bend",
    )
    assert look.photos == ()
    assert models.Condition.objects.latest("pk").created_by == "superintendent"


def test_a_measured_look_at_a_part_with_photos(office, superintendent):
    photos = [
        SimpleUploadedFile("IMG 1.jpg", jpeg(exif=b"SECRET")),
        SimpleUploadedFile("again.png", jpeg(exif=b"SECRET")),
        SimpleUploadedFile("b.png", png(text=b"SECRET")),
    ]
    text = _text(
        _tell(
            superintendent, from_m="100", to_m="340", side="left", crossfall_pct="2.5",
            gravel_mm="60", dust="high", ditch="shallow", shoulder="high", windrow_side="left",
            pothole_width_mm="300", photos=photos,
        )
    )  # fmt: skip
    assert "kept, with 2 photos." in text, "the same picture under two names is one"
    look = _kept()
    assert (look.from_m, look.to_m, look.side, look.method) == (100.0, 340.0, "left", "measured")
    assert (look.dust, look.ditch, look.shoulder) == ("high", "shallow", "high")
    stored = sorted(each.name for each in (office.path / "photos").iterdir())
    assert stored == sorted(look.photos)
    answer = superintendent.get(f"/photos/{look.photos[0]}")
    assert answer["Content-Type"] == "image/jpeg"
    assert b"SECRET" not in b"".join(answer.streaming_content)
    assert f'src="/photos/{look.photos[0]}"' in text
    assert "100 m to 340 m, left side" in text


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"crown": None}, "choose one"),
        ({"crossfall_pct": "0.04"}, "if it was meant as a fraction write 4"),
        ({"gravel_mm": "4"}, "if it is in inches write 102"),
        ({"rut_mm": "deep"}, "is &#x27;deep&#x27;; expected a figure"),
        ({"from_m": "300", "to_m": "100"}, "exchange them"),
        ({"from_m": "0", "to_m": "2500"}, "but s1 is 780 m long; is it in feet"),
        ({"side": "left", "windrow_side": "right"}, "are they mixed up?"),
        ({"observed_on": "2026-05-13"}, "is 2026-05-13, after today (2026-05-12)"),
        ({"observed_on": "2026-05-02"}, "looks at s1 on 2026-05-02 again"),
        ({"last_bladed_on": "2026-05-20"}, "after it was looked at"),
        ({"deformation": "9"}, "expected 1 to 5 (failed to excellent)"),
    ],
)
def test_what_cannot_be_is_said_beside_the_field_and_nothing_is_kept(
    office, superintendent, fields, words
):
    n_before = models.Condition.objects.count()
    photo = SimpleUploadedFile("a.jpg", jpeg())
    text = _text(_tell(superintendent, follow=False, photos=[photo], **fields), 422)
    assert words in text
    assert "Nothing is kept yet." in text
    assert models.Condition.objects.count() == n_before
    assert not list((office.path / "photos").iterdir())
    if "crown" not in fields:
        assert 'name="crown" value="4" required checked' in text, "what was chosen stays chosen"


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"%PDF-1.7", "photo a.jpg is not a picture; expected JPEG, PNG or WebP"),
        (jpeg()[:-5], "photo a.jpg is cut off or damaged"),
        (b"\xff\xd8\xff" + bytes(49_999_997), "photo a.jpg has 50.0 MB; expected at most 15 MB"),
    ],
    ids=["pdf", "cut", "huge"],
)
def test_a_photo_that_cannot_be_used_keeps_nothing(office, superintendent, data, words):
    n_before = models.Condition.objects.count()
    photos = [SimpleUploadedFile("good.jpg", jpeg()), SimpleUploadedFile("a.jpg", data)]
    text = _text(_tell(superintendent, follow=False, photos=photos), 422)
    assert words in text
    assert models.Condition.objects.count() == n_before
    assert not list((office.path / "photos").iterdir())


def test_figures_are_typed_in_the_agencys_units(office, superintendent, settings):
    settings.CROSSFALL_UNITS = "us"
    assert "Gravel thickness, in" in _text(superintendent.get("/inspect/s1/"))
    _tell(superintendent, gravel_mm="4", to_m="1000", pothole_count_per_km="16.09344")
    look = _kept()
    assert look.gravel_mm == pytest.approx(101.6)
    assert look.to_m == pytest.approx(304.8)
    assert look.pothole_count_per_km == pytest.approx(10.0)


def test_onward_goes_to_the_next_stretch(office, superintendent):
    network = repository.load_network()
    one, two, three = network.segments
    long_road = (one, replace(two, route="Road 0", from_m=780.0), three)
    repository.replace_network(replace(network, segments=long_road), by="tests", source="tests")
    answer = _tell(superintendent, "s0", follow=False, onward="yes")
    assert answer["Location"] == "/inspect/s1/"


def test_photos_are_found_by_their_whole_name_only(office, superintendent, stranger):
    (office.path / "photos" / "x.jpg").write_bytes(jpeg())
    for name in ("x.jpg", "..%2Fcrossfall.toml", "a" * 64 + ".jpg"):
        assert superintendent.get(f"/photos/{name}").status_code == 404
    assert stranger.get("/photos/x.jpg").status_code == 302


def test_a_road_shows_what_it_has_been_through(office, superintendent):
    repository.add_conditions(
        [
            small_condition("s1", observed_on=date(2025, 5, 1), crown=2.0, gravel_mm=70.0,
                            method="measured"),
            small_condition("s1", observed_on=date(2025, 9, 1)),
        ],
        by="tests",
    )  # fmt: skip
    text = _text(superintendent.get("/roads/s1/"))
    assert "3 inspections" in text
    assert "1 May 2025: " in text
    assert "gravel thickness 70 mm" in text
    assert text.count('<circle class="look') == 3
    assert text.count('class="look measured"') == 1
    assert "Rating at 3 looks from 1 May 2025 to 2 May 2026, and 1 times work" in text
    assert "Light blading" in text
    assert 'href="/inspect/s1/"' in text
    assert "Nobody has inspected this stretch yet" in _text(superintendent.get("/roads/s2/"))


def test_dangers_have_their_course_in_the_ledger(office, superintendent):
    text = _text(superintendent.get("/ledger/?road=s1"))
    assert "1 open danger" in text
    assert "Not secured yet" in text
    assert 'name="road" value="s1"' in text
    report = {"kind": "sign_missing", "road": "s1", "at": "40", "noticed": "2026-05-12T00:00",
              "by": "M. Field", "note": "stop sign"}  # fmt: skip
    text = _text(superintendent.post("/ledger/dangers/", report, follow=True))
    assert "HZ-20260512-1 is in the register" in text
    assert "by M. Field" in text
    moved = superintendent.post(
        "/ledger/dangers/HZ-20260512-1/barricade/", {"at": "2026-05-12T00:00"}, follow=True
    )
    assert "by superintendent" in _text(moved)
    moved = superintendent.post("/ledger/dangers/HZ-20260512-1/repair/", {}, follow=True)
    assert "1 repaired" in _text(moved)
    assert superintendent.post("/ledger/dangers/h1/forget/").status_code == 404
    late = superintendent.post(
        "/ledger/dangers/h1/repair/", {"at": "2026-05-13T10:00"}, follow=True
    )
    assert "after now" in _text(late)
    for change, words in (
        ({"road": "Nowhere"}, "is neither a segment"),
        ({"kind": "mud"}, "expected washout"),
        ({"at": "far"}, "expected a figure"),
        ({"noticed": "2026-05-13T10:00"}, "after now"),
        ({"noticed": "noon"}, "expected one such as"),
    ):
        assert words in _text(superintendent.post("/ledger/dangers/", report | change, follow=True))
    assert models.Hazard.objects.count() == 2


def test_requests_are_placed_and_answered_by_name(office, superintendent):
    repository.add_requests(
        [
            Request("a/1", date(2026, 4, 10), "shakes the bus", segment_id="s1"),
            Request("b", date(2026, 4, 11), "dust", road="CR 9"),
        ],
        by="tests",
    )
    text = _text(superintendent.get("/ledger/"))
    assert "3 open requests" in text
    assert "work answers 1 of them" in text
    assert "smoothed the surface with a grader" in text
    assert "they said “CR 9”" in text
    lost = superintendent.post("/ledger/requests/b/place/", {"segment": "s9"}, follow=True)
    assert "is not on the map" in _text(lost)
    placed = superintendent.post("/ledger/requests/b/place/", {"segment": "s0"}, follow=True)
    assert "they said" not in _text(placed)
    reply = {"reply": "We bladed it.", "approved_by": ""}
    refused = superintendent.post("/ledger/requests/a/1/answer/", reply, follow=True)
    assert "approved by a named person" in _text(refused)
    reply["approved_by"] = "S. Board"
    done = superintendent.post("/ledger/requests/a/1/answer/", reply, follow=True)
    assert "Nothing was sent" in _text(done)
    row = models.Request.objects.get(key="a/1")
    assert (row.status, row.record_id, row.reply_approved_by) == ("closed", "r1", "S. Board")
    again = superintendent.post("/ledger/requests/a/1/answer/", reply, follow=True)
    assert "is not open any more" in _text(again)


def test_hauls_stand_in_the_ledger(office, superintendent):
    haul = HaulAgreement("HA-1", "A company", ("s1",), date(2026, 4, 1), date(2026, 4, 30), 6000.0)
    repository.add_agreements([haul], by="tests")
    repository.add_records([small_record("r2", agreement_id="HA-1")], by="tests")
    text = _text(superintendent.get("/ledger/"))
    assert "A company" in text
    assert "about 20 trucks a day" in text
    assert "1 record" in text
    assert "Missing: no survey before the haul on 1 of 1 segments" in text


AGREEMENT = {
    "company": "A company",
    "roads": "Road 1",
    "first": TODAY.isoformat(),
    "last": (TODAY + timedelta(days=9)).isoformat(),
    "tonnes": "2000",
    "bond": "50000",
    "signed_by": "S. Board",
}


def test_a_haul_is_agreed_surveyed_booked_and_ended(office, superintendent):
    empty = _text(superintendent.get("/hauls/"))
    assert "No haul is agreed" in empty
    told = _text(superintendent.post("/hauls/agree/", AGREEMENT, follow=True))
    assert "is agreed: about 20 trucks a day" in told
    assert "Surveys of HA-2026-1" in told
    (haul,) = repository.load_district().haul_agreements
    assert haul.bond is not None
    assert (haul.tonnes, haul.bond.major) == (2000.0, 50000.0)
    segment = haul.segment_ids[0]
    picture = SimpleUploadedFile("a.jpg", jpeg(), "image/jpeg")
    _tell(superintendent, segment, photos=picture, crown="5")
    shown = _text(superintendent.get("/hauls/"))
    assert "before the haul" in shown
    assert "/photos/" in shown
    assert "Missing: no survey before" not in shown
    repository.add_records(
        [small_record("r7", segment_id=segment, done_on=TODAY + timedelta(days=2))], by="tests"
    )
    assert "Work on its route, booked to nobody" in _text(superintendent.get("/hauls/"))
    told = _text(superintendent.post(f"/hauls/{haul.id}/book/", {"record": "r7"}, follow=True))
    assert f"is booked to {haul.id}" in told
    again = superintendent.post(f"/hauls/{haul.id}/book/", {"record": "r7"}, follow=True)
    assert f"booked to {haul.id} already" in _text(again)
    ending = {"last": (TODAY + timedelta(days=4)).isoformat(), "because": "the mill closed"}
    assert "say why it ends" in _text(
        superintendent.post(f"/hauls/{haul.id}/end/", ending | {"because": " "}, follow=True)
    )
    superintendent.post(f"/hauls/{haul.id}/end/", ending)
    (ended,) = repository.load_district().haul_agreements
    assert (ended.n_days, ended.tonnes) == (5, 1000.0)
    assert "the mill closed" in ended.note
    assert audit.first_break() is None


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"roads": "Nowhere Road"}, "neither a segment's key nor a road's name"),
        ({"roads": " "}, "o road is named"),
        ({"company": " "}, "say who hauls"),
        ({"tonnes": "many"}, "many"),
        ({"tonnes": "0"}, "expected above 0"),
        ({"last": "2020-01-01"}, "before it begins"),
        ({"last": "soon"}, "expected a day"),
        ({"bond": "-5"}, "expected 0 or more"),
        ({"bond": "a lot"}, "an amount of money"),
    ],
)
def test_agreements_that_cannot_be_are_not_kept(office, superintendent, wrong, words):
    told = _text(superintendent.post("/hauls/agree/", AGREEMENT | wrong, follow=True))
    assert words in html.unescape(told)
    assert repository.load_district().haul_agreements == ()


def test_leave_to_pass_a_limit_is_logged_with_who_gave_it(office, superintendent):
    given = {
        "holder": "A company", "roads": "s1", "first": TODAY.isoformat(),
        "last": TODAY.isoformat(), "axle": "10", "granted_by": "S. Board", "reason": "milk",
    }  # fmt: skip
    told = _text(superintendent.post("/hauls/leave/", given, follow=True))
    assert "may pass, granted by S. Board" in told
    assert "axles up to 10 t" in told
    (leave,) = repository.load_district().load_exemptions
    assert (leave.granted_by, leave.axle_t, leave.reason) == ("S. Board", 10.0, "milk")
    assert "is unknown" in _text(
        superintendent.post("/hauls/leave/", given | {"agreement": "HA-9"}, follow=True)
    )
    assert "granted by nobody" in _text(
        superintendent.post("/hauls/leave/", given | {"granted_by": ""}, follow=True)
    )
    assert len(repository.load_district().load_exemptions) == 1


REQUESTS = (
    "service_request_id,requested_datetime,description,address,first_name\n"
    "311-1,2026-05-01T08:00:00-06:00,washboard shakes my truck,Road 1,Ann\n"
    "311-2,2026-05-02,still shaking,Road 1,Bob\n"
)


def _bring(client, text: str, name: str = "open311.csv"):
    return client.post("/ledger/requests-in/", {"file": SimpleUploadedFile(name, text.encode())})


def test_requests_are_shown_first_and_taken_in_by_a_second_step(office, superintendent):
    shown = _text(_bring(superintendent, REQUESTS))
    assert "2 new requests" in shown
    assert "who the resident is was left out of 2" in shown
    assert "1 of them about a matter that is open already" in shown
    assert "Ann" not in shown.split("<textarea")[0]
    before = len(repository.load_district().requests)
    told = superintendent.post(
        "/ledger/requests-in/", {"name": "open311.csv", "text": REQUESTS, "accept": "yes"},
        follow=True,
    )  # fmt: skip
    assert "2 requests taken in, 1 of them merged" in _text(told)
    kept = repository.load_district().requests
    assert len(kept) == before + 2
    assert {each.merged_into for each in kept if each.id == "311-2"} == {"311-1"}
    assert "0 new requests" in _text(_bring(superintendent, REQUESTS))


def test_entries_that_cannot_be_used_are_named_and_left_out_on_request(office, superintendent):
    text = REQUESTS + "311-3,2099-01-01,from the future,Road 1,\n311-4,noon,when?,Road 1,\n"
    shown = html.unescape(_text(_bring(superintendent, text)))
    assert "row 4, requested_datetime: is 2099-01-01, after today" in shown
    assert "row 5, requested_datetime" in shown
    send = {"name": "open311.csv", "text": text, "accept": "yes"}
    assert superintendent.post("/ledger/requests-in/", send).status_code == 422
    n = len(repository.load_district().requests)
    superintendent.post("/ledger/requests-in/", send | {"keep_good": "on"})
    assert len(repository.load_district().requests) == n + 2


@pytest.mark.parametrize(
    ("name", "text", "words"),
    [
        ("a.pdf", "x", "expected .csv or .json"),
        ("a.json", "{", "is not JSON"),
        ("a.json", "{}", "not in the shape of Open311"),
        ("a.csv", "", "is empty"),
        ("a.csv", "id,smell\n1,2\n", "column 'smell' is unknown"),
        ("../../a.csv", "id,date\n", "holds no request"),
        ("a.csv", "x" * 1_100_000, "expected at most 1 MB"),
    ],
)
def test_files_of_requests_that_cannot_be_read(office, superintendent, name, text, words):
    file = SimpleUploadedFile("x.csv", text.encode())
    file._name = name
    answer = superintendent.post("/ledger/requests-in/", {"file": file}, follow=True)
    assert words in html.unescape(_text(answer))


def test_the_condition_of_all_roads_comes_as_paper(office, superintendent):
    assert "Condition of all roads, to print" in _text(superintendent.get("/roads/"))
    answer = superintendent.get("/condition.pdf")
    assert answer["Content-Type"] == "application/pdf"
    assert answer.content.startswith(b"%PDF-")


def test_an_empty_office_has_no_paper_and_a_ledger_that_teaches(empty_office, superintendent):
    assert superintendent.get("/condition.pdf").status_code == 404
    assert "There is no road network here yet" in _text(superintendent.get("/ledger/"))


def test_a_road_tells_what_its_worth_is_made_of(office, superintendent):
    _tell(superintendent, deformation="2", is_culvert_blocked="on")
    text = _text(superintendent.get("/roads/s1/"))
    assert "of a grader" in text
    assert "what the road must carry whatever its traffic" in text
    assert "Cut only while the surface is moist" in text
    assert "Left at the next regravel, in 8 years" in text
    assert "Screening only: engineer to confirm" in text
    assert "of 100, where 0 can wait a season" in text


def test_a_road_that_rests_after_dust_control_says_until_when(office, superintendent):
    _tell(superintendent, crown="5", drainage="5", deformation="3", defects="4")
    assert "Light blading" in _text(superintendent.get("/roads/s1/"))
    until = TODAY + timedelta(days=30)
    rest = DustApplication("d9", "s1", TODAY, "brine", 1.4, until, "the district")
    repository.add_dust([rest], by="tests")
    text = _text(superintendent.get("/roads/s1/"))
    assert "It rests" in text
    assert f"dust control rests here until {until}" in text
