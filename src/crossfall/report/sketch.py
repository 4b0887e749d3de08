"""The sketch map of a card as SVG: the job's line large, its neighbourhood behind it.

The map is fitted to the job, north is up, and everything is drawn in black, grey and one blue,
so that a copy from an office printer says as much as the original.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape
from itertools import pairwise

from crossfall.model import Sketch, SketchFeature
from crossfall.report.figures import System, figure

INK = "#111111"
ROAD = "#9a9a9a"
JOB = "#0b4f8a"
WATER = "#7f9db4"
PAPER = "#ffffff"
FONT = "DejaVu Sans Mono"

SIGNS: dict[str, tuple[str, str]] = {
    "bridge": ("B", "bridge"),
    "rail_crossing": ("X", "rail"),
    "culvert": ("C", "culvert"),
    "gate": ("G", "gate"),
    "cattle_guard": ("K", "cattle guard"),
    "ford": ("F", "ford"),
    "driveway": ("D", "driveway"),
    "pipeline": ("P", "pipeline"),
    "overhead_line": ("O", "overhead line"),
    "survey_monument": ("M", "monument"),
    "sign": ("S", "sign"),
    "well": ("W", "well"),
    "stream": ("~", "stream"),
    "wetland": ("L", "wetland"),
    "right_of_way": ("R", "narrow right of way"),
}
"""One letter for each kind of feature, and the word beside it in the key."""

_M_PER_DEG = 111_320.0
_SCALE_STEPS_M = (50, 100, 200, 250, 500, 1000, 2000, 5000)
_SCALE_STEPS_FT = (100, 200, 500, 1000, 2000, 5280, 10560)


@dataclass(frozen=True)
class _Frame:
    """From degrees to the drawing's own millimetres, north up, the job in the middle."""

    lon: float
    lat: float
    narrow: float
    mm_per_m: float
    width: float
    height: float

    def place(self, lon: float, lat: float) -> tuple[float, float]:
        east = (lon - self.lon) * _M_PER_DEG * self.narrow
        north = (lat - self.lat) * _M_PER_DEG
        return self.width / 2 + east * self.mm_per_m, self.height / 2 - north * self.mm_per_m


def sketch_svg(
    sketch: Sketch,
    *,
    width_mm: float = 78.0,
    height_mm: float = 62.0,
    units: System = "metric",
    from_m: float = 0.0,
    to_m: float | None = None,
) -> str:
    """Draw a sketch. Features get a letter; :func:`key_of` tells what the letters mean.

    Parameters
    ----------
    width_mm, height_mm : float
        Size on paper. [mm]
    units : {'metric', 'us'}
        For the scale bar and the chainages at both ends.
    from_m, to_m : float
        Chainage at both ends of the line. [m]
    """
    frame = _fit(sketch, width_mm, height_mm)
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width_mm}mm" height="{height_mm}mm"'
        f' viewBox="0 0 {width_mm} {height_mm}" font-family="{FONT}">',
        f'<rect width="{width_mm}" height="{height_mm}" fill="{PAPER}"/>',
        f'<clipPath id="f"><rect width="{width_mm}" height="{height_mm}"/></clipPath>',
        '<g clip-path="url(#f)" fill="none" stroke-linejoin="round" stroke-linecap="round">',
    ]
    parts.extend(
        f'<path d="{_path(frame, line)}" stroke="{WATER}" stroke-width="1.1"/>'
        for line in sketch.water
    )
    parts.extend(
        f'<path d="{_path(frame, line)}" stroke="{INK}" stroke-width="0.3"/>'
        f'<path d="{_path(frame, line)}" stroke="{INK}" stroke-width="1.5"'
        ' stroke-dasharray="0.3 2.2" stroke-linecap="butt"/>'
        for line in sketch.rail
    )
    parts.extend(
        f'<path d="{_path(frame, line)}" stroke="{ROAD}" stroke-width="0.7"/>'
        for line in sketch.nearby
    )
    job = _path(frame, sketch.line)
    parts.append(f'<path d="{job}" stroke="{PAPER}" stroke-width="3.6"/>')
    parts.append(f'<path d="{job}" stroke="{JOB}" stroke-width="1.9"/>')
    parts.append(_arrows(frame, sketch.line))
    parts.append("</g>")
    taken: list[tuple[float, float, float, float]] = [
        (width_mm - 9, 0, width_mm, 13),
        (0, height_mm - 8, 30, height_mm),
    ]
    parts.append(_features(frame, sketch.features, taken))
    parts.append(_ends(frame, sketch, units, from_m, to_m, taken))
    parts.append(_names(frame, sketch.features, taken))
    parts.append(_north(width_mm))
    parts.append(_scale_bar(frame, height_mm, units))
    parts.append(
        f'<rect x="0.2" y="0.2" width="{width_mm - 0.4}" height="{height_mm - 0.4}" fill="none"'
        f' stroke="{INK}" stroke-width="0.4"/></svg>'
    )
    return "".join(parts)


