"""A road that comes back under another id keeps the one that facts hang on.

Agencies renumber. Conditions, records, cards and requests name a segment by its
id, so a new segment that runs along a vanished one from end to end is that
segment, whatever the file calls it now.
"""

from __future__ import annotations

from dataclasses import replace

from crossfall.model import Network, PointFeature, Segment
from crossfall.model.policy import NetworkPolicy
from crossfall.network.lineage import trace_lineage


def keep_ids(
    old: Network, new: Network, *, policy: NetworkPolicy | None = None
) -> tuple[Network, dict[str, str]]:
    """The new network with old ids where a segment is an old one, and {id in the file: old id}.

    A segment is the same where it stays close to a vanished one over nearly all of its length and
    of the old one's. Drawn the other way round it is turned, so that places on it still hold; a
    one-way segment is not.

    Parameters
    ----------
    old, new : Network
        What is there, and what came.
    policy : NetworkPolicy, optional
        ``lineage_m`` and ``same_road_share``.
    """
    policy = policy or NetworkPolicy()
    before, after = old.segment_by_id, new.segment_by_id
    vanished = [segment.id for segment in old.segments if segment.id not in after]
    if not vanished or not after:
        return new, {}
    named: dict[str, str] = {}
    turned: set[str] = set()
    for each in trace_lineage(old, new, vanished, within_m=policy.lineage_m):
        parent, child = before[each.parent_id], after[each.child_id]
        is_turned = each.child_to_m < each.child_from_m
        is_free = child.id not in before and child.id not in named
        if not is_free or parent.id in named.values() or (is_turned and child.is_oneway):
            continue
        shared_m = min(each.to_m - each.from_m, abs(each.child_to_m - each.child_from_m))
        if shared_m >= policy.same_road_share * max(parent.length_m, child.length_m):
            named[child.id] = parent.id
            if is_turned:
                turned.add(child.id)
    if not named:
        return new, {}
    segments = tuple(
        _as_before(each, named[each.id], before[named[each.id]], is_turned=each.id in turned)
        if each.id in named
        else each
        for each in new.segments
    )
    features = tuple(
        _on_it(each, named, after[each.segment_id].length_m, is_turned=each.segment_id in turned)
        if each.segment_id in named
        else each
        for each in new.features
    )
    return replace(new, segments=segments, features=features), named


def _as_before(new: Segment, id_: str, old: Segment, *, is_turned: bool) -> Segment:
    if not is_turned:
        return replace(new, id=id_)
    return replace(
        new, id=id_, from_node=new.to_node, to_node=new.from_node, line=new.line[::-1],
        from_m=old.from_m,
    )  # fmt: skip


def _on_it(
    feature: PointFeature, named: dict[str, str], length_m: float, *, is_turned: bool
) -> PointFeature:
    assert feature.segment_id is not None
    feature = replace(feature, segment_id=named[feature.segment_id])
    if not is_turned:
        return feature
    other = {"left": "right", "right": "left"}
    return replace(
        feature,
        at_m=None if feature.at_m is None else length_m - feature.at_m,
        side=other.get(feature.side, feature.side),  # type: ignore[arg-type]
    )
