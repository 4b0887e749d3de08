"""TLS of the office's own: an authority that can vouch for nothing else, and no plain page."""

from __future__ import annotations

import json
import os
import socket
import ssl
import stat
import threading
import time
import warnings
from collections.abc import Iterator
from contextlib import closing
from datetime import UTC, datetime, timedelta
from http.client import HTTPConnection, HTTPSConnection
from ipaddress import ip_address

import pytest
from cryptography import x509

from crossfall.errors import InputError, WorkspaceError
from crossfall_app.web import certificate as tls
from crossfall_app.web import server
from crossfall_app.web.server import OfficeServer

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 5, 12, 12, tzinfo=UTC)
NAMES = ("localhost", "127.0.0.1")


def _server_certificate(made: tls.Certificate) -> x509.Certificate:
    return x509.load_pem_x509_certificate(made.server_file.read_bytes())


def test_a_certificate_names_what_it_is_for(office):
    made = tls.make_certificate(office, ["Office.Example.", "10.0.0.5", "fd00::5"], now=NOW)
    assert made.names == ("office.example", "10.0.0.5", "fd00::5")
    assert made.is_new_authority
    server = _server_certificate(made)
    found = server.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    assert found.get_values_for_type(x509.DNSName) == ["office.example"]
    assert found.get_values_for_type(x509.IPAddress) == [
        ip_address("10.0.0.5"), ip_address("fd00::5"),
    ]  # fmt: skip
    assert server.not_valid_after_utc - NOW <= timedelta(days=398), "phones refuse longer ones"
    assert len(made.fingerprint.split(":")) == 32


@pytest.mark.skipif(os.name != "posix", reason="modes of files")
def test_keys_are_for_their_owner_only(office):
    made = tls.make_certificate(office, NAMES, now=NOW)
    for name in ("authority.key", "server.key"):
        assert stat.S_IMODE((made.folder / name).stat().st_mode) == 0o600
    assert stat.S_IMODE(made.folder.stat().st_mode) == 0o700


def test_renewing_keeps_the_authority_that_phones_trust(office):
    first = tls.make_certificate(office, NAMES, now=NOW)
    again = tls.make_certificate(office, NAMES, now=NOW + timedelta(days=370))
    assert again.fingerprint == first.fingerprint
    assert not again.is_new_authority
    assert again.expires_at > first.expires_at
    anew = tls.make_certificate(office, NAMES, now=NOW, is_new_authority=True)
    assert anew.fingerprint != first.fingerprint


def test_another_name_needs_another_authority(office):
    tls.make_certificate(office, ["office.example", "10.0.0.5"], now=NOW)
    inner = tls.make_certificate(office, ["shop.office.example"], now=NOW)
    assert inner.names == ("shop.office.example",)
    for name in ("elsewhere.example", "10.0.0.6", "badoffice.example"):
        with pytest.raises(WorkspaceError, match="cannot vouch"):
            tls.make_certificate(office, [name], now=NOW)


@pytest.mark.parametrize("name", ["", " ", "two words", "-x", "a..b", "http://x", "x" * 64, "a/b"])
def test_what_is_no_name_is_refused(office, name):
    with pytest.raises(InputError, match="expected a host name"):
        tls.make_certificate(office, [name], now=NOW)
    with pytest.raises(InputError, match="no name"):
        tls.make_certificate(office, [], now=NOW)


def test_nothing_is_served_without_or_past_its_certificate(office):
    with pytest.raises(WorkspaceError, match="there is no certificate"):
        tls.usable_certificate(office, NOW)
    made = tls.make_certificate(office, NAMES, now=NOW)
    assert tls.usable_certificate(office, NOW).names == NAMES
    assert tls.is_soon_over(made, made.expires_at - timedelta(days=3))
    with pytest.raises(WorkspaceError, match="ran out"):
        tls.usable_certificate(office, NOW + timedelta(days=400))
    made.server_file.write_text("nothing")
    with pytest.raises(WorkspaceError, match="cannot be read"):
        tls.usable_certificate(office, NOW)


@pytest.fixture
def made(office) -> tls.Certificate:
    return tls.make_certificate(office, NAMES, now=datetime.now(UTC))


@pytest.fixture
def open_office(office, made, settings) -> Iterator[OfficeServer]:
    """The office behind its TLS on a free port, with its plain door."""
    server = OfficeServer(office, port=0, certificate=made, plain_port=0)
    running = threading.Thread(target=server.run, daemon=True)
    running.start()
    yield server
    server.close()
    running.join(timeout=10)


def _trusting(made: tls.Certificate) -> ssl.SSLContext:
    return ssl.create_default_context(cafile=str(made.authority_file))


def _get(server: OfficeServer, made: tls.Certificate, path: str = "/cab/") -> tuple[int, str]:
    with closing(
        HTTPSConnection("localhost", server.port, context=_trusting(made), timeout=10)
    ) as line:
        line.request("GET", path)
        answer = line.getresponse()
        return answer.status, answer.read().decode()


def test_a_phone_that_trusts_the_authority_gets_the_page(open_office, made):
    status, text = _get(open_office, made)
    assert status == 200
    assert "crossfall in the cab" in text
    assert open_office.url == f"https://localhost:{open_office.port}"


def test_a_phone_that_does_not_trust_it_refuses(open_office):
    stranger = HTTPSConnection("localhost", open_office.port, timeout=10)
    with pytest.raises(ssl.SSLCertVerificationError):
        stranger.request("GET", "/cab/")


def test_the_tls_port_answers_plain_http_with_the_reason(open_office):
    with closing(HTTPConnection("127.0.0.1", open_office.port, timeout=10)) as line:
        line.request("GET", "/cab/")
        answer = line.getresponse()
        assert answer.status == 403
        assert "never served over plain HTTP" in answer.read().decode()


