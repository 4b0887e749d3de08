"""How work is laid out: passes, speeds, lifts, water, compaction."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class DesignPolicy:
    """How work is laid out: passes, speeds, lifts, water, compaction."""
