"""Small road networks drawn by hand, in metres, for the tests of this room."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from crossfall.model.policy import NetworkPolicy
from crossfall.network import LocalPlane, RoadFacts, RoadLines, cut_at_junctions, snap_ends
from crossfall.network.noding import Edges, Gap

PLANE = LocalPlane(-107.0, 40.5)
POLICY = NetworkPolicy()
GRAVEL = RoadFacts(name="Creek Road", surface="gravel", surface_source="agency", is_maintained=True)

Drawn = Sequence[tuple[float, float]]


def lines(
    *drawn: Drawn,
    facts: Sequence[RoadFacts] | None = None,
    ids: Sequence[str] | None = None,
    level: Sequence[int] | None = None,
    is_bridge: Sequence[bool] | None = None,
    official_m: Sequence[float] | None = None,
    max_mass_t: Sequence[float] | None = None,
) -> RoadLines:
    """Lines from coordinates in metres on ``PLANE``."""
    xy = np.array([place for line in drawn for place in line], dtype=np.float64)
    each = list(facts or [GRAVEL] * len(drawn))
    different = list(dict.fromkeys(each))
    return RoadLines(
        ids=list(ids or [f"L{k}" for k in range(len(drawn))]),
        places=np.column_stack(PLANE.to_lonlat(xy[:, 0], xy[:, 1])),
        offsets=np.concatenate([[0], np.cumsum([len(line) for line in drawn])]).astype(np.int64),
        facts=different,
        fact=np.array([different.index(one) for one in each], dtype=np.int64),
        level=None if level is None else np.array(level, dtype=np.int64),
        is_bridge=None if is_bridge is None else np.array(is_bridge, dtype=np.bool_),
        official_m=None if official_m is None else np.array(official_m, dtype=np.float64),
        max_mass_t=None if max_mass_t is None else np.array(max_mass_t, dtype=np.float64),
    )


def noded(drawn: RoadLines, *, snap_m: float = 0.5, gap_m: float = 5.0) -> tuple[Edges, list[Gap]]:
    """Edges and near misses of lines without keys."""
    keyed, gaps = snap_ends(drawn, PLANE, snap_m=snap_m, gap_m=gap_m)
    return cut_at_junctions(keyed, PLANE), list(gaps)
