"""How long each kind of record is kept: a list for the office, not a machine that throws away."""

from __future__ import annotations

from dataclasses import dataclass

from crossfall.model.policy.setting import setting


def _years(value: int, doc: str) -> int:
    kept: int = setting(
        value,
        unit="years",
        doc=f"{doc} State law and the agency's own schedule decide.",
        low=0,
        high=100,
    )
    return kept


@dataclass(frozen=True, slots=True)
class RetentionPolicy:
    """Years that records are kept, by kind; nothing is ever deleted by itself."""

    work_years: int = _years(10, "Work done and its costs.")
    inspection_years: int = _years(10, "Inspections and measurements, with their photos.")
    hazard_years: int = _years(10, "Dangers, and when they were secured: claims come late.")
    request_years: int = _years(5, "What residents asked and were told.")
    card_years: int = _years(10, "Job cards as they were issued.")
    plan_years: int = _years(5, "Plans, and why roads were left out.")
    limit_years: int = _years(10, "Load limits and who signed them.")
    event_years: int = _years(10, "Everything under an event code, from the end of the event.")
