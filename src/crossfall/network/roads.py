"""Road lines as they come out of a file, before they are a network.

All vertices lie in one array; ``offsets`` says where each line begins. What a
line says of its road (:class:`RoadFacts`) is kept once and pointed at, so that
a county of two hundred thousand lines stays small and comparisons are of
whole numbers.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from crossfall.model.common import Method
from crossfall.model.network import Drainage, FeatureKind, RoadClass, Shade, Surface, SurfaceSource

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Flags = npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class RoadFacts:
    """What a line says of its road; None where it says nothing.

    Two lines with equal facts are the same road to a foreman and may be merged.
    """

    name: str = ""
    road_class: RoadClass = "local"
    surface: Surface = "unknown"
    surface_source: SurfaceSource = "unknown"
    is_maintained: bool = False
    jurisdiction: str = ""
    district: str = ""
    is_oneway: bool = False
    width_m: float | None = None
    width_method: Method = "estimated"
    adt: float | None = None
    adt_method: Method = "estimated"
    heavy_share: float | None = None
    travel_km_h: float | None = None
    material: str | None = None
    drainage: Drainage | None = None
    shade: Shade | None = None
    gravel_mm: float | None = None
    gravel_method: Method = "estimated"
    grade_pct: float | None = None
    serves: str | None = None


@dataclass(frozen=True, eq=False)
class RoadLines:
    """Lines of one file, shapes (line,) or (vertex,).

    ``key`` numbers places: vertices with equal keys are the same place. Files with their own
    node numbers bring it; for the others :func:`~crossfall.network.noding.snap_ends` makes it.
    """

    ids: Sequence[str]
    """The source's own key of each line; empty where it has none."""
    places: Floats
    """Lon, lat of every vertex, shape (vertex, 2) [degrees]."""
    offsets: Ints
    """First vertex of each line, and the end of the last, shape (line + 1,)."""
    facts: Sequence[RoadFacts]
    """Each different set of facts once."""
    fact: Ints
    """Index into ``facts`` of each line."""
    key: Ints | None = None
    are_keys_ids: bool = False
    """Whether ``key`` holds the source's own node ids."""
    level: Ints | None = None
    """0 on the ground, 1 above it, -1 below; None when nothing is known."""
    is_bridge: Flags | None = None
    max_mass_t: Floats | None = None
    """Posted limit, NaN where there is none [t]."""
    official_m: Floats | None = None
    """Length in the agency's books, NaN where it gives none [m]."""
    rows: Sequence[str] = ()
    """Where a person finds each line in the file: ``row 12``."""

    def only(self, keep: Flags) -> RoadLines:
        """The lines where ``keep``, shape (line,), is true."""
        chosen = np.flatnonzero(keep)
        vertices = np.repeat(keep, np.diff(self.offsets))

        def pick(values: npt.NDArray[Any] | None) -> Any:
            return None if values is None else values[keep]

        return replace(
            self,
            ids=[self.ids[line] for line in chosen.tolist()],
            places=self.places[vertices],
            offsets=np.concatenate([[0], np.cumsum(np.diff(self.offsets)[keep])]),
            fact=self.fact[keep],
            key=None if self.key is None else self.key[vertices],
            level=pick(self.level),
            is_bridge=pick(self.is_bridge),
            max_mass_t=pick(self.max_mass_t),
            official_m=pick(self.official_m),
            rows=[self.rows[line] for line in chosen.tolist()] if self.rows else (),
        )

    @property
    def n_lines(self) -> int:
        return len(self.offsets) - 1

    @property
    def line_of_vertex(self) -> Ints:
        return np.repeat(np.arange(self.n_lines), np.diff(self.offsets))


@dataclass(frozen=True, slots=True)
class FoundPoint:
    """A point in the file that may matter to a crew."""

    kind: FeatureKind
    source_id: str
    lon: float
    lat: float
    name: str = ""
    max_mass_t: float | None = None
    towards: tuple[float, float] | None = None
    """For something that leaves the road here: a place further along it, to tell the side."""
    must_touch: bool = True
    """Whether it counts only when it lies on the road itself."""


@dataclass(frozen=True, slots=True)
class FoundLine:
    """A line that matters where it crosses a road: a stream, a pipeline, a power line."""

    kind: FeatureKind
    source_id: str
    line: tuple[tuple[float, float], ...]
    name: str = ""
