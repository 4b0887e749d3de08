"""From condition to treatment, urgency and worth."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class NeedsPolicy:
    """From condition to treatment, urgency and worth."""
