"""Long work beside the pages: started as a child process, followed and stopped through its row."""

from __future__ import annotations

from crossfall_app.runs.desk import (
    at_work,
    cancel,
    list_runs,
    load,
    settle_leftovers,
    start_plan,
    start_years,
)
from crossfall_app.store.models import Run

__all__ = [
    "Run",
    "at_work",
    "cancel",
    "list_runs",
    "load",
    "settle_leftovers",
    "start_plan",
    "start_years",
]
