"""An import on a map: what comes, what changes, what goes, and where somebody should look.

Kinds keep apart by width and dash as well as by colour, and every mark has its number, which
stands in the list beside the map.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Sequence
from html import escape

from crossfall.model import Network, Segment
from crossfall.report.colours import FONT, INK, PAPER, QUIET
from crossfall.report.condition_map import EDGE, FOOT, scale_bar
from crossfall.report.figures import System

M_PER_DEG = 111_320.0
MOST_MARKS = 300
ADDED, CHANGED, GONE = "#12876a", "#e69f00", "#a1283b"
_STYLE = {
    "same": f'stroke="{QUIET}" stroke-width="1.6"',
    "added": f'stroke="{ADDED}" stroke-width="3.6"',
    "changed": f'stroke="{CHANGED}" stroke-width="3.6"',
    "gone": f'stroke="{GONE}" stroke-width="2.6" stroke-dasharray="5 4"',
}
_WORDS = {
    "added": "comes new",
    "changed": "stays and changes",
    "gone": "is gone from the file",
    "same": "as it was",
}
_PAGE = """<!DOCTYPE html>
<html lang="en"><head><meta charset="utf-8"><title>{title}</title>
<style>
body {{ font: 15px/1.45 {font}; margin: 1.5rem auto; max-width: 62rem; padding: 0 1rem;
       background: {paper}; color: {ink}; }}
svg {{ max-width: 100%; height: auto; border: 1px solid {quiet}; }}
li {{ margin: .25rem 0; }} h1 {{ font-size: 1.4rem; }} h2 {{ font-size: 1.1rem; }}
pre {{ white-space: pre-wrap; font: inherit; }}
</style></head><body>
<h1>{title}</h1>
<pre>{told}</pre>
{map}
<p>{key}</p>
{lists}
</body></html>
"""

Marks = Sequence[tuple[str, float, float, str]]
"""Kind in words, lon, lat, sentence."""


def import_map(
    network: Network,
    *,
    added: Collection[str] = (),
    changed: Collection[str] = (),
    gone: Sequence[Segment] = (),
    marks: Marks = (),
    width: float = 900.0,
    most_height: float = 640.0,
    units: System = "metric",
    title: str = "What the import changes",
) -> str:
    """Draw a network that came as SVG.

    Parameters
    ----------
    network : Network
        The one that came.
    added, changed : collection of str
        Ids of segments that are new or differ.
    gone : sequence of Segment
        Segments of the old network that are not in the new one.
    marks : sequence of (kind, lon, lat, sentence)
        Numbered places to look at; at most three hundred are drawn.
    """
    lines = [segment.line for segment in (*network.segments, *gone)]
    lon = [x for line in lines for x, _ in line] or [0.0]
    lat = [y for line in lines for _, y in line] or [0.0]
    west, south, east, north = min(lon), min(lat), max(lon), max(lat)
    narrow = math.cos(math.radians((south + north) / 2))
    wide, high = max((east - west) * narrow, 1e-4), max(north - south, 1e-4)
    per_degree = min((width - 4 * EDGE) / wide, (most_height - 4 * EDGE - FOOT) / high)
    height = high * per_degree + 4 * EDGE + FOOT
    left = (width - wide * per_degree) / 2

    def place(x: float, y: float) -> tuple[float, float]:
        return left + (x - west) * narrow * per_degree, 2 * EDGE + (north - y) * per_degree

    drawn = {"same": [], "gone": [], "changed": [], "added": []}  # type: dict[str, list[str]]
    for segment in network.segments:
        kind = "added" if segment.id in added else "changed" if segment.id in changed else "same"
        drawn[kind].append(_path(segment, place))
    drawn["gone"] = [_path(segment, place) for segment in gone]
    return "".join(
        (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:.0f} {height:.0f}"'
            f' width="{width:.0f}" height="{height:.0f}" font-family="{FONT}" role="img"'
            f' aria-label="{escape(title)}"><rect width="100%" height="100%" fill="{PAPER}"/>',
            '<g fill="none" stroke-linecap="round" stroke-linejoin="round">',
            *(f'<path d="{d}" {_STYLE[kind]}/>' for kind, paths in drawn.items() for d in paths),
            "</g>",
            *(_mark(n, mark, place) for n, mark in enumerate(marks[:MOST_MARKS], start=1)),
            scale_bar(per_degree / M_PER_DEG, width, height, units),
            "</svg>",
        )
    )


def import_key(kinds: Collection[str]) -> list[dict[str, str]]:
    """Entries of the key for the kinds that are drawn: ``added``, ``changed``, ``gone``, ``same``.

    Examples
    --------
    >>> [entry["label"] for entry in import_key({"added", "same"})]
    ['comes new', 'as it was']
    """
    colour = {"added": ADDED, "changed": CHANGED, "gone": GONE, "same": QUIET}
    return [
        {"kind": kind, "colour": colour[kind], "label": words, "dash": "yes" * (kind == "gone")}
        for kind, words in _WORDS.items()
        if kind in kinds
    ]


def import_page(title: str, told: str, drawing: str, marks: Marks, kinds: Collection[str]) -> str:
    """A page of its own: summary, map, and the numbered list of what to look at."""
    by_kind: dict[str, list[str]] = {}
    for number, (kind, lon, lat, text) in enumerate(marks, start=1):
        line = f'<li value="{number}">{escape(text)} <small>({lat:.5f}, {lon:.5f})</small></li>'
        by_kind.setdefault(kind, []).append(line)
    lists = "".join(
        f"<h2>{escape(kind.capitalize())}: {len(lines)}</h2><ol>{''.join(lines)}</ol>"
        for kind, lines in by_kind.items()
    )
    key = " &nbsp; ".join(
        f'<svg width="34" height="10" aria-hidden="true"><path d="M2 5H32" fill="none"'
        f" {_STYLE[entry['kind']]}/></svg> {escape(entry['label'])}"
        for entry in import_key(kinds)
    )
    return _PAGE.format(
        title=escape(title), told=escape(told), map=drawing, key=key, lists=lists,
        font=FONT, paper=PAPER, ink=INK, quiet=QUIET,
    )  # fmt: skip


def _path(segment: Segment, place: Callable[[float, float], tuple[float, float]]) -> str:
    return "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in (place(*each) for each in segment.line))


def _mark(
    number: int,
    mark: tuple[str, float, float, str],
    place: Callable[[float, float], tuple[float, float]],
) -> str:
    _, lon, lat, text = mark
    x, y = place(lon, lat)
    return (
        f'<g><title>{escape(text)}</title><circle cx="{x:.1f}" cy="{y:.1f}" r="8"'
        f' fill="{PAPER}" stroke="{INK}" stroke-width="1.6"/>'
        f'<text x="{x:.1f}" y="{y + 3.4:.1f}" font-size="9.5" font-weight="bold"'
        f' text-anchor="middle" fill="{INK}">{number}</text></g>'
    )
