"""What is too large is not read, strange hosts are refused, and a session lasts a working day."""

from __future__ import annotations

import http.client
import threading
from dataclasses import replace

import pytest

from crossfall_app import settings as own_settings
from crossfall_app.store import repository
from crossfall_app.web.server import OfficeServer

pytestmark = pytest.mark.django_db


def test_hosts_of_tests_are_no_hosts_of_an_office():
    assert own_settings.ALLOWED_HOSTS == ["localhost", "127.0.0.1", "[::1]"]


def test_a_session_ends_with_the_working_day(office, superintendent):
    assert own_settings.SESSION_COOKIE_AGE == 12 * 3600


def test_a_request_larger_than_a_look_with_its_photos_is_not_read(office):
    policy = repository.load_policy()
    entry = replace(policy.entry, photo_max_mb=2.0, photos_max=3)
    repository.save_policy(replace(policy, version="small", entry=entry), by="tests", note="small")
    server = OfficeServer(office, port=0)
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    try:
        assert _status(server, 6_000_000 + 2_500_000 + 1) == 413
    finally:
        server.close()
        thread.join(10)


def _status(server: OfficeServer, n_bytes: int) -> int:
    """The answer to a request that says it is so large, before any of it is sent."""
    host, _, port = server.url.removeprefix("http://").partition(":")
    line = http.client.HTTPConnection(host, int(port), timeout=10)
    line.putrequest("POST", "/door/")
    line.putheader("Content-Length", str(n_bytes))
    line.endheaders()
    try:
        return line.getresponse().status
    finally:
        line.close()
