"""The office server: pages on this computer, or on the office's network behind its own TLS.

By default it listens on the loopback address only and prints the link to come in with. With a
certificate (``crossfall certificate``, then ``crossfall serve --lan``) it speaks TLS to phones and
other computers, and a second, plain port hands out nothing but the authority's certificate and the
reason why there is no page. Offices with a proxy of their own name their host in
``CROSSFALL_HOSTS``.
"""

# mypy: disallow-subclassing-any=False

from __future__ import annotations

import ipaddress
import logging
import os
import socket
import ssl
import threading
from collections.abc import Callable, Iterable
from typing import Any

from cheroot import errors, wsgi
from cheroot.server import HTTPConnection
from cheroot.ssl.builtin import BuiltinSSLAdapter
from django.conf import settings
from django.utils import timezone
from django.utils.module_loading import import_string

from crossfall.errors import InputError, WorkspaceError
from crossfall.model.policy.entry import EntryPolicy
from crossfall_app.store.repository import load_policy
from crossfall_app.web.built import built_url
from crossfall_app.web.certificate import AUTHORITY, Certificate
from crossfall_app.web.guard import OwnChangesFirst
from crossfall_app.web.signin import make_link
from crossfall_app.workspace import Workspace

LOOPBACK = "127.0.0.1"
EVERYWHERE = "0.0.0.0"  # only ever with TLS, see _refuse_open_host
PORT = 8765
PLAIN_PORT = 8766
_THREADS = 8
_PATIENCE_S = 20
_HEADERS_BYTES = 64_000
_GREETING_S = 5
_CLIENT_HELLO = b"\x16"
_MB = 1_000_000
_log = logging.getLogger("crossfall.server")

NOT_PLAIN = (
    "This port speaks TLS only, and the field page is never served over plain HTTP: a phone keeps"
    " nothing for offline without TLS, and anybody on the network could read its key. Open the"
    " same address with https:// in front.\n"
)


class OfficeServer:
    """A server that listens already; :meth:`run` answers until :meth:`close` or Ctrl-C."""

    def __init__(
        self,
        workspace: Workspace,
        host: str = LOOPBACK,
        port: int = PORT,
        *,
        certificate: Certificate | None = None,
        plain_port: int | None = None,
    ) -> None:
        """Listen on ``host`` and ``port`` (0 takes a free one) for an opened workspace.

        With ``certificate`` it speaks TLS, and ``plain_port`` hands out the authority.

        Raises
        ------
        InputError
            If the host is not this computer and nobody said which names it answers to.
        WorkspaceError
            If the port is taken, the certificate cannot be used, or the pages were never built.
        """
        if certificate is None:
            _refuse_open_host(host)
        built_url("office.css")
        application = import_string("crossfall_app.wsgi.application")
        # After the application, whose own set-up of logging would undo it
        _write_down_errors(workspace)
        # With many at work, a page may rest on a desk that is a moment old
        OwnChangesFirst.is_on = True
        self._server = _listening(host, port, application, certificate)
        self._server.max_request_body_size = largest_request(load_policy().entry)
        self._plain: Any = None
        if certificate is not None and plain_port is not None:
            try:
                self._plain = _listening(host, plain_port, _PlainDoor(certificate, self.port), None)
            except WorkspaceError:
                self._server.stop()
                raise
        self.workspace = workspace
        name = host if certificate is None else certificate.names[0]
        shown = f"[{name}]" if ":" in name else name
        scheme = "http" if certificate is None else "https"
        self.url = f"{scheme}://{shown}:{self.port}"

    @property
    def port(self) -> int:
        """The port it listens on."""
        return int(self._server.bind_addr[1])

    @property
    def plain_url(self) -> str:
        """Where the authority's certificate is to be had; empty without TLS."""
        if self._plain is None:
            return ""
        name = self.url.removeprefix("https://").rpartition(":")[0]
        return f"http://{name}:{self._plain.bind_addr[1]}/{AUTHORITY}"

    def link(self) -> str:
        """A new one-time link to come in with."""
        return self.url + make_link(now=timezone.now())

    def run(self) -> None:
        """Answer until closed."""
        if self._plain is not None:
            threading.Thread(target=self._plain.serve, daemon=True).start()
        self._server.serve()

    def close(self) -> None:
        """Stop listening."""
        OwnChangesFirst.is_on = False
        for each in (self._plain, self._server):
            if each is not None:
                each.stop()


def serve(
    workspace: Workspace,
    host: str = LOOPBACK,
    port: int = PORT,
    *,
    certificate: Certificate | None = None,
    plain_port: int | None = None,
    announce: Callable[[str], None] | None = None,
    announce_plain: Callable[[str], None] | None = None,
) -> None:
    """Serve the pages until Ctrl-C; ``announce`` is given the one-time link once it works."""
    server = OfficeServer(workspace, host, port, certificate=certificate, plain_port=plain_port)
    try:
        if announce is not None:
            announce(server.link())
        if announce_plain is not None and server.plain_url:
            announce_plain(server.plain_url)
        server.run()
    finally:
        server.close()


def largest_request(entry: EntryPolicy) -> int:
    """The largest request that is read [bytes]: one look with all its photos, and what is typed.

    Examples
    --------
    >>> largest_request(EntryPolicy(photo_max_mb=15.0, photos_max=12))
    182500000
    """
    typed: int = settings.DATA_UPLOAD_MAX_MEMORY_SIZE
    return int(entry.photos_max * entry.photo_max_mb * _MB) + typed


