"""Backups: one file that holds the store, the settings and the photos as they were at one moment.

SQLite is copied page by page through its own online backup, so work goes on meanwhile; PostgreSQL
through ``pg_dump``. A restore checks everything first, keeps the present store aside, and then
writes the old pages in one transaction: killed in the middle, the workspace is as before.

Sessions and sign-in links are in no backup and outlive no restore: a copy of the store lets nobody
in, and after a restore everybody signs in again.
"""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import sqlite3
import subprocess
import tempfile
import zipfile
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from crossfall.errors import WorkspaceError
from crossfall_app.workspace import (
    CONFIG_FILE,
    DATABASE_FILE,
    Workspace,
    keep_private,
    private_file,
)

MANIFEST = "manifest.json"
_DUMP_FILE = "crossfall.pgdump"
_PAGES_AT_A_TIME = 2000
_KEYS_TO_THE_DOOR = ("django_session", "web_signinlink", "field_devicekey", "field_pairingcode")
"""Tables whose rows let somebody in."""
_FORMAT = 1


@dataclass(frozen=True, slots=True)
class Restored:
    """What a restore did."""

    backup: Path
    kept_aside: Path | None
    """None when there was no store to keep."""
    made_at: str
    n_photos: int


def back_up(workspace: Workspace, *, to: Path | None = None, reason: str = "by-hand") -> Path:
    """Write one backup file and return where it is; a half-written one never bears its name.

    Raises
    ------
    WorkspaceError
        If there is no store yet, the file exists, the disk is full, or ``pg_dump`` is missing.
    """
    from django.db import connection

    target = to or _free_name(workspace, reason)
    if target.exists():
        raise WorkspaceError(f"{target} exists already; name another file for the backup")
    part = target.with_name(target.name + ".part")
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(dir=target.parent, prefix=".backup-") as folder:
            if connection.vendor == "sqlite":
                store = Path(folder) / DATABASE_FILE
                _copy_sqlite(workspace.database_file, store)
            else:
                store = Path(folder) / _DUMP_FILE
                _dump_postgresql(store)
            _pack(workspace, store, part, connection.vendor)
        os.replace(part, target)
    except OSError as error:
        raise WorkspaceError(f"the backup {target} cannot be written ({error.strerror})") from error
    finally:
        part.unlink(missing_ok=True)
    return target


def restore(workspace: Workspace, backup: Path) -> Restored:
    """Bring a backup back, after checking it and keeping the present store aside.

    Raises
    ------
    WorkspaceError
        If the backup is damaged, of another database, or newer than this program.
    """
    from django.db import connection

    manifest = _read_manifest(backup)
    if manifest["database"] != connection.vendor:
        raise WorkspaceError(
            f"{backup} holds a {manifest['database']} store and this workspace uses"
            f" {connection.vendor}; open it in a workspace of its own kind"
        )
    with tempfile.TemporaryDirectory(dir=workspace.path, prefix=".restore-") as folder:
        with zipfile.ZipFile(backup) as archive:
            archive.extractall(folder, members=list(manifest["files"]))
        here = Path(folder)
        _refuse_newer_backup(backup, _migrations_of(manifest, here))
        if connection.vendor == "sqlite":
            _lock_out(here / DATABASE_FILE)
        connection.close()
        if connection.vendor == "sqlite":
            aside = _keep_aside(workspace)
            _write_sqlite(here / DATABASE_FILE, workspace.database_file)
        else:
            aside = back_up(workspace, reason="before-restore")
            _load_postgresql(here / _DUMP_FILE)
        n_photos = _bring_back_files(workspace, here)
    return Restored(backup, aside, manifest["made_at"], n_photos)


def check_sqlite(file: Path) -> None:
    """Refuse a damaged SQLite file.

    Raises
    ------
    WorkspaceError
        If its pages or its foreign keys do not hold together.
    """
    try:
        with closing(sqlite3.connect(f"{file.resolve().as_uri()}?mode=ro", uri=True)) as store:
            found = store.execute("PRAGMA integrity_check(1)").fetchone()[0]
            orphan = store.execute("PRAGMA foreign_key_check").fetchone()
    except sqlite3.DatabaseError as error:
        raise WorkspaceError(f"{file.name} is not a sound SQLite file ({error})") from error
    if found != "ok":
        raise WorkspaceError(f"{file.name} is damaged ({found})")
    if orphan is not None:
        raise WorkspaceError(f"{file.name}: a row of {orphan[0]} points to a missing {orphan[2]}")