def map_height(sketch: Sketch, width_mm: float) -> float:
    """A height that suits the job's shape: flat for a road across, tall for one up the page."""
    lon = [x for x, _ in sketch.line]
    lat = [y for _, y in sketch.line]
    across = max((max(lon) - min(lon)) * math.cos(math.radians(lat[0])), 1e-6)
    wanted = (width_mm - 20) * (max(lat) - min(lat)) / across + 22
    return min(max(wanted, 0.48 * width_mm), 0.8 * width_mm)


def key_of(sketch: Sketch) -> str:
    """What the letters and the lines on a sketch mean, only those that are there.

    Examples
    --------
    >>> features = (SketchFeature("bridge", 0.0, 0.0), SketchFeature("start", 0.0, 0.0))
    >>> key_of(Sketch(((0.0, 0.0), (1.0, 0.0)), (), features, rail=(((0.0, 1.0), (1.0, 1.0)),)))
    'B bridge  ╫ railway'
    """
    kinds = {feature.kind for feature in sketch.features}
    words = [f"{sign} {word}" for kind, (sign, word) in SIGNS.items() if kind in kinds]
    if sketch.water:
        words.append("≈ water")
    if sketch.rail:
        words.append("╫ railway")
    return "  ".join(words)


def _fit(sketch: Sketch, width: float, height: float) -> _Frame:
    lon = [x for x, _ in sketch.line]
    lat = [y for _, y in sketch.line]
    middle = (min(lon) + max(lon)) / 2, (min(lat) + max(lat)) / 2
    narrow = math.cos(math.radians(middle[1]))
    across = max((max(lon) - min(lon)) * _M_PER_DEG * narrow, 1.0)
    up = max((max(lat) - min(lat)) * _M_PER_DEG, 1.0)
    room = min((width - 20) / across, (height - 22) / up, 0.4)
    return _Frame(*middle, narrow, room, width, height)


def _path(frame: _Frame, line: Sequence[tuple[float, float]]) -> str:
    points = [frame.place(lon, lat) for lon, lat in line]
    return "M" + "L".join(f"{x:.2f} {y:.2f}" for x, y in points)


def _arrows(frame: _Frame, line: Sequence[tuple[float, float]]) -> str:
    """Two chevrons along the job, pointing the way the chainage grows."""
    points = [frame.place(lon, lat) for lon, lat in line]
    lengths = [math.dist(a, b) for a, b in pairwise(points)]
    total = sum(lengths)
    if total < 12:
        return ""
    drawn = []
    for share in (0.3, 0.7):
        rest = share * total
        for ((x0, y0), (x1, y1)), length in zip(pairwise(points), lengths, strict=True):
            if rest <= length and length > 0:
                t = rest / length
                angle = math.degrees(math.atan2(y1 - y0, x1 - x0))
                x, y = x0 + t * (x1 - x0), y0 + t * (y1 - y0)
                drawn.append(
                    f'<path transform="translate({x:.2f} {y:.2f}) rotate({angle:.1f})"'
                    f' d="M-0.7 -0.75L0.7 0L-0.7 0.75" stroke="{PAPER}" stroke-width="0.5"/>'
                )
                break
            rest -= length
    return "".join(drawn)


def _features(
    frame: _Frame,
    features: Sequence[SketchFeature],
    taken: list[tuple[float, float, float, float]],
) -> str:
    drawn = []
    for feature in features:
        if feature.kind not in SIGNS:
            continue
        x, y = frame.place(feature.lon, feature.lat)
        for dx, dy in ((0.0, -3.4), (0.0, 3.4), (3.6, 0.0), (-3.6, 0.0), (3.4, -3.4), (-3.4, 3.4)):
            box = (x + dx - 1.7, y + dy - 1.7, x + dx + 1.7, y + dy + 1.7)
            if _is_free(box, taken) and _is_inside(box, frame):
                break
        else:
            continue
        taken.append(box)
        sign = escape(SIGNS[feature.kind][0])
        drawn.append(
            f'<circle cx="{x:.2f}" cy="{y:.2f}" r="0.55" fill="{PAPER}" stroke="{INK}"'
            f' stroke-width="0.3"/>'
            f'<circle cx="{x + dx:.2f}" cy="{y + dy:.2f}" r="1.6" fill="{PAPER}" stroke="{INK}"'
            f' stroke-width="0.3"/><text x="{x + dx:.2f}" y="{y + dy + 0.85:.2f}"'
            f' font-size="2.4" font-weight="bold" text-anchor="middle" fill="{INK}">{sign}</text>'
        )
    return "".join(drawn)


