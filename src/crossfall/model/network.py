"""The road network as it is kept: nodes, maintenance segments and point features.

A *segment* is a homogeneous length of one road, the unit that is inspected,
worked and paid for. Its ``line`` runs in the direction of increasing measure,
from ``from_node`` to ``to_node``; ``left`` and ``right`` face that way.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection
from dataclasses import dataclass, field, replace
from functools import cached_property
from itertools import chain
from operator import attrgetter
from typing import Literal

from crossfall.errors import InputError
from crossfall.model.common import Method, Side

RoadClass = Literal["arterial", "collector", "local", "minimum"]
Surface = Literal["gravel", "earth", "paved", "unknown"]
SurfaceSource = Literal["agency", "tag", "inferred", "unknown"]
Drainage = Literal["good", "fair", "poor"]
Shade = Literal["open", "partial", "forest"]
FeatureKind = Literal[
    "bridge",
    "rail_crossing",
    "culvert",
    "gate",
    "cattle_guard",
    "ford",
    "driveway",
    "pipeline",
    "overhead_line",
    "survey_monument",
    "sign",
    "well",
    "stream",
    "wetland",
    "right_of_way",
]
BackdropKind = Literal["stream", "water", "rail"]
SERVES = ("school", "milk", "logs", "mail", "emergency")
"""Who may depend on a road: school bus, milk truck, log trucks, mail, ambulance and fire."""


def serves_words(text: str) -> str:
    """Words of :data:`SERVES` in a text, each once, in their order, parted by spaces.

    Raises
    ------
    InputError
        If there is another word.

    Examples
    --------
    >>> serves_words("Milk; school, milk")
    'school milk'
    """
    said = set(text.lower().replace(",", " ").replace(";", " ").split())
    strange = sorted(said.difference(SERVES))
    if strange:
        raise InputError(f"serves is {strange[0]!r}; expected words of {', '.join(SERVES)}")
    return " ".join(word for word in SERVES if word in said)


@dataclass(frozen=True, slots=True)
class Node:
    """A junction, a dead end or a place where a segment ends."""

    id: str
    lon: float
    lat: float
    turn_min: float | None = None
    """Minutes to turn a grader around here; None takes the policy's value, inf is too narrow."""


@dataclass(frozen=True, slots=True)
class Segment:
    """One maintenance segment. Lengths in metres; the road's own facts carry how they are known."""

    id: str
    route: str
    """The road's name as people say it; never empty (``Unnamed road 12`` at worst)."""
    from_node: str
    to_node: str
    from_m: float
    """Measure along the route where the segment begins [m]."""
    length_m: float
    line: tuple[tuple[float, float], ...]
    """(lon, lat) pairs, WGS 84, at least two."""
    road_class: RoadClass = "local"
    surface: Surface = "unknown"
    surface_source: SurfaceSource = "unknown"
    is_maintained: bool = True
    """Whether this agency blades it. Paved roads and others' roads are only driven on."""
    jurisdiction: str = ""
    district: str = ""
    """Board district, used for reporting hours."""
    width_m: float = 7.0
    width_method: Method = "default"
    adt: float = 50.0
    """Vehicles a day, both directions."""
    adt_method: Method = "default"
    heavy_share: float = 0.10
    """Share of ``adt`` that is heavy, 0 to 1."""
    travel_km_h: float = 40.0
    """Speed at which a machine travels here, blade up."""
    material: str = "surface gravel"
    """Key into ``Policy.moisture.materials``."""
    drainage: Drainage = "fair"
    shade: Shade = "open"
    gravel_mm: float = 100.0
    """Thickness of surface gravel that is there [mm]."""
    gravel_method: Method = "default"
    grade_pct: float = 1.0
    """Mean absolute longitudinal slope [%]."""
    is_oneway: bool = False
    max_mass_t: float | None = None
    """Posted limit, for example on a bridge or for the season [t]."""
    external_id: str = ""
    """The agency's or the source's own key."""
    source: str = ""
    """The file this came from."""
    serves: str = ""
    """Who depends on it: words of :data:`SERVES`, parted by spaces."""

    @property
    def to_m(self) -> float:
        """Measure along the route where the segment ends [m]."""
        return self.from_m + self.length_m


