"""The store's layout is created, brought up to date after a backup, or refused."""

from __future__ import annotations

import sqlite3
from contextlib import closing

import pytest
from django.core.management import call_command
from django.db import connection, connections

from crossfall.errors import WorkspaceError
from crossfall_app.store import models, repository, upkeep
from crossfall_app.workspace import CONFIG_FILE, Config, create_workspace, open_workspace
from small_district import small_district


def test_a_new_workspace_gets_its_tables(any_workspace):
    assert upkeep.compare_layout() == ([], [], False)
    assert models.Agency.objects.get().name == any_workspace.config.name
    assert list(any_workspace.backups.iterdir()) == []


def test_sqlite_is_set_to_survive_a_power_cut(sqlite_workspace):
    with connection.cursor() as cursor:
        told = [
            cursor.execute(f"PRAGMA {name}").fetchone()[0]
            for name in ("journal_mode", "synchronous", "foreign_keys")
        ]
    assert told == ["wal", 2, 1]
    assert connection.settings_dict["OPTIONS"]["transaction_mode"] == "IMMEDIATE"


def test_a_newer_store_is_refused_in_one_sentence(any_workspace):
    with connection.cursor() as cursor:
        cursor.execute(
            "INSERT INTO django_migrations (app, name, applied)"
            " VALUES ('store', '9999_from_the_future', '2030-01-01T00:00:00Z')"
        )
    with pytest.raises(WorkspaceError, match=r"newer crossfall .* store\.9999_from_the_future"):
        open_workspace(any_workspace.path)


def test_an_older_store_is_backed_up_first(any_workspace):
    repository.store_district(small_district(), by="test")
    # As if the last migration of the pages had come with this program
    call_command("migrate", "web", "zero", verbosity=0, skip_checks=True)
    open_workspace(any_workspace.path)
    (backup,) = any_workspace.backups.iterdir()
    assert "before-migration" in backup.name
    assert upkeep.compare_layout() == ([], [], False)
    assert len(repository.load_network().segments) == 3


def test_a_damaged_store_is_one_sentence(sqlite_workspace):
    connections["default"].close()
    sqlite_workspace.database_file.write_bytes(b"this is not a database, is it?" * 100)
    for more in ("-wal", "-shm"):
        sqlite_workspace.database_file.with_name(f"crossfall.sqlite3{more}").unlink(missing_ok=True)
    with pytest.raises(WorkspaceError, match="crossfall restore"):
        open_workspace(sqlite_workspace.path)


def test_a_server_that_is_away_is_one_sentence(tmp_path, doors_open, monkeypatch):
    monkeypatch.setenv("CROSSFALL_DATABASE_URL", "postgresql://a@127.0.0.1:9/none")
    create_workspace(tmp_path / "w", Config())
    with pytest.raises(WorkspaceError, match="does not answer"):
        open_workspace(tmp_path / "w")


def test_the_name_in_the_file_counts(sqlite_workspace):
    file = sqlite_workspace.path / CONFIG_FILE
    file.write_text(Config(name="New name").as_toml())
    open_workspace(sqlite_workspace.path)
    assert repository.load_district().name == "New name"


def test_migrations_are_complete(doors_open):
    call_command("makemigrations", "--check", "--dry-run", verbosity=0, skip_checks=True)


def test_constraints_hold_below_django(sqlite_workspace):
    with (
        closing(sqlite3.connect(sqlite_workspace.database_file)) as store,
        pytest.raises(sqlite3.IntegrityError, match="there_is_one_agency"),
    ):
        store.execute("INSERT INTO store_agency VALUES (2, 'other', 0, NULL, '', NULL)")
