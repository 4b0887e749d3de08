"""How large a card can be set, and which column takes what, before it is typeset.

A card should fill its page: short ones are set larger, for reading at arm's length, and long
ones a little smaller, within bounds. Heights are estimated in lines here, so that the
typesetter need try only one or two sizes instead of all of them.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

FACTORS = (1.14, 1.07, 1.0, 0.95, 0.9, 0.86)
"""Sizes that are tried, of the ordinary one, the largest first."""

_CAUTION_CHARS, _STEP_CHARS, _SIDE_CHARS, _WIDE_CHARS = 56, 56, 44, 125
_PT_PER_MM = 72 / 25.4
_SAFE = 0.975
"""The estimate is within three parts in a hundred on the invented district's cards."""


def fitted(data: dict[str, Any], height_mm: float) -> dict[str, Any]:
    """The card's data with its columns settled and the sizes worth trying, best first."""
    left, right = _left_lines(data), _right_lines(data)
    state, end = _lines(data["moisture"], _SIDE_CHARS), _lines(data["end"], _SIDE_CHARS) + 2
    state += _lines(data["why"], _SIDE_CHARS) + 3
    ways = ((False, False), (True, False), (False, True), (True, True))

    def both(way: tuple[bool, bool]) -> tuple[float, float]:
        moved = state * way[0] + end * way[1]
        return left + moved, right + state + end - moved

    way = min(ways, key=lambda each: max(both(each)))
    natural = _height_pt(data, max(both(way)))
    room = height_mm * _PT_PER_MM * _SAFE
    # Smaller letters make fewer lines as well as lower ones
    fits = [factor for factor in FACTORS if natural * factor**1.6 <= room] or [FACTORS[-1]]
    return {
        **data,
        "state_is_left": way[0],
        "end_is_left": way[1],
        "factors": [factor for factor in FACTORS if factor <= fits[0]],
    }


def split_evenly(texts: Sequence[str]) -> int:
    """Where to cut a list of paragraphs so that two columns are about equally long.

    Examples
    --------
    >>> split_evenly(["a" * 50, "b" * 50, "c" * 100])
    2
    """
    lines = [_lines(text, _CAUTION_CHARS) for text in texts]
    cuts = range(len(texts) + 1)
    return min(cuts, key=lambda cut: (max(sum(lines[:cut]), sum(lines[cut:])), cut))


def _height_pt(data: dict[str, Any], column_lines: float) -> float:
    """Estimated height at ordinary size; coefficients fitted to measured cards [pt]."""
    cautions = max(
        sum(_lines(row["head"] + row["text"] + row["at"], _CAUTION_CHARS) + 0.43 for row in rows)
        for rows in (data["cautions_left"], data["cautions_right"])
    )
    stakes = max((len(column) for column in data["stakes"]), default=0)
    return (
        11.1 * cautions
        + 12.6 * column_lines
        + 17.5 * _lines(data["title"], 34)
        + 27.5 * _lines(data["assumed"] + data["cost"] + data["issued"], _WIDE_CHARS)
        + (24 if data["withdrawn"] else 0)
        + 68.9 * math.ceil(len(data["actuals"]) / 4)
        + (14.5 * stakes + 42 if stakes else 0)
        + 40
    )


def _left_lines(data: dict[str, Any]) -> float:
    steps = sum(
        _lines(step["text"], _STEP_CHARS) + 0.35 + (0.8 if step["detail"] else 0.0)
        for step in data["steps"]
    )
    return steps + 1.5 + sum(_lines(each, _STEP_CHARS) + 0.35 for each in data["checks"])


def _right_lines(data: dict[str, Any]) -> float:
    rows = sum(2.1 if row["note"] else 1.45 for row in data["quantities"])
    return float(data["map_mm"]) / 4.6 + rows + 1.5


def _lines(text: str, chars: int) -> int:
    return math.ceil(len(text) / chars)
