"""Surface moisture: layer materials, class bands, drainage and frost."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class MoisturePolicy:
    """Surface moisture: layer materials, class bands, drainage and frost."""
