"""A PostgreSQL server that lives as long as the tests, from the machine's own binaries.

The server refuses to run as root, so root starts it as ``postgres`` or ``nobody``. It listens on a
free loopback port only, trusts its one user, and forgets durability for speed.
"""

from __future__ import annotations

import os
import pwd
import shutil
import socket
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

_USER = "crossfall"


@dataclass
class Cluster:
    """A running server."""

    port: int
    _made: list[str] = field(default_factory=list)
    _has_template: bool = False

    def url(self, name: str) -> str:
        """The address of one of its databases, as CROSSFALL_DATABASE_URL takes it."""
        return f"postgresql://{_USER}@127.0.0.1:{self.port}/{name}"

    def blank_database(self, workspace: Path) -> str:
        """The address of a new database with empty tables."""
        if not self._has_template:
            self._make_template(workspace)
        return self.empty_database(template="blank")

    def empty_database(self, *, template: str = "template0") -> str:
        """The address of a new database; without a template, one without tables."""
        name = f"test_{len(self._made)}"
        self._made.append(name)
        self.execute(f'CREATE DATABASE "{name}" TEMPLATE "{template}"')
        return self.url(name)

    def execute(self, statement: str) -> None:
        """Run one statement on the server."""
        import psycopg

        with psycopg.connect(self.url("postgres"), autocommit=True) as connection:
            connection.execute(statement)

    def _make_template(self, workspace: Path) -> None:
        from django.db import connections

        from crossfall_app.workspace import DATABASE_VARIABLE, open_workspace

        self.execute("CREATE DATABASE blank")
        os.environ[DATABASE_VARIABLE] = self.url("blank")
        open_workspace(workspace)
        connections["default"].close()
        self._has_template = True


def why_not() -> str:
    """Why no server can be started here; empty when one can."""
    if _tool("initdb") is None or _tool("pg_ctl") is None:
        return "PostgreSQL's initdb and pg_ctl are not on this machine"
    if os.geteuid() == 0 and _unprivileged() is None:
        return "PostgreSQL does not run as root, and there is neither a postgres nor a nobody user"
    return ""


@contextmanager
def start_cluster() -> Iterator[Cluster]:
    """Start a server in a folder of its own, and stop and remove it after."""
    folder = Path(tempfile.mkdtemp(prefix="crossfall-pg-"))
    owner = _unprivileged() if os.geteuid() == 0 else None
    if owner is not None:
        os.chown(folder, owner.pw_uid, owner.pw_gid)
    data, log = folder / "data", folder / "log"
    port = _free_port()
    options = (
        f"-p {port} -c listen_addresses=127.0.0.1 -c unix_socket_directories={folder}"
        " -c fsync=off -c full_page_writes=off -c synchronous_commit=off -c max_connections=40"
        " -c shared_buffers=16MB"
    )
    try:
        _run("initdb", "-D", data, "-U", _USER, "-A", "trust", "-E", "UTF8", "-N", owner=owner)
        _run("pg_ctl", "-D", data, "-l", log, "-w", "-t", "60", "-o", options, "start", owner=owner)
        yield Cluster(port)
    finally:
        if (data / "postmaster.pid").exists():
            _run("pg_ctl", "-D", data, "-m", "immediate", "-w", "stop", owner=owner)
        shutil.rmtree(folder, ignore_errors=True)


def _run(tool: str, *arguments: object, owner: pwd.struct_passwd | None) -> None:
    found = _tool(tool)
    assert found is not None, tool
    as_owner = {} if owner is None else {"user": owner.pw_uid, "group": owner.pw_gid}
    if owner is not None:
        as_owner["extra_groups"] = []
    done = subprocess.run(
        [found, *(str(each) for each in arguments)],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        text=True,
        cwd="/",
        env={"PATH": os.environ.get("PATH", ""), "LC_ALL": "C.UTF-8", "TZ": "UTC"},
        check=False,
        **as_owner,
    )
    assert done.returncode == 0, f"{tool}: {done.stderr.strip()}"


def _tool(name: str) -> str | None:
    found = shutil.which(name)
    if found:
        return found
    everywhere = sorted(Path("/usr/lib/postgresql").glob(f"*/bin/{name}"))
    return str(everywhere[-1]) if everywhere else None


def _unprivileged() -> pwd.struct_passwd | None:
    for name in ("postgres", "nobody"):
        try:
            return pwd.getpwnam(name)
        except KeyError:
            continue
    return None


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])
