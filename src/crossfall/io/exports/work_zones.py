"""Planned and active work as a WZDx 4.2 WorkZoneFeed, for those who tell the travelling public.

Each card gives one road event in each direction of travel. A grader's work is planned as an area
in which it will move and is moving while its time runs; hauling and hand work stand still. How far
a work closes the road and which kind of work it is are our reading of the specification's words:
its ``maintenance`` means work without any effect on the road, which blading is not. Nothing here
is verified on site, and the feed says so.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import UTC, datetime
from typing import Any
from uuid import NAMESPACE_URL, uuid5

from crossfall.errors import InputError
from crossfall.io.exports.crew_work import CrewWork
from crossfall.model import Network, Segment, Treatment
from crossfall.network.linear import LinearReference

_LICENCE = "https://creativecommons.org/publicdomain/zero/1.0/"
_STATUS = {
    "planned": "planned",
    "ordered": "pending",
    "active": "active",
    "done": "completed",
    "cancelled": "cancelled",
}
_WORK = {
    Treatment.BLADING: "minor-road-defect-repair",
    Treatment.SPOT_GRAVEL: "minor-road-defect-repair",
    Treatment.WINDROW_PICKUP: "minor-road-defect-repair",
    Treatment.DUST_CONTROL: "surface-work",
    Treatment.RESHAPING: "surface-work",
    Treatment.SCARIFY_REMIX: "surface-work",
    Treatment.REGRAVELLING: "surface-work",
    Treatment.SHOULDER_PULLING: "roadside-work",
    Treatment.SECONDARY_DITCH_REMOVAL: "roadside-work",
    Treatment.DITCH_CLEANING: "roadside-work",
    Treatment.CULVERT_CLEARING: "below-road-work",
}
_IMPACT = {
    "light_blading": "some-lanes-closed",
    "cutting": "alternating-one-way",
    "hauling": "alternating-one-way",
    "hand_work": "some-lanes-closed",
    "emergency": "unknown",
}
_STANDS_STILL = {"hauling", "hand_work"}
_BEARINGS = ("northbound", "eastbound", "southbound", "westbound")


def work_zone_feed(
    works: Sequence[CrewWork],
    network: Network,
    *,
    publisher: str,
    source_id: str,
    made_at: datetime,
    update_s: int = 300,
) -> dict[str, Any]:
    """The feed as plain data, ready for JSON.

    Parameters
    ----------
    works : sequence of CrewWork
        Planned, ordered, active, done and cancelled work.
    network : Network
        For the lines and the names of roads; work on a segment that is gone is left out.
    publisher : str
        The agency's name.
    source_id : str
        Something that belongs to the workspace alone and never changes; part of every id.
    made_at : datetime
        When the feed was made, with its zone.
    update_s : int
        How often it is made anew. [s]

    Raises
    ------
    InputError
        If ``made_at`` has no zone, or the publisher or source is empty.
    """
    if made_at.tzinfo is None:
        raise InputError(f"made_at is {made_at}, a time without a zone; say which zone")
    for name, value in (("publisher", publisher), ("source_id", source_id)):
        if not value.strip():
            raise InputError(f"{name} is empty; a feed says whose it is")
    linear = LinearReference(network)
    features = []
    for work in works:
        segment = network.segment_by_id.get(work.card.segment_id)
        if segment is None:
            continue
        line = _stretch(linear, segment, work)
        ways = [line] if segment.is_oneway else [line, line[::-1]]
        ids = [_id(source_id, work, n) for n in range(len(ways))]
        for n, way in enumerate(ways):
            features.append(_event(work, segment, way, n, ids, source_id, made_at))
    return {
        "feed_info": {
            "publisher": publisher,
            "version": "4.2",
            "license": _LICENCE,
            "update_date": _utc(made_at),
            "update_frequency": update_s,
            "data_sources": [{"data_source_id": source_id, "organization_name": publisher}],
        },
        "type": "FeatureCollection",
        "features": features,
    }


def _event(
    work: CrewWork,
    segment: Segment,
    line: Sequence[tuple[float, float]],
    number: int,
    ids: list[str],
    source_id: str,
    made_at: datetime,
) -> dict[str, Any]:
    stands_still = work.stage.task in _STANDS_STILL
    moves = "moving" if work.status == "active" else "planned-moving-area"
    core: dict[str, Any] = {
        "event_type": "work-zone",
        "data_source_id": source_id,
        "road_names": [segment.route],
        "direction": _direction(line),
        "name": f"card {work.card.number}",
        "description": f"{work.card.title}, {work.card.where}",
        "creation_date": _utc(work.card.made_at),
        "update_date": _utc(max(work.card.made_at, work.card.approved_at or work.card.made_at)),
    }
    others = [each for k, each in enumerate(ids) if k != number]
    if others:
        core["related_road_events"] = [{"type": "related-work-zone", "id": each} for each in others]
    told: dict[str, Any] = {
        "core_details": core,
        "start_date": _utc(work.start),
        "end_date": _utc(work.end),
        "is_start_date_verified": False,
        "is_end_date_verified": False,
        "is_start_position_verified": False,
        "is_end_position_verified": False,
        "event_status": _STATUS[work.status],
        "work_zone_type": "static" if stands_still else moves,
        "vehicle_impact": _IMPACT.get(work.stage.task, "unknown"),
        "location_method": "other",
    }
    kind = _WORK.get(work.stage.treatment)
    if kind is not None:
        is_change = work.stage.treatment is Treatment.REGRAVELLING
        told["types_of_work"] = [{"type_name": kind, "is_architectural_change": is_change}]
    return {
        "id": ids[number],
        "type": "Feature",
        "properties": told,
        "geometry": {"type": "LineString", "coordinates": [list(place) for place in line]},
    }


def _stretch(
    linear: LinearReference, segment: Segment, work: CrewWork
) -> tuple[tuple[float, float], ...]:
    """The worked part of the segment; the whole of it where the stage is not on it any more."""
    from_m = min(max(work.stage.from_m, 0.0), segment.length_m)
    to_m = min(max(work.stage.to_m, 0.0), segment.length_m)
    if to_m - from_m < 1.0:
        return segment.line
    return linear.stretch(segment.id, from_m, to_m)


def _id(source_id: str, work: CrewWork, number: int) -> str:
    """The same card has the same ids in every feed."""
    return str(uuid5(NAMESPACE_URL, f"crossfall:{source_id}:card:{work.card.number}:{number}"))


def _direction(line: Sequence[tuple[float, float]]) -> str:
    """The nearest of four directions from the first place to the last.

    Examples
    --------
    >>> _direction([(8.0, 47.0), (8.1, 47.01)])
    'eastbound'
    """
    (lon0, lat0), (lon1, lat1) = line[0], line[-1]
    east = (lon1 - lon0) * math.cos(math.radians(lat0))
    north = lat1 - lat0
    if math.hypot(east, north) < 1e-9:
        return "undefined"
    quarter = round(math.degrees(math.atan2(east, north)) / 90) % 4
    return _BEARINGS[quarter]


def _utc(when: datetime) -> str:
    return f"{when.astimezone(UTC):%Y-%m-%dT%H:%M:%SZ}"