def _keep_aside(workspace: Workspace) -> Path | None:
    """The present store as a backup; a damaged one is moved away as it is."""
    if not workspace.database_file.exists():
        return None
    try:
        check_sqlite(workspace.database_file)
    except WorkspaceError:
        folder = _free_name(workspace, "damaged").with_suffix("")
        folder.mkdir(parents=True)
        for ending in ("", "-wal", "-shm"):
            file = workspace.database_file.with_name(DATABASE_FILE + ending)
            if file.exists():
                os.replace(file, folder / file.name)
        return folder
    return back_up(workspace, reason="before-restore")


def _copy_sqlite(source: Path, target: Path) -> None:
    if not source.is_file():
        raise WorkspaceError(f"{source} is missing; there is nothing to back up")
    try:
        with (
            closing(sqlite3.connect(source, timeout=20)) as here,
            closing(sqlite3.connect(target)) as there,
        ):
            here.backup(there, pages=_PAGES_AT_A_TIME, sleep=0.01)
            there.execute("PRAGMA journal_mode = DELETE")
    except sqlite3.Error as error:
        raise WorkspaceError(f"{source} cannot be backed up ({error})") from error
    _lock_out(target)


def _lock_out(copy: Path) -> None:
    """Check a copy of the store, and take the sessions and the links out of it for good."""
    check_sqlite(copy)
    with closing(sqlite3.connect(copy)) as store:
        there = {name for (name,) in store.execute("SELECT name FROM sqlite_master")}
        for table in there.intersection(_KEYS_TO_THE_DOOR):
            store.execute(f"DELETE FROM {table}")
        store.commit()
        # What was deleted must not be left lying on free pages
        store.execute("VACUUM")


def _write_sqlite(source: Path, target: Path) -> None:
    try:
        with (
            closing(sqlite3.connect(source)) as here,
            closing(sqlite3.connect(target, timeout=20)) as there,
        ):
            # All pages in one step: one transaction, so a kill leaves the old store
            here.backup(there, pages=-1)
            there.execute("PRAGMA journal_mode = WAL")
        keep_private(target)
    except sqlite3.Error as error:
        raise WorkspaceError(
            f"{target} cannot be written now ({error}); stop the server and try again"
        ) from error


def _dump_postgresql(target: Path) -> None:
    without = (f"--exclude-table-data={table}" for table in _KEYS_TO_THE_DOOR)
    _postgresql_tool("pg_dump", "--format=custom", "--no-owner", *without, f"--file={target}")


def _load_postgresql(source: Path) -> None:
    """What is there goes and what was saved comes, in one transaction."""
    first, saved, last = (source.with_name(f"{name}.sql") for name in ("first", "saved", "last"))
    # Dropped whole: a table that is newer than the backup may hold on to one that is in it
    first.write_text(_DROP_ALL, encoding="ascii")
    _postgresql_tool("pg_restore", "--no-owner", f"--file={saved}", str(source), is_offline=True)
    doors = "".join(_EMPTY.format(table=table) for table in _KEYS_TO_THE_DOOR)
    last.write_text(f"RESET search_path;\n{doors}", encoding="ascii")
    _postgresql_tool(
        "psql",
        "--no-psqlrc",
        "--quiet",
        "--single-transaction",
        "--set=ON_ERROR_STOP=1",
        f"--file={first}",
        f"--file={saved}",
        f"--file={last}",
    )


_DROP_ALL = """
DO $$ DECLARE each record; BEGIN
  FOR each IN SELECT schemaname, tablename FROM pg_tables WHERE schemaname = current_schema() LOOP
    EXECUTE format('DROP TABLE IF EXISTS %I.%I CASCADE', each.schemaname, each.tablename);
  END LOOP;
END $$;
"""
_EMPTY = """
DO $$ BEGIN
  IF to_regclass('{table}') IS NOT NULL THEN DELETE FROM {table}; END IF;
END $$;
"""


def _postgresql_tool(name: str, *arguments: str, is_offline: bool = False) -> None:
    from django.db import connection

    tool = shutil.which(name) or _debian_tool(name)
    if tool is None:
        raise WorkspaceError(
            f"{name} is not installed here; install PostgreSQL's client programs, or back the"
            " server up with its own means"
        )
    at = connection.settings_dict
    environment = dict(os.environ)
    for variable, key in (
        ("PGHOST", "HOST"),
        ("PGPORT", "PORT"),
        ("PGUSER", "USER"),
        ("PGPASSWORD", "PASSWORD"),
    ):
        if at[key]:
            environment[variable] = str(at[key])
    done = subprocess.run(
        [tool, *(() if is_offline else (f"--dbname={at['NAME']}",)), *arguments],
        env=environment,
        capture_output=True,
        text=True,
        check=False,
    )
    if done.returncode != 0:
        lines = done.stderr.strip().splitlines() or [f"exit {done.returncode}"]
        raise WorkspaceError(f"{name} did not succeed: {lines[0]}")


