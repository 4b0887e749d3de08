"""Stores to test on: SQLite in a folder, and PostgreSQL from the machine's own binaries."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from pathlib import Path

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
    from django.db import connections

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


def _copy_of_blank(blank: Path, folder: Path) -> Workspace:
    from django.db import connections

    if not blank.exists():
        create_workspace(blank, Config(name="Test district"))
        open_workspace(blank)
        connections["default"].close()
    shutil.copytree(blank, folder / "blank")
    return open_workspace(folder / "blank")
