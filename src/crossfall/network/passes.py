"""Passes of each segment on one day: how many each way, over which metres, how fast.

The blade-down legs of a day are laid over the segment in cells of some twenty metres. The number
of passes is the one that three tenths of the worked cells saw, so that a silence or a late bit does
not cost a pass; the metres that were worked always stand beside it, because half a segment bladed
twice is not a segment bladed once.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from crossfall.model import Network
from crossfall.model.policy import TracksPolicy
from crossfall.model.track import BladeSource
from crossfall.network.legs import TrackLeg

Ints = npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class SegmentPasses:
    """What a machine did on one segment on one day."""

    segment_id: str
    n_forward: int
    n_backward: int
    from_m: float
    to_m: float
    """The stretch between the first and the last worked cell [m]."""
    covered_m: float
    """Worked length, holes left out [m]."""
    work_s: float
    """Time with the blade down, standing left out [s]."""
    on_site_s: float
    """Work and the turns between passes [s]."""
    pass_m: float
    """Metres driven with the blade down [m]."""
    start_s: float
    end_s: float
    blade: BladeSource
    speed_km_h: float | None
    """Working speed over all legs that tell one: metres over time [km/h]."""
    speed_error_km_h: float | None
    n_fast: int
    """Legs clearly faster than common practice."""
    fastest_km_h: float | None

    @property
    def n_passes(self) -> int:
        return self.n_forward + self.n_backward


def count_passes(
    legs: Iterable[TrackLeg], network: Network, policy: TracksPolicy
) -> tuple[SegmentPasses, ...]:
    """Passes of every segment that was worked, in order of first work.

    Parameters
    ----------
    legs : iterable of TrackLeg
        Of one machine and one day.
    network : Network
        The one the legs were matched on.
    policy : TracksPolicy
    """
    by_segment: dict[int, list[TrackLeg]] = {}
    for leg in _believable(list(legs), network, policy):
        by_segment.setdefault(leg.segment, []).append(leg)
    found = []
    for segment, mine in by_segment.items():
        passes = _of_segment(network, segment, mine, policy)
        if passes is not None:
            found.append(passes)
    return tuple(sorted(found, key=lambda each: (each.start_s, each.segment_id)))


def _believable(legs: Sequence[TrackLeg], network: Network, policy: TracksPolicy) -> list[TrackLeg]:
    """Blade-down legs; on a short segment only those that run through from one road to the next."""
    found = []
    for k, leg in enumerate(legs):
        if not leg.is_down:
            continue
        length_m = network.segments[leg.segment].length_m
        if length_m < policy.least_pass_m:
            before, after = (legs[j] if 0 <= j < len(legs) else None for j in (k - 1, k + 1))
            is_through = leg.length_m >= 0.8 * length_m and all(
                each is not None
                and each.is_down
                and each.segment != leg.segment
                and each.length_m >= policy.least_pass_m
                for each in (before, after)
            )
            if not is_through:
                continue
        found.append(leg)
    return found


def _of_segment(
    network: Network, segment: int, legs: Sequence[TrackLeg], policy: TracksPolicy
) -> SegmentPasses | None:
    length_m = network.segments[segment].length_m
    least_m = min(policy.least_pass_m, 0.8 * length_m)
    share = 1.0 - policy.pass_share
    if any(leg.blade == "inferred" for leg in legs):
        share = 0.5
        # What is only inferred has to hold for a good part of the road
        least_m = max(least_m, min(policy.inferred_least_m, 0.5 * length_m))
    legs = [leg for leg in legs if leg.length_m >= min(policy.turn_back_m, 0.5 * least_m)]
    n_cells = max(1, round(length_m / policy.cell_m))
    cell_m = length_m / n_cells
    middles = (np.arange(n_cells) + 0.5) * cell_m
    counts = np.zeros((2, n_cells), dtype=np.int64)
    for leg in legs:
        low, high = sorted((leg.from_m, leg.to_m))
        counts[0 if leg.is_forward else 1, (middles >= low) & (middles <= high)] += 1
    worked = counts.sum(axis=0) > 0
    covered_m = float(np.count_nonzero(worked) * cell_m)
    if not legs or covered_m < least_m:
        return None
    forward, backward = (int(np.quantile(row[worked], share, method="nearest")) for row in counts)
    if forward + backward == 0:
        return None
    cells = np.flatnonzero(worked)
    timed = [leg for leg in legs if leg.speed_km_h is not None]
    speed, error = _over_all(timed)
    return SegmentPasses(
        segment_id=network.segments[segment].id,
        n_forward=forward,
        n_backward=backward,
        from_m=float(cells[0] * cell_m),
        to_m=float((cells[-1] + 1) * cell_m),
        covered_m=covered_m,
        work_s=sum(leg.moving_s for leg in legs),
        on_site_s=_on_site_s(legs, policy),
        pass_m=sum(leg.length_m for leg in legs),
        start_s=min(leg.start_s for leg in legs),
        end_s=max(leg.end_s for leg in legs),
        blade="known" if all(leg.blade == "known" for leg in legs) else "inferred",
        speed_km_h=speed,
        speed_error_km_h=error,
        n_fast=sum(leg.is_fast for leg in legs),
        fastest_km_h=max((leg.speed_km_h or 0.0 for leg in timed), default=None),
    )


def _on_site_s(legs: Sequence[TrackLeg], policy: TracksPolicy) -> float:
    total = 0.0
    before: TrackLeg | None = None
    for leg in sorted(legs, key=lambda each: each.start_s):
        total += leg.end_s - leg.start_s
        if before is not None and 0 < leg.start_s - before.end_s <= policy.longest_turn_s:
            total += leg.start_s - before.end_s
        before = leg
    return total


def _over_all(legs: Sequence[TrackLeg]) -> tuple[float | None, float | None]:
    """Metres over time of several legs, and its standard error [km/h]."""
    if not legs:
        return None, None
    metres = np.array([leg.length_m for leg in legs])
    km_h = np.array([leg.speed_km_h or np.nan for leg in legs])
    error = np.array([leg.speed_error_km_h or 0.0 for leg in legs])
    hours = metres / km_h
    speed = float(metres.sum() / hours.sum())
    # d(speed)/d(v_i) = speed * hours_i / v_i / total hours
    weight = speed * hours / km_h / hours.sum()
    return speed, float(np.sqrt(np.sum((weight * error) ** 2)))
