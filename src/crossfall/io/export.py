"""The network out: GeoJSON, GeoPackage and CSV that any GIS opens and crossfall reads back.

The columns are the fields of the nouns with their units in the name. Nothing is
rounded: what goes out comes in again, equal. A file is written beside its
target and moved there when it is complete, so that an interrupted export
leaves the old one.
"""

from __future__ import annotations

import csv
import json
import os
import sqlite3
import struct
from collections.abc import Callable, Iterable, Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

from crossfall.errors import InputError
from crossfall.io.network.own import column_names
from crossfall.io.text import guarded
from crossfall.model import Backdrop, Network, Node, PointFeature, Segment

_WGS84_WKT = (
    'GEOGCS["WGS 84",DATUM["WGS_1984",SPHEROID["WGS 84",6378137,298.257223563,'
    'AUTHORITY["EPSG","7030"]],AUTHORITY["EPSG","6326"]],PRIMEM["Greenwich",0],'
    'UNIT["degree",0.0174532925199433],AUTHORITY["EPSG","4326"]]'
)
_GPKG_APPLICATION_ID = 0x47504B47
_GPKG_VERSION = 10300
_LAYERS: dict[type, tuple[str, str]] = {
    Segment: ("segments", "LINESTRING"),
    PointFeature: ("features", "POINT"),
    Node: ("nodes", "POINT"),
    Backdrop: ("backdrop", "LINESTRING"),
}


def write_network(network: Network, path: str | Path) -> Path:
    """Write a network in the format its name says: ``.geojson``, ``.gpkg`` or ``.csv``.

    CSV needs a file for each kind of row: ``roads.csv``, ``roads.features.csv``,
    ``roads.nodes.csv`` and ``roads.backdrop.csv``.

    Raises
    ------
    InputError
        If the name says none of these, or the folder is not there.
    """
    path = Path(path)
    writers: dict[str, Callable[[Network, Path], None]] = {
        ".geojson": write_geojson,
        ".gpkg": write_geopackage,
        ".csv": write_csv,
    }
    if path.suffix.lower() not in writers:
        raise InputError(
            f"{path.name} has a name crossfall cannot write; expected {', '.join(writers)}"
        )
    if not path.parent.is_dir():
        raise InputError(f"the folder {path.parent.name!r} for {path.name} is not there")
    writers[path.suffix.lower()](network, path)
    return path


def write_geojson(network: Network, path: Path) -> None:
    """One collection (RFC 7946): segments, features, nodes, and the lines behind the roads."""

    def write(target: Path) -> None:
        with target.open("w", encoding="utf-8") as file:
            file.write('{"type": "FeatureCollection", "features": [\n')
            separator = ""
            for noun in _nouns(network):
                feature = {
                    "type": "Feature",
                    **({} if isinstance(noun, Backdrop) else {"id": noun.id}),
                    "properties": {
                        name: "inf" if value == float("inf") else value
                        for name, value in _record(noun).items()
                    },
                    "geometry": _geojson_geometry(noun),
                }
                file.write(separator + json.dumps(feature, ensure_ascii=False, allow_nan=False))
                separator = ",\n"
            file.write("\n]}\n")

    _whole_or_nothing(path, write)


def write_csv(network: Network, path: Path) -> None:
    """A file with a header for each kind; geometry as well-known text in the column ``wkt``."""

    def write(nouns: Iterable[Any], noun: type, target: Path) -> None:
        with target.open("w", encoding="utf-8", newline="") as file:
            writer = csv.writer(file)
            writer.writerow([*column_names(noun).values(), "wkt"])
            for each in nouns:
                cells = (_csv_cell(value) for value in _record(each).values())
                writer.writerow([*cells, _wkt(each)])

    stem = path.with_suffix("")
    for nouns, noun, target in (
        (network.nodes, Node, stem.with_name(stem.name + ".nodes.csv")),
        (network.features, PointFeature, stem.with_name(stem.name + ".features.csv")),
        (network.backdrop, Backdrop, stem.with_name(stem.name + ".backdrop.csv")),
        (network.segments, Segment, path),
    ):
        _whole_or_nothing(target, lambda file, n=nouns, k=noun: write(n, k, file))  # type: ignore[misc]


def write_geopackage(network: Network, path: Path) -> None:
    """Layers ``segments``, ``features``, ``nodes`` and ``backdrop`` (OGC GeoPackage 1.3)."""

    def write(target: Path) -> None:
        target.unlink(missing_ok=True)
        with closing(sqlite3.connect(target)) as package, package:
            package_frame(package)
            network_layers(package, network)

    _whole_or_nothing(path, write)


def package_frame(package: sqlite3.Connection) -> None:
    """Make an empty database a GeoPackage; nothing in it tells when, so that bytes repeat."""
    package.execute("PRAGMA journal_mode = MEMORY")
    package.execute(f"PRAGMA application_id = {_GPKG_APPLICATION_ID}")
    package.execute(f"PRAGMA user_version = {_GPKG_VERSION}")
    _core_tables(package)


def network_layers(package: sqlite3.Connection, network: Network) -> None:
    """The four layers that crossfall reads back."""
    _write_layer(package, Segment, network.segments)
    _write_layer(package, PointFeature, network.features)
    _write_layer(package, Node, network.nodes)
    _write_layer(package, Backdrop, network.backdrop)


def _nouns(network: Network) -> Iterator[Any]:
    yield from network.segments
    yield from network.features
    yield from network.nodes
    yield from network.backdrop


def _record(noun: Any) -> dict[str, Any]:
    return {column: getattr(noun, name) for name, column in column_names(type(noun)).items()}


