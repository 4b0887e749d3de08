"""An inspection told on the web, the road's past, and the ledger's forms."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from crossfall.model import HaulAgreement, Request
from crossfall_app.store import models, repository
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


def test_the_condition_of_all_roads_comes_as_paper(office, superintendent):
    assert "Condition of all roads, to print" in _text(superintendent.get("/roads/"))
    answer = superintendent.get("/condition.pdf")
    assert answer["Content-Type"] == "application/pdf"
    assert answer.content.startswith(b"%PDF-")


def test_an_empty_office_has_no_paper_and_a_ledger_that_teaches(empty_office, superintendent):
    assert superintendent.get("/condition.pdf").status_code == 404
    assert "There is no road network here yet" in _text(superintendent.get("/ledger/"))
