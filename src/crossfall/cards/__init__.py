"""The order a crew gets: steps, quantities, cautions."""

from __future__ import annotations

from crossfall.cards.make import make_cards

__all__ = ["make_cards"]
