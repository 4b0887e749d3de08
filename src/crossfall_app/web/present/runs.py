"""A run in words: how far it is, what it does, what came of it."""

from __future__ import annotations

from typing import Any

from crossfall_app.runs import Run

_WORKING = ("queued", "running")
_OVER = {
    "done": "The plan is ready.",
    "cancelled": "Planning was stopped; the earlier plan stands.",
    "failed": "Planning failed: ",
    "interrupted": "Planning was interrupted when the server stopped; start it again.",
}
_OVER_YEARS = {
    "done": "The answers are ready.",
    "cancelled": "It was stopped; earlier answers stand.",
    "failed": "The years could not be worked out: ",
    "interrupted": "It was interrupted when the server stopped; ask again.",
}


def run_row(run: Run) -> dict[str, Any]:
    """What a page and its script need of a run."""
    is_working = run.status in _WORKING
    message = run.message or "Starting"
    if run.is_cancel_wanted and is_working:
        message = "Stopping"
    if not is_working:
        over = _OVER_YEARS if run.kind == "years" else _OVER
        message = over.get(run.status, run.status) + (run.error if run.status == "failed" else "")
    return {
        "id": str(run.pk),
        "title": _title(run.kind, is_working),
        "is_working": is_working,
        "is_trouble": run.status in {"failed", "interrupted"},
        "percent": round(100 * run.fraction),
        "message": message,
        "has_result": run.status == "done",
    }


def _title(kind: str, is_working: bool) -> str:
    if kind == "years":
        return "Working out the years" if is_working else "The years"
    return "Planning the week" if is_working else "Planning"
