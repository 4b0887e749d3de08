"""A backup is whole, and a restore brings it back or leaves everything as it was."""

from __future__ import annotations

import shutil
import threading
import zipfile
from dataclasses import replace

import pytest
from django.db import connection, connections

from crossfall.errors import WorkspaceError
from crossfall_app.store import backup, repository, upkeep
from small_district import small_district, small_network, small_record


@pytest.fixture
def kept(any_workspace):
    """A workspace with a district and a photo, and a backup of it."""
    repository.store_district(small_district(), by="test")
    (any_workspace.photos / "bend.jpg").write_bytes(b"a photo")
    return any_workspace, backup.back_up(any_workspace)


def test_a_backup_comes_back(kept):
    workspace, file = kept
    before = repository.load_district()
    wider = replace(before.network.segments[0], width_m=9.5)
    repository.replace_network(small_network(s0=wider), by="test")
    repository.add_records([small_record("r9")], by="test")
    (workspace.photos / "bend.jpg").unlink()
    done = backup.restore(workspace, file)
    upkeep.bring_up_to_date(workspace)
    after = repository.load_district()
    assert (after.network, after.records) == (before.network, before.records)
    assert (workspace.photos / "bend.jpg").read_bytes() == b"a photo"
    assert done.n_photos == 1
    # What was there before the restore is kept aside, and comes back the same way
    backup.restore(workspace, done.kept_aside)
    assert repository.load_network().segments[0].width_m == 9.5
    assert len(repository.load_district().records) == 2


def test_a_backup_is_never_overwritten(kept):
    workspace, file = kept
    with pytest.raises(WorkspaceError, match="exists already"):
        backup.back_up(workspace, to=file)
    assert backup.back_up(workspace) != file


def test_a_damaged_backup_is_refused_and_nothing_changes(kept):
    workspace, file = kept
    before = repository.load_network()
    cut = workspace.path / "cut.zip"
    cut.write_bytes(file.read_bytes()[:-200])
    with pytest.raises(WorkspaceError, match="not a whole crossfall backup"):
        backup.restore(workspace, cut)
    changed = workspace.path / "changed.zip"
    with zipfile.ZipFile(file) as old, zipfile.ZipFile(changed, "w") as new:
        for name in old.namelist():
            new.writestr(name, old.read(name) + (b"!" if name == "photos/bend.jpg" else b""))
    with pytest.raises(WorkspaceError, match=r"photos/bend\.jpg is not what was saved"):
        backup.restore(workspace, changed)
    with pytest.raises(WorkspaceError, match="does not exist"):
        backup.restore(workspace, workspace.path / "none.zip")
    assert repository.load_network() == before
    assert [each.name for each in workspace.backups.iterdir()] == [file.name]


def test_a_backup_from_a_newer_program_is_refused(sqlite_workspace):
    with connection.cursor() as cursor:
        cursor.execute(
            "INSERT INTO django_migrations (app, name, applied)"
            " VALUES ('store', '9999_later', '2030-01-01')"
        )
    file = backup.back_up(sqlite_workspace)
    with pytest.raises(WorkspaceError, match=r"newer crossfall: its store has store\.9999_later"):
        backup.restore(sqlite_workspace, file)


def test_a_backup_of_the_other_database_is_refused(sqlite_workspace, monkeypatch):
    file = backup.back_up(sqlite_workspace)
    with monkeypatch.context() as patch:
        patch.setattr(connections["default"], "vendor", "postgresql")
        with pytest.raises(WorkspaceError, match="holds a sqlite store"):
            backup.restore(sqlite_workspace, file)


def test_backing_up_while_somebody_writes(sqlite_workspace):
    repository.store_district(small_district(), by="test")
    stop, written = threading.Event(), []

    def write():
        number = 0
        while not stop.is_set():
            number += 1
            repository.add_records([small_record(f"w{number}")], by="writer")
            written.append(number)
        connections["default"].close()

    writer = threading.Thread(target=write)
    writer.start()
    try:
        while len(written) < 3:
            stop.wait(0.01)
        n_before = len(written)
        file = backup.back_up(sqlite_workspace)
        n_after = len(written)
    finally:
        stop.set()
        writer.join()
    backup.restore(sqlite_workspace, file)
    n_kept = len(repository.load_district().records) - 1
    assert n_before <= n_kept <= n_after + 1


def test_without_the_tools_postgresql_backups_say_so(sqlite_workspace, monkeypatch):
    with monkeypatch.context() as patch:
        patch.setattr(shutil, "which", lambda _: None)
        patch.setattr(backup, "_debian_tool", lambda _: None)
        patch.setattr(connections["default"], "vendor", "postgresql")
        with pytest.raises(WorkspaceError, match="pg_dump is not installed here"):
            backup.back_up(sqlite_workspace)
    assert list(sqlite_workspace.backups.iterdir()) == []
