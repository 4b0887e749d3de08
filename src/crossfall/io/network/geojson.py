"""GeoJSON: an agency's lines, or roads that somebody exported from OpenStreetMap.

The second kind carries OpenStreetMap tags as properties, ``highway`` among
them, and is read by the same rules as the original: places with equal
coordinates are the same node. Columns that carry our names count beside the
tags; and where no id is one of OpenStreetMap, somebody drew the lines, and
their ends are joined as those of an agency.
"""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from crossfall.errors import InputError, refuse
from crossfall.io.network import tags as osm_tags
from crossfall.io.network.cells import Cells, with_said
from crossfall.io.network.options import NetworkOptions
from crossfall.io.network.osm import WayGatherer
from crossfall.io.network.place import to_lonlat
from crossfall.io.network.source import Found, count
from crossfall.io.network.table import LineTable, pack
from crossfall.io.network.words import WELL_KNOWN
from crossfall.network.roads import FoundPoint, RoadFacts, RoadLines

Feature = dict[str, Any]


def read_geojson(path: Path, options: NetworkOptions) -> LineTable | Found:
    """Read the table of an agency, or, from OpenStreetMap, roads and features at once.

    Raises
    ------
    InputError
        If the file is not JSON or not GeoJSON, is empty, or its lines cannot be used.
    """
    collection, features = _load(path, options)
    table = _table(features, collection, path.name)
    if _is_osm(table) and not options.columns:
        return _as_osm(table, features, options)
    return table


def geojson_table(path: Path, options: NetworkOptions) -> LineTable:
    """The features of a file as a table, whatever their properties."""
    collection, features = _load(path, options)
    return _table(features, collection, path.name)


def _load(path: Path, options: NetworkOptions) -> tuple[Any, list[Feature]]:
    try:
        text = path.read_bytes().decode(options.encoding)
    except UnicodeDecodeError as error:
        raise InputError(
            f"{path.name} is not {options.encoding} text (byte {error.start}); save it as UTF-8"
            " or name its encoding"
        ) from None
    try:
        collection = json.loads(text.removeprefix("\ufeff"))
    except RecursionError:
        raise InputError(f"{path.name} is nested deeper than any map; it was not read") from None
    except json.JSONDecodeError as error:
        raise InputError(
            f"{path.name} line {error.lineno} is not JSON ({error.msg}); the file was probably"
            " cut short: fetch it again"
        ) from None
    return collection, _features(collection, path.name)


def _features(collection: Any, file: str) -> list[Feature]:
    kind = collection.get("type") if isinstance(collection, dict) else None
    if kind == "Feature":
        features: Any = [collection]
    elif kind == "FeatureCollection":
        features = collection.get("features")
    elif kind in ("LineString", "MultiLineString"):
        features = [{"type": "Feature", "properties": {}, "geometry": collection}]
    else:
        raise InputError(f"{file} has type {kind!r}; expected a GeoJSON FeatureCollection")
    if not isinstance(features, list) or not all(isinstance(f, dict) for f in features):
        raise InputError(f"{file}: 'features' is not a list of features")
    if not features:
        raise InputError(f"{file} has no feature in it; expected road lines")
    # Facts that crossfall wrote beside its network are no roads
    roads = [f for f in features if (f.get("properties") or {}).keys() != {"table", "facts"}]
    return roads or features


def _table(features: list[Feature], collection: Any, file: str) -> LineTable:
    lines: list[tuple[int, list[list[float]]]] = []
    points: list[tuple[int, list[list[float]]]] = []
    others: dict[str, int] = {}
    empty: list[int] = []
    for row, feature in enumerate(features):
        geometry = feature.get("geometry") or {}
        kind, positions = geometry.get("type"), geometry.get("coordinates")
        if not positions:
            empty.append(row)
        elif kind == "LineString":
            lines.append((row, positions))
        elif kind == "MultiLineString":
            lines += [(row, part) for part in positions]
        elif kind == "Point":
            points.append((row, [positions]))
        else:
            count(others, str(kind))
    try:
        places, offsets, line_row = pack(lines)
        point_places, _, point_row = pack(points)
    except (TypeError, ValueError):
        raise InputError(
            f"{file}: a position is not a pair of numbers; expected [longitude, latitude]"
        ) from None
    names = dict.fromkeys(name for each in features for name in (each.get("properties") or {}))
    properties = [each.get("properties") or {} for each in features]
    return LineTable(
        file=file,
        columns={name: [_cell(each.get(name)) for each in properties] for name in names},
        n_rows=len(features),
        places=places,
        offsets=offsets,
        line_row=line_row,
        point_places=point_places,
        point_row=point_row,
        crs=_crs(collection),
        others=others,
        empty_rows=empty,
        label=lambda row: f"feature {row + 1}",
        row_ids=[each.get("id") for each in features],
    )


def _cell(value: Any) -> Any:
    """A value as one cell; lists and objects as their text."""
    return json.dumps(value) if isinstance(value, list | dict) else value


def _crs(collection: Any) -> str | None:
    """The old way to name a system; the present standard has only lon/lat."""
    named = (collection.get("crs") or {}).get("properties", {}).get("name")
    return None if named is None or "CRS84" in str(named) else str(named)


def _is_osm(table: LineTable) -> bool:
    words = {str(word) for word in table.columns.get("highway", ()) if word is not None}
    return bool(words & (osm_tags.ROAD_CLASS.keys() | osm_tags.CLOSED_TO_MACHINES.keys()))


