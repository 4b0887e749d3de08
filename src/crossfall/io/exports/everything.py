"""Everything with a place, in one GeoPackage or GeoJSON that any GIS opens.

Facts on a road are drawn along the stretch they are true of, hazards and requests at their place;
what has no place (machines, sums of their days) is a plain table. The layers of the network are
those that crossfall reads back.
"""

from __future__ import annotations

import json
import os
import sqlite3
import struct
from collections.abc import Callable, Iterable, Sequence
from contextlib import closing
from pathlib import Path
from typing import Any

from crossfall.errors import InputError
from crossfall.io.export import network_layers, package_frame, write_geojson
from crossfall.io.exports.schema import TABLES, Table, columns_of, plain
from crossfall.model import District, Network
from crossfall.network.linear import LinearReference

Places = Sequence[tuple[float, float]]

_NETWORK = {"nodes", "segments", "features", "backdrop"}
_LEAST_M = 0.5
_SQL = {"number": "DOUBLE", "integer": "INTEGER", "boolean": "BOOLEAN", "date": "DATE"}


def write_everything(district: District, path: str | Path) -> Path:
    """Write ``.gpkg`` or ``.geojson``; the same content gives the same bytes.

    Raises
    ------
    InputError
        If the name says neither.
    """
    path = Path(path)
    writers: dict[str, Callable[[District, Path], None]] = {
        ".gpkg": _geopackage,
        ".geojson": _geojson,
    }
    if path.suffix.lower() not in writers:
        raise InputError(f"{path.name} does not end in {' or '.join(writers)}")
    partial = path.with_name(path.name + ".part")
    try:
        writers[path.suffix.lower()](district, partial)
        os.replace(partial, path)
    finally:
        partial.unlink(missing_ok=True)
    return path


def _geopackage(district: District, path: Path) -> None:
    path.unlink(missing_ok=True)
    drawn = _Drawn(district.network)
    with closing(sqlite3.connect(path)) as package, package:
        package_frame(package)
        network_layers(package, district.network)
        for table in TABLES:
            if table.name in _NETWORK:
                continue
            nouns = table.of(district)
            shapes = [drawn.places(table, noun) for noun in nouns]
            _layer(package, table, nouns, shapes if any(shapes) else None)


def _layer(
    package: sqlite3.Connection,
    table: Table,
    nouns: Sequence[Any],
    shapes: Sequence[Places] | None,
) -> None:
    columns = columns_of(table)
    declared = ", ".join(f'"{c.name}" {_SQL.get(c.type, "TEXT")}' for c in columns)
    geometry = ", geom GEOMETRY" if shapes is not None else ""
    package.execute(
        f'CREATE TABLE "{table.name}" (fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL{geometry},'
        f" {declared})"
    )
    flat = [place for places in shapes or () for place in places] or [(0.0, 0.0)]
    lons, lats = [lon for lon, _ in flat], [lat for _, lat in flat]
    is_drawn = shapes is not None
    package.execute(
        "INSERT INTO gpkg_contents (table_name, data_type, identifier, min_x, min_y, max_x, max_y,"
        " srs_id) VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
        (
            table.name, "features" if is_drawn else "attributes", table.name,
            *((min(lons), min(lats), max(lons), max(lats)) if is_drawn else (None,) * 4),
            4326 if is_drawn else None,
        ),
    )  # fmt: skip
    if shapes is not None:
        package.execute(
            "INSERT INTO gpkg_geometry_columns VALUES (?, 'geom', 'GEOMETRY', 4326, 0, 0)",
            (table.name,),
        )
    marks = ", ".join("?" for _ in range(len(columns) + is_drawn))
    names = ", ".join(["geom"] * is_drawn + [f'"{c.name}"' for c in columns])
    rows = (
        ((_blob(shapes[k]),) if shapes is not None else ()) + tuple(_sql_values(table, noun))
        for k, noun in enumerate(nouns)
    )
    package.executemany(f'INSERT INTO "{table.name}" ({names}) VALUES ({marks})', rows)


def _sql_values(table: Table, noun: Any) -> Iterable[Any]:
    for column in columns_of(table):
        value = plain(getattr(noun, column.field), column.hint)
        if column.type in ("array", "object") and value is not None:
            value = json.dumps(value, ensure_ascii=False, sort_keys=True)
        yield value


def _blob(places: Places) -> bytes | None:
    """A GeoPackage geometry of a point or a line; None for no place."""
    if not places:
        return None
    lons, lats = [lon for lon, _ in places], [lat for _, lat in places]
    head = struct.pack("<2sBBi4d", b"GP", 0, 0b11, 4326, min(lons), max(lons), min(lats), max(lats))
    flat = [degrees for place in places for degrees in place]
    if len(places) == 1:
        return head + struct.pack("<BI2d", 1, 1, *flat)
    return head + struct.pack(f"<BII{len(flat)}d", 1, 2, len(places), *flat)


def _geojson(district: District, path: Path) -> None:
    """The network as it is always written, and one feature for every other fact with a place."""
    write_geojson(district.network, path)
    drawn = _Drawn(district.network)
    text = path.read_text(encoding="utf-8")
    end = "\n]}\n"
    assert text.endswith(end), "the writer of networks ends a collection so"
    with path.open("w", encoding="utf-8") as file:
        file.write(text.removesuffix(end))
        for table in TABLES:
            if table.name in _NETWORK:
                continue
            for noun in table.of(district):
                places = drawn.places(table, noun)
                if places:
                    feature = {
                        "type": "Feature",
                        "properties": {
                            "table": table.name,
                            "facts": {
                                column.name: plain(getattr(noun, column.field), column.hint)
                                for column in columns_of(table)
                            },
                        },
                        "geometry": _geometry(places),
                    }
                    file.write(",\n" + json.dumps(feature, ensure_ascii=False, allow_nan=False))
        file.write(end)


def _geometry(places: Places) -> dict[str, Any]:
    if len(places) == 1:
        return {"type": "Point", "coordinates": list(places[0])}
    return {"type": "LineString", "coordinates": [list(place) for place in places]}


class _Drawn:
    """Where a fact lies: at its own place, or along the stretch of road it is true of."""

    def __init__(self, network: Network) -> None:
        self._network, self._linear = network, LinearReference(network)

    def places(self, table: Table, noun: Any) -> Places:
        lon, lat = getattr(noun, "lon", None), getattr(noun, "lat", None)
        if lon is not None and lat is not None:
            return ((lon, lat),)
        segment = self._network.segment_by_id.get(getattr(noun, "segment_id", None) or "")
        if segment is None:
            return ()
        at_m = getattr(noun, "at_m", None)
        if at_m is not None:
            return (self._linear.place(segment.id, min(max(at_m, 0.0), segment.length_m)),)
        from_m, to_m = getattr(noun, "from_m", None), getattr(noun, "to_m", None)
        first = 0.0 if from_m is None else min(max(from_m, 0.0), segment.length_m)
        last = segment.length_m if to_m is None else min(max(to_m, 0.0), segment.length_m)
        if last - first < _LEAST_M:
            return (self._linear.place(segment.id, first),)
        if first == 0.0 and last == segment.length_m:
            return segment.line
        return self._linear.stretch(segment.id, first, last)
