"""A machine's day in sums: passes by segment, hours and kilometres with the blade down and up."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, tzinfo

from crossfall.model import ClassTravel, Network
from crossfall.model.network import RoadClass
from crossfall.model.policy import TracksPolicy
from crossfall.model.track import BladeSource
from crossfall.network.legs import TrackLeg
from crossfall.network.passes import SegmentPasses, count_passes

_LEAST_TRAVEL_M = 200.0
"""A shorter travel leg is shunting and says nothing of travel speed."""


@dataclass(frozen=True, slots=True)
class WorkDay:
    """One local day of one machine."""

    day: date
    passes: tuple[SegmentPasses, ...]
    work_h: float
    """Blade down and moving [h]."""
    travel_h: float
    """Blade up and moving [h]."""
    standing_h: float
    """Between the first and the last fix, neither of them [h]."""
    work_km: float
    travel_km: float
    """Deadhead: driven with the blade up [km]."""
    travel: tuple[ClassTravel, ...]
    blade: BladeSource


def work_days(
    legs: Sequence[TrackLeg],
    spans_s: Sequence[tuple[float, float]],
    network: Network,
    zone: tzinfo,
    policy: TracksPolicy,
) -> tuple[WorkDay, ...]:
    """Sums of each local day, in order.

    Parameters
    ----------
    legs : sequence of TrackLeg
        Of one machine, in order of time.
    spans_s : sequence of (float, float)
        First and last second of each uninterrupted drive, for what was standing. [s]
    network : Network
        The one the legs were matched on.
    zone : tzinfo
        The agency's, which says where a day begins.
    policy : TracksPolicy
    """
    by_day: dict[date, list[TrackLeg]] = {}
    for leg in legs:
        by_day.setdefault(_day(leg.start_s, zone), []).append(leg)
    seen: dict[date, float] = {}
    for first, last in spans_s:
        seen[_day(first, zone)] = seen.get(_day(first, zone), 0.0) + last - first
    return tuple(
        _sum(day, by_day[day], seen.get(day, 0.0), network, policy) for day in sorted(by_day)
    )


def _sum(
    day: date, legs: Sequence[TrackLeg], seen_s: float, network: Network, policy: TracksPolicy
) -> WorkDay:
    down = [leg for leg in legs if leg.is_down]
    up = [leg for leg in legs if not leg.is_down]
    work_s, travel_s = (sum(leg.moving_s for leg in part) for part in (down, up))
    travel: dict[RoadClass, list[float]] = {}
    for leg in up:
        if leg.length_m >= _LEAST_TRAVEL_M:
            sums = travel.setdefault(network.segments[leg.segment].road_class, [0.0, 0.0])
            sums[0] += leg.length_m / 1000
            sums[1] += leg.moving_s / 3600
    return WorkDay(
        day=day,
        passes=count_passes(legs, network, policy),
        work_h=work_s / 3600,
        travel_h=travel_s / 3600,
        standing_h=max(0.0, seen_s - work_s - travel_s) / 3600,
        work_km=sum(leg.length_m for leg in down) / 1000,
        travel_km=sum(leg.length_m for leg in up) / 1000,
        travel=tuple(ClassTravel(name, *sums) for name, sums in sorted(travel.items())),
        blade="known" if all(leg.blade == "known" for leg in legs) else "inferred",
    )


def _day(time_s: float, zone: tzinfo) -> date:
    return datetime.fromtimestamp(time_s, UTC).astimezone(zone).date()
