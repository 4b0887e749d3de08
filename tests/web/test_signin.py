"""The one-time link: once, for a quarter of an hour, and never stored."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.contrib.auth import get_user_model
from django.test import Client
from django.utils import timezone

from crossfall_app.web.models import SignInLink
from crossfall_app.web.signin import LINK_LIFE, is_open, make_link, use_link

pytestmark = pytest.mark.django_db


def _secret(link: str) -> str:
    return link.strip("/").split("/")[1]


def test_link_lets_in_once(empty_office, stranger):
    link = make_link(now=timezone.now())
    assert b"Open the office" in stranger.get(link).content
    answer = stranger.post(link)
    assert (answer.status_code, answer.url) == (302, "/")
    assert stranger.get("/").status_code == 200
    again = Client().post(link)
    assert again.status_code == 410
    assert b"does not open any more" in again.content


def test_looking_at_a_link_does_not_use_it_up(empty_office, stranger):
    link = make_link(now=timezone.now())
    for _ in range(3):
        assert stranger.get(link).status_code == 200
    assert "_auth_user_id" not in stranger.session
    assert stranger.post(link).status_code == 302


def test_link_ends_after_a_quarter_of_an_hour(empty_office):
    made = timezone.now()
    secret = _secret(make_link(now=made))
    assert is_open(secret, now=made + LINK_LIFE - timedelta(seconds=1))
    assert not is_open(secret, now=made + LINK_LIFE)
    assert use_link(secret, now=made + LINK_LIFE) is None
    assert timedelta(minutes=15) == LINK_LIFE


def test_a_new_link_ends_the_earlier_one(empty_office):
    now = timezone.now()
    first, second = (_secret(make_link(now=now)) for _ in range(2))
    assert use_link(first, now=now) is None
    assert use_link(second, now=now) is not None


def test_store_holds_no_secret_and_no_password(empty_office):
    secret = _secret(make_link(now=timezone.now()))
    row = SignInLink.objects.get()
    assert secret not in row.secret_sha256
    assert len(secret) >= 43, "32 random bytes"
    assert not row.user.has_usable_password()


def test_somebody_who_left_the_agency_cannot_come_in(empty_office):
    now = timezone.now()
    secret = _secret(make_link(now=now))
    get_user_model().objects.update(is_active=False)
    assert use_link(secret, now=now) is None


def test_invented_secret_is_refused(empty_office, stranger):
    assert stranger.get("/enter/guess/").status_code == 410
    assert stranger.post("/enter/guess/").status_code == 410


def test_signing_out(empty_office, superintendent):
    assert superintendent.get("/").status_code == 200
    assert superintendent.post("/leave/").url == "/door/"
    assert superintendent.get("/").url.startswith("/door/")


def test_coming_in_changes_the_session_key(empty_office, stranger):
    """A session that somebody planted before signing in is worth nothing after."""
    planted = stranger.session
    planted["seen"] = 1
    planted.save()
    before = planted.session_key
    stranger.post(make_link(now=timezone.now()))
    assert stranger.session.session_key != before
