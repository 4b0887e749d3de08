"""Years, strategies and deterioration factors."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class ProgrammePolicy:
    """Years, strategies and deterioration factors."""
