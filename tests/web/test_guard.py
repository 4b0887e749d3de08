"""Nobody sees a page before coming in, changes are posted, and no page runs foreign scripts."""

from __future__ import annotations

import re
from datetime import date
from uuid import uuid4

import pytest
from django.test import Client
from django.urls import URLPattern, reverse
from django.utils import timezone

from crossfall_app.web import urls
from crossfall_app.web.signin import make_link

pytestmark = pytest.mark.django_db

OPEN = {"door", "enter"}
CHANGES = {
    "hazard-move", "hazard-report", "leave", "limit-down", "limit-up", "moisture-tell",
    "plan-start", "request-answer", "request-place", "run-cancel", "tell",
}  # fmt: skip
SAMPLES = {
    "secret": "guess",
    "run_id": uuid4(),
    "segment_id": "s0",
    "machine_id": "g1",
    "day": date(2026, 5, 12),
    "number": 1,
    "name": "map",
    "posting_id": "limit-1",
    "hazard_id": "h1",
    "step": "repair",
    "request_id": "q1",
}


def _address(pattern: URLPattern) -> str:
    return reverse(pattern.name, kwargs={key: SAMPLES[key] for key in pattern.pattern.converters})


@pytest.mark.parametrize("pattern", urls.urlpatterns, ids=lambda each: each.name)
def test_a_stranger_is_sent_to_the_door(planned_office, stranger, pattern):
    address = _address(pattern)
    ask = stranger.post if pattern.name in CHANGES else stranger.get
    answer = ask(address)
    if pattern.name in OPEN:
        assert answer.status_code in {200, 410}
    else:
        assert answer.status_code == 302
        assert answer.url.startswith("/door/")


@pytest.mark.parametrize("name", sorted(CHANGES))
def test_changes_are_posted(planned_office, superintendent, name):
    pattern = next(each for each in urls.urlpatterns if each.name == name)
    assert superintendent.get(_address(pattern)).status_code == 405


@pytest.mark.parametrize("name", sorted(CHANGES))
def test_changes_need_the_token_of_our_own_page(planned_office, superintendent, name):
    strict = Client(enforce_csrf_checks=True)
    strict.cookies = superintendent.cookies
    pattern = next(each for each in urls.urlpatterns if each.name == name)
    assert strict.post(_address(pattern)).status_code == 403


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
    assert "private" in answer.headers["Cache-Control"]


@pytest.mark.parametrize(
    "address",
    ["/", "/roads/", "/roads/s0/", "/plan/", "/plan/g1/2026-05-12/", "/cards/", "/cards/1/",
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
    from crossfall_app.store import models

    models.Segment.objects.filter(pk="s0").update(route="<img src=x> Road")
    models.Audit.objects.create(at="2026-05-12T12:00Z", who="t", action="t", table="t")
    for address in ("/", "/roads/", "/roads/s0/"):
        text = superintendent.get(address).content.decode()
        assert "<img src=x>" not in text
    assert "&lt;img src=x&gt; Road" in superintendent.get("/roads/s0/").content.decode()
