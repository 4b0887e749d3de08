"""What vanished segments became, and the facts of theirs that are found on their successors."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable
from typing import Any

from django.db.models import Q

from crossfall.model import Network
from crossfall.model.policy import NetworkPolicy
from crossfall.network.following import Descent, find_successors
from crossfall.network.lineage import Lineage
from crossfall_app.store import convert, models

_BATCH = 500


def keep_successors(
    old: Network, new: Network, gone: Iterable[str], *, policy: NetworkPolicy, by: str
) -> int:
    """Write down what segments that vanish became; returns how many of them live on.

    Parameters
    ----------
    old, new : Network
        The whole map before and after.
    gone : iterable of str
        Ids that are on the old map alone.
    policy : NetworkPolicy
    by : str
        Who accepted the new map.
    """
    ids = sorted(gone)
    for start in range(0, len(ids), _BATCH):
        # A segment that came back and vanishes again: what it became now counts
        models.Succession.objects.filter(parent_id__in=ids[start : start + _BATCH]).delete()
    found = successors(old, new, ids, policy=policy)
    rows = [
        models.Succession(
            parent_id=each.parent_id,
            child_id=each.child_id,
            from_m=each.from_m,
            to_m=each.to_m,
            child_from_m=each.child_from_m,
            child_to_m=each.child_to_m,
            created_by=by,
        )
        for each in found
    ]
    models.Succession.objects.bulk_create(rows, batch_size=_BATCH)
    return len({each.parent_id for each in found})


def successors(
    old: Network, new: Network, gone: Iterable[str], *, policy: NetworkPolicy
) -> tuple[Lineage, ...]:
    """What segments that vanish would become."""
    ids = list(gone)
    if not ids or not new.segments:
        return ()
    return find_successors(
        old, new, ids, within_m=policy.lineage_m, least_share=policy.successor_share
    )


def descent() -> Descent | None:
    """Where vanished segments lie today; None when none of them left a trace."""
    by_parent: dict[str, list[Lineage]] = defaultdict(list)
    rows = models.Succession.objects.order_by("parent_id", "from_m", "pk").values_list(
        "parent_id", "child_id", "from_m", "to_m", "child_from_m", "child_to_m"
    )
    for row in rows:
        by_parent[row[0]].append(Lineage(*row))
    if not by_parent:
        return None
    present = models.Segment.objects.filter(vanished_at__isnull=True).values_list("id", flat=True)
    return Descent(
        frozenset(present), {parent: tuple(parts) for parent, parts in by_parent.items()}
    )


def about_the_map(
    mapping: convert.Mapping[Any],
    known: Descent | None,
    follow: Callable[[Descent, Any], tuple[Any, ...]] | None = None,
) -> tuple[Any, ...]:
    """Facts of segments on the map, in the order they were entered.

    Parameters
    ----------
    mapping : Mapping
        Of a noun of one segment.
    known : Descent or None
        From :func:`descent`.
    follow : callable, optional
        How such a fact goes to the successors of its segment; without, it stays behind.
    """
    table: Any = mapping.table
    rows = table.objects.order_by("pk")
    if table in (models.Condition, models.WorkRecord):
        rows = rows.filter(superseded_by__isnull=True)
    is_here = Q(segment__vanished_at__isnull=True)
    if known is None or follow is None:
        return mapping.of(rows.filter(is_here))
    has_successor = Q(segment_id__in=models.Succession.objects.values("parent_id"))
    rows = rows.filter(is_here | has_successor)
    return tuple(each for fact in mapping.of(rows) for each in follow(known, fact))
