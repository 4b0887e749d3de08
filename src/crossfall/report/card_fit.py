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

STAKE_WAYS = ((3, 17.0), (4, 14.5), (4, 12.5), (5, 11.0), (6, 9.6))
"""Columns and letters [pt] of stakes on a page of their own, the most legible first."""

_CAUTION_CHARS, _STEP_CHARS, _SIDE_CHARS, _WIDE_CHARS = 56, 56, 44, 125
_PT_PER_MM = 72 / 25.4
_HOPELESS = 1.08
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
    columns = max(both(way))
    room = height_mm * _PT_PER_MM * _SAFE
    first = _front_pt(data, columns)
    return {
        **data,
        "state_is_left": way[0],
        "end_is_left": way[1],
        "factors": _worth_trying(first + _back_pt(data), room),
        "front_factors": _worth_trying(first, room) or [FACTORS[-1]],
        "stake_ways": _stake_ways(data, room),
    }


def _worth_trying(natural_pt: float, room_pt: float) -> list[float]:
    """Sizes from one above the estimate down, for it is cautious; none when all are hopeless."""
    # Smaller letters make fewer lines as well as lower ones
    if natural_pt * FACTORS[-1] ** 1.6 > _HOPELESS * room_pt:
        return []
    fits = [at for at, factor in enumerate(FACTORS) if natural_pt * factor**1.6 <= room_pt]
    return list(FACTORS[max((fits or [len(FACTORS) - 1])[0] - 1, 0) :])


def _stake_ways(data: dict[str, Any], room_pt: float) -> list[list[float]]:
    """Columns and letters [pt] of stakes on a page of their own, the most legible first."""
    n_stakes = sum(len(column) for column in data["stakes"])
    rest = _back_pt({**data, "stakes": []}) + 60
    fits = [
        [float(columns), size]
        for columns, size in STAKE_WAYS
        if math.ceil(n_stakes / columns) * 1.35 * size + rest <= room_pt
    ]
    return fits or [[float(STAKE_WAYS[-1][0]), STAKE_WAYS[-1][1]]]


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


def _front_pt(data: dict[str, Any], column_lines: float) -> float:
    """Estimated height down to the columns' end, at ordinary size; fitted to cards [pt]."""
    cautions = max(
        sum(_lines(row["head"] + row["text"] + row["at"], _CAUTION_CHARS) + 0.43 for row in rows)
        for rows in (data["cautions_left"], data["cautions_right"])
    )
    return (
        11.1 * cautions
        + 12.6 * column_lines
        + 17.5 * _lines(data["title"], 34)
        + (24 if data["withdrawn"] else 0)
        + 40
    )


def _back_pt(data: dict[str, Any]) -> float:
    """Estimated height of what was done, the stakes and the small print [pt]."""
    stakes = max((len(column) for column in data["stakes"]), default=0)
    return (
        27.5 * _lines(data["assumed"] + data["cost"] + data["issued"], _WIDE_CHARS)
        + 68.9 * math.ceil(len(data["actuals"]) / 4)
        + (14.5 * stakes + 42 if stakes else 0)
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
