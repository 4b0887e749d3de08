"""OpenStreetMap files: ``.osm``, ``.osm.gz`` and ``.osm.pbf``.

Roads meet where they share a node, and nowhere else. Gates, cattle guards,
level crossings and fords are nodes of the road; culverts, streams, pipelines
and power lines are ways that cross it; a bridge is a tag of the road itself.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np

from crossfall.errors import InputError, Problem
from crossfall.io.network import tags as osm_tags
from crossfall.io.network.options import NetworkOptions
from crossfall.io.network.source import Found, count
from crossfall.model import Backdrop
from crossfall.network.roads import FoundLine, FoundPoint, RoadFacts, RoadLines

_CUT = "crossfall:cut"
"""Our own mark for a way that lost vertices; no tag of the source looks like it."""

Vertices = list[tuple[int, float, float]]
"""Node id, lon, lat."""

Way = tuple[str, dict[str, str], Vertices]
"""Our id for the way, its tags and its vertices."""


def read_osm(path: Path, options: NetworkOptions) -> Found:
    """Read roads and features.

    Raises
    ------
    InputError
        If the file is cut short, is not OpenStreetMap data, or has a way twice.
    """
    gather = WayGatherer(path.name, options)
    seen: set[str] = set()
    for found in _objects(path):
        if isinstance(found, FoundPoint):
            gather.points.append(found)
            continue
        if found[0] in seen:
            raise InputError(
                f"{path.name} has way {found[0][1:]} twice; it looks like a history or a merge"
                " of two files: extract one date and import that"
            )
        seen.add(found[0])
        gather.add_way(found)
    return gather.found()


def oriented(tags: dict[str, str], vertices: list[Any]) -> list[Any]:
    """Vertices in the direction of travel where a one-way street was drawn against it."""
    return vertices[::-1] if osm_tags.is_oneway(tags) < 0 else vertices


def _objects(path: Path) -> Iterator[FoundPoint | Way]:
    """Points of interest and ways with their places; what osmium says becomes one sentence."""
    import osmium  # only here: it is large, and most imports are of other formats

    processor = (
        osmium.FileProcessor(str(path), osmium.osm.NODE | osmium.osm.WAY)
        .with_locations()
        .with_filter(osmium.filter.EmptyTagFilter())
    )
    try:
        each: Any
        for each in processor:
            if not each.visible:
                continue
            if each.is_node():
                point = _point(each)
                if point is not None:
                    yield point
            else:
                wanted = dict(each.tags)
                if _matters(wanted):
                    vertices = _vertices(each)
                    if len(vertices) < len(each.nodes):
                        wanted[_CUT] = "yes"
                    yield (f"w{each.id}", wanted, vertices)
    except (RuntimeError, ValueError, osmium.InvalidLocationError) as error:
        said = str(error).strip().rstrip(".") or "no reason given"
        is_damaged = not isinstance(error, RuntimeError) or "invalid token" in said
        cause = "is damaged or not UTF-8" if is_damaged else "was probably cut short"
        raise InputError(
            f"{path.name} cannot be read as OpenStreetMap data ({said}); it {cause}: fetch it again"
        ) from None


def _matters(tags: dict[str, str]) -> bool:
    return "highway" in tags or osm_tags.is_rail(tags) or osm_tags.line_kind(tags) is not None


def _vertices(way: Any) -> Vertices:
    """The longest unbroken part of a way whose nodes are in the file."""
    parts: list[Vertices] = [[]]
    for node in way.nodes:
        if node.location.valid():
            parts[-1].append((node.ref, node.lon, node.lat))
        elif parts[-1]:
            parts.append([])
    return max(parts, key=len)


def _point(node: Any) -> FoundPoint | None:
    tags = dict(node.tags)
    kind = osm_tags.point_kind(tags)
    if kind is None or not node.location.valid():
        return None
    return FoundPoint(
        kind[0], f"n{node.id}", node.lon, node.lat, tags.get("name", ""), must_touch=kind[1]
    )


class WayGatherer:
    """Sorts ways into roads, driveways, rails and lines that cross."""

    def __init__(self, file: str, options: NetworkOptions) -> None:
        self.file, self.options = file, options
        self.points: list[FoundPoint] = []
        self.roads: list[Way] = []
        self.driveways: list[Way] = []
        self.rails: list[Way] = []
        self.crossing: list[FoundLine] = []
        self.backdrop: list[Backdrop] = []
        self.left_out: dict[str, int] = {}
        self.problems: list[Problem] = []
        self.n_zero_length = 0
        self.n_cut = 0

    def add_way(self, way: Way) -> None:
        way_id, tags, vertices = way
        if osm_tags.is_rail(tags):
            self.rails.append(way)
        drawn = osm_tags.backdrop_kind(tags)
        if drawn is not None and len(vertices) > 1:
            self.backdrop.append(Backdrop(drawn, tuple((lon, lat) for _, lon, lat in vertices)))
        kind = osm_tags.line_kind(tags)
        if kind is not None and len(vertices) > 1:
            line = tuple((lon, lat) for _, lon, lat in vertices)
            self.crossing.append(FoundLine(kind, way_id, line, tags.get("name", "")))
        if "highway" not in tags:
            return
        if tags.get("service") == "driveway" and tags["highway"] == "service":
            self.driveways.append(way)
        why_not = osm_tags.why_not_a_road(tags)
        if why_not is None and _CUT in tags:
            self.n_cut += 1
        if why_not is not None:
            count(self.left_out, why_not)
        elif len({ref for ref, _, _ in vertices}) < 2:
            self.n_zero_length += 1
            self.problems.append(
                Problem(f"{self.file} way {way_id[1:]}", "has no length; it was left out")
            )
        else:
            self.roads.append((way_id, tags, oriented(tags, vertices)))

    def found(self, *, has_node_ids: bool = True) -> Found:
        """Everything, as one: roads, features, and what was left out."""
        if not self.roads:
            raise InputError(
                f"{self.file} has no road in it; expected ways tagged highway=track,"
                " unclassified, residential and the like"
            )
        if self.n_cut:
            self.problems.append(
                Problem(
                    self.file,
                    f"{self.n_cut} roads have places outside the file and end at its edge",
                )
            )
        lines = _lines(self.roads, self.options, has_node_ids=has_node_ids)
        touched = {ref for _, _, vertices in self.roads for ref, _, _ in vertices}
        self.points += self._bridges_and_fords()
        self.points += self._rail_crossings(touched)
        self.points += self._driveway_mouths(touched)
        return Found(
            lines=lines,
            points=self.points,
            crossing_lines=self.crossing,
            backdrop=self.backdrop,
            left_out=self.left_out,
            problems=self.problems,
            is_by_agency=False,
            n_zero_length=self.n_zero_length,
        )

    def _bridges_and_fords(self) -> Iterator[FoundPoint]:
        for way_id, tags, vertices in self.roads:
            is_ford = tags.get("ford", "no") != "no"
            if not (osm_tags.is_bridge(tags) or is_ford):
                continue
            lon, lat = middle([(lon, lat) for _, lon, lat in vertices])
            yield FoundPoint(
                "ford" if is_ford else "bridge",
                way_id,
                lon,
                lat,
                tags.get("bridge:name", ""),
                max_mass_t=osm_tags.mass_limit_t(tags),
            )

    def _rail_crossings(self, touched: set[int]) -> Iterator[FoundPoint]:
        known = {point.source_id for point in self.points if point.kind == "rail_crossing"}
        for _, tags, vertices in self.rails:
            for ref, lon, lat in vertices:
                if ref in touched and f"n{ref}" not in known:
                    known.add(f"n{ref}")
                    yield FoundPoint("rail_crossing", f"n{ref}", lon, lat, tags.get("name", ""))

    def _driveway_mouths(self, touched: set[int]) -> Iterator[FoundPoint]:
        for way_id, _, vertices in self.driveways:
            if len(vertices) < 2:
                continue
            for (ref, lon, lat), (_, *further) in (
                (vertices[0], vertices[1]),
                (vertices[-1], vertices[-2]),
            ):
                if ref in touched:
                    yield FoundPoint("driveway", way_id, lon, lat, towards=(further[0], further[1]))


def middle(line: list[tuple[float, float]]) -> tuple[float, float]:
    """A point of the line about half-way along, close enough to put a bridge on the road."""
    places = np.asarray(line)
    shrink = np.array([np.cos(np.radians(places[:, 1].mean())), 1.0])
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*(np.diff(places, axis=0) * shrink).T))])
    half = along[-1] / 2
    return float(np.interp(half, along, places[:, 0])), float(np.interp(half, along, places[:, 1]))


def _lines(roads: list[Way], options: NetworkOptions, *, has_node_ids: bool) -> RoadLines:
    facts: dict[RoadFacts, int] = {}
    fact = [facts.setdefault(osm_tags.facts_of(tags, options), len(facts)) for _, tags, _ in roads]
    n = [len(vertices) for _, _, vertices in roads]
    flat = np.array([vertex for _, _, vertices in roads for vertex in vertices], dtype=np.float64)
    refs = [ref for _, _, vertices in roads for ref, _, _ in vertices]
    limits = [osm_tags.mass_limit_t(tags) for _, tags, _ in roads]
    return RoadLines(
        ids=[way_id for way_id, _, _ in roads],
        places=flat[:, 1:].copy(),
        offsets=np.concatenate([[0], np.cumsum(n)]).astype(np.int64),
        facts=list(facts),
        fact=np.array(fact, dtype=np.int64),
        key=np.array(refs, dtype=np.int64),
        are_keys_ids=has_node_ids,
        level=np.array([osm_tags.level_of(tags) for _, tags, _ in roads], dtype=np.int64),
        is_bridge=np.array([osm_tags.is_bridge(tags) for _, tags, _ in roads], dtype=np.bool_),
        max_mass_t=np.array([np.nan if t is None else t for t in limits], dtype=np.float64),
        rows=[f"way {way_id[1:]}" for way_id, _, _ in roads],
    )