def _debian_tool(name: str) -> str | None:
    found = sorted(Path("/usr/lib/postgresql").glob(f"*/bin/{name}"))
    return str(found[-1]) if found else None


def _pack(workspace: Workspace, store: Path, target: Path, vendor: str) -> None:
    from crossfall_app.store.upkeep import applied_migrations, program_version

    members = [(store, store.name, zipfile.ZIP_DEFLATED)]
    members.append((workspace.path / CONFIG_FILE, CONFIG_FILE, zipfile.ZIP_DEFLATED))
    for photo in sorted(path for path in workspace.photos.rglob("*") if path.is_file()):
        name = photo.relative_to(workspace.path).as_posix()
        members.append((photo, name, zipfile.ZIP_STORED))
    manifest: dict[str, Any] = {
        "format": _FORMAT,
        "made_at": workspace.now().isoformat(timespec="seconds"),
        "program": program_version(),
        "database": vendor,
        "migrations": applied_migrations(),
        "files": {},
    }
    with private_file(target) as stream, zipfile.ZipFile(stream, "w") as archive:
        for path, name, method in members:
            archive.write(path, name, compress_type=method)
            manifest["files"][name] = _sha256(path)
        archive.writestr(MANIFEST, json.dumps(manifest, indent=1, sort_keys=True))


def _read_manifest(backup: Path) -> dict[str, Any]:
    if not backup.is_file():
        raise WorkspaceError(f"{backup} does not exist; name a backup file")
    try:
        with zipfile.ZipFile(backup) as archive:
            manifest: dict[str, Any] = json.loads(archive.read(MANIFEST))
            for name, sha256 in manifest["files"].items():
                if Path(name).is_absolute() or ".." in Path(name).parts:
                    raise WorkspaceError(f"{backup}: member {name!r} leaves the workspace")
                if hashlib.sha256(archive.read(name)).hexdigest() != sha256:
                    raise WorkspaceError(f"{backup} is damaged: {name} is not what was saved")
    except (zipfile.BadZipFile, KeyError, ValueError, OSError, EOFError) as error:
        raise WorkspaceError(f"{backup} is not a whole crossfall backup ({error})") from error
    if manifest.get("format") != _FORMAT:
        raise WorkspaceError(f"{backup} was made by a newer crossfall ({manifest.get('program')})")
    return manifest


def _migrations_of(manifest: dict[str, Any], folder: Path) -> set[tuple[str, str]]:
    """Steps of the layout that a backup's store has taken."""
    said = {tuple(str(each).split(".", 1)) for each in manifest.get("migrations", ())}
    if manifest["database"] == "sqlite":
        # Earlier backups do not say; their store does
        check_sqlite(folder / DATABASE_FILE)
        with closing(sqlite3.connect(folder / DATABASE_FILE)) as store:
            said |= set(store.execute("SELECT app, name FROM django_migrations"))
    return {(each[0], each[-1]) for each in said}


def _refuse_newer_backup(backup: Path, applied: set[tuple[str, str]]) -> None:
    from django.db.migrations.loader import MigrationLoader

    # Without a connection: the present store may be past reading
    known = set(MigrationLoader(None).disk_migrations)
    newer = sorted(f"{app}.{name}" for app, name in applied - known if app in {"store", "web"})
    if newer:
        raise WorkspaceError(f"{backup} was made by a newer crossfall: its store has {newer[-1]}")


def _bring_back_files(workspace: Workspace, source: Path) -> int:
    shutil.copyfile(source / CONFIG_FILE, workspace.path / CONFIG_FILE)
    keep_private(workspace.path / CONFIG_FILE)
    n_photos = 0
    for photo in (source / "photos").rglob("*"):
        if photo.is_file():
            target = workspace.path / photo.relative_to(source)
            target.parent.mkdir(parents=True, exist_ok=True)
            shutil.copyfile(photo, target)
            n_photos += 1
    return n_photos


def _free_name(workspace: Workspace, reason: str) -> Path:
    stamp = workspace.now().strftime("%Y%m%d-%H%M%S")
    base = workspace.backups / f"crossfall-{stamp}-{reason}.zip"
    number = 2
    while base.exists():
        base = workspace.backups / f"crossfall-{stamp}-{reason}-{number}.zip"
        number += 1
    return base


def _sha256(path: Path) -> str:
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()
