"""Starting, following and stopping runs, from the side that asks for them.

A run is its row. The child process writes how far it is; this side sets the wish to stop. A child
that does not answer the wish within a second is ended; whatever it had not committed is gone, and
nothing it had is half there.
"""

from __future__ import annotations

import os
import socket
import subprocess
import sys
from collections.abc import Callable
from dataclasses import asdict
from datetime import date, timedelta
from pathlib import Path
from threading import Thread
from typing import Any
from uuid import UUID

from django.db import DatabaseError, connection, transaction
from django.utils import timezone

from crossfall.errors import InputError
from crossfall.model import YearsQuestion
from crossfall.programme.study import check_question
from crossfall_app.store import audit
from crossfall_app.store.models import Run
from crossfall_app.workspace import current_workspace

WORKING = ("queued", "running")
THREAD_NAME = "crossfall-run"
_ANSWER_S = 0.5
"""How long a child may take to stop by itself before it is ended."""
_SILENT = timedelta(minutes=10)
"""After so long without a word a run on another computer counts as interrupted."""
_CHILDREN: dict[UUID, subprocess.Popen[bytes]] = {}


def start_plan(*, first_day: date, n_days: int, seconds: float, by: str, seed: int = 1) -> Run:
    """Start planning a week in the background.

    Raises
    ------
    InputError
        If planning is under way already.
    """
    arguments = {
        "first_day": first_day.isoformat(),
        "n_days": n_days,
        "seconds": seconds,
        "seed": seed,
    }
    return _start("plan", arguments, by=by)


def start_years(question: YearsQuestion, *, today: date, by: str) -> Run:
    """Start answering a board's questions on the years in the background.

    Raises
    ------
    InputError
        If something is under way already, or the question cannot be asked.
    """
    check_question(question)
    arguments = {"question": asdict(question), "today": today.isoformat()}
    return _start("years", arguments, by=by)


def load(run_id: UUID) -> Run | None:
    """The run as its row tells it now."""
    run: Run | None = Run.objects.filter(pk=run_id).first()
    return run


def at_work(kind: str = "") -> Run | None:
    """The run that is queued or running, if there is one; of a ``kind`` where one is named."""
    rows = Run.objects.filter(status__in=WORKING)
    if kind:
        rows = rows.filter(kind=kind)
    run: Run | None = rows.order_by("-created_at").first()
    return run


def list_runs(*, most: int = 20) -> list[Run]:
    """Runs, newest first."""
    return list(Run.objects.order_by("-created_at")[:most])


def cancel(run_id: UUID, *, by: str) -> None:
    """Ask a run to stop; within about a second it has. A run that is over stays as it is."""
    with transaction.atomic():
        asked = Run.objects.filter(pk=run_id, status__in=WORKING, is_cancel_wanted=False)
        if asked.update(is_cancel_wanted=True):
            audit.note("cancel", "run", str(run_id), who=by)
    # One that has no process yet is over at once
    _settle(run_id, "cancelled", only=("queued",), without_process=True)
    child = _CHILDREN.get(run_id)
    if child is not None:
        _beside(_end_if_deaf, run_id, child)


def settle_leftovers() -> int:
    """Mark runs whose process is gone as interrupted; called when a server starts."""
    n_settled = 0
    for run in Run.objects.filter(status__in=WORKING):
        if not _is_alive(run):
            n_settled += _settle(run.pk, "interrupted")
    return n_settled


def _start(kind: str, arguments: dict[str, Any], *, by: str) -> Run:
    with transaction.atomic():
        # The audit's line takes the agency's row: of two who press at once, one comes second
        audit.note("start", "run", kind, who=by)
        settle_leftovers()
        busy = at_work()
        if busy is not None:
            raise InputError(
                f"a {busy.kind} by {busy.created_by or 'somebody'} is under way;"
                " wait for it, or stop it first"
            )
        run: Run = Run.objects.create(kind=kind, arguments=arguments, created_by=by)
    _spawn(run)
    return run


def _spawn(run: Run) -> None:
    folder = current_workspace().path
    child = subprocess.Popen(
        [sys.executable, "-m", "crossfall_app", "run", str(run.pk), "--workspace", str(folder)],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        # Ctrl-C at the server is not meant for the planning; it is found again at the next start
        start_new_session=True,
    )
    Run.objects.filter(pk=run.pk, pid__isnull=True).update(pid=child.pid, host=socket.gethostname())
    _CHILDREN[run.pk] = child
    _beside(_see_it_end, run.pk, child)


def _beside(
    watch: Callable[[UUID, subprocess.Popen[bytes]], None],
    run_id: UUID,
    child: subprocess.Popen[bytes],
) -> None:
    """Watch a child from a thread of its own; the server never waits for it."""

    def guarded() -> None:
        try:
            watch(run_id, child)
        except DatabaseError:
            # What could not be written now is settled when the next run or server starts
            pass
        finally:
            connection.close()

    Thread(target=guarded, name=f"{THREAD_NAME}-{run_id}", daemon=True).start()


def _see_it_end(run_id: UUID, child: subprocess.Popen[bytes]) -> None:
    """Collects the child, so that it does not linger, and settles what it left open."""
    child.wait()
    try:
        _settle(run_id, "cancelled", only=WORKING, if_wanted=True)
        _settle(run_id, "interrupted")
    finally:
        _CHILDREN.pop(run_id, None)


def _end_if_deaf(run_id: UUID, child: subprocess.Popen[bytes]) -> None:
    try:
        child.wait(timeout=_ANSWER_S)
    except subprocess.TimeoutExpired:
        child.kill()
        child.wait()
    _settle(run_id, "cancelled", only=WORKING)


def _settle(
    run_id: UUID,
    status: str,
    *,
    only: tuple[str, ...] = WORKING,
    if_wanted: bool = False,
    without_process: bool = False,
) -> int:
    rows = Run.objects.filter(pk=run_id, status__in=only)
    if if_wanted:
        rows = rows.filter(is_cancel_wanted=True)
    if without_process:
        rows = rows.filter(pid__isnull=True)
    return int(rows.update(status=status, finished_at=timezone.now()))


def _is_alive(run: Run) -> bool:
    if run.pk in _CHILDREN:
        return _CHILDREN[run.pk].poll() is None
    if run.pid is None:
        # Its starter wrote no process down: give it the moment that takes
        return bool(timezone.now() - run.created_at < timedelta(seconds=30))
    if run.host != socket.gethostname():
        return bool(timezone.now() - (run.seen_at or run.created_at) < _SILENT)
    return _is_ours(run.pid)


def _is_ours(pid: int) -> bool:
    """Whether the process lives and is one of crossfall's; numbers are used again."""
    command = Path(f"/proc/{pid}/cmdline")
    if command.parent.parent.joinpath("self").exists():
        try:
            return b"crossfall_app" in command.read_bytes()
        except OSError:
            return False
    if os.name != "posix":
        return False
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    except PermissionError:
        return True
    return True