@dataclass(frozen=True, slots=True)
class PointFeature:
    """Something at one place along a road that a crew must know about."""

    id: str
    kind: FeatureKind
    lon: float
    lat: float
    segment_id: str | None = None
    at_m: float | None = None
    """Metres from the segment's start, when it lies on one."""
    side: Side = "both"
    name: str = ""
    max_mass_t: float | None = None
    source: str = ""


@dataclass(frozen=True, slots=True)
class Backdrop:
    """A line to find one's way by on a map: nothing is measured, decided or costed by it."""

    kind: BackdropKind
    """``stream`` is a creek, ``water`` a river or a shore, ``rail`` a railway."""
    line: tuple[tuple[float, float], ...]
    """(lon, lat) pairs, WGS 84, at least two."""


@dataclass(frozen=True)
class Network:
    """Nodes, segments and features that belong together; ids are unique and references hold.

    Raises
    ------
    InputError
        If an id is doubled, a segment names an unknown node or serves somebody unknown, or a
        length is not positive.
    """

    nodes: tuple[Node, ...]
    segments: tuple[Segment, ...]
    features: tuple[PointFeature, ...] = field(default=())
    backdrop: tuple[Backdrop, ...] = ()
    """Creeks and railways drawn below the roads."""

    def __post_init__(self) -> None:
        _unique("node", [node.id for node in self.nodes])
        _unique("segment", [segment.id for segment in self.segments])
        _unique("feature", [feature.id for feature in self.features])
        known = {node.id for node in self.nodes}
        if not known.issuperset(chain(map(_FROM, self.segments), map(_TO, self.segments))):
            ends = ((each, end) for each in self.segments for end in (each.from_node, each.to_node))
            segment, end = next((each, end) for each, end in ends if end not in known)
            raise InputError(f"segment {segment.id} ends at unknown node {end}")
        for segment in filter(_SERVES, self.segments):
            _check_serves(segment)
        bad = next((each for each in self.segments if not each.length_m > 0), None)
        if bad is not None:
            raise InputError(f"segment {bad.id} has length_m {bad.length_m:g}; expected > 0")

    @cached_property
    def node_by_id(self) -> dict[str, Node]:
        return {node.id: node for node in self.nodes}

    @cached_property
    def segment_by_id(self) -> dict[str, Segment]:
        return {segment.id: segment for segment in self.segments}

    @cached_property
    def features_by_segment(self) -> dict[str, tuple[PointFeature, ...]]:
        found: dict[str, list[PointFeature]] = {}
        for feature in self.features:
            if feature.segment_id is not None:
                found.setdefault(feature.segment_id, []).append(feature)
        return {
            segment_id: tuple(sorted(features, key=lambda feature: feature.at_m or 0.0))
            for segment_id, features in found.items()
        }

    @property
    def maintained(self) -> tuple[Segment, ...]:
        """The segments this agency blades."""
        return tuple(segment for segment in self.segments if segment.is_maintained)

    def without(self, segment_ids: Collection[str]) -> Network:
        """The same network with some segments, and what lies on them, taken out; nodes stay."""
        if not segment_ids:
            return self
        return replace(
            self,
            segments=tuple(each for each in self.segments if each.id not in segment_ids),
            features=tuple(each for each in self.features if each.segment_id not in segment_ids),
        )

    @property
    def maintained_km(self) -> float:
        return sum(segment.length_m for segment in self.maintained) / 1000


def _check_serves(segment: Segment) -> None:
    try:
        serves_words(segment.serves)
    except InputError as error:
        raise InputError(f"segment {segment.id}: {error}") from error


def _unique(kind: str, ids: list[str]) -> None:
    if len(set(ids)) < len(ids):
        twice = next(each for each, n in Counter(ids).items() if n > 1)
        raise InputError(f"{kind} id {twice!r} is there twice; ids must be unique")


# A country has millions of segments: what holds for all of them is asked without a loop of ours
_FROM, _TO, _SERVES = attrgetter("from_node"), attrgetter("to_node"), attrgetter("serves")
