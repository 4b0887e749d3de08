"""Rates with currency, year and source."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class CostsPolicy:
    """Rates with currency, year and source."""
