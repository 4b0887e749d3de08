"""The office server: waitress on this computer, and the link to come in with.

By default it listens on the loopback address only. Offices with several computers put it behind
a proxy that speaks TLS, and name their host in ``CROSSFALL_HOSTS``.
"""

from __future__ import annotations

import ipaddress
import logging
import os
from collections.abc import Callable

import waitress
from django.conf import settings
from django.utils import timezone
from django.utils.module_loading import import_string

from crossfall.errors import InputError, WorkspaceError
from crossfall.model.policy.entry import EntryPolicy
from crossfall_app.store.repository import load_policy
from crossfall_app.web.built import built_url
from crossfall_app.web.signin import make_link
from crossfall_app.workspace import Workspace

LOOPBACK = "127.0.0.1"
PORT = 8765
_THREADS = 8
_MB = 1_000_000


class OfficeServer:
    """A server that listens already; :meth:`run` answers until :meth:`close` or Ctrl-C."""

    def __init__(self, workspace: Workspace, host: str = LOOPBACK, port: int = PORT) -> None:
        """Listen on ``host`` and ``port`` (0 takes a free one) for an opened workspace.

        Raises
        ------
        InputError
            If the host is not this computer and nobody said which names it answers to.
        WorkspaceError
            If the port is taken, or the pages were never built.
        """
        _refuse_open_host(host)
        built_url("office.css")
        application = import_string("crossfall_app.wsgi.application")
        # After the application, whose own set-up of logging would undo it
        _write_down_errors(workspace)
        try:
            self._server = waitress.create_server(
                application,
                host=host,
                port=port,
                threads=_THREADS,
                ident=None,
                max_request_body_size=largest_request(load_policy().entry),
            )
        except OSError as error:
            raise WorkspaceError(
                f"port {port} on {host} cannot be used ({error.strerror}); is crossfall running"
                " already? name another with --port"
            ) from error
        self.workspace = workspace
        shown = f"[{host}]" if ":" in host else host
        self.url = f"http://{shown}:{self._server.effective_port}"

    def link(self) -> str:
        """A new one-time link to come in with."""
        return self.url + make_link(now=timezone.now())

    def run(self) -> None:
        """Answer until closed."""
        self._server.run()

    def close(self) -> None:
        """Stop listening."""
        self._server.close()


def serve(
    workspace: Workspace,
    host: str = LOOPBACK,
    port: int = PORT,
    *,
    announce: Callable[[str], None] | None = None,
) -> None:
    """Serve the pages until Ctrl-C; ``announce`` is given the one-time link once it works."""
    server = OfficeServer(workspace, host, port)
    try:
        if announce is not None:
            announce(server.link())
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


def _write_down_errors(workspace: Workspace) -> None:
    """What breaks is told in the window and kept in the workspace's ``errors.log``."""
    for handler in (
        logging.StreamHandler(),
        logging.FileHandler(workspace.path / "errors.log", encoding="utf-8", delay=True),
    ):
        handler.setLevel(logging.ERROR)
        handler.setFormatter(logging.Formatter("%(asctime)s %(message)s"))
        logging.getLogger("django").addHandler(handler)


def _refuse_open_host(host: str) -> None:
    if host == "localhost" or os.environ.get("CROSSFALL_HOSTS", "").strip():
        return
    try:
        is_this_computer = ipaddress.ip_address(host).is_loopback
    except ValueError:
        is_this_computer = False
    if not is_this_computer:
        raise InputError(
            f"host is {host!r}, which other computers can reach; put a proxy with TLS in front and"
            " name the office's address in CROSSFALL_HOSTS, or leave the host out"
        )
