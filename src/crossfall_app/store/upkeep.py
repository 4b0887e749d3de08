"""The store's layout: created, brought up to date after a backup, refused when it is newer.

The layout's history is Django's own migration table. A migration in it that this program does not
know was written by a newer one.
"""

from __future__ import annotations

from importlib.metadata import PackageNotFoundError, version
from typing import Any

from crossfall.errors import WorkspaceError
from crossfall_app.workspace import Workspace, keep_private

OWN_APPS = ("store", "web", "field")


def bring_up_to_date(workspace: Workspace) -> None:
    """Create or migrate the store so that it fits this program.

    Raises
    ------
    WorkspaceError
        If the store is newer, damaged, not reachable, or on a disk that cannot lock it.
    """
    from django.db import DatabaseError, connection, transaction

    try:
        _refuse_odd_disks(connection)
        ahead, behind, is_new = compare_layout()
        _refuse_newer(workspace, ahead)
        if behind:
            _migrate(workspace, is_new=is_new)
        with transaction.atomic():
            _know_the_agency(workspace)
        _let_tracks_go()
    except DatabaseError as error:
        raise WorkspaceError(_in_one_sentence(workspace, error)) from error


def compare_layout() -> tuple[list[str], list[str], bool]:
    """Migrations only the store has, migrations only we have, and whether the store is new."""
    from django.apps import apps
    from django.db import connection
    from django.db.migrations.loader import MigrationLoader

    loader = MigrationLoader(connection)
    applied = set(loader.applied_migrations)
    installed = {config.label for config in apps.get_app_configs()}
    ours = {key for key in loader.disk_migrations if key[0] in installed}
    own = installed | set(OWN_APPS)
    ahead = sorted(f"{app}.{name}" for app, name in applied - ours if app in own)
    behind = sorted(f"{app}.{name}" for app, name in ours - applied)
    return ahead, behind, not applied


def applied_migrations() -> list[str]:
    """The steps of the layout that the store has taken, as ``store.0001_first``."""
    from django.db import connection
    from django.db.migrations.recorder import MigrationRecorder

    return sorted(
        f"{app}.{name}" for app, name in MigrationRecorder(connection).applied_migrations()
    )


def program_version() -> str:
    """The version of this program."""
    try:
        return version("crossfall")
    except PackageNotFoundError:
        return "0"


def _migrate(workspace: Workspace, *, is_new: bool) -> None:
    from django.core.management import call_command

    if not is_new:
        from crossfall_app.store.backup import back_up

        back_up(workspace, reason="before-migration")
    call_command("migrate", verbosity=0, interactive=False, skip_checks=True)
    if is_new:
        keep_private(workspace.database_file)


def _know_the_agency(workspace: Workspace) -> None:
    from crossfall_app.store import models

    name = workspace.config.name
    owner = models.Agency.objects.first()
    if owner is None:
        owner = models.Agency(name=name, program_version=program_version())
        owner.save()
    elif (owner.name, owner.program_version) != (name, program_version()):
        owner.name, owner.program_version = name, program_version()
        owner.save(update_fields=["name", "program_version"])


def _let_tracks_go() -> None:
    """Empty proposals from tracks that were kept for as long as the policy keeps them."""
    from crossfall_app.store import models

    kept = models.ImportStage.objects.filter(kind="track").exclude(report={"is_purged": True})
    if kept.exists():
        from crossfall_app.store.tracks import purge_tracks

        purge_tracks(by="retention")


def _refuse_newer(workspace: Workspace, ahead: list[str]) -> None:
    if not ahead:
        return
    raise WorkspaceError(
        f"{workspace.path} was last opened by a newer crossfall than this one"
        f" ({program_version()}): its store has {ahead[-1]}; install that version, or restore an"
        " older backup"
    )


def _refuse_odd_disks(connection: Any) -> None:
    if connection.vendor != "sqlite":
        return
    with connection.cursor() as cursor:
        mode = cursor.execute("PRAGMA journal_mode").fetchone()[0]
    if mode not in {"wal", "memory"}:
        raise WorkspaceError(
            "the workspace lies on a disk that cannot share a write-ahead log (a network drive?);"
            " move it to a local disk, or use PostgreSQL"
        )


def _in_one_sentence(workspace: Workspace, error: Exception) -> str:
    from django.db import connection

    lines = str(error).strip().splitlines()
    said = lines[0] if lines else type(error).__name__
    if connection.vendor == "postgresql":
        return f"the PostgreSQL server of {workspace.path} does not answer as expected: {said}"
    return (
        f"{workspace.database_file} cannot be used ({said}); check it with: crossfall doctor,"
        " or bring a backup back with: crossfall restore"
    )