def _as_osm(table: LineTable, features: list[Feature], options: NetworkOptions) -> Found:
    """Ways and nodes again, with equal coordinates as the node they share."""
    table.places = to_lonlat(table.places, table.crs, options, file=table.file)
    gather = WayGatherer(table.file, options)
    tags = [_tags(feature) for feature in features]
    node: dict[tuple[float, float], int] = {}
    places, offsets = table.places.tolist(), table.offsets.tolist()
    names = _unique_names(table, tags)
    for line, row in enumerate(table.line_row.tolist()):
        part = places[offsets[line] : offsets[line + 1]]
        vertices = [(node.setdefault((x, y), len(node)), x, y) for x, y in part]
        gather.add_way((names[row], tags[row], vertices))
    if len(table.point_places):
        lonlat = to_lonlat(table.point_places, table.crs, options, file=table.file)
        for row, (lon, lat) in zip(table.point_row.tolist(), lonlat.tolist(), strict=True):
            kind = osm_tags.point_kind(tags[row])
            if kind is not None:
                name = tags[row].get("name", "")
                gather.points.append(
                    FoundPoint(kind[0], names[row], lon, lat, name, must_touch=kind[1])
                )
    for what, n in table.others.items():
        gather.left_out["areas" if what.endswith("Polygon") else what] = n
    found, is_extract = gather.found(has_node_ids=False), _has_osm_ids(table)
    row_of = {name: row for row, name in enumerate(names)}
    lines = _with_own_columns(found, table, row_of, options, is_extract=is_extract)
    if is_extract:
        return replace(found, lines=lines)
    return replace(found, lines=replace(lines, key=None), is_by_agency=True)


def _with_own_columns(
    found: Found,
    table: LineTable,
    row_of: dict[str, int],
    options: NetworkOptions,
    *,
    is_extract: bool,
) -> RoadLines:
    """What columns with our names say counts before the tags."""
    lines = found.lines
    assert lines is not None
    fields = _NEVER_TAGS if is_extract else (*_NEVER_TAGS, *_ALSO_TAGS)
    by_lower = {name.lower(): name for name in reversed(list(table.columns))}
    columns = {
        field: by_lower[name]
        for field in fields
        for name in reversed(WELL_KNOWN[field])
        if name in by_lower and name not in _TAGS
    }
    if "surface" in by_lower and (options.surface_words or not is_extract):
        columns["surface"] = by_lower["surface"]
    if not columns:
        return lines
    cells = Cells(table, columns, options, found.problems)
    said, of_row = cells.said()
    limits, official = cells.numbers("max_mass_t"), cells.official_m()
    refuse(cells.bad)
    rows = np.array([row_of[name] for name in lines.ids], dtype=np.int64)
    facts: dict[RoadFacts, int] = {}
    fact = [
        facts.setdefault(with_said(lines.facts[old], said[of_row[row]], options), len(facts))
        for old, row in zip(lines.fact.tolist(), rows.tolist(), strict=True)
    ]
    tagged = lines.max_mass_t if lines.max_mass_t is not None else np.full(len(rows), np.nan)
    is_whole = np.bincount(rows)[rows] == 1
    return replace(
        lines,
        facts=list(facts),
        fact=np.array(fact, dtype=np.int64),
        max_mass_t=np.where(np.isnan(limits[rows]), tagged, limits[rows]),
        official_m=np.where(is_whole, official[rows], np.nan),
    )


def _has_osm_ids(table: LineTable) -> bool:
    """Whether roads bear ids of OpenStreetMap, so that they meet only where they share a place."""
    if any(name.lower() in _OSM_IDS for name in table.columns):
        return True
    return any(str(each).startswith(("way/", "node/")) for each in table.row_ids or ())


_OSM_IDS = {"@id", "osm_id", "osmid", "osm_way_id", "full_id", "way_id"}
_TAGS = {"width", "surface", "owner", "bridge", "layer", "highway", "name", "oneway"}
"""Names of columns that are tags of OpenStreetMap, which are read as such."""
_NEVER_TAGS = (
    "width_m", "width_method", "adt", "adt_method", "heavy_share", "gravel_mm", "gravel_method",
    "surface_source", "grade_pct", "max_mass_t", "travel_km_h", "is_maintained", "length_m",
    "jurisdiction", "serves",
)  # fmt: skip
"""Fields of ours whose names nobody uses for a tag."""
_ALSO_TAGS = ("route", "district", "material", "drainage", "shade")


def _tags(feature: Feature) -> dict[str, str]:
    properties = feature.get("properties") or {}
    return {name: str(value) for name, value in properties.items() if value is not None}


def _unique_names(table: LineTable, tags: list[dict[str, str]]) -> list[str]:
    """``w123`` for ``way/123``, as in the original file; refuses a key that is there twice."""
    names: list[str] = []
    first: dict[str, int] = {}
    for row, each in enumerate(tags):
        own = table.row_ids[row] if table.row_ids is not None else None
        key = str(each.get("@id") or own or each.get("osm_id") or each.get("id") or "")
        kind, _, number = key.partition("/")
        name = f"{kind[:1]}{number}" if number else (f"w{key}" if key else f"row{row + 1}")
        if name in first:
            raise InputError(
                f"{table.file}: {table.label(row)} has the id {key!r} of"
                f" {table.label(first[name])}; ids must be unique"
            )
        first[name] = row
        names.append(name)
    return names
