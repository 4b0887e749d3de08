"""Events and features when a road is drawn anew: they stay where they lie, not at their metre.

A line that is digitised better is longer or shorter than before. What stood at 420 m by a farm
stands by that farm still, perhaps at 433 m. Everything is carried over by its place on the old
line to the nearest place on the new one.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from crossfall.model import PointFeature
from crossfall.network.linear import LinearReference, LineEvent, Position


@dataclass(frozen=True, slots=True)
class Resnapped:
    """What was carried over, and what found no road near its place."""

    events: tuple[LineEvent, ...]
    features: tuple[PointFeature, ...]
    lost_events: tuple[LineEvent, ...]
    lost_features: tuple[PointFeature, ...]
    furthest_m: float
    """How far the place that moved most lies from its new road [m]."""


def resnap(
    events: Iterable[LineEvent],
    features: Iterable[PointFeature],
    old: LinearReference,
    new: LinearReference,
    *,
    within_m: float,
) -> Resnapped:
    """Carry events and features from one drawing of the roads to another.

    Parameters
    ----------
    events, features
        On the segments of ``old``.
    old, new : LinearReference
        The two networks, each with its calibrations.
    within_m : float
        The new road must be this close to the old place. [m]

    Returns
    -------
    Resnapped
        An event that ends up on another segment, or of which one end is lost, is in
        ``lost_events``: somebody has to look at it.
    """
    kept: list[LineEvent] = []
    lost: list[LineEvent] = []
    furthest = 0.0
    for event in events:
        start = _carried(event.segment_id, event.from_m, old, new, within_m)
        end = _carried(event.segment_id, event.to_m, old, new, within_m)
        if start is None or end is None or start.segment_id != end.segment_id:
            lost.append(event)
            continue
        furthest = max(furthest, start.offset_m, end.offset_m)
        from_m, to_m = sorted((start.at_m, end.at_m))
        if to_m <= from_m:
            lost.append(event)
            continue
        is_turned = start.at_m > end.at_m
        side = event.side
        if is_turned and side != "both":
            side = "left" if side == "right" else "right"
        kept.append(
            replace(event, segment_id=start.segment_id, from_m=from_m, to_m=to_m, side=side)
        )
    moved, stray = [], []
    for feature in features:
        if feature.segment_id is None:
            moved.append(feature)
            continue
        # A feature has a place of its own, which counts before the metre it was given
        position = _nearest(feature.segment_id, feature.lon, feature.lat, new, within_m)
        if position is None:
            stray.append(replace(feature, segment_id=None, at_m=None))
            continue
        furthest = max(furthest, position.offset_m if feature.side == "both" else 0.0)
        moved.append(replace(feature, segment_id=position.segment_id, at_m=position.at_m))
    return Resnapped(tuple(kept), tuple(moved), tuple(lost), tuple(stray), furthest)


def _carried(
    segment_id: str, at_m: float, old: LinearReference, new: LinearReference, within_m: float
) -> Position | None:
    length_m = old.network.segment_by_id[segment_id].length_m
    lon, lat = old.place(segment_id, min(at_m, length_m))
    return _nearest(segment_id, lon, lat, new, within_m)


def _nearest(
    segment_id: str, lon: float, lat: float, new: LinearReference, within_m: float
) -> Position | None:
    """On the segment of the same id where it is close enough, else on the nearest one."""
    if segment_id in new.network.segment_by_id:
        position = new.project(segment_id, lon, lat)
        if position.offset_m <= within_m:
            return position
    return new.snap(lon, lat, within_m=within_m)
