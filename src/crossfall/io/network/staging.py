"""Before a new network is accepted: what is added, changed, gone, split or merged.

Nothing is stored here. A person reads the difference, and what people have
settled in the meantime (a surface that was unknown, a measured width) is
carried over where the new file knows no better.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from math import isclose
from typing import Any

from crossfall.io.text import count
from crossfall.model import Network, PointFeature, Segment
from crossfall.model.policy import NetworkPolicy
from crossfall.network.following import find_successors
from crossfall.network.lineage import Lineage, trace_lineage

_SAME_M = 0.01
"""Lengths and places that differ by less than a centimetre are the same."""
_SAME_DEG = 1e-7
_BORING = {"source"}
"""Fields whose change alone is no news."""


@dataclass(frozen=True, slots=True)
class Change:
    """A segment that stays, and the fields that differ: (field, old, new)."""

    segment_id: str
    route: str
    fields: tuple[tuple[str, Any, Any], ...]

    def __str__(self) -> str:
        shown = ", ".join(
            "the line is drawn anew" if name == "line" else f"{name} {old} → {new}"
            for name, old, new in self.fields
        )
        return f"{self.segment_id} ({self.route}): {shown}"


@dataclass(frozen=True, slots=True)
class NetworkDiff:
    """The difference between the network that is there and the one that came."""

    added: tuple[Segment, ...]
    changed: tuple[Change, ...]
    vanished: tuple[Segment, ...]
    lineage: tuple[Lineage, ...] = ()
    """Where stretches of vanished segments lie now."""
    features_added: tuple[PointFeature, ...] = ()
    features_changed: tuple[PointFeature, ...] = ()
    features_vanished: tuple[PointFeature, ...] = ()
    n_same: int = 0

    @property
    def is_empty(self) -> bool:
        """Whether accepting it would change nothing."""
        return not (
            self.added
            or self.changed
            or self.vanished
            or self.features_added
            or self.features_changed
            or self.features_vanished
        )

    @property
    def replaced(self) -> frozenset[str]:
        """Vanished segments whose road is still there, under other ids; their facts follow."""
        return frozenset(each.parent_id for each in self.lineage)

    @property
    def lost(self) -> tuple[str, ...]:
        """Vanished segments whose road is not there any more."""
        replaced = self.replaced
        return tuple(each.id for each in self.vanished if each.id not in replaced)

    def summary(self, *, most: int = 8) -> str:
        """What a person should read before accepting."""
        if self.is_empty:
            is_are = "is as it was" if self.n_same == 1 else "are as they were"
            return f"Nothing changes: {count(self.n_same, 'segment')} {is_are}."
        km = {
            name: sum(segment.length_m for segment in segments) / 1000
            for name, segments in (("added", self.added), ("vanished", self.vanished))
        }
        lines = [
            f"{count(len(self.added), 'segment')} added ({km['added']:.1f} km),"
            f" {len(self.changed)} changed,"
            f" {len(self.vanished)} vanished ({km['vanished']:.1f} km), {self.n_same} as they were."
        ]
        if self.vanished:
            gone = len(self.vanished) - len(self.replaced)
            lines.append(
                f"Of the vanished, {len(self.replaced)} now on new segments (split, merged or"
                f" renamed), {gone} gone."
            )
        if self.features_added or self.features_changed or self.features_vanished:
            lines.append(
                f"Point features: {len(self.features_added)} added,"
                f" {len(self.features_changed)} changed, {len(self.features_vanished)} vanished."
            )
        lines += [f"+ {s.id} ({s.route}, {s.length_m:.0f} m)" for s in self.added[:most]]
        lines += [f"~ {change}" for change in self.changed[:most]]
        lines += [f"- {s.id} ({s.route}, {s.length_m:.0f} m)" for s in self.vanished[:most]]
        hidden = sum(max(0, len(e) - most) for e in (self.added, self.changed, self.vanished))
        return "\n".join([*lines, f"and {hidden} more"] if hidden else lines)


def compare(old: Network, new: Network, *, policy: NetworkPolicy | None = None) -> NetworkDiff:
    """Compare two networks by their ids, and trace vanished segments by their place.

    Parameters
    ----------
    old, new : Network
        What is there, and what came.
    policy : NetworkPolicy, optional
        ``lineage_m``: how close a new segment must run to an old one.
    """
    policy = policy or NetworkPolicy()
    before, after = old.segment_by_id, new.segment_by_id
    vanished = tuple(segment for segment in old.segments if segment.id not in after)
    changes = [
        Change(segment.id, segment.route, differing)
        for segment in new.segments
        if segment.id in before and (differing := _differing(before[segment.id], segment))
    ]
    lineage = (
        find_successors(
            old,
            new,
            [s.id for s in vanished],
            within_m=policy.lineage_m,
            least_share=policy.successor_share,
        )
        if vanished and new.segments
        else ()
    )
    points_before = {feature.id: feature for feature in old.features}
    points_after = {feature.id: feature for feature in new.features}
    return NetworkDiff(
        added=tuple(segment for segment in new.segments if segment.id not in before),
        changed=tuple(changes),
        vanished=vanished,
        lineage=lineage,
        features_added=tuple(f for f in new.features if f.id not in points_before),
        features_changed=tuple(
            f for f in new.features if f.id in points_before and _differing(points_before[f.id], f)
        ),
        features_vanished=tuple(f for f in old.features if f.id not in points_after),
        n_same=len(new.segments) - len(changes) - sum(s.id not in before for s in new.segments),
    )


def carry_over(old: Network, new: Network, *, policy: NetworkPolicy | None = None) -> Network:
    """The new network with what people had settled and the new file does not know.

    A surface is kept where the new one is unknown or only inferred and the old one came from
    the agency; width, traffic and gravel are kept where the new figure is a default. A segment
    that lies on a vanished one for most of its length inherits from it.
    """
    parents = dict(old.segment_by_id)
    after = new.segment_by_id
    vanished = [segment.id for segment in old.segments if segment.id not in after]
    within_m = (policy or NetworkPolicy()).lineage_m
    covered: dict[str, float] = {}
    for each in trace_lineage(old, new, vanished, within_m=within_m) if after else ():
        length_m = abs(each.child_to_m - each.child_from_m)
        if each.child_id not in old.segment_by_id and length_m > max(
            covered.get(each.child_id, 0.0), after[each.child_id].length_m / 2
        ):
            covered[each.child_id] = length_m
            parents[each.child_id] = old.segment_by_id[each.parent_id]
    return replace(
        new,
        backdrop=new.backdrop or old.backdrop,
        segments=tuple(
            _kept(parents[segment.id], segment) if segment.id in parents else segment
            for segment in new.segments
        ),
    )


def settle_surfaces(network: Network, surfaces: dict[str, Any]) -> Network:
    """The network with surfaces that a person has settled: segment id to surface.

    Gravel and earth roads become maintained ones, the others are only travelled on.
    """
    return replace(
        network,
        segments=tuple(
            replace(
                segment,
                surface=surfaces[segment.id],
                surface_source="agency",
                is_maintained=surfaces[segment.id] in ("gravel", "earth"),
            )
            if segment.id in surfaces
            else segment
            for segment in network.segments
        ),
    )


def _kept(old: Segment, new: Segment) -> Segment:
    changes: dict[str, Any] = {}
    if old.surface_source == "agency" and new.surface_source in ("unknown", "inferred"):
        changes |= {
            "surface": old.surface,
            "surface_source": "agency",
            "is_maintained": old.is_maintained,
        }
    for value, method in (
        ("width_m", "width_method"),
        ("adt", "adt_method"),
        ("gravel_mm", "gravel_method"),
    ):
        if getattr(new, method) == "default" and getattr(old, method) != "default":
            changes |= {value: getattr(old, value), method: getattr(old, method)}
    for name in ("material", "drainage", "shade", "district", "heavy_share", "grade_pct", "serves"):
        usual = _usual(name)
        if getattr(new, name) == usual and getattr(old, name) != usual:
            changes[name] = getattr(old, name)
    return replace(new, **changes) if changes else new


def _usual(name: str) -> Any:
    return next(each.default for each in fields(Segment) if each.name == name)


def _differing(
    old: Segment | PointFeature, new: Segment | PointFeature
) -> tuple[tuple[str, Any, Any], ...]:
    pairs = ((each.name, getattr(old, each.name), getattr(new, each.name)) for each in fields(old))
    return tuple(
        (name, a, b) for name, a, b in pairs if name not in _BORING and not _is_same(name, a, b)
    )


def _is_same(name: str, a: Any, b: Any) -> bool:
    if name == "line":
        return _same_line(a, b)
    if isinstance(a, float) and isinstance(b, float):
        if name in ("lon", "lat"):
            return isclose(a, b, abs_tol=_SAME_DEG, rel_tol=0)
        return isclose(a, b, rel_tol=1e-9, abs_tol=_SAME_M if name.endswith("_m") else 1e-9)
    return bool(a == b)


def _same_line(a: Sequence[tuple[float, float]], b: Sequence[tuple[float, float]]) -> bool:
    return len(a) == len(b) and all(
        isclose(x, u, abs_tol=_SAME_DEG, rel_tol=0) and isclose(y, v, abs_tol=_SAME_DEG, rel_tol=0)
        for (x, y), (u, v) in zip(a, b, strict=True)
    )
