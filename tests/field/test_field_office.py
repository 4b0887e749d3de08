"""The foreman's side: approval, paper, clashes, radio, overdue, replay, phones, rates."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.utils import timezone

from crossfall.records import open_ends
from crossfall_app.field import approve
from crossfall_app.field.models import Decision, Device, Fact
from crossfall_app.store import models, repository
from pictures import jpeg
from small_district import TODAY

pytestmark = pytest.mark.django_db


def _text(answer, status: int = 200) -> str:
    assert answer.status_code == status, answer.content[:600]
    return " ".join(answer.content.decode().replace("\N{NO-BREAK SPACE}", " ").split())


def _shift(phone, card_id: str, *more):
    """A small shift: two passes, done, two and a half hours, felt just right."""
    facts = [
        phone.fact("shift_start", {"is_alone": True, "who": "Pat"}),
        phone.fact("pass_done", {"pass": 1}, card=card_id),
        phone.fact("pass_done", {"pass": 2}, card=card_id),
        phone.fact("felt", {"felt": "just_right"}, card=card_id),
        phone.fact("windrow", {"side": "left"}, card=card_id),
        phone.fact("job_done", card=card_id),
        phone.fact("hours", {"hours": 2.5}, card=card_id),
        *more,
    ]
    assert set(phone.answers(*facts)) == {"accepted"}
    return facts


def _actuals(**changes: str) -> dict[str, str]:
    return {"hours": "2.5", "finished": "yes", "by": "Pat", "day": TODAY.isoformat()} | changes


def test_nothing_is_a_record_before_the_foreman_says_so(phone, foreman, card_id):
    n_before = models.WorkRecord.objects.count()
    _shift(phone, card_id)
    assert models.WorkRecord.objects.count() == n_before
    assert not models.Observation.objects.filter(key__startswith="cab-").exists()
    text = _text(foreman.get("/field/"))
    assert "done; 2 passes, 2.5 h, windrow left, left" in text


def test_taking_over_makes_the_same_record_as_paper(phone, foreman, card_id):
    _shift(phone, card_id)
    number = models.JobCard.objects.get().number
    form = _text(foreman.get(f"/field/cards/{number}/"))
    assert 'name="hours"' in form
    assert 'value="2.5"' in form
    assert 'value="2"' in form
    answer = foreman.post(
        f"/field/cards/{number}/", _actuals(passes="2", windrow="left"), follow=True
    )
    assert "2.5 h by Pat" in _text(answer)
    record = repository.load_district().records[-1]
    assert (record.card_id, record.hours, record.n_passes, record.windrow_side) == (
        card_id, 2.5, 2, "left",
    )  # fmt: skip
    assert any(end.kind == "windrow" for end in open_ends(repository.load_district().records))
    assert models.JobCard.objects.get().status == "closed"
    seen = models.Observation.objects.get(key__startswith="cab-")
    assert (seen.felt, seen.observed_on) == ("just_right", TODAY)
    assert approve.waiting_cards() == ()
    decided = Decision.objects.filter(kind="taken_over")
    assert set(decided.values_list("record_key", flat=True)) == {record.id}
    assert not decided.filter(fact__kind="shift_start").exists()


def test_paper_is_typed_in_on_the_same_form(foreman, office):
    """Three fields on a form whose rest is filled in: hours, and two clicks."""
    number = models.JobCard.objects.get().number
    form = _text(foreman.get(f"/field/cards/{number}/"))
    assert "From paper" in form
    assert "autofocus" in form
    given = {"hours": "3", "finished": "yes"}
    foreman.post(f"/field/cards/{number}/", given)
    record = repository.load_district().records[-1]
    assert (record.hours, record.by, record.is_finished) == (3.0, "First operator", True)
    assert "Type in what was done" not in _text(foreman.get(f"/cards/{number}/")), "closed now"


@pytest.mark.parametrize(
    ("changes", "told"),
    [
        ({"hours": ""}, "never taken from the plan"),
        ({"hours": "150"}, "looks like minutes"),
        ({"hours": "x"}, "expected a figure"),
        ({"day": "2099-01-01"}, "still to come"),
        ({"day": "soon"}, "expected a day"),
        ({"passes": "-1"}, "whole number"),
        ({"windrow": "middle"}, "left, right or both"),
        ({"finished": "no"}, "passes"),
        ({"in_way": "on"}, "needs windrow_side"),
    ],
)
def test_a_form_that_cannot_be_leaves_nothing(phone, foreman, card_id, changes, told):
    _shift(phone, card_id)
    n_before = models.WorkRecord.objects.count()
    number = models.JobCard.objects.get().number
    text = _text(foreman.post(f"/field/cards/{number}/", _actuals(**changes)), 400)
    assert told in text
    assert models.WorkRecord.objects.count() == n_before
    assert Decision.objects.count() == 0


def test_undone_facts_count_for_nothing(phone, foreman, card_id):
    facts = _shift(phone, card_id)
    hours = facts[-1]
    phone.answers(phone.fact("undo", {"of": hours["id"]}))
    (waiting,) = approve.waiting_cards()
    assert waiting.report.hours is None


def test_what_comes_later_waits_again(phone, foreman, card_id):
    _shift(phone, card_id)
    number = models.JobCard.objects.get().number
    foreman.post(f"/field/cards/{number}/", _actuals())
    phone.answers(phone.fact("soft_spot", {"note": "by the mailbox"}, card=card_id))
    text = _text(foreman.get("/field/"))
    assert "More came after this card was taken over" in text
    foreman.post(f"/field/cards/{number}/set-aside/", {"because": "seen, belongs to the record"})
    assert approve.waiting_cards() == ()
    look = repository.load_district().conditions[-1]
    assert "soft spot (by the mailbox)" in look.note, "what was seen on the road is kept"


def test_an_undo_after_it_was_taken_over_is_told(phone, foreman, card_id):
    facts = _shift(phone, card_id)
    number = models.JobCard.objects.get().number
    foreman.post(f"/field/cards/{number}/", _actuals())
    phone.answers(phone.fact("undo", {"of": facts[1]["id"]}))
    assert "undid “pass done” after it was taken over" in _text(foreman.get("/field/"))
    foreman.post("/field/take-over/")
    assert approve.late_undos() == ()
    sign = phone.fact("sign_missing", card=card_id)
    phone.answers(sign, phone.fact("undo", {"of": sign["id"]}))
    assert [fact.kind for fact, _ in approve.late_undos()] == ["sign_missing"]


def test_setting_aside_needs_a_reason(phone, foreman, card_id):
    phone.answers(phone.fact("not_done", {"reason": "too_wet"}, card=card_id))
    number = models.JobCard.objects.get().number
    foreman.post(f"/field/cards/{number}/set-aside/", {"because": " "})
    assert len(approve.waiting_cards()) == 1
    n_before = models.WorkRecord.objects.count()
    foreman.post(f"/field/cards/{number}/set-aside/", {"because": "nothing was done"})
    assert approve.waiting_cards() == ()
    assert models.WorkRecord.objects.count() == n_before


def test_edges_and_notes_without_a_card(phone, foreman, office):
    phone.answers(
        phone.fact("edge", {"name": "curved, 6 ft", "life_km": 900.0}),
        phone.fact("note", {"note": "fuel low"}),
    )
    assert "fuel low" in _text(foreman.get("/field/"))
    foreman.post("/field/take-over/")
    edge = models.FittedEdge.objects.order_by("-pk").first()
    assert (edge.machine_id, edge.name, edge.life_km) == ("g1", "curved, 6 ft", 900.0)
    assert approve.other_facts() == ()


def test_a_clash_is_shown_with_both_sides_and_settled(phone, pair_phone, foreman):
    other = pair_phone(name="Second operator")
    target = "shift/g1/expected_back"
    soon, later = (timezone.now() + timedelta(hours=n) for n in (1, 3))
    phone.answers(phone.fact("edit", {"target": target, "value": soon.isoformat()}))
    other.answers(other.fact("edit", {"target": target, "value": later.isoformat()}))
    text = _text(foreman.get("/field/"))
    for each, when in (("First operator", soon), ("Second operator", later)):
        assert f"{timezone.localtime(when):%H:%M}, said {each}" in text
    (clash,) = approve.clashes()
    foreman.post(f"/field/clashes/{clash.second.id}/{clash.first.id}/")
    assert approve.clashes() == ()
    again = foreman.post(f"/field/clashes/{clash.first.id}/{clash.second.id}/", follow=True)
    assert "settled already" in _text(again)


def test_what_was_changed_about_a_card_is_told_to_others_and_to_the_foreman(
    phone, pair_phone, foreman, card_id
):
    target = f"card/{card_id}/remark"
    edit = phone.fact("edit", {"target": target, "value": "Soft at the <b>gate</b>"}, card=card_id)
    assert phone.answers(edit) == ["accepted"]
    other = pair_phone(name="Second operator")
    told = other.get("/cab/api/day").json()["told"]
    assert [each["payload"]["value"] for each in told] == ["Soft at the <b>gate</b>"]
    number = models.JobCard.objects.get().number
    page = foreman.get(f"/field/cards/{number}/").content.decode()
    assert "Soft at the &lt;b&gt;gate&lt;/b&gt;, told by First operator" in page
    # Neither knew of the other: both sides are shown, until one is undone
    late = other.fact("edit", {"target": target, "value": "Dry now"}, card=card_id)
    assert other.send(late).json()["answers"][0]["is_conflict"]
    assert "Two people changed the same thing" in foreman.get("/field/").content.decode()
    other.send(other.fact("undo", {"of": late["id"]}))
    assert "Two people changed the same thing" not in foreman.get("/field/").content.decode()


def test_overdue_is_on_the_morning_and_a_radio_report_answers_it(phone, foreman, office):
    phone.answers(phone.fact("shift_start", {"is_alone": True, "who": "Pat"}))
    assert "is overdue" not in _text(foreman.get("/"))
    Fact.objects.update(at=timezone.now() - timedelta(hours=4))
    text = _text(foreman.get("/"))
    assert "Pat, Grader 1, is overdue" in text
    assert "emergency plan" in text
    foreman.post("/field/radio/", {"machine": "g1", "kind": "check_in", "note": "flat tyre"})
    assert "is overdue" not in _text(foreman.get("/"))
    assert "by radio" in _text(foreman.get("/field/"))
    foreman.post("/field/radio/", {"machine": "g1", "kind": "shift_end"})
    assert "Nobody's shift is open" in _text(foreman.get("/field/"))
    said = Fact.objects.get(kind="check_in")
    assert (said.by, said.machine_key, said.payload["note"]) == (
        "superintendent",
        "g1",
        "flat tyre",
    )


@pytest.mark.parametrize(
    "report", [{"machine": "nothing", "kind": "check_in"}, {"machine": "g1", "kind": "job_done"},
               {"machine": "g1", "kind": "check_in", "back": "half past"}]
)  # fmt: skip
def test_a_radio_report_that_cannot_be_is_refused(foreman, office, report):
    foreman.post("/field/radio/", report)
    assert Fact.objects.count() == 0


def test_the_office_is_no_phone(foreman, office):
    foreman.post("/field/radio/", {"machine": "g1", "kind": "shift_start", "who": "Pat"})
    assert Device.objects.filter(machine__isnull=True).count() == 1
    assert approve.phones() == []
    assert "None yet" in _text(foreman.get("/field/phones/"))


def test_a_code_is_shown_once_with_a_square(foreman, office):
    answer = foreman.post("/field/phones/pair/", {"machine": "g1", "name": "Pat"})
    text = _text(answer)
    assert 'id="pairing-code"' in text
    assert "<svg" in text
    assert "plain HTTP" in text, "this address has no TLS"
    assert 'id="pairing-code"' not in _text(foreman.get("/field/phones/"))
    assert (
        "name is empty"
        in _text(foreman.post("/field/phones/pair/", {"machine": "g1"}), 400).lower()
    )


def test_a_lost_phone_loses_its_key(phone, foreman):
    foreman.post(f"/field/phones/{phone.device}/revoke/")
    assert phone.get("/cab/api/day").status_code == 401
    assert "key taken away" in _text(foreman.get("/field/phones/"))


def test_the_phones_page_says_what_is_missing(phone, foreman):
    phone.fact("note", {"note": "lost with the phone"})
    phone.answers(phone.fact("note", {"note": "arrived"}), waiting=0)
    assert "1 told and not here" in _text(foreman.get("/field/phones/"))


def test_a_replay_shows_planned_and_told_and_what_was_undone(phone, foreman, card_id):
    facts = _shift(phone, card_id)
    points = {"points": [[0, -104.0, 45.0], [15, -103.995, 45.0], [30, -103.99, 45.0]]}
    phone.answers(
        phone.fact("undo", {"of": facts[1]["id"]}), phone.fact("track", points, card=card_id)
    )
    text = _text(foreman.get(f"/field/replay/g1/{TODAY}/"))
    assert "<s>pass done 1, card" in text
    assert "pass done 2" in text
    assert "stroke-dasharray" in text, "where the phone was"
    assert "surface felt just right" in text
    assert foreman.get("/field/replay/g1/2020-01-01/").status_code == 200
    assert foreman.get("/field/replay/nothing/2020-01-01/").status_code == 404
    assert foreman.get("/field/replay/g1/soon/").status_code == 404


def test_photos_are_shown_to_the_foreman(phone, foreman, card_id):
    import hashlib

    data = jpeg()
    fact = phone.fact(
        "photo", {"bytes": len(data), "sha256": hashlib.sha256(data).hexdigest()}, card=card_id
    )
    phone.answers(fact)
    assert "1 photo still to come" in _text(foreman.get("/field/"))
    phone.put(f"/cab/api/photos/{fact['id']}?offset=0", data)
    number = models.JobCard.objects.get().number
    text = _text(foreman.get(f"/field/cards/{number}/"))
    name = text.partition('src="/photos/')[2].partition('"')[0]
    assert foreman.get(f"/photos/{name}").status_code == 200


def test_rates_are_proposed_from_records_and_accepted_by_hand(foreman, office):
    text = _text(foreman.get("/field/rates/"))
    assert "Nothing changes until you accept it" in text
    version = repository.load_policy().version
    assert "too few records" in _text(foreman.post("/field/rates/", follow=True)).lower()
    assert repository.load_policy().version == version


def test_pages_hold_nothing_inline(phone, foreman, card_id):
    import re

    _shift(phone, card_id)
    number = models.JobCard.objects.get().number
    for address in ("/field/", "/field/phones/", f"/field/cards/{number}/", "/field/rates/",
                    f"/field/replay/g1/{TODAY}/", "/cab/"):  # fmt: skip
        text = foreman.get(address).content.decode()
        assert not re.search(r"\sstyle\s*=", text), address
        assert not re.search(r"\son[a-z]+\s*=\s*[\"']", text), address
        for script in re.findall(r"<script[^>]*>", text):
            assert "src=" in script


def test_names_are_escaped(pair_phone, foreman, card_id):
    rogue = pair_phone(name="<b>Pat</b>")
    rogue.answers(rogue.fact("note", {"note": "<img src=x>"}, card=card_id))
    for address in ("/field/", "/field/phones/", f"/field/replay/g1/{TODAY}/"):
        text = foreman.get(address).content.decode()
        assert "<img src=x>" not in text
        assert "<b>Pat" not in text
