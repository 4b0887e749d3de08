"""What every reader hands on, whatever the format: lines, points, and what it noticed."""

from __future__ import annotations

from dataclasses import dataclass, field

from crossfall.errors import Problem
from crossfall.model import Backdrop
from crossfall.network.roads import FoundLine, FoundPoint, RoadLines


@dataclass(frozen=True, eq=False)
class Found:
    """The roads and features of one file, in lon/lat."""

    lines: RoadLines | None
    """None for a file that crossfall wrote: its segments are ready."""
    points: list[FoundPoint] = field(default_factory=list)
    crossing_lines: list[FoundLine] = field(default_factory=list)
    backdrop: list[Backdrop] = field(default_factory=list)
    left_out: dict[str, int] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)
    assumed: list[str] = field(default_factory=list)
    unused_columns: tuple[str, ...] = ()
    is_by_agency: bool = True
    """Lines of an agency have ends to snap; lines with shared nodes do not."""
    n_zero_length: int = 0


def count(counts: dict[str, int], what: str) -> None:
    """One more of ``what``."""
    counts[what] = counts.get(what, 0) + 1
