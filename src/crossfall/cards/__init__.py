"""The order a crew gets: steps, quantities, cautions, and what must be settled before it goes."""

from __future__ import annotations

from crossfall.cards.leave import LiveOrder, Obstacle, clock_minutes, obstacles, with_leave
from crossfall.cards.make import make_cards

__all__ = ["LiveOrder", "Obstacle", "clock_minutes", "make_cards", "obstacles", "with_leave"]
