"""What was really done: records from cards, what they make of a road, what was left open."""

from __future__ import annotations

from crossfall.records.closing import close_card
from crossfall.records.field_day import CardReport, card_reports
from crossfall.records.from_tracks import ProposedWork, machine_days, propose_work
from crossfall.records.lone_worker import Worker, overdue_workers, workers_out
from crossfall.records.open_ends import OpenEnd, open_ends
from crossfall.records.outcome import conditions_after

__all__ = [
    "CardReport",
    "OpenEnd",
    "ProposedWork",
    "Worker",
    "card_reports",
    "close_card",
    "conditions_after",
    "machine_days",
    "open_ends",
    "overdue_workers",
    "propose_work",
    "workers_out",
]
