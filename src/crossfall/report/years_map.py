"""Where gravel is placed in which year: the network north up, roads by the year they are due.

On a page each road carries the years of every level of money, so that another year or level only
changes classes; on paper the first five years have a colour, a width and a number each.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from html import escape

from crossfall.model import Network
from crossfall.report.colours import FONT
from crossfall.report.condition_map import BEHIND, EDGE, FOOT, NOT_OURS, bounds, scale_bar
from crossfall.report.figures import System

YEAR_COLOUR = ("#7a0f3c", "#d0640f", "#e3b43c", "#3f9a78", "#2166ac")
"""The first five years: soonest is darkest and widest."""
YEAR_WIDTH = (5.2, 4.4, 3.7, 3.1, 2.6)
LATER_COLOUR, NEVER_COLOUR = "#8f9aa6", "#b9c1bc"


def years_map(
    network: Network,
    due: Mapping[str, Sequence[int]],
    *,
    first_year: int,
    width: float = 700.0,
    most_height: float = 620.0,
    units: System = "metric",
) -> str:
    """Draw the network as SVG for print; ``due`` gives each segment's regravelling years.

    A road that is due twice in the first five years has the colour of the first.
    """

    def look(segment_id: str) -> tuple[int, str]:
        years = due.get(segment_id, ())
        if not years:
            return -2, f'stroke="{NEVER_COLOUR}" stroke-width="1.3"'
        index = min(years) - first_year
        if index >= len(YEAR_COLOUR):
            return -1, f'stroke="{LATER_COLOUR}" stroke-width="1.8" stroke-dasharray="4 3"'
        return (
            len(YEAR_COLOUR) - index,
            f'stroke="{YEAR_COLOUR[index]}" stroke-width="{YEAR_WIDTH[index]:g}"',
        )

    drawn = []
    others = []
    frame = _Frame(network, width, most_height)
    for segment in network.segments:
        path = frame.path(segment.line)
        if not segment.is_maintained:
            others.append(f'<path d="{path}" {NOT_OURS}/>')
            continue
        rank, style = look(segment.id)
        drawn.append((rank, f'<path d="{path}" {style}/>'))
    roads = others + [each for _, each in sorted(drawn, key=lambda pair: pair[0])]
    return _picture(network, frame, roads, units, "When roads are regravelled")


def live_years_map(
    network: Network,
    *,
    width: float = 900.0,
    most_height: float = 640.0,
    units: System = "metric",
) -> str:
    """The same for a page: no colours, each maintained road a path with its ``data-road``."""
    frame = _Frame(network, width, most_height)
    roads = []
    for segment in sorted(network.segments, key=lambda each: each.is_maintained):
        path = frame.path(segment.line)
        if segment.is_maintained:
            name = f"<title>{escape(segment.route)}</title>"
            roads.append(f'<path class="y-never" data-road="{escape(segment.id)}" d="{path}">')
            roads.append(f"{name}</path>")
        else:
            roads.append(f'<path d="{path}" {NOT_OURS}/>')
    return _picture(network, frame, roads, units, "Roads by the year they are regravelled")


def years_key(first_year: int, n_years: int) -> list[dict[str, str]]:
    """Entries of the printed key."""
    rows = [
        {"label": str(first_year + index), "colour": colour, "width": f"{width:g}", "dash": ""}
        for index, (colour, width) in enumerate(zip(YEAR_COLOUR, YEAR_WIDTH, strict=True))
        if index < n_years
    ]
    if n_years > len(YEAR_COLOUR):
        rows.append({"label": "later", "colour": LATER_COLOUR, "width": "1.8", "dash": "yes"})
    rows.append({"label": "not at all", "colour": NEVER_COLOUR, "width": "1.3", "dash": ""})
    return rows


class _Frame:
    """From degrees to the drawing."""

    def __init__(self, network: Network, width: float, most_height: float) -> None:
        self.west, south, east, self.north = bounds(network)
        self.narrow = math.cos(math.radians((south + self.north) / 2))
        wide, high = max((east - self.west) * self.narrow, 1e-6), max(self.north - south, 1e-6)
        self.scale = min((width - 2 * EDGE) / wide, (most_height - 2 * EDGE - FOOT) / high)
        self.width, self.height = width, high * self.scale + 2 * EDGE + FOOT
        self.left = (width - wide * self.scale) / 2

    def path(self, line: Sequence[tuple[float, float]]) -> str:
        return "M" + "L".join(
            f"{self.left + (lon - self.west) * self.narrow * self.scale:.1f}"
            f" {EDGE + (self.north - lat) * self.scale:.1f}"
            for lon, lat in line
        )


def _picture(
    network: Network, frame: _Frame, roads: Sequence[str], units: System, title: str
) -> str:
    width, height = frame.width, frame.height
    return "".join(
        (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:.0f} {height:.0f}"'
            f' width="{width:.0f}" height="{height:.0f}" font-family="{FONT}" role="img"'
            f' aria-label="{escape(title)}">',
            '<g fill="none">',
            *(
                f'<path d="{frame.path(each.line)}" {BEHIND[each.kind]}/>'
                for each in network.backdrop
            ),
            '</g><g fill="none" stroke-linecap="round" stroke-linejoin="round">',
            *roads,
            "</g>",
            scale_bar(frame.scale / 111_320.0, width, height, units),
            "</svg>",
        )
    )
