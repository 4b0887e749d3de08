"""What was really done: records from cards, what they make of a road, what was left open."""

from __future__ import annotations

from crossfall.records.closing import close_card
from crossfall.records.open_ends import OpenEnd, open_ends
from crossfall.records.outcome import conditions_after

__all__ = ["OpenEnd", "close_card", "conditions_after", "open_ends"]
