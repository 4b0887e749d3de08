"""A day as its operator follows it: steps with clock, road, direction and pass; and a track."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, time, timedelta
from xml.sax.saxutils import escape

from crossfall.model import Itinerary, Leg, Network, Segment
from crossfall.model.plan import LegKind

_COMPASS = (
    "north",
    "north-east",
    "east",
    "south-east",
    "south",
    "south-west",
    "west",
    "north-west",
)
_MINUTES_A_DAY = 24 * 60


@dataclass(frozen=True, slots=True)
class Step:
    """One line of the itinerary table."""

    clock: str
    kind: LegKind
    text: str
    minutes: float
    segment_id: str | None = None
    stage_id: str | None = None
    pass_number: int | None = None
    n_passes: int | None = None


def steps_of(itinerary: Itinerary, network: Network) -> tuple[Step, ...]:
    """The day in words; drives along one road in one direction are taken together.

    Examples
    --------
    >>> clock_of(451.4)
    '07:31'
    """
    n_passes: dict[str, int] = {}
    for leg in itinerary.legs:
        if leg.kind == "work" and leg.stage_id is not None:
            n_passes[leg.stage_id] = max(n_passes.get(leg.stage_id, 0), leg.pass_number or 0)
    return tuple(
        Step(
            clock_of(legs[0].start_min),
            legs[0].kind,
            _words(legs, network, n_passes),
            legs[-1].end_min - legs[0].start_min,
            legs[0].segment_id,
            legs[0].stage_id,
            legs[0].pass_number,
            n_passes.get(legs[0].stage_id or "") if legs[0].pass_number else None,
        )
        for legs in _together(itinerary.legs, network)
    )


def gpx_of(itinerary: Itinerary, network: Network) -> str:
    """The day's path as a GPX 1.1 track with times (local clock, no zone), one point a vertex."""
    name = f"{itinerary.machine_id} {itinerary.day}"
    points = "\n".join(
        f'      <trkpt lat="{lat:.6f}" lon="{lon:.6f}"><time>{at.isoformat()}</time></trkpt>'
        for lon, lat, at in _track(itinerary, network)
    )
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        '<gpx version="1.1" creator="crossfall" xmlns="http://www.topografix.com/GPX/1/1">\n'
        f"  <trk>\n    <name>{escape(name)}</name>\n    <trkseg>\n{points}\n"
        "    </trkseg>\n  </trk>\n</gpx>\n"
    )


def clock_of(minutes: float) -> str:
    """Minutes after midnight as a clock shows them."""
    whole = int(minutes) % _MINUTES_A_DAY
    return f"{whole // 60:02d}:{whole % 60:02d}"


def heading(segment: Segment, is_forward: bool) -> str:
    """Compass word for the way along a segment."""
    (lon1, lat1), (lon2, lat2) = segment.line[0], segment.line[-1]
    east = (lon2 - lon1) * math.cos(math.radians((lat1 + lat2) / 2))
    north = lat2 - lat1
    if not is_forward:
        east, north = -east, -north
    eighth = round(math.degrees(math.atan2(east, north)) / 45) % 8
    return _COMPASS[eighth]


def _together(legs: tuple[Leg, ...], network: Network) -> Iterator[list[Leg]]:
    """Runs of drives on one road in one direction; everything else by itself."""
    run: list[Leg] = []
    for leg in legs:
        if run and _goes_on(run[-1], leg, network):
            run.append(leg)
            continue
        if run:
            yield run
        run = [leg]
    if run:
        yield run


def _goes_on(before: Leg, after: Leg, network: Network) -> bool:
    if before.kind != "travel" or after.kind != "travel":
        return False
    first = network.segment_by_id[str(before.segment_id)]
    second = network.segment_by_id[str(after.segment_id)]
    return first.route == second.route and (
        heading(first, before.is_forward) == heading(second, after.is_forward)
    )


def _corner(node: str, route: str, network: Network) -> str:
    """Where a node is, by the road that meets there: nobody has seen a node's id on a sign."""
    others = sorted(
        {
            each.route
            for each in network.segments
            if node in (each.from_node, each.to_node) and each.route not in ("", route)
        }
    )
    return f"at {' and '.join(others[:2])}" if others else "where the stretch ends"


def _words(legs: list[Leg], network: Network, n_passes: dict[str, int]) -> str:
    leg = legs[0]
    if leg.kind == "break":
        return "Meal break"
    if leg.segment_id is None:
        if leg.kind == "wait":
            return "Walk-round and grease"
        return f"Turn {_corner(leg.from_node, '', network)}"
    segment = network.segment_by_id[leg.segment_id]
    way = heading(segment, leg.is_forward)
    if leg.kind == "work":
        total = n_passes.get(str(leg.stage_id), 0)
        return (
            f"Blade down {way} on {segment.route}, pass {leg.pass_number} of {total},"
            f" {leg.length_m:.0f} m"
        )
    if leg.kind == "turn":
        return f"Turn round on {segment.route} {_corner(leg.from_node, segment.route, network)}"
    metres = sum(each.length_m for each in legs)
    return f"Drive {way} on {segment.route}, blade up, {metres / 1000:.1f} km"


def _track(itinerary: Itinerary, network: Network) -> Iterator[tuple[float, float, datetime]]:
    midnight = datetime.combine(itinerary.day, time())
    for leg in itinerary.legs:
        if leg.kind not in ("travel", "work") or leg.segment_id is None:
            continue
        segment = network.segment_by_id[leg.segment_id]
        begin, end = leg.from_m, leg.to_m
        if begin is None or end is None:
            begin, end = (0.0, segment.length_m) if leg.is_forward else (segment.length_m, 0.0)
        for lon, lat, share in _between(segment, begin, end):
            minutes = leg.start_min + share * (leg.end_min - leg.start_min)
            yield lon, lat, midnight + timedelta(minutes=minutes)


def _between(segment: Segment, begin: float, end: float) -> Iterator[tuple[float, float, float]]:
    """Vertices of the line from one metre to another, with the share of the way done."""
    lat0 = math.radians(segment.line[0][1])
    steps = [
        math.hypot((b[0] - a[0]) * math.cos(lat0), b[1] - a[1])
        for a, b in zip(segment.line, segment.line[1:], strict=False)
    ]
    whole = sum(steps) or 1.0
    at = [0.0]
    for step in steps:
        at.append(at[-1] + step / whole * segment.length_m)
    low, high = min(begin, end), max(begin, end)
    inner = [m for m in at if low < m < high]
    marks = [low, *inner, high]
    if end < begin:
        marks = marks[::-1]
    for mark in marks:
        i = min(max(1, next((k for k, m in enumerate(at) if m >= mark), len(at) - 1)), len(at) - 1)
        span = at[i] - at[i - 1]
        t = min(1.0, max(0.0, (mark - at[i - 1]) / span)) if span > 0 else 0.0
        (lon1, lat1), (lon2, lat2) = segment.line[i - 1], segment.line[i]
        share = abs(mark - begin) / (high - low) if high > low else 1.0
        yield lon1 + t * (lon2 - lon1), lat1 + t * (lat2 - lat1), share
