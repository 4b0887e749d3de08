"""An invented district, drawn from a seed: to show, to try, to measure. Nothing in it is real."""

from __future__ import annotations

from crossfall.demo.district import osier_valley
from crossfall.demo.sheet import section_grid

__all__ = ["osier_valley", "section_grid"]
