"""What the surface must be like for each task."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class GatePolicy:
    """What the surface must be like for each task."""
