"""Attribute events laid over segments: what is true of a stretch becomes true of the road.

A change of surface or jurisdiction starts a new segment. Everything else is
gathered to one value for a segment: figures as the mean by length, words as
the one that holds for most of it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from itertools import pairwise
from typing import Any, get_args

from crossfall.errors import InputError, Problem, refuse
from crossfall.model import Network, Segment
from crossfall.model.network import Drainage, RoadClass, Shade, Surface, serves_words
from crossfall.model.policy import NetworkPolicy
from crossfall.network.lineage import Lineage, follow_events, split_segment
from crossfall.network.linear import LineEvent

_SPLITTING = ("surface", "jurisdiction")

_WORDS: dict[str, tuple[str, ...]] = {
    "surface": get_args(Surface),
    "road_class": get_args(RoadClass),
    "drainage": get_args(Drainage),
    "shade": get_args(Shade),
}
_FREE_WORDS = ("jurisdiction", "district", "material")
_FIGURES: dict[str, tuple[float, float, str]] = {
    "width_m": (1.5, 40.0, "width_method"),
    "adt": (0.0, 200_000.0, "adt_method"),
    "heavy_share": (0.0, 1.0, ""),
    "gravel_mm": (0.0, 1000.0, "gravel_method"),
    "grade_pct": (0.0, 40.0, ""),
    "travel_km_h": (1.0, 130.0, ""),
    "max_mass_t": (0.5, 1000.0, ""),
}
_END_M = 1.0
"""An event that stops this close to the end of its segment was meant to reach it."""
EVENT_NAMES = (*_WORDS, *_FREE_WORDS, *_FIGURES, "serves")
"""Fields of a segment that an event may speak of."""


def check_event(event: LineEvent, network: Network) -> str | None:
    """What is wrong with an event, or None.

    Examples
    --------
    >>> from crossfall.model import Node
    >>> line = ((-107.0, 40.5), (-107.0, 40.51))
    >>> road = Segment("a", "Creek Road", "n1", "n2", 0.0, 1110.4, line)
    >>> network = Network((Node("n1", *line[0]), Node("n2", *line[1])), (road,))
    >>> check_event(LineEvent("a", 0.0, 2000.0, "width_m", "6.5"), network)
    'to_m 2000 lies beyond segment a, which is 1110.4 m long'
    """
    segment = network.segment_by_id.get(event.segment_id)
    if segment is None:
        return f"segment {event.segment_id!r} is not in this network"
    if not 0 <= event.from_m < event.to_m:
        return f"from_m {event.from_m:g} to to_m {event.to_m:g} is no stretch of road"
    if event.to_m > segment.length_m + _END_M:
        return (
            f"to_m {event.to_m:g} lies beyond segment {segment.id}, which is"
            f" {segment.length_m:.1f} m long"
        )
    if event.name not in EVENT_NAMES:
        return f"name is {event.name!r}; expected one of {', '.join(EVENT_NAMES)}"
    if event.name in _WORDS and event.value not in _WORDS[event.name]:
        return f"{event.name} is {event.value!r}; expected {', '.join(_WORDS[event.name])}"
    if event.name == "serves":
        try:
            serves_words(event.value)
        except InputError as error:
            return str(error)
    if event.name in _FIGURES:
        low, high, _ = _FIGURES[event.name]
        try:
            is_fine = low <= float(event.value) <= high
        except ValueError:
            is_fine = False
        if not is_fine:
            return f"{event.name} is {event.value!r}; expected a figure from {low:g} to {high:g}"
    return None


def apply_events(
    network: Network, events: Sequence[LineEvent], policy: NetworkPolicy
) -> tuple[Network, tuple[Lineage, ...]]:
    """Lay events over a network.

    Parameters
    ----------
    network : Network
    events : sequence of LineEvent
        Where two speak of one place, the later one counts.
    policy : NetworkPolicy
        ``sliver_m``: a change closer than this to a segment's end does not split it.

    Returns
    -------
    network : Network
    lineage : tuple of Lineage
        For every segment that was split.

    Raises
    ------
    InputError
        If an event does not fit the network; names the first few.
    """
    refuse(
        [
            Problem(f"event {number}", wrong)
            for number, event in enumerate(events, start=1)
            if (wrong := check_event(event, network)) is not None
        ]
    )
    lineage: list[Lineage] = []
    for segment_id, cuts in _cuts(network, events, policy).items():
        network, parts = split_segment(network, segment_id, cuts)
        lineage += parts
    events = follow_events(events, lineage)
    by_segment: dict[str, list[LineEvent]] = {}
    for event in events:
        by_segment.setdefault(event.segment_id, []).append(event)
    segments = tuple(
        _gathered(segment, by_segment[segment.id]) if segment.id in by_segment else segment
        for segment in network.segments
    )
    return replace(network, segments=segments), tuple(lineage)


def _cuts(
    network: Network, events: Sequence[LineEvent], policy: NetworkPolicy
) -> dict[str, list[float]]:
    """Places where a splitting event begins or ends within a segment."""
    cuts: dict[str, list[float]] = {}
    for event in events:
        if event.name not in _SPLITTING:
            continue
        segment = network.segment_by_id[event.segment_id]
        if getattr(segment, event.name) == event.value:
            continue
        known = cuts.setdefault(event.segment_id, [])
        for bound in (event.from_m, event.to_m):
            is_inside = policy.sliver_m <= bound <= segment.length_m - policy.sliver_m
            if is_inside and all(abs(bound - cut) >= policy.sliver_m for cut in known):
                known.append(bound)
    return {segment_id: sorted(each) for segment_id, each in cuts.items() if each}


def _gathered(segment: Segment, events: list[LineEvent]) -> Segment:
    changes: dict[str, Any] = {}
    for name in dict.fromkeys(event.name for event in events):
        stretches = _stretches(segment, [event for event in events if event.name == name])
        if name == "serves":
            changes |= _serves(segment, stretches)
        elif name in _FIGURES:
            changes |= _figure(segment, name, stretches)
        else:
            changes |= _word(name, stretches)
    if "surface" in changes:
        changes["surface_source"] = "agency"
        if changes["surface"] != segment.surface:
            changes["is_maintained"] = changes["surface"] in ("gravel", "earth")
    return replace(segment, **changes)


def _stretches(segment: Segment, events: list[LineEvent]) -> list[tuple[float, str | None]]:
    """Lengths with the value that holds there; None where no event speaks [m]."""
    length = segment.length_m
    events = [
        replace(
            event,
            from_m=0.0 if event.from_m < _END_M else event.from_m,
            to_m=length if event.to_m > length - _END_M else event.to_m,
        )
        for event in events
    ]
    bounds = sorted({0.0, length, *(m for event in events for m in (event.from_m, event.to_m))})
    result: list[tuple[float, str | None]] = []
    for start, end in pairwise(bounds):
        middle = (start + end) / 2
        said = [event.value for event in events if event.from_m <= middle < event.to_m]
        result.append((end - start, said[-1] if said else None))
    return result


def _figure(
    segment: Segment, name: str, stretches: list[tuple[float, str | None]]
) -> dict[str, Any]:
    """Mean by length; where nothing was said the segment's own figure holds."""
    method = _FIGURES[name][2]
    if name == "max_mass_t":
        return {name: min(float(value) for _, value in stretches if value is not None)}
    own = getattr(segment, name)
    total = sum(m * (own if value is None else float(value)) for m, value in stretches)
    changes: dict[str, Any] = {name: total / segment.length_m}
    if method:
        changes[method] = "measured" if all(v is not None for _, v in stretches) else "estimated"
    return changes


def _serves(segment: Segment, stretches: list[tuple[float, str | None]]) -> dict[str, Any]:
    """Everybody whom a stretch serves: a school bus needs the road up to its last stop."""
    said = [segment.serves, *(value for _, value in stretches if value is not None)]
    return {"serves": serves_words(" ".join(said))}


def _word(name: str, stretches: list[tuple[float, str | None]]) -> dict[str, Any]:
    """The word that holds for most of the segment; nothing when that is none."""
    metres: dict[str | None, float] = {}
    for length, value in stretches:
        metres[value] = metres.get(value, 0.0) + length
    most: Callable[[str | None], float] = metres.__getitem__
    value = max(metres, key=most)
    return {} if value is None else {name: value}
