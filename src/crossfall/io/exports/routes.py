"""A machine's day as GPX: the way in order, where work begins, and a waypoint for each stake."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime, time, timedelta, tzinfo
from xml.sax.saxutils import escape, quoteattr

from crossfall.errors import InputError
from crossfall.model import Itinerary, Job, Leg, Network, Stage
from crossfall.network.linear import LinearReference

_LEAST_M = 0.5


def day_gpx(
    itineraries: Sequence[Itinerary],
    jobs: Iterable[Job],
    network: Network,
    *,
    zone: tzinfo,
    name: str,
    with_stakes: bool = True,
) -> str:
    """The text of a ``.gpx`` file (GPX 1.1).

    Parameters
    ----------
    itineraries : sequence of Itinerary
        One or more days; each becomes a track of its own.
    jobs : iterable of Job
        For the names of the work and for its stakes.
    network : Network
        The roads that are driven on.
    zone : tzinfo
        The agency's; legs tell minutes after midnight.
    name : str
        What the file is called inside.
    with_stakes : bool
        A waypoint for each stake, where the load for it is tipped.

    Raises
    ------
    InputError
        If there is no itinerary, or one drives on a segment that is not on the map.
    """
    if not itineraries:
        raise InputError("there is no day to write; plan a week first")
    linear = LinearReference(network)
    stages = {stage.id: stage for job in jobs for stage in job.stages}
    worked = [stages[s] for i in itineraries for s in i.stage_ids if s in stages]
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        '<gpx version="1.1" creator="crossfall" xmlns="http://www.topografix.com/GPX/1/1">',
        f"<metadata><name>{_text(name)}</name></metadata>",
    ]
    for stage in dict.fromkeys(worked):
        lines += _waypoints(stage, linear, network, with_stakes=with_stakes)
    for itinerary in itineraries:
        lines += _track(itinerary, stages, linear, network, zone)
    lines.append("</gpx>")
    return "\n".join(lines) + "\n"


def _waypoints(
    stage: Stage, linear: LinearReference, network: Network, *, with_stakes: bool
) -> list[str]:
    segment = network.segment_by_id.get(stage.segment_id)
    if segment is None:
        raise InputError(f"segment {stage.segment_id!r} is not on the map; plan again")
    start = min(max(stage.from_m, 0.0), segment.length_m)
    lon, lat = linear.place(segment.id, start)
    lines = [_waypoint(lon, lat, f"{segment.route}: {stage.name}", "start of work")]
    for stake in stage.stakes if with_stakes else ():
        at_m = min(stage.from_m + stake.at_m, segment.length_m)
        lon, lat = linear.place(segment.id, at_m)
        lines.append(_waypoint(lon, lat, f"stake {stake.number}", stake.load))
    return lines


def _waypoint(lon: float, lat: float, name: str, told: str) -> str:
    return (
        f"<wpt lat={quoteattr(f'{lat:.7f}')} lon={quoteattr(f'{lon:.7f}')}>"
        f"<name>{_text(name)}</name><desc>{_text(told)}</desc></wpt>"
    )


def _track(
    itinerary: Itinerary,
    stages: dict[str, Stage],
    linear: LinearReference,
    network: Network,
    zone: tzinfo,
) -> list[str]:
    midnight = datetime.combine(itinerary.day, time(), zone)
    lines = [
        f"<trk><name>{_text(f'{itinerary.machine_id} {itinerary.day}')}</name>"
        f"<type>plan</type><trkseg>"
    ]
    for leg in itinerary.legs:
        places = _places(leg, linear, network)
        n = max(len(places) - 1, 1)
        for k, (lon, lat) in enumerate(places):
            # The schema puts time before name
            minutes = leg.start_min + (leg.end_min - leg.start_min) * k / n
            when = midnight + timedelta(minutes=minutes)
            stage = stages.get(leg.stage_id or "")
            named = ""
            if k == 0 and leg.kind == "work" and stage is not None:
                side = "along" if leg.is_forward else "against"
                named = f"<name>{_text(f'{stage.name}, pass {leg.pass_number}, {side}')}</name>"
            lines.append(
                f'<trkpt lat="{lat:.7f}" lon="{lon:.7f}">'
                f"<time>{when.isoformat(timespec='seconds')}</time>{named}</trkpt>"
            )
    lines.append("</trkseg></trk>")
    return lines


def _places(leg: Leg, linear: LinearReference, network: Network) -> tuple[tuple[float, float], ...]:
    """Where a leg runs; nothing for breaks and turns."""
    if leg.segment_id is None or leg.kind not in ("travel", "work"):
        return ()
    segment = network.segment_by_id.get(leg.segment_id)
    if segment is None:
        raise InputError(f"segment {leg.segment_id!r} is not on the map; plan again")
    ends = (0.0, segment.length_m) if leg.is_forward else (segment.length_m, 0.0)
    first = ends[0] if leg.from_m is None else min(leg.from_m, segment.length_m)
    last = ends[1] if leg.to_m is None else min(leg.to_m, segment.length_m)
    if abs(last - first) < _LEAST_M:
        return ()
    line = linear.stretch(segment.id, min(first, last), max(first, last))
    return line if last > first else line[::-1]


def _text(value: str) -> str:
    return escape("".join(c for c in value if c in "\t\n" or ord(c) >= 32))
