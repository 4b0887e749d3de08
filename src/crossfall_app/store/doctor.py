"""A look at the workspace's health: reads everything, changes nothing."""

from __future__ import annotations

import os
import shutil
import stat
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

from crossfall.errors import CrossfallError, WorkspaceError
from crossfall.model import JobCard
from crossfall_app.workspace import CONFIG_FILE, FOLDERS, SECRET_FILE, Workspace

_FREE_BYTES = 500_000_000


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that was checked."""

    check: str
    is_well: bool
    told: str
    is_warning: bool = False
    """Nothing is broken, but a plan made now would rest on too little."""


def examine(workspace: Workspace) -> tuple[Finding, ...]:
    """Check everything that can go wrong without anybody noticing."""
    checks: tuple[tuple[str, Callable[[Workspace], str]], ...] = (
        ("program", _program),
        ("workspace", _folders),
        ("secret key", _secret),
        ("privacy", _privacy),
        ("disk", _disk),
        ("database", _database),
        ("layout", _layout),
        ("references", _references),
        ("audit", _audit),
        ("cards", _cards),
        ("photos", _photos),
        ("network", _network),
        ("printing", _printing),
    )
    facts: tuple[tuple[str, Callable[[Workspace], str]], ...] = (
        ("weather", _weather),
        ("forecast", _forecast),
        ("fleet", _fleet),
        ("prices", _prices),
        ("certificate", _certificate),
    )
    broken = tuple(_findings(workspace, checks))
    if not all(each.is_well for each in broken):
        return broken
    thin = (
        replace(each, is_well=True, is_warning=not each.is_well)
        for each in _findings(workspace, facts)
    )
    return (*broken, *thin)


def _findings(
    workspace: Workspace, checks: tuple[tuple[str, Callable[[Workspace], str]], ...]
) -> Iterator[Finding]:
    from django.db import DatabaseError

    for name, check in checks:
        try:
            yield Finding(name, True, check(workspace))
        except CrossfallError as error:
            yield Finding(name, False, str(error))
        except DatabaseError as error:
            yield Finding(name, False, f"cannot be read: {' '.join(str(error).split())}")
        except OSError as error:
            yield Finding(name, False, f"cannot be read: {error.strerror}")


def _program(_: Workspace) -> str:
    import django

    from crossfall_app.store.upkeep import program_version

    python = ".".join(str(part) for part in sys.version_info[:3])
    return f"crossfall {program_version()}, Python {python}, Django {django.__version__}"


def _folders(workspace: Workspace) -> str:
    for name in FOLDERS:
        folder = workspace.path / name
        if not folder.is_dir():
            raise WorkspaceError(f"the folder {name} is missing; make it again")
        if not os.access(folder, os.W_OK):
            raise WorkspaceError(f"the folder {name} cannot be written")
    return str(workspace.path)


def _secret(workspace: Workspace) -> str:
    file = workspace.path / SECRET_FILE
    if not file.is_file():
        raise WorkspaceError("is missing; it is made anew at the next start, and all sign in again")
    if os.name == "posix" and stat.S_IMODE(file.stat().st_mode) & 0o077:
        raise WorkspaceError(f"others can read it; run: chmod 600 {file}")
    return "readable by its owner only"


def _privacy(workspace: Workspace) -> str:
    if os.name != "posix":
        return "left to the rights of the folder"
    backups = sorted(workspace.backups.glob("*.zip"))
    own = [workspace.path, workspace.path / CONFIG_FILE, workspace.database_file, *backups]
    own += [workspace.path / "tls", *sorted((workspace.path / "tls").glob("*.key"))]
    for each in own:
        if each.exists() and stat.S_IMODE(each.stat().st_mode) & 0o077:
            mode = "700" if each.is_dir() else "600"
            raise WorkspaceError(f"others can open {each}; run: chmod {mode} {each}")
    return "folder, settings, store, keys and backups are for their owner only"


def _disk(workspace: Workspace) -> str:
    free = shutil.disk_usage(workspace.path).free
    if free < _FREE_BYTES:
        raise WorkspaceError(f"only {free / 1e6:.0f} MB are free; make room before the next backup")
    return f"{free / 1e9:.1f} GB free"


def _database(workspace: Workspace) -> str:
    from django.db import connection

    if connection.vendor != "sqlite":
        with connection.cursor() as cursor:
            cursor.execute("SHOW server_version")
            return f"PostgreSQL {cursor.fetchone()[0]}"
    from crossfall_app.store.backup import check_sqlite

    check_sqlite(workspace.database_file)
    with connection.cursor() as cursor:
        mode = cursor.execute("PRAGMA journal_mode").fetchone()[0]
    if mode != "wal":
        raise WorkspaceError(f"journal mode is {mode}; the disk cannot share a write-ahead log")
    size = workspace.database_file.stat().st_size
    return f"SQLite, {size / 1e6:.1f} MB, whole"


def _layout(_: Workspace) -> str:
    from crossfall_app.store.upkeep import compare_layout

    ahead, behind, _is_new = compare_layout()
    if ahead:
        raise WorkspaceError(f"the store is newer than this program: it has {ahead[-1]}")
    if behind:
        raise WorkspaceError(f"{len(behind)} steps behind; any other command brings it up to date")
    return "as this program expects"


def _references(_: Workspace) -> str:
    from django.db import IntegrityError, connection

    try:
        connection.check_constraints()
    except IntegrityError as error:
        raise WorkspaceError(f"a row points to a missing one: {error}") from error
    return "every row points to one that is there"


def _audit(_: Workspace) -> str:
    from crossfall_app.store import audit, models

    at = audit.first_break()
    if at is not None:
        raise WorkspaceError(f"line {at} was altered or taken out after it was written")
    return f"{models.Audit.objects.count()} lines, unbroken"


def _cards(_: Workspace) -> str:
    from crossfall_app.store import convert, models

    # By whom a card was issued stands beside its sealed text; the audit has the same, sealed too
    issued: dict[str, dict[str, str]] = {}
    for line in models.Audit.objects.filter(table="jobcard", action="issued").iterator():
        issued[str(line.after.get("sha256"))] = line.after
    n_cards = 0
    for row in models.JobCard.objects.iterator():
        card = convert.card_to_noun(row)
        is_out = card.status in {"issued", "closed"} or bool(card.approved_by)
        if is_out and not _is_as_issued(card, issued.get(card.seal)):
            raise WorkspaceError(
                f"card {card.number}, version {card.version}: who issued it and when is not what"
                " the audit says; withdraw the card or restore a backup"
            )
        n_cards += 1
    return f"{n_cards} cards, none altered"


def _is_as_issued(card: JobCard, told: dict[str, str] | None) -> bool:
    if told is None or card.approved_at is None:
        return False
    at = told.get("approved_at")
    return (card.approved_by, card.confirmed_by) == (
        told.get("approved_by"),
        told.get("confirmed_by"),
    ) and (at is None or datetime.fromisoformat(at) == card.approved_at)


def _photos(workspace: Workspace) -> str:
    from crossfall_app.store.photos import check_photos

    found = check_photos(workspace.photos)
    found.complain()
    return found.summary()


def _network(_: Workspace) -> str:
    from crossfall_app.store import repository

    network = repository.load_network()
    return f"{len(network.segments)} segments, {network.maintained_km:.1f} km maintained"


def _weather(workspace: Workspace) -> str:
    from crossfall_app.store import repository

    district = repository.load_district()
    if not district.weather:
        raise WorkspaceError("none; how wet the roads are is not known: crossfall weather FILE")
    last = max(each.last_day for each in district.weather)
    late = (_today(workspace) - last).days
    most = district.policy.moisture.weather_gap_days
    if late > most:
        raise WorkspaceError(
            f"ends on {last}, {late} days ago; after {most} days nobody knows the surface:"
            " bring in the days since with crossfall weather FILE"
        )
    return f"up to {last}"


def _forecast(workspace: Workspace) -> str:
    from crossfall_app.store import repository

    forecasts = repository.load_district().forecasts
    if not forecasts:
        raise WorkspaceError(
            "none; days ahead are taken as the season usually is: crossfall weather FILE --forecast"
        )
    last = max(each.first_day + timedelta(days=each.n_days - 1) for each in forecasts)
    if last < _today(workspace):
        raise WorkspaceError(
            f"ends on {last}; bring in a new one: crossfall weather FILE --forecast"
        )
    return f"up to {last}"


def _fleet(_: Workspace) -> str:
    from crossfall_app.store import repository

    fleet = repository.load_fleet()
    if not fleet.machines:
        raise WorkspaceError("none; say what you have: crossfall import --fleet FILE")
    n_assumed = sum("assumed" in each.note for each in fleet.machines)
    if n_assumed:
        raise WorkspaceError(
            f"{n_assumed} of {len(fleet.machines)} machines are assumed from a count; describe"
            " them: crossfall import --fleet FILE"
        )
    return f"{len(fleet.machines)} machines, {len(fleet.operators)} operators"


def _prices(_: Workspace) -> str:
    from crossfall_app.store import repository

    costs = repository.load_policy().costs
    if costs == type(costs)():
        raise WorkspaceError(
            "all are the program's own, no agency's; put yours in a policy file:"
            " crossfall import --policy FILE"
        )
    return "changed by your policy"


def _certificate(workspace: Workspace) -> str:
    from crossfall_app.field.models import DeviceKey
    from crossfall_app.web.certificate import is_soon_over, read_certificate, usable_certificate

    n_phones = DeviceKey.objects.values("device").distinct().count()
    if read_certificate(workspace) is None:
        if n_phones:
            raise WorkspaceError(
                f"there is none, and {n_phones} paired phone{'s' * (n_phones != 1)} cannot reach"
                " the office without; make one with: crossfall certificate"
            )
        return "none, and no phone that needs one"
    found = usable_certificate(workspace, workspace.now())
    if not found.key_file.is_file():
        raise WorkspaceError("its key is missing; make it again with: crossfall certificate")
    until = f"{found.expires_at:%Y-%m-%d}"
    if is_soon_over(found, workspace.now()):
        raise WorkspaceError(f"runs out on {until}; renew it with: crossfall certificate")
    return f"for {', '.join(found.names)}, until {until}"


def _today(workspace: Workspace) -> date:
    from crossfall_app.store import repository

    invented: date | None = repository.agency().invented_today
    return invented or workspace.today()


def _printing(_: Workspace) -> str:
    import typst

    page = typst.compile(b"#set page(width: 40mm, height: 20mm)\nok")
    if not bytes(page).startswith(b"%PDF"):
        raise WorkspaceError("typst made no PDF; install crossfall again")
    return "typst makes PDF; no browser is needed"
