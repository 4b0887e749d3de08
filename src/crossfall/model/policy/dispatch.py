"""Shifts, turns, travel and what an hour is worth."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class DispatchPolicy:
    """Shifts, turns, travel and what an hour is worth."""