def _places(noun: Any) -> tuple[tuple[float, float], ...]:
    return noun.line if isinstance(noun, Segment | Backdrop) else ((noun.lon, noun.lat),)


def _geojson_geometry(noun: Any) -> dict[str, Any]:
    if isinstance(noun, Segment | Backdrop):
        return {"type": "LineString", "coordinates": [list(place) for place in noun.line]}
    return {"type": "Point", "coordinates": [noun.lon, noun.lat]}


def _wkt(noun: Any) -> str:
    text = ", ".join(f"{lon!r} {lat!r}" for lon, lat in _places(noun))
    return f"{'LINESTRING' if isinstance(noun, Segment | Backdrop) else 'POINT'} ({text})"


def _csv_cell(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float):
        return repr(value)
    return "" if value is None else guarded(str(value))


def _blob(noun: Any) -> bytes:
    """Header of a GeoPackage geometry (little endian, envelope of x and y), then its WKB."""
    places = _places(noun)
    lons, lats = [lon for lon, _ in places], [lat for _, lat in places]
    flat = [degrees for place in places for degrees in place]
    head = struct.pack("<2sBBi4d", b"GP", 0, 0b11, 4326, min(lons), max(lons), min(lats), max(lats))
    if isinstance(noun, Segment | Backdrop):
        return head + struct.pack(f"<BII{len(flat)}d", 1, 2, len(places), *flat)
    return head + struct.pack("<BI2d", 1, 1, *flat)


def _core_tables(package: sqlite3.Connection) -> None:
    package.executescript(
        """
        CREATE TABLE gpkg_spatial_ref_sys (
            srs_name TEXT NOT NULL, srs_id INTEGER PRIMARY KEY, organization TEXT NOT NULL,
            organization_coordsys_id INTEGER NOT NULL, definition TEXT NOT NULL,
            description TEXT);
        CREATE TABLE gpkg_contents (
            table_name TEXT NOT NULL PRIMARY KEY, data_type TEXT NOT NULL,
            identifier TEXT UNIQUE, description TEXT DEFAULT '',
            last_change DATETIME NOT NULL DEFAULT '1980-01-01T00:00:00.000Z',
            min_x DOUBLE, min_y DOUBLE, max_x DOUBLE, max_y DOUBLE, srs_id INTEGER,
            CONSTRAINT fk_gc_r_srs_id FOREIGN KEY (srs_id)
                REFERENCES gpkg_spatial_ref_sys (srs_id));
        CREATE TABLE gpkg_geometry_columns (
            table_name TEXT NOT NULL, column_name TEXT NOT NULL,
            geometry_type_name TEXT NOT NULL, srs_id INTEGER NOT NULL,
            z TINYINT NOT NULL, m TINYINT NOT NULL,
            CONSTRAINT pk_geom_cols PRIMARY KEY (table_name, column_name),
            CONSTRAINT fk_gc_tn FOREIGN KEY (table_name) REFERENCES gpkg_contents (table_name),
            CONSTRAINT fk_gc_srs FOREIGN KEY (srs_id) REFERENCES gpkg_spatial_ref_sys (srs_id));
        """
    )
    package.executemany(
        "INSERT INTO gpkg_spatial_ref_sys VALUES (?, ?, ?, ?, ?, ?)",
        [
            ("Undefined cartesian", -1, "NONE", -1, "undefined", None),
            ("Undefined geographic", 0, "NONE", 0, "undefined", None),
            ("WGS 84 geodetic", 4326, "EPSG", 4326, _WGS84_WKT, "longitude, latitude"),
        ],
    )


def _write_layer(package: sqlite3.Connection, noun: type, nouns: tuple[Any, ...]) -> None:
    layer, geometry = _LAYERS[noun]
    columns = list(column_names(noun).values())
    types: dict[Any, str] = {bool: "BOOLEAN", float: "DOUBLE"}
    sample = _record(nouns[0]) if nouns else {}
    declared = ", ".join(
        f'"{name}" {types.get(type(sample.get(name)), _usual_type(name))}' for name in columns
    )
    package.execute(
        f"CREATE TABLE {layer} (fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL,"
        f" geom {geometry}, {declared})"
    )
    places = [place for each in nouns for place in _places(each)] or [(0.0, 0.0)]
    lons, lats = [lon for lon, _ in places], [lat for _, lat in places]
    package.execute(
        "INSERT INTO gpkg_contents (table_name, data_type, identifier, min_x, min_y, max_x, max_y,"
        " srs_id) VALUES (?, 'features', ?, ?, ?, ?, ?, 4326)",
        (layer, layer, min(lons), min(lats), max(lons), max(lats)),
    )
    package.execute(
        "INSERT INTO gpkg_geometry_columns VALUES (?, 'geom', ?, 4326, 0, 0)", (layer, geometry)
    )
    marks = ", ".join("?" for _ in columns)
    package.executemany(
        f"INSERT INTO {layer} (geom, {', '.join(columns)}) VALUES (?, {marks})",
        ((_blob(each), *_record(each).values()) for each in nouns),
    )


def _usual_type(name: str) -> str:
    """Columns that may be empty everywhere still say what they would hold."""
    return "DOUBLE" if name.endswith(("_m", "_t", "_min")) else "TEXT"


def _whole_or_nothing(path: Path, write: Callable[[Path], None]) -> None:
    """Write beside the target, then move; a failure leaves what was there."""
    partial = path.with_name(path.name + ".part")
    try:
        write(partial)
        os.replace(partial, path)
    finally:
        partial.unlink(missing_ok=True)