class _Connection(HTTPConnection):
    """Exchanges the TLS greeting in the thread that answers, within a few seconds."""

    has_greeted = False

    def communicate(self) -> bool:
        if isinstance(self.socket, ssl.SSLSocket) and not self.has_greeted:
            if not self._greet(self.socket):
                return False
            self.has_greeted = True
        is_kept: bool = super().communicate()  # type: ignore[no-untyped-call]
        return is_kept

    @staticmethod
    def _greet(line: ssl.SSLSocket) -> bool:
        patience = line.gettimeout()
        line.settimeout(_GREETING_S)
        try:
            # Below TLS: the first byte tells whether somebody speaks plain HTTP to this port
            if socket.socket.recv(line, 1, socket.MSG_PEEK) != _CLIENT_HELLO:
                socket.socket.sendall(line, _plain_answer(NOT_PLAIN))
                return False
            line.do_handshake()
        except OSError:
            return False
        finally:
            line.settimeout(patience)
        return True


class _Server(wsgi.Server):
    """Gives a connection to a thread only once something was said on it.

    Otherwise a few phones that connect and fall silent would hold up everybody else.
    """

    ConnectionClass = _Connection
    _connections: Any

    def process_conn(self, conn: Any) -> None:
        if conn.last_used is None:
            self._connections.put(conn)
        else:
            super().process_conn(conn)

    def error_log(self, msg: str = "", level: int = logging.INFO, traceback: bool = False) -> None:
        _log.log(logging.DEBUG if level <= logging.INFO else level, "%s", msg, exc_info=traceback)


class _Tls(BuiltinSSLAdapter):
    """TLS whose greeting is left to the connection."""

    def wrap(self, sock: socket.socket) -> tuple[Any, dict[str, str]]:
        try:
            wrapped = self.context.wrap_socket(
                sock, do_handshake_on_connect=False, server_side=True
            )
        except OSError as error:
            raise errors.FatalSSLAlert(*error.args) from error
        return wrapped, {"wsgi.url_scheme": "https", "HTTPS": "on"}


class _PlainDoor:
    """What is to be had without TLS: the authority's certificate, which is public, and a reason."""

    def __init__(self, certificate: Certificate, tls_port: int) -> None:
        self._certificate = certificate
        self._port = tls_port

    def __call__(self, environ: dict[str, Any], start: Callable[..., Any]) -> Iterable[bytes]:
        if environ.get("PATH_INFO") == f"/{AUTHORITY}":
            body = self._certificate.authority_file.read_bytes()
            start("200 OK", [("Content-Type", "application/x-x509-ca-cert"), _length(body)])
            return [body]
        name = self._certificate.names[0]
        shown = f"[{name}]" if ":" in name else name
        told = (
            f"{NOT_PLAIN}\nFirst install the office's certificate: /{AUTHORITY}\nIts SHA-256 is"
            f"\n{self._certificate.fingerprint}\n(compare it with what the office computer"
            f" shows), and then open https://{shown}:{self._port}/cab/\n"
        )
        body = told.encode("utf-8")
        start(
            "403 Forbidden",
            [("Content-Type", "text/plain; charset=utf-8"), ("Cache-Control", "no-store"),
             ("X-Content-Type-Options", "nosniff"), _length(body)],
        )  # fmt: skip
        return [body]


def _listening(host: str, port: int, application: Any, certificate: Certificate | None) -> Any:
    server = _Server(
        (host, port),
        application,
        numthreads=_THREADS,
        server_name="crossfall",
        timeout=_PATIENCE_S,
        shutdown_timeout=1,
    )
    server.max_request_header_size = _HEADERS_BYTES
    # Not the libraries and their versions
    server.software = "crossfall"
    if certificate is not None:
        try:
            tls = _Tls(str(certificate.server_file), str(certificate.key_file))
        except (OSError, ssl.SSLError) as error:
            raise WorkspaceError(
                f"the certificate in {certificate.folder} cannot be used ({error});"
                " make it again with: crossfall certificate"
            ) from error
        tls.context.minimum_version = ssl.TLSVersion.TLSv1_2
        server.ssl_adapter = tls
    try:
        server.prepare()
    except OSError as error:
        raise WorkspaceError(
            f"port {port} on {host} cannot be used; is crossfall running already? name another"
            " with --port"
        ) from error
    return server


def _plain_answer(told: str) -> bytes:
    body = told.encode("utf-8")
    head = (
        "HTTP/1.1 403 Forbidden\r\nContent-Type: text/plain; charset=utf-8\r\n"
        f"Content-Length: {len(body)}\r\nConnection: close\r\n\r\n"
    )
    return head.encode("ascii") + body


def _length(body: bytes) -> tuple[str, str]:
    return "Content-Length", str(len(body))


def _write_down_errors(workspace: Workspace) -> None:
    """What breaks is told in the window and kept in the workspace's ``errors.log``."""
    for handler in (
        logging.StreamHandler(),
        logging.FileHandler(workspace.path / "errors.log", encoding="utf-8", delay=True),
    ):
        handler.setLevel(logging.ERROR)
        handler.setFormatter(logging.Formatter("%(asctime)s %(message)s"))
        for name in ("django", _log.name):
            logging.getLogger(name).addHandler(handler)


def _refuse_open_host(host: str) -> None:
    if host == "localhost" or os.environ.get("CROSSFALL_HOSTS", "").strip():
        return
    try:
        is_this_computer = ipaddress.ip_address(host).is_loopback
    except ValueError:
        is_this_computer = False
    if not is_this_computer:
        raise InputError(
            f"host is {host!r}, which other computers can reach; use --lan, which speaks TLS, or"
            " put a proxy with TLS in front and name the office's address in CROSSFALL_HOSTS"
        )
