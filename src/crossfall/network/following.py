"""Facts that follow their road: what hung on a segment is found on what became of it.

A look or a piece of work on a road that was split lies on each part, cut at its ends; a danger or
a complaint lies on the one part it is on. Hours, loads, water and money of work are shared by
metres and add up to what was written. Where nothing of a road was found again its facts stay
behind: a permission or a signature is never carried to another stretch.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace

from crossfall.model import (
    Condition,
    Hazard,
    Money,
    Network,
    Observation,
    Request,
    Side,
    WorkRecord,
)
from crossfall.network.lineage import Lineage, trace_lineage

Successors = Mapping[str, tuple[Lineage, ...]]
"""For each segment that is gone the stretches it became, in order along it."""


def find_successors(
    old: Network, new: Network, gone: Iterable[str], *, within_m: float, least_share: float
) -> tuple[Lineage, ...]:
    """What segments that are gone became; a road that only touches them is none of it.

    Parameters
    ----------
    old, new : Network
        Before and after.
    gone : iterable of str
        Ids of segments of ``old`` that ``new`` has not.
    within_m : float
        How close a road must run to the one that was there. [m]
    least_share : float
        Least share of the old or of the new segment that both have in common, 0 to 1.
    """
    before, after = old.segment_by_id, new.segment_by_id
    return tuple(
        each
        for each in trace_lineage(old, new, gone, within_m=within_m)
        if each.to_m - each.from_m >= least_share * before[each.parent_id].length_m
        or abs(each.child_to_m - each.child_from_m) >= least_share * after[each.child_id].length_m
    )


@dataclass(frozen=True, slots=True)
class Descent:
    """Where stretches of vanished segments lie on the map of today."""

    present: frozenset[str]
    """Segments that are on the map."""
    successors: Successors

    def parts(self, segment_id: str) -> tuple[Lineage, ...]:
        """Stretches of a vanished segment on segments of today, through every change between."""
        return tuple(self._parts(segment_id, frozenset()))

    def _parts(self, segment_id: str, seen: frozenset[str]) -> Iterator[Lineage]:
        for each in self.successors.get(segment_id, ()):
            if each.child_id in self.present:
                yield each
            elif each.child_id not in seen:
                for later in self._parts(each.child_id, seen | {segment_id}):
                    joined = _through(each, later)
                    if joined is not None:
                        yield joined

    def segments(self, segment_ids: Iterable[str]) -> tuple[str, ...]:
        """Segments of today in place of those named; one that left no trace stays as it was."""
        found: dict[str, None] = {}
        for each in segment_ids:
            parts = () if each in self.present else self.parts(each)
            found |= dict.fromkeys([part.child_id for part in parts] or [each])
        return tuple(found)

    def looks(self, look: Condition) -> tuple[Condition, ...]:
        """A look on the segments of today that its stretch lies on."""
        if look.segment_id in self.present:
            return (look,)
        is_whole = look.from_m is None and look.to_m is None
        return tuple(
            replace(
                look,
                segment_id=part.child_id,
                from_m=None if is_whole else from_m,
                to_m=None if is_whole else to_m,
                side=_side(look.side, part),
                windrow_side=None if look.windrow_side is None else _side(look.windrow_side, part),
            )
            for part, _, from_m, to_m in _cut(self.parts(look.segment_id), look.from_m, look.to_m)
        )

    def work(self, record: WorkRecord) -> tuple[WorkRecord, ...]:
        """Work on the segments of today, its hours and quantities shared by metres."""
        if record.segment_id in self.present:
            return (record,)
        cut = _cut(self.parts(record.segment_id), record.from_m, record.to_m)
        total_m = sum(metres for _, metres, _, _ in cut)
        is_whole = record.from_m is None and record.to_m is None
        done: list[WorkRecord] = []
        upto_m = 0.0
        for number, (part, metres, from_m, to_m) in enumerate(cut, start=1):
            low, upto_m = upto_m / total_m, upto_m + metres
            high = 1.0 if number == len(cut) else upto_m / total_m
            side, cost = record.windrow_side, record.cost
            done.append(
                replace(
                    record,
                    id=record.id if number == 1 else f"{record.id}:{number}",
                    segment_id=part.child_id,
                    from_m=None if is_whole else from_m,
                    to_m=None if is_whole else to_m,
                    hours=record.hours * (high - low),
                    loose_gravel_m3=record.loose_gravel_m3 * (high - low),
                    water_l=record.water_l * (high - low),
                    n_loads=_whole(record.n_loads, low, high),
                    cost=None if cost is None else _money(cost, low, high),
                    windrow_side=None if side is None else _side(side, part),
                )
            )
        return tuple(done)

    def danger(self, hazard: Hazard) -> tuple[Hazard, ...]:
        """A danger on the segment of today that its place lies on, or the nearest stretch."""
        if hazard.segment_id in self.present:
            return (hazard,)
        parts = self.parts(hazard.segment_id)
        if not parts:
            return ()
        part = _at(parts, hazard.at_m)
        return (replace(hazard, segment_id=part.child_id, at_m=_on(part, hazard.at_m)),)

    def complaint(self, request: Request) -> tuple[Request, ...]:
        """A request on the part it was matched to, else on the longest; its own place stays."""
        if request.segment_id is None or request.segment_id in self.present:
            return (request,)
        parts = self.parts(request.segment_id)
        if not parts:
            return ()
        if request.at_m is None:
            return (replace(request, segment_id=_longest(parts).child_id),)
        part = _at(parts, request.at_m)
        return (replace(request, segment_id=part.child_id, at_m=_on(part, request.at_m)),)

    def report(self, observation: Observation) -> tuple[Observation, ...]:
        """How a surface felt or what a gauge caught, on the longest stretch of its road."""
        if observation.segment_id is None or observation.segment_id in self.present:
            return (observation,)
        parts = self.parts(observation.segment_id)
        return (replace(observation, segment_id=_longest(parts).child_id),) if parts else ()


def _through(first: Lineage, later: Lineage) -> Lineage | None:
    """A stretch of the first parent on the last child; None where they do not meet."""
    low, high = sorted((first.child_from_m, first.child_to_m))
    low, high = max(low, later.from_m), min(high, later.to_m)
    if not low < high:
        return None
    # The same stretch, read from the child to the parent
    back = Lineage("", "", first.child_from_m, first.child_to_m, first.from_m, first.to_m)
    ends = sorted((back.child_m(at), later.child_m(at)) for at in (low, high))
    (from_m, child_from_m), (to_m, child_to_m) = ends
    return Lineage(first.parent_id, later.child_id, from_m, to_m, child_from_m, child_to_m)


def _cut(
    parts: tuple[Lineage, ...], from_m: float | None, to_m: float | None
) -> list[tuple[Lineage, float, float, float]]:
    """Parts that a stretch lies on: the part, the metres in common, and where on the child."""
    start = 0.0 if from_m is None else from_m
    stop = float("inf") if to_m is None else to_m
    found = []
    for part in parts:
        low, high = max(start, part.from_m), min(stop, part.to_m)
        if low < high:
            ends = sorted((part.child_m(low), part.child_m(high)))
            found.append((part, high - low, max(0.0, ends[0]), ends[1]))
    return found


def _at(parts: tuple[Lineage, ...], at_m: float) -> Lineage:
    """The part a place lies on, or the nearest."""

    def off_m(part: Lineage) -> float:
        return max(part.from_m - at_m, at_m - part.to_m, 0.0)

    return min(parts, key=off_m)


def _on(part: Lineage, at_m: float) -> float:
    """Where a place lies on the child [m]."""
    return max(0.0, part.child_m(min(max(at_m, part.from_m), part.to_m)))


def _longest(parts: tuple[Lineage, ...]) -> Lineage:
    return max(parts, key=lambda each: each.to_m - each.from_m)


def _side(side: Side, part: Lineage) -> Side:
    if side == "both" or part.child_to_m > part.child_from_m:
        return side
    return "left" if side == "right" else "right"


def _whole(n: int, low: float, high: float) -> int:
    """The share of a whole number between two shares; all shares together make the number."""
    return round(n * high) - round(n * low)


def _money(cost: Money, low: float, high: float) -> Money:
    return replace(cost, minor=_whole(cost.minor, low, high))
