"""The road drawn straight, from the first chainage to the last, with everything beside it.

A driver reads a strip from the bottom of the trip meter up: what comes next, and how far.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from html import escape
from itertools import pairwise

from crossfall.model import Sketch, SketchFeature, Stake
from crossfall.report.figures import System, figure
from crossfall.report.sketch import FONT, INK, JOB, PAPER, SIGNS

_METRES = (10, 20, 50, 100, 200, 500, 1000, 2000, 5000)
_FEET = (50, 100, 200, 500, 1000, 2000, 5280, 10560)
_MOST_TICKS = 10
_END_ROOM = 17.0
"""No figure stands nearer than this to the ones at both ends [mm]."""


def strip_svg(
    sketch: Sketch,
    *,
    from_m: float,
    to_m: float,
    stakes: Sequence[Stake] = (),
    width_mm: float = 186.0,
    units: System = "metric",
) -> str:
    """Draw the strip of one stage.

    Parameters
    ----------
    from_m, to_m : float, from_m < to_m
        Chainages at both ends. [m]
    stakes : sequence of Stake
        Load markers, drawn as small ticks under the road.
    width_mm : float
        Width on paper. [mm]
    """
    height, left, right, road = 19.0, 6.0, width_mm - 6.0, 9.5
    length = max(to_m - from_m, 1e-6)

    def place(at_m: float) -> float:
        return left + (right - left) * (at_m - from_m) / length

    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width_mm}mm" height="{height}mm"'
        f' viewBox="0 0 {width_mm} {height}" font-family="{FONT}">',
        f'<rect x="{left}" y="{road - 1.6}" width="{right - left}" height="3.2" fill="#e6e6e6"/>',
        f'<path d="M{left} {road - 1.6}H{right}M{left} {road + 1.6}H{right}" stroke="{INK}"'
        ' stroke-width="0.35"/>',
        f'<path d="M{left} {road}H{right - 2}" stroke="{JOB}" stroke-width="0.6"'
        ' stroke-dasharray="2.4 1.6"/>',
        f'<path d="M{right - 2.2} {road - 0.9}L{right - 0.4} {road}L{right - 2.2} {road + 0.9}Z"'
        f' fill="{JOB}"/>',
    ]
    parts.extend(
        f'<path d="M{place(from_m + stake.at_m):.2f} {road + 0.3}v1.3" stroke="{INK}"'
        ' stroke-width="0.25"/>'
        for stake in stakes
    )
    parts.append(_ticks(from_m, to_m, place(from_m), place(to_m), road, units))
    parts.append(_marks(sketch, from_m, to_m, left, right, road))
    parts.append("</svg>")
    return "".join(parts)


def along(sketch: Sketch, feature: SketchFeature) -> float:
    """How far along the job's line a feature stands, as a share from 0 to 1.

    Examples
    --------
    >>> line = ((0.0, 0.0), (0.01, 0.0))
    >>> round(along(Sketch(line, (), ()), SketchFeature("gate", 0.0025, 0.0001)), 3)
    0.25
    """
    narrow = math.cos(math.radians(sketch.line[0][1]))
    points = [(lon * narrow, lat) for lon, lat in sketch.line]
    x, y = feature.lon * narrow, feature.lat
    best, at, total = math.inf, 0.0, 0.0
    for (x0, y0), (x1, y1) in pairwise(points):
        dx, dy = x1 - x0, y1 - y0
        length = math.hypot(dx, dy)
        if length == 0:
            continue
        share = min(1.0, max(0.0, ((x - x0) * dx + (y - y0) * dy) / length**2))
        away = math.hypot(x0 + share * dx - x, y0 + share * dy - y)
        if away < best:
            best, at = away, total + share * length
        total += length
    return at / total if total else 0.0


def _ticks(from_m: float, to_m: float, x0: float, x1: float, road: float, units: System) -> str:
    per_m = 1 / 0.3048 if units == "us" else 1.0
    low, high = from_m * per_m, to_m * per_m
    steps = _FEET if units == "us" else _METRES
    step = next((each for each in steps if (high - low) / each <= _MOST_TICKS), steps[-1])
    at = [low, *(n * step for n in range(math.ceil(low / step), math.floor(high / step) + 1)), high]
    drawn, last = [], -math.inf
    for index, value in enumerate(at):
        x = x0 + (x1 - x0) * (value - low) / max(high - low, 1e-6)
        is_end = index in (0, len(at) - 1)
        if not is_end and (x - last < 9 or x1 - x < _END_ROOM or x - x0 < _END_ROOM):
            continue
        text, sign = figure(value / per_m, "m", units)
        words = f"{text} {sign}" if is_end else text
        anchor = "start" if index == 0 else "end" if is_end else "middle"
        shift = -4.0 if index == 0 else 4.0 if is_end else 0.0
        weight = ' font-weight="bold"' if is_end else ""
        drawn.append(
            f'<path d="M{x:.2f} {road + 1.6}v1.6" stroke="{INK}" stroke-width="0.3"/>'
            f'<text x="{x + shift:.2f}" y="{road + 6.6}" font-size="3"{weight}'
            f' text-anchor="{anchor}" fill="{INK}">{words}</text>'
        )
        last = x
    return "".join(drawn)


def _marks(
    sketch: Sketch, from_m: float, to_m: float, left: float, right: float, road: float
) -> str:
    found = sorted(
        (along(sketch, feature), SIGNS[feature.kind][0])
        for feature in sketch.features
        if feature.kind in SIGNS
    )
    drawn, last = [], left - 4.0
    for share, sign in found:
        x = left + (right - left) * share
        at = min(max(x, last + 4.0), right + 3.5)
        last = at
        drawn.append(
            f'<path d="M{at:.2f} {road - 4.2}L{x:.2f} {road - 1.6}V{road + 1.6}" fill="none"'
            f' stroke="{INK}" stroke-width="0.3"/>'
            f'<circle cx="{at:.2f}" cy="{road - 5.9}" r="1.8" fill="{PAPER}" stroke="{INK}"'
            f' stroke-width="0.35"/>'
            f'<text x="{at:.2f}" y="{road - 4.95}" font-size="2.7" font-weight="bold"'
            f' text-anchor="middle" fill="{INK}">{escape(sign)}</text>'
        )
    return "".join(drawn)
