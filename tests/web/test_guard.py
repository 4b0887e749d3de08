"""Nobody sees a page before coming in, changes are posted, and no page runs foreign scripts."""

from __future__ import annotations

import re

import pytest
from django.test import Client
from django.utils import timezone

from crossfall_app.store import models
from crossfall_app.web import urls
from crossfall_app.web.signin import make_link
from web_addresses import address_of

pytestmark = pytest.mark.django_db

OPEN = {"door", "enter"}


@pytest.mark.parametrize("pattern", urls.urlpatterns, ids=lambda each: each.name)
def test_a_stranger_is_sent_to_the_door(planned_office, stranger, pattern):
    for ask in (stranger.get, stranger.post):
        answer = ask(address_of(pattern))
        if pattern.name in OPEN:
            assert answer.status_code in {200, 405, 410}
        else:
            assert answer.status_code == 302
            assert answer.url.startswith("/door/")


def test_looking_changes_nothing(planned_office, superintendent):
    """Every address can be asked for, and none leaves a trace in the store."""
    before = models.Audit.objects.count()
    for pattern in urls.urlpatterns:
        answer = superintendent.get(address_of(pattern))
        assert answer.status_code < 500, pattern.name
        assert models.Audit.objects.count() == before, pattern.name
    assert superintendent.get("/").status_code == 200, "still inside"


@pytest.mark.parametrize("pattern", urls.urlpatterns, ids=lambda each: each.name)
def test_changes_need_the_token_of_our_own_page(planned_office, superintendent, pattern):
    strict = Client(enforce_csrf_checks=True)
    strict.cookies = superintendent.cookies
    assert strict.post(address_of(pattern)).status_code == 403


@pytest.mark.parametrize("address", ["/", "/door/", "/nothing-here/", "/roads.json", "/roads/s0/"])
def test_answers_say_what_may_load(planned_office, superintendent, address):
    answer = superintendent.get(address)
    policy = answer.headers["Content-Security-Policy"]
    assert "default-src 'none'" in policy
    assert "script-src 'self';" in policy
    assert "style-src 'self';" in policy
    assert "unsafe" not in policy
    assert answer.headers["X-Content-Type-Options"] == "nosniff"
    assert answer.headers["X-Frame-Options"] == "DENY"
    assert answer.headers["Referrer-Policy"] == "same-origin"
    assert "camera=()" in answer.headers["Permissions-Policy"]
    assert answer.headers["Cache-Control"] == "no-store"


@pytest.mark.parametrize(
    "address",
    ["/", "/roads/", "/roads/s0/", "/moisture/", "/moisture/?q=road", "/moisture/s0/",
     "/plan/", "/plan/g1/2026-05-12/", "/cards/", "/cards/1/",
     "/nothing-here/"],
)  # fmt: skip
def test_pages_hold_nothing_inline(planned_office, superintendent, address):
    """What the content security policy would refuse must not be in a page at all."""
    _nothing_inline(superintendent.get(address).content.decode())


def test_the_door_holds_nothing_inline(planned_office, stranger):
    _nothing_inline(stranger.get("/door/").content.decode())
    _nothing_inline(stranger.get(make_link(now=timezone.now())).content.decode())


def _nothing_inline(text: str) -> None:
    assert "<html" in text
    assert not re.search(r"\sstyle\s*=", text)
    assert not re.search(r"\son[a-z]+\s*=\s*[\"']", text)
    assert "<style" not in text
    assert "javascript:" not in text
    for script in re.findall(r"<script[^>]*>", text):
        assert "src=" in script
    assert not re.findall(r"(?:src|href)=\"(?:https?:)?//", text)


def test_names_are_escaped(office, superintendent):
    models.Segment.objects.filter(pk="s0").update(route="<img src=x> Road")
    models.Audit.objects.create(at="2026-05-12T12:00Z", who="t", action="t", table="t")
    for address in ("/", "/roads/", "/roads/s0/", "/moisture/?q=road", "/moisture/s0/"):
        text = superintendent.get(address).content.decode()
        assert "<img src=x>" not in text
    assert "&lt;img src=x&gt; Road" in superintendent.get("/roads/s0/").content.decode()
