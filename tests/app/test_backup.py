"""A backup is whole, and a restore brings it back or leaves everything as it was."""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import stat
import threading
import zipfile
from dataclasses import replace

import pytest
from django.contrib.auth import get_user_model
from django.contrib.sessions.backends.db import SessionStore
from django.core.management import call_command
from django.db import connection, connections
from django.utils import timezone

from crossfall.errors import WorkspaceError
from crossfall_app.store import backup, doctor, repository, upkeep
from crossfall_app.web.signin import is_open, make_link
from crossfall_app.workspace import open_workspace
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


def test_a_backup_from_a_newer_program_is_refused(any_workspace):
    with connection.cursor() as cursor:
        cursor.execute(
            "INSERT INTO django_migrations (app, name, applied)"
            " VALUES ('store', '9999_later', '2030-01-01')"
        )
    file = backup.back_up(any_workspace)
    with zipfile.ZipFile(file) as archive:
        said = json.loads(archive.read(backup.MANIFEST))["migrations"]
    assert {"store.0001_first", "store.9999_later", "web.0001_sign_in"} <= set(said)
    n_files = len(list(any_workspace.backups.iterdir()))
    with pytest.raises(WorkspaceError, match=r"newer crossfall: its store has store\.9999_later"):
        backup.restore(any_workspace, file)
    assert len(list(any_workspace.backups.iterdir())) == n_files


def test_a_backup_from_before_a_migration_comes_back(any_workspace):
    repository.store_district(small_district(), by="test")
    # As if the table of links, which hangs on the users, had come with this program
    call_command("migrate", "web", "zero", verbosity=0, skip_checks=True)
    open_workspace(any_workspace.path)
    (file,) = any_workspace.backups.iterdir()
    assert "before-migration" in file.name
    repository.add_records([small_record("r9")], by="test")
    backup.restore(any_workspace, file)
    assert "web_signinlink" not in connection.introspection.table_names()
    upkeep.bring_up_to_date(any_workspace)
    assert upkeep.compare_layout() == ([], [], False)
    assert len(repository.load_district().records) == 1
    repository.add_records([small_record("r9")], by="test")


def test_a_restore_that_fails_leaves_everything_as_it_was(any_workspace, monkeypatch):
    repository.store_district(small_district(), by="test")
    file = backup.back_up(any_workspace)
    repository.add_records([small_record("r9")], by="test")
    if connection.vendor != "postgresql":
        pytest.skip("SQLite pages are written in one step")
    monkeypatch.setattr(backup, "_EMPTY", "SELECT 1 / 0; -- {table}")
    with pytest.raises(WorkspaceError, match="psql did not succeed"):
        backup.restore(any_workspace, file)
    assert len(repository.load_district().records) == 2


def let_somebody_in():
    """A link that nobody has used and a session, in the store."""
    now = timezone.now()
    path = make_link(now=now)
    secret = path.rstrip("/").rpartition("/")[2]
    session = SessionStore()
    session["name"] = "a-name-to-look-for"
    session.create()
    return secret, session.session_key


def test_a_backup_lets_nobody_in(any_workspace):
    secret, key = let_somebody_in()
    file = backup.back_up(any_workspace)
    with zipfile.ZipFile(file) as archive:
        raw = b"".join(archive.read(name) for name in archive.namelist())
    assert key.encode() not in raw
    assert hashlib.sha256(secret.encode()).hexdigest().encode() not in raw
    # The running office is not disturbed by a backup, but by a restore
    assert SessionStore().exists(key)
    assert is_open(secret, now=timezone.now())
    backup.restore(any_workspace, file)
    upkeep.bring_up_to_date(any_workspace)
    assert not SessionStore().exists(key)
    assert not is_open(secret, now=timezone.now())


def test_an_earlier_backup_lets_nobody_in_either(any_workspace, monkeypatch):
    secret, key = let_somebody_in()
    with monkeypatch.context() as patch:
        patch.setattr(backup, "_KEYS_TO_THE_DOOR", ())
        file = backup.back_up(any_workspace)
    backup.restore(any_workspace, file)
    assert not SessionStore().exists(key)
    assert not is_open(secret, now=timezone.now())
    assert get_user_model().objects.count() == 1


@pytest.mark.skipif(os.name != "posix", reason="file modes are POSIX's")
def test_what_is_kept_is_for_its_owner_only(any_workspace, tmp_path):
    file = backup.back_up(any_workspace, to=tmp_path / "elsewhere.zip")
    backup.restore(any_workspace, file)
    names = ("crossfall.toml", "secret.key", "crossfall.sqlite3", "crossfall.sqlite3-wal")
    kept = [file, *any_workspace.backups.iterdir(), *(any_workspace.path / each for each in names)]
    modes = {each.name: stat.S_IMODE(each.stat().st_mode) for each in kept if each.exists()}
    assert set(modes.values()) == {0o600}, modes
    assert stat.S_IMODE(any_workspace.path.stat().st_mode) == 0o700
    assert doctor_says(any_workspace, "privacy").is_well
    file = next(any_workspace.backups.iterdir())
    file.chmod(0o640)
    found = doctor_says(any_workspace, "privacy")
    assert not found.is_well
    assert f"chmod 600 {file}" in found.told
    file.chmod(0o600)
    any_workspace.path.chmod(0o755)
    assert "chmod 700" in doctor_says(any_workspace, "privacy").told


def doctor_says(workspace, check):
    return next(each for each in doctor.examine(workspace) if each.check == check)


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