def _ends(
    frame: _Frame,
    sketch: Sketch,
    units: System,
    from_m: float,
    to_m: float | None,
    taken: list[tuple[float, float, float, float]],
) -> str:
    drawn = []
    (x0, y0), (x1, y1) = (frame.place(*sketch.line[at]) for at in (0, -1))
    is_upright = abs(y1 - y0) > abs(x1 - x0)
    for (lon, lat), at_m in ((sketch.line[0], from_m), (sketch.line[-1], to_m)):
        x, y = frame.place(lon, lat)
        drawn.append(
            f'<circle cx="{x:.2f}" cy="{y:.2f}" r="1.5" fill="{INK}" stroke="{PAPER}"'
            ' stroke-width="0.4"/>'
        )
        if at_m is None:
            continue
        text = " ".join(figure(at_m, "m", units))
        drawn.append(_label(frame, x, y, text, 2.7, taken, is_bold=True, is_beside=is_upright))
    return "".join(drawn)


def _names(
    frame: _Frame,
    features: Sequence[SketchFeature],
    taken: list[tuple[float, float, float, float]],
) -> str:
    return "".join(
        _label(frame, *frame.place(each.lon, each.lat), each.label, 2.4, taken, is_bold=False)
        for each in features
        if each.kind == "road" and each.label
    )


def _label(
    frame: _Frame,
    x: float,
    y: float,
    text: str,
    size: float,
    taken: list[tuple[float, float, float, float]],
    *,
    is_bold: bool,
    is_beside: bool = False,
) -> str:
    """A label beside a place, where nothing else stands; none when there is no room."""
    half = len(text) * size * 0.305 + 0.6
    beside = ((half + 2.2, 0.8), (-half - 2.2, 0.8), (half + 1.5, -3.2), (-half - 1.5, 4.6))
    above = ((0.0, -3.2), (0.0, 4.6), (0.0, -6.4), (0.0, 8.0))
    for dx, dy in (*beside, *above) if is_beside else (*above[:2], *beside, *above[2:]):
        box = (x + dx - half, y + dy - size * 0.9, x + dx + half, y + dy + size * 0.3)
        if _is_free(box, taken) and _is_inside(box, frame):
            taken.append(box)
            weight = ' font-weight="bold"' if is_bold else ""
            place = f'x="{x + dx:.2f}" y="{y + dy:.2f}" font-size="{size}" text-anchor="middle"'
            words = escape(text)
            return (
                f'<text {place}{weight} fill="none" stroke="{PAPER}" stroke-width="0.9"'
                f' stroke-linejoin="round">{words}</text>'
                f'<text {place}{weight} fill="{INK}">{words}</text>'
            )
    return ""


def _north(width: float) -> str:
    x = width - 5.0
    return (
        f'<path d="M{x} 2.2L{x + 2} 8L{x} 6.8L{x - 2} 8Z" fill="{INK}"/>'
        f'<text x="{x}" y="11.4" font-size="3" font-weight="bold" text-anchor="middle"'
        f' fill="{INK}">N</text>'
    )


def _scale_bar(frame: _Frame, height: float, units: System) -> str:
    if units == "us":
        steps = [(each * 0.3048, _feet(each)) for each in _SCALE_STEPS_FT]
    else:
        steps = [(float(m), f"{m} m" if m < 1000 else f"{m // 1000} km") for m in _SCALE_STEPS_M]
    fitting = [step for step in steps if step[0] * frame.mm_per_m <= 26] or steps[:1]
    metres, words = fitting[-1]
    length, y = metres * frame.mm_per_m, height - 2.6
    return (
        f'<rect x="1" y="{height - 7.2:.2f}" width="{max(length, len(words) * 1.6) + 4:.2f}"'
        f' height="6.4" fill="{PAPER}" fill-opacity="0.85"/>'
        f'<path d="M3 {y - 1.2:.2f}V{y:.2f}H{3 + length:.2f}V{y - 1.2:.2f}" fill="none"'
        f' stroke="{INK}" stroke-width="0.5"/>'
        f'<text x="3" y="{y - 1.8:.2f}" font-size="2.4" fill="{INK}">{words}</text>'
    )


def _feet(feet: int) -> str:
    return f"{feet // 5280} mi" if feet % 5280 == 0 else f"{feet:,} ft"


def _is_free(
    box: tuple[float, float, float, float], taken: list[tuple[float, float, float, float]]
) -> bool:
    return all(
        box[2] < other[0] or box[0] > other[2] or box[3] < other[1] or box[1] > other[3]
        for other in taken
    )


def _is_inside(box: tuple[float, float, float, float], frame: _Frame) -> bool:
    return (
        box[0] > 0.5
        and box[1] > 0.5
        and box[2] < frame.width - 0.5 < frame.width + 1
        and (box[3] < frame.height - 0.5)
    )
