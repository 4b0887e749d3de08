"""A card taken back, and somebody let in, without the pages."""

from __future__ import annotations

import pytest
from django.contrib.auth import get_user_model
from django.test import Client
from django.utils import timezone

from crossfall_app.store import audit, models, repository
from crossfall_app.store.card_life import issue_card, list_cards, load_card
from crossfall_app.web.signin import use_link
from small_district import small_district, small_week


@pytest.fixture
def office(crossfall, tmp_path):
    """A small district with one planned week."""
    folder = tmp_path / "office"
    assert crossfall("init", folder).code == 0
    assert crossfall("doctor", folder).code == 0
    repository.store_district(small_district(), by="test")
    repository.save_week(small_week(), by="test")
    return folder


def test_an_issued_card_is_taken_back_with_its_reason(crossfall, office):
    number = list_cards()[0].number
    issue_card(number, approved_by="F. Foreman", by="test")
    told = crossfall("withdraw", number, "--because", "washed out", "-w", office)
    assert told.code == 0
    assert "is withdrawn: washed out" in told.out
    assert "call the crew" in told.err
    assert load_card(number).status == "withdrawn"
    assert crossfall("withdraw", number, "--because", "again", "-w", office).is_refused("withdrawn")
    assert audit.first_break() is None


def test_a_draft_is_taken_back_quietly_and_slips_are_named(crossfall, office):
    number = list_cards()[0].number
    assert crossfall("withdraw", number, "--because", " ", "-w", office).is_refused("say why")
    assert crossfall("withdraw", 999, "--because", "x", "-w", office).is_refused("is unknown")
    assert load_card(number).status == "draft"
    told = crossfall("withdraw", number, "--because", "not needed", "-w", office, "--json").json
    assert (told["was"], told["status"]) == ("draft", "withdrawn")


def test_a_link_lets_one_account_in_once(crossfall, office):
    told = crossfall("link", "-w", office, "--url", "https://office.lan:8765/x", "--json").json
    assert told["link"].startswith("https://office.lan:8765/enter/")
    assert (told["account"], told["minutes"]) == ("superintendent", 15)
    path = told["link"].removeprefix("https://office.lan:8765")
    visitor = Client()
    assert visitor.post(path).status_code == 302
    assert "_auth_user_id" in visitor.session
    secret = path.strip("/").rpartition("/")[2]
    assert use_link(secret, now=timezone.now()) is None
    assert not any(secret in str(line.after) for line in models.Audit.objects.all())
    assert models.Audit.objects.filter(action="link", table="account").exists()


def test_links_are_for_people_who_have_an_account(crossfall, office):
    assert crossfall("link", "--user", "nobody", "-w", office).is_refused("is unknown")
    assert not get_user_model().objects.filter(username="nobody").exists()
    get_user_model().objects.create(username="gone", is_active=False)
    assert crossfall("link", "--user", "gone", "-w", office).is_refused("shut out")
    assert crossfall("link", "--url", "office", "-w", office).is_refused("expected an address")