def test_the_plain_door_hands_out_the_authority_and_no_page(open_office, made):
    port = int(open_office.plain_url.rpartition(":")[2].partition("/")[0])
    with closing(HTTPConnection("127.0.0.1", port, timeout=10)) as line:
        line.request("GET", "/authority.crt")
        answer = line.getresponse()
        assert answer.status == 200
        assert answer.read() == made.authority_file.read_bytes()
        for path in ("/", "/cab/", "/cab/api/day", "/../authority.key", "/authority.key"):
            line.request("GET", path)
            answer = line.getresponse()
            told = answer.read().decode()
            assert answer.status == 403, path
            assert made.fingerprint in told
            assert "PRIVATE" not in told


def test_those_who_connect_and_fall_silent_hold_nobody_up(open_office, made, monkeypatch):
    monkeypatch.setattr(server, "_GREETING_S", 1)
    silent = [socket.create_connection(("127.0.0.1", open_office.port)) for _ in range(12)]
    begun = time.monotonic()
    status, _ = _get(open_office, made)
    assert status == 200
    assert time.monotonic() - begun < 5
    plain = [socket.create_connection(("127.0.0.1", open_office.port)) for _ in range(12)]
    for each in plain:
        # Half a greeting, and no more
        each.sendall(b"\x16\x03\x01")
    for each in silent:
        each.close()
    time.sleep(0.2)
    status, _ = _get(open_office, made)
    assert status == 200, "they are let go after a few seconds"
    for each in plain:
        each.close()


def test_old_tls_is_refused(open_office, made):
    old = _trusting(made)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)
        old.minimum_version = ssl.TLSVersion.TLSv1
        old.maximum_version = ssl.TLSVersion.TLSv1_1
    old.set_ciphers("ALL:@SECLEVEL=0")
    with (
        socket.create_connection(("127.0.0.1", open_office.port), timeout=10) as plain,
        pytest.raises((ssl.SSLError, OSError)),
    ):
        old.wrap_socket(plain, server_hostname="localhost")


def test_the_authority_vouches_for_no_other_site(office, made):
    """Signed with the authority's own key, a certificate for another name is refused all the same:
    the limit stands in the authority's certificate, and OpenSSL keeps to it."""
    key, authority = tls._load_authority(made.folder)
    tls._make_server(made.folder, key, authority, ("bank.example",), datetime.now(UTC))
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(made.server_file, made.key_file)
    ours, theirs = socket.socketpair()

    def serve() -> None:
        try:
            context.wrap_socket(ours, server_side=True).close()
        except OSError:
            ours.close()

    serving = threading.Thread(target=serve)
    serving.start()
    with pytest.raises(ssl.SSLCertVerificationError, match="permitted subtree"):
        _trusting(made).wrap_socket(theirs, server_hostname="bank.example")
    theirs.close()
    serving.join(timeout=10)


def test_other_computers_are_let_in_over_tls_only(office):
    with pytest.raises(InputError, match="use --lan"):
        OfficeServer(office, "0.0.0.0", port=0)


def test_a_port_that_is_taken_is_said(office):
    with closing(socket.create_server(("127.0.0.1", 0))) as taken:
        port = taken.getsockname()[1]
        with pytest.raises(WorkspaceError, match=f"port {port} on 127.0.0.1 cannot be used"):
            OfficeServer(office, port=port)


def test_names_of_this_computer_are_reachable_ones():
    for name in tls.names_of_this_computer():
        assert name not in {"localhost", "127.0.0.1", "::1"}


# The command line


def test_the_certificate_command(office, capsys):
    from crossfall_app.cli.entry import run

    assert run(["certificate", str(office.path), "--name", "10.0.0.5", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["names"] == ["10.0.0.5"]
    assert told["is_new_authority"]
    assert run(["certificate", str(office.path)]) == 0
    assert "nothing to do on them" in capsys.readouterr().out
    assert run(["certificate", str(office.path), "--name", "elsewhere.example"]) == 2
    assert "--new-authority" in capsys.readouterr().err
    assert run(["certificate", str(office.path), "--new-authority", "--name", "10.0.0.6"]) == 0
    out = capsys.readouterr().out
    assert "On every phone, once" in out
    assert "█" in out, "a square code in letters"


def test_serve_lan_without_a_certificate_says_why(office, capsys):
    from crossfall_app.cli.entry import run

    assert run(["serve", str(office.path), "--lan", "--port", "0"]) == 2
    told = capsys.readouterr().err
    assert "crossfall certificate" in told
    assert "keep nothing for offline" in told


@pytest.mark.skipif(os.name != "posix", reason="modes of files")
def test_doctor_looks_at_the_certificate(office, pair_phone):
    from crossfall_app.store import doctor

    def found(name: str) -> doctor.Finding:
        check = getattr(doctor, f"_{name}")
        return next(iter(doctor._findings(office, ((name, check),))))

    def make(days_ago: int) -> tls.Certificate:
        at = office.now() - timedelta(days=days_ago)
        return tls.make_certificate(office, ["10.0.0.5"], now=at)

    assert "no phone that needs one" in found("certificate").told
    pair_phone()
    assert "1 paired phone cannot reach" in found("certificate").told
    made = make(0)
    assert found("certificate").is_well
    assert "10.0.0.5" in found("certificate").told
    office.path.chmod(0o700)
    assert "server.key" not in found("privacy").told
    made.key_file.chmod(0o644)
    (office.path / "crossfall.toml").chmod(0o600)
    assert "server.key" in found("privacy").told
    make(380)
    assert "runs out on" in found("certificate").told
    make(500)
    assert "ran out on" in found("certificate").told
