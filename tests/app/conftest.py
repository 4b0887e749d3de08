"""Stores to test on: SQLite in a folder, and PostgreSQL from the machine's own binaries."""

from __future__ import annotations

import json
import os
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import NamedTuple

import pytest

from crossfall_app import workspace as doors
from crossfall_app.workspace import Config, Workspace, create_workspace, open_workspace
from throwaway_postgres import Cluster, start_cluster, why_not


@pytest.fixture(scope="session")
def postgres() -> Iterator[Cluster]:
    """A throw-away PostgreSQL server for this test run."""
    reason = why_not()
    if reason:
        pytest.skip(reason)
    with start_cluster() as cluster:
        yield cluster


@pytest.fixture
def doors_open(django_db_blocker) -> Iterator[None]:
    """Lets a test open workspaces of its own, and puts the tests' in-memory store back after."""
    from django.conf import settings as django_settings
    from django.db import connections
    from django.utils import timezone

    zone = django_settings.TIME_ZONE
    kept = {key: os.environ.get(key) for key in (doors.WORKSPACE_VARIABLE, doors.DATABASE_VARIABLE)}
    settings = dict(connections.settings["default"])
    handle = connections["default"]
    del connections["default"]
    with django_db_blocker.unblock():
        yield
        connections["default"].close()
    for key, value in kept.items():
        if value is None:
            os.environ.pop(key, None)
        else:
            os.environ[key] = value
    django_settings.TIME_ZONE = zone
    timezone.get_default_timezone.cache_clear()
    connections.settings["default"].clear()
    connections.settings["default"].update(settings)
    connections["default"] = handle


@pytest.fixture(scope="session")
def blank_sqlite(tmp_path_factory, django_db_blocker) -> Path:
    """A workspace with an empty store, made once and copied by each test."""
    return tmp_path_factory.mktemp("blank") / "blank"


@pytest.fixture(params=["sqlite", pytest.param("postgresql", marks=pytest.mark.postgres)])
def any_workspace(request, tmp_path, doors_open, blank_sqlite) -> Workspace:
    """An empty workspace on each of the two databases."""
    os.environ.pop(doors.DATABASE_VARIABLE, None)
    if request.param == "postgresql":
        cluster = request.getfixturevalue("postgres")
        made = create_workspace(tmp_path / "blank", Config(name="Test district"))
        os.environ[doors.DATABASE_VARIABLE] = cluster.blank_database(made.path)
        return open_workspace(made.path)
    return _copy_of_blank(blank_sqlite, tmp_path)


@pytest.fixture
def sqlite_workspace(tmp_path, doors_open, blank_sqlite) -> Workspace:
    """An empty workspace on SQLite."""
    os.environ.pop(doors.DATABASE_VARIABLE, None)
    return _copy_of_blank(blank_sqlite, tmp_path)


class Told(NamedTuple):
    """What a command left behind."""

    code: int
    out: str
    err: str

    @property
    def json(self) -> dict:
        """The one object on the output."""
        return json.loads(self.out)

    def is_refused(self, *words: str) -> bool:
        """Exit 2, nothing on the output, and one sentence without a traceback with these words."""
        is_one_line = self.err.count("\n") == 1 and self.err.startswith("crossfall: ")
        missing = [word for word in words if word not in self.err]
        assert self.code == 2, self
        assert is_one_line, self
        assert "Traceback" not in self.err, self
        assert self.out == "", self
        assert not missing, (missing, self.err)
        return True


@pytest.fixture
def crossfall(doors_open, capsys) -> Callable[..., Told]:
    """Runs a command in this process."""

    def run(*arguments: object) -> Told:
        from crossfall_app.cli.entry import run as run_command

        os.environ.pop(doors.WORKSPACE_VARIABLE, None)
        capsys.readouterr()
        code = run_command([str(each) for each in arguments])
        return Told(code, *capsys.readouterr())

    return run


def _copy_of_blank(blank: Path, folder: Path) -> Workspace:
    from django.db import connections

    if not blank.exists():
        create_workspace(blank, Config(name="Test district"))
        open_workspace(blank)
        connections["default"].close()
    shutil.copytree(blank, folder / "blank")
    return open_workspace(folder / "blank")
