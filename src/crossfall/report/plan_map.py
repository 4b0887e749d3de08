"""The network with the week's work on it, north up, to a scale."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from html import escape

from crossfall.model import Fleet, Job, Network, Plan, Treatment
from crossfall.report.colours import FONT, INK, PAPER, QUIET, fill, word
from crossfall.report.figures import check_system

_M_PER_DEG = 111_320.0
_BEHIND = {
    "stream": 'stroke="#a9bfcf" stroke-width="2"',
    "water": 'stroke="#a9bfcf" stroke-width="3.4"',
    "rail": 'stroke="#8b8b86" stroke-width="1" stroke-dasharray="7 3"',
}
_KM = (1, 2, 5, 10, 20, 50)


def plan_map(
    network: Network,
    plan: Plan,
    jobs: Sequence[Job],
    fleet: Fleet,
    *,
    width: float = 900.0,
    units: str = "metric",
    is_invented: bool = False,
    title: str = "Where the work is",
) -> str:
    """Draw the network as SVG; roads worked this plan are thick and coloured by treatment.

    Roads with a job that was left out are dashed. Paved and others' roads are pale.

    Raises
    ------
    InputError
        If ``units`` is unknown.
    """
    system = check_system(units)
    west, south, east, north = _bounds(network)
    narrow = math.cos(math.radians((south + north) / 2))
    per_degree = (width - 40) / ((east - west) * narrow)
    height = (north - south) * per_degree + 40 + 96

    def place(lon: float, lat: float) -> str:
        x, y = 20 + (lon - west) * narrow * per_degree, 82 + (north - lat) * per_degree
        return f"{x:.1f} {y:.1f}"

    worked = _worked(plan, jobs)
    left_out = {each.segment_id for each in plan.unserved} - set(worked)
    quiet, dashed, bold = [], [], []
    for segment in network.segments:
        path = "M" + "L".join(place(*point) for point in segment.line)
        if segment.id in worked:
            bold.append((worked[segment.id], path))
        elif segment.id in left_out:
            dashed.append(path)
        elif segment.is_maintained:
            quiet.append(f'<path d="{path}" stroke="{QUIET}" stroke-width="1.6"/>')
        else:
            quiet.append(f'<path d="{path}" stroke="#e5e1d6" stroke-width="3.4"/>')
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:.0f} {height:.0f}"'
        f' width="{width:.0f}" height="{height:.0f}" font-family="{FONT}" role="img"'
        f' aria-label="{escape(title)}">',
        f'<rect width="100%" height="100%" fill="{PAPER}"/>',
        f'<path d="M20 13L70 8L120 13V16L70 11L20 16Z" fill="{INK}"/>',
        f'<text x="20" y="38" font-size="19" font-weight="bold" fill="{INK}">'
        f"{escape(title)}</text>",
        _key(set(worked.values()), has_left_out=bool(left_out)),
        f'<clipPath id="land"><rect x="0" y="72" width="{width:.0f}"'
        f' height="{height - 72 - 76:.0f}"/></clipPath>',
        '<g fill="none" stroke-linejoin="round" clip-path="url(#land)">',
        *(
            f'<path d="{"M" + "L".join(place(*point) for point in each.line)}"'
            f" {_BEHIND[each.kind]}/>"
            for each in network.backdrop
        ),
        "</g>",
        '<g fill="none" stroke-linecap="round" stroke-linejoin="round">',
        *quiet,
        *(
            f'<path d="{path}" stroke="{INK}" stroke-width="1.8" stroke-dasharray="3 4"/>'
            for path in dashed
        ),
        *(f'<path d="{path}" stroke="{INK}" stroke-width="6.4"/>' for _, path in bold),
        *(
            f'<path d="{path}" stroke="{fill(treatment)}" stroke-width="4.4"/>'
            for treatment, path in bold
        ),
        "</g>",
        _places(fleet, place),
        _scale(per_degree / _M_PER_DEG, width, height, is_us=system == "us"),
        f'<text x="{width - 20}" y="24" font-size="13" font-weight="bold" text-anchor="end"'
        f' fill="{INK}">INVENTED DATA</text>'
        if is_invented
        else "",
        "</svg>",
    ]
    return "".join(parts)


def _worked(plan: Plan, jobs: Sequence[Job]) -> dict[str, Treatment]:
    """Segments worked in the plan, each with the treatment that takes most of its time."""
    stages = {stage.id: stage for job in jobs for stage in job.stages}
    minutes: dict[str, dict[Treatment, float]] = {}
    for itinerary in plan.itineraries:
        for stage_id in itinerary.stage_ids:
            stage = stages.get(stage_id)
            if stage is not None:
                row = minutes.setdefault(stage.segment_id, {})
                row[stage.treatment] = row.get(stage.treatment, 0.0) + stage.work_min
    return {segment_id: max(row, key=lambda t: row[t]) for segment_id, row in minutes.items()}


def _bounds(network: Network) -> tuple[float, float, float, float]:
    lon = [x for segment in network.segments for x, _ in segment.line]
    lat = [y for segment in network.segments for _, y in segment.line]
    return min(lon), min(lat), max(max(lon), min(lon) + 1e-3), max(max(lat), min(lat) + 1e-3)


def _key(treatments: set[Treatment], *, has_left_out: bool) -> str:
    x, drawn = 20.0, []
    for treatment in sorted(treatments, key=list(Treatment).index):
        drawn.append(
            f'<path d="M{x} 58h22" stroke="{INK}" stroke-width="6.4" stroke-linecap="round"/>'
            f'<path d="M{x} 58h22" stroke="{fill(treatment)}" stroke-width="4.4"'
            f' stroke-linecap="round"/>'
            f'<text x="{x + 30}" y="62" font-size="12" fill="{INK}">{word(treatment)}</text>'
        )
        x += 46 + 7.4 * len(word(treatment))
    if has_left_out:
        drawn.append(
            f'<path d="M{x} 58h24" stroke="{INK}" stroke-width="1.8" stroke-dasharray="3 4"/>'
            f'<text x="{x + 30}" y="62" font-size="12" fill="{INK}">left out, with a reason</text>'
        )
    return "".join(drawn)


def _places(fleet: Fleet, place: Callable[[float, float], str]) -> str:
    drawn = []
    for each in fleet.places:
        if each.kind not in {"yard", "pit"}:
            continue
        x, y = (float(value) for value in place(each.lon, each.lat).split())
        shape = (
            f'<rect x="{x - 5}" y="{y - 5}" width="10" height="10"'
            if each.kind == "yard"
            else f'<path d="M{x - 6} {y + 5}L{x} {y - 6}L{x + 6} {y + 5}Z"'
        )
        drawn.append(
            f'{shape} fill="{INK}" stroke="{PAPER}" stroke-width="1.4"/>'
            f'<text x="{x + 9}" y="{y + 4}" font-size="11" fill="none" stroke="{PAPER}"'
            f' stroke-width="3">{escape(each.name)}</text>'
            f'<text x="{x + 9}" y="{y + 4}" font-size="11" fill="{INK}">{escape(each.name)}</text>'
        )
    return "".join(drawn)


def _scale(px_per_m: float, width: float, height: float, *, is_us: bool) -> str:
    unit_m, sign = (1609.344, "mi") if is_us else (1000.0, "km")
    fitting = [n for n in _KM if n * unit_m * px_per_m <= width / 4] or [_KM[0]]
    long = fitting[-1] * unit_m * px_per_m
    y = height - 14
    x = width - 24
    return (
        f'<path d="M20 {y - 6:.0f}V{y:.0f}H{20 + long:.1f}V{y - 6:.0f}" fill="none"'
        f' stroke="{INK}" stroke-width="1.6"/>'
        f'<text x="24" y="{y - 4:.0f}" font-size="12" fill="{INK}">{fitting[-1]} {sign}</text>'
        f'<path d="M{x} {height - 44:.0f}l6 18l-6 -4l-6 4Z" fill="{INK}"/>'
        f'<text x="{x}" y="{height - 12:.0f}" font-size="13" font-weight="bold"'
        f' text-anchor="middle" fill="{INK}">N</text>'
    )
