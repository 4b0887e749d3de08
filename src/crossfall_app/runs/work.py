"""The child's side of a run: take it, do it, say how far it is, say how it ended."""

from __future__ import annotations

import os
import socket
import time
import traceback
from datetime import date
from typing import Any
from uuid import UUID

from django.db import OperationalError, transaction
from django.utils import timezone

from crossfall.errors import Cancelled, CrossfallError, InputError
from crossfall.model import Progress
from crossfall_app.store.models import Run
from crossfall_app.workspace import Workspace

_EVERY_S = 0.25
"""Progress is written, and the wish to stop is read, at most four times a second."""


def work(workspace: Workspace, run_id: UUID) -> str:
    """Do one queued run and return its last status.

    Raises
    ------
    InputError
        If the run is unknown, or somebody has taken or stopped it.
    """
    run = _take(run_id)
    try:
        _KINDS[run.kind](workspace, run, _teller(run.pk))
    except Cancelled:
        return _finish(run.pk, "cancelled")
    except CrossfallError as error:
        return _finish(run.pk, "failed", error=str(error))
    except Exception as error:  # noqa: BLE001 - whatever it was, the row must not stay running
        _write_down(workspace, run)
        return _finish(
            run.pk,
            "failed",
            error=f"crossfall made a mistake of its own ({type(error).__name__}: {error});"
            " the details are in errors.log in the workspace",
        )
    return _status(run.pk)


def _plan(workspace: Workspace, run: Run, progress: Progress) -> None:
    from crossfall_app.runs.planning import plan_from_store
    from crossfall_app.store import repository

    told = run.arguments
    planned = plan_from_store(
        first_day=date.fromisoformat(told["first_day"]),
        n_days=int(told["n_days"]),
        seconds=float(told["seconds"]),
        seed=int(told["seed"]),
        made_at=workspace.now(),
        progress=progress,
    )
    # The plan and the word that it is done come together, or neither does
    with transaction.atomic():
        kept = repository.save_week(planned.week, by=run.created_by)
        _finish(run.pk, "done", result=kept.plan.id)


def _years(workspace: Workspace, run: Run, progress: Progress) -> None:
    from crossfall.model import YearsQuestion
    from crossfall.workflow import ask_years
    from crossfall_app.store import repository
    from crossfall_app.store.convert import CONVERTER
    from crossfall_app.store.years import save_study

    told = run.arguments
    study = ask_years(
        repository.load_district(),
        CONVERTER.structure(told["question"], YearsQuestion),
        today=date.fromisoformat(told["today"]),
        progress=progress,
    )
    with transaction.atomic():
        key = save_study(study, made_at=workspace.now(), by=run.created_by)
        _finish(run.pk, "done", result=key)


_KINDS = {"years": _years, "plan": _plan}


def _take(run_id: UUID) -> Run:
    with transaction.atomic():
        run: Run | None = Run.objects.select_for_update().filter(pk=run_id).first()
        if run is None:
            raise InputError(f"run {run_id} is unknown")
        if run.status != "queued":
            raise InputError(f"run {run_id} is {run.status}, not waiting to be done")
        if run.kind not in _KINDS:
            raise InputError(f"run {run_id} is a {run.kind!r}, which this program cannot do")
        now = timezone.now()
        run.status, run.started_at, run.seen_at = "running", now, now
        run.pid, run.host = os.getpid(), socket.gethostname()
        run.save()
    return run


def _teller(run_id: UUID) -> Progress:
    last_told = 0.0

    def tell(fraction: float, message: str) -> None:
        nonlocal last_told
        now = time.monotonic()
        if now - last_told < _EVERY_S:
            return
        last_told = now
        row = Run.objects.filter(pk=run_id, status="running")
        try:
            row.update(fraction=fraction, message=message, seen_at=timezone.now())
        except OperationalError:
            # Somebody is writing something long; the next word will do as well
            return
        if row.filter(is_cancel_wanted=False).exists():
            return
        raise Cancelled("stopped as asked; nothing was kept")

    return tell


def _finish(run_id: UUID, status: str, **told: Any) -> str:
    if status == "done":
        told |= {"fraction": 1.0, "message": ""}
    rows = Run.objects.filter(pk=run_id, status="running")
    rows.update(status=status, finished_at=timezone.now(), **told)
    return _status(run_id)


def _status(run_id: UUID) -> str:
    return str(Run.objects.values_list("status", flat=True).get(pk=run_id))


def _write_down(workspace: Workspace, run: Run) -> None:
    with (workspace.path / "errors.log").open("a", encoding="utf-8") as log:
        log.write(f"\n{workspace.now().isoformat()} run {run.pk} ({run.kind})\n")
        log.write(traceback.format_exc())
