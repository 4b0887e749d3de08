"""Looks at parts of a segment, joined to what is believed of the whole.

A survey may go by stretches and sides; needs are judged by segments. Stretches of one day become
one look: scores and measures are weighed by length and side, what was seen anywhere (a blocked
culvert, a windrow) holds for the segment. When they cover too little of it, they are laid over the
last look that covers enough, for their share. The joining is ours; a stretch that is far worse
than the rest is shown on the road's page, and no mean hides it there.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import date
from typing import Any

from crossfall.judgement.rating import MEASURES, SCORES
from crossfall.model import Condition, Network, Side

_FLAGS = ("has_secondary_ditch", "has_high_shoulder", "is_ditch_blocked", "is_culvert_blocked")
_WORST_FIRST: dict[str, tuple[str, ...]] = {
    "ditch": ("blocked", "none", "shallow", "clear"),
    "shoulder": ("eroded", "high", "low", "even"),
    "dust": ("high", "medium", "low", "none"),
}
"""What is chosen from a list: of several parts the worst holds."""
_BEST_KNOWN_FIRST = ("measured", "computed", "estimated", "default")


def whole_looks(
    looks: Sequence[Condition], network: Network, *, look_share: float
) -> tuple[Condition, ...]:
    """One look for each segment and day, in order of the days; looks at a whole pass unchanged.

    ``look_share`` is the share of a segment (both sides) from which parts stand for the whole.

    Examples
    --------
    >>> from crossfall.model import Network, Node, Segment
    >>> nodes = (Node("a", 0.0, 0.0), Node("b", 0.01, 0.0))
    >>> line = ((0.0, 0.0), (0.01, 0.0))
    >>> road = Network(nodes, (Segment("s", "Road", "a", "b", 0.0, 1000.0, line),))
    >>> day = date(2026, 5, 4)
    >>> parts = [Condition("s", day, 4, 4, 4, 2, 4, to_m=250.0),
    ...          Condition("s", day, 4, 4, 4, 4, 4, from_m=250.0)]
    >>> whole_looks(parts, road, look_share=0.5)[0].deformation
    3.5
    """
    if all(_is_whole(look) for look in looks):
        return tuple(looks)
    known = network.segment_by_id
    days: dict[tuple[str, date], list[Condition]] = {}
    for look in looks:
        if look.segment_id in known:
            days.setdefault((look.segment_id, look.observed_on), []).append(look)
    base: dict[str, Condition] = {}
    joined: list[Condition] = []
    for (segment_id, _), group in sorted(days.items(), key=lambda item: item[0][1]):
        wholes = [look for look in group if _is_whole(look)]
        parts = [look for look in group if not _is_whole(look)]
        now = wholes[-1] if wholes else None
        if parts:
            length_m = known[segment_id].length_m
            share = sum(_share(look, length_m) for look in parts)
            met, under = _join(parts, length_m), now or base.get(segment_id)
            stands_alone = now is None and (under is None or share >= look_share)
            now = met if stands_alone or under is None else _lay_over(under, met, min(share, 1.0))
        if now is not None:
            base[segment_id] = now
            joined.append(now)
    return tuple(joined)


def _is_whole(look: Condition) -> bool:
    return look.from_m is None and look.to_m is None and look.side == "both"


def _share(look: Condition, length_m: float) -> float:
    """Share of the segment's surface that was looked at, 0 to 1."""
    from_m, to_m = look.from_m or 0.0, length_m if look.to_m is None else min(look.to_m, length_m)
    return max(to_m - from_m, 0.0) / length_m * (1.0 if look.side == "both" else 0.5)


def _join(parts: Sequence[Condition], length_m: float) -> Condition:
    weights = [max(_share(look, length_m), 1e-9) for look in parts]
    mixed: dict[str, Any] = {name: _mean(parts, weights, name) for name in (*SCORES, *MEASURES)}
    latest = parts[-1]
    return replace(
        latest,
        **mixed,
        **_seen_anywhere(parts),
        method=max((look.method for look in parts), key=_BEST_KNOWN_FIRST.index),
        last_bladed_on=max((day for look in parts if (day := look.last_bladed_on)), default=None),
        windrow_side=_sides(look.windrow_side for look in parts),
        photos=tuple(dict.fromkeys(name for look in parts for name in look.photos)),
        note="; ".join(dict.fromkeys(look.note for look in parts if look.note)),
        from_m=None,
        to_m=None,
        side="both",
    )


def _lay_over(under: Condition, met: Condition, share: float) -> Condition:
    """A whole look with a later, partial one laid over it for its share; the day stays."""
    pair, weights = (under, met), (1.0 - share, share)
    mixed: dict[str, Any] = {name: _mean(pair, weights, name) for name in (*SCORES, *MEASURES)}
    bladed = [day for look in pair if (day := look.last_bladed_on) and day <= under.observed_on]
    return replace(
        under,
        **mixed,
        **_seen_anywhere(pair),
        last_bladed_on=max(bladed, default=None),
        windrow_side=_sides(look.windrow_side for look in pair),
    )


def _mean(looks: Sequence[Condition], weights: Sequence[float], name: str) -> float | None:
    """Mean by weight of those that say anything."""
    told = [
        (value, weight)
        for look, weight in zip(looks, weights, strict=True)
        if (value := getattr(look, name)) is not None and weight > 0
    ]
    total = sum(weight for _, weight in told)
    return sum(value * weight for value, weight in told) / total if told else None


def _seen_anywhere(looks: Iterable[Condition]) -> dict[str, Any]:
    looks = tuple(looks)
    found: dict[str, Any] = {name: any(getattr(look, name) for look in looks) for name in _FLAGS}
    for name, order in _WORST_FIRST.items():
        chosen = {getattr(look, name) for look in looks}
        found[name] = next((each for each in order if each in chosen), None)
    return found


def _sides(sides: Iterable[Side | None]) -> Side | None:
    found = {side for side in sides if side is not None}
    if not found:
        return None
    return found.pop() if len(found) == 1 else "both"
