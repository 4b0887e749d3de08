"""The network coloured by condition, north up, to a scale; readable without colour too."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from html import escape

from crossfall.judgement.rating import RATING_NAMES
from crossfall.model import Network
from crossfall.report.colours import FONT, INK, PAPER
from crossfall.report.figures import System

RATING_COLOUR = {5: "#2166ac", 4: "#74add6", 3: "#e3b43c", 2: "#d0640f", 1: "#7a0f3c"}
"""From good to bad: blue through sand to wine, apart in lightness as well as in hue."""
RATING_WIDTH = {5: 1.5, 4: 1.9, 3: 2.6, 2: 3.8, 1: 5.2}
"""Worse roads are drawn wider, so that a copy in black and white still shows them."""

M_PER_DEG = 111_320.0
NOT_OURS = 'stroke="#dcd8cc" stroke-width="1.6"'
BEHIND = {
    "stream": 'stroke="#a9bfcf" stroke-width="1.4"',
    "water": 'stroke="#a9bfcf" stroke-width="2.6"',
    "rail": 'stroke="#8b8b86" stroke-width="0.8" stroke-dasharray="5 2"',
}
_SCALES_KM = (0.5, 1, 2, 5, 10, 20, 50, 100)
EDGE, FOOT = 8.0, 24.0


def condition_map(
    network: Network,
    rating_of: Mapping[str, int],
    *,
    assumed: frozenset[str] = frozenset(),
    width: float = 700.0,
    most_height: float = 560.0,
    units: System = "metric",
    title: str = "Condition of the roads",
) -> str:
    """Draw the network as SVG, each maintained segment by its rating.

    Segments in ``assumed``, which nobody has looked at, are dashed. Roads of others are pale.
    """
    west, south, east, north = bounds(network)
    narrow = math.cos(math.radians((south + north) / 2))
    wide, high = max((east - west) * narrow, 1e-6), max(north - south, 1e-6)
    per_degree = min((width - 2 * EDGE) / wide, (most_height - 2 * EDGE - FOOT) / high)
    height = high * per_degree + 2 * EDGE + FOOT
    left = (width - wide * per_degree) / 2

    def path(line: Sequence[tuple[float, float]]) -> str:
        return "M" + "L".join(
            f"{left + (lon - west) * narrow * per_degree:.1f}"
            f" {EDGE + (north - lat) * per_degree:.1f}"
            for lon, lat in line
        )

    return "".join(
        (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:.0f} {height:.0f}"'
            f' width="{width:.0f}" height="{height:.0f}" font-family="{FONT}" role="img"'
            f' aria-label="{escape(title)}">',
            f'<clipPath id="land"><rect width="{width:.0f}" height="{height - FOOT:.0f}"/>'
            '</clipPath><g fill="none" clip-path="url(#land)">',
            *(f'<path d="{path(each.line)}" {BEHIND[each.kind]}/>' for each in network.backdrop),
            '</g><g fill="none" stroke-linecap="round" stroke-linejoin="round">',
            *_roads(network, rating_of, assumed, path),
            "</g>",
            scale_bar(per_degree / M_PER_DEG, width, height, units),
            "</svg>",
        )
    )


def _roads(
    network: Network,
    rating_of: Mapping[str, int],
    assumed: frozenset[str],
    path: Callable[[Sequence[tuple[float, float]]], str],
) -> list[str]:
    others, ours = [], []
    for segment in network.segments:
        rating = rating_of.get(segment.id)
        if rating is None:
            others.append(f'<path d="{path(segment.line)}" {NOT_OURS}/>')
            continue
        dash = ' stroke-dasharray="3 3" stroke-linecap="butt"' if segment.id in assumed else ""
        ours.append(
            (
                -rating,
                f'<path d="{path(segment.line)}" stroke="{RATING_COLOUR[rating]}"'
                f' stroke-width="{RATING_WIDTH[rating]}"{dash}/>',
            )
        )
    # The worst on top, where they are looked for
    return others + [drawn for _, drawn in sorted(ours, key=lambda each: each[0])]


def rating_key(ratings: Sequence[int], *, has_assumed: bool) -> list[dict[str, str]]:
    """Entries of the key: each rating's line and name."""
    entries = [
        {
            "colour": RATING_COLOUR[rating],
            "width": f"{RATING_WIDTH[rating]:g}",
            "label": f"{rating} {RATING_NAMES[rating]}",
            "dash": "",
        }
        for rating in sorted(set(ratings), reverse=True)
    ]
    if has_assumed:
        entries.append(
            {"colour": INK, "width": "2", "label": "dashed: nobody has looked yet", "dash": "yes"}
        )
    return entries


def bounds(network: Network) -> tuple[float, float, float, float]:
    """West, south, east and north of all roads, in degrees."""
    lon = [x for segment in network.segments for x, _ in segment.line]
    lat = [y for segment in network.segments for _, y in segment.line]
    return min(lon), min(lat), max(lon), max(lat)


def scale_bar(px_per_m: float, width: float, height: float, units: System) -> str:
    """SVG of a scale bar with its length, and of the way north, in the lower corners of a map."""
    unit_m, sign = (1609.344, "mi") if units == "us" else (1000.0, "km")
    fitting = [n for n in _SCALES_KM if n * unit_m * px_per_m <= width / 4] or [_SCALES_KM[0]]
    long = fitting[-1] * unit_m * px_per_m
    y, x = height - 6, width - 14
    return (
        f'<path d="M{EDGE} {y - 6:.0f}V{y:.0f}H{EDGE + long:.1f}V{y - 6:.0f}" fill="none"'
        f' stroke="{INK}" stroke-width="1.3"/>'
        f'<text x="{EDGE + 5}" y="{y - 3:.0f}" font-size="10" fill="{INK}" stroke="{PAPER}"'
        f' stroke-width="3" paint-order="stroke">{fitting[-1]:g} {sign}</text>'
        f'<path d="M{x} {height - 24:.0f}l5 13l-5 -3l-5 3Z" fill="{INK}"/>'
        f'<text x="{x}" y="{height - 1:.0f}" font-size="10" font-weight="bold"'
        f' text-anchor="middle" fill="{INK}">N</text>'
    )
