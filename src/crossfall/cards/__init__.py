"""The order a crew gets: steps, quantities, cautions, and what must be settled before it goes."""

from __future__ import annotations

from crossfall.cards.day_sheets import DayLine, DaySheet, make_day_sheets
from crossfall.cards.leave import LiveOrder, Obstacle, clock_minutes, obstacles, with_leave
from crossfall.cards.make import make_cards

__all__ = [
    "DayLine",
    "DaySheet",
    "LiveOrder",
    "Obstacle",
    "clock_minutes",
    "make_cards",
    "make_day_sheets",
    "obstacles",
    "with_leave",
]
