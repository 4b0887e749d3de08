"""One short flow for each format, all ending in the same assembly."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import closing
from pathlib import Path

from crossfall.io.network.assemble import assemble
from crossfall.io.network.columns import lines_of_table
from crossfall.io.network.csv_wkt import read_csv
from crossfall.io.network.describe import Counts, describe
from crossfall.io.network.geojson import read_geojson
from crossfall.io.network.geopackage import (
    feature_layers,
    layer_table,
    open_package,
    read_layer,
)
from crossfall.io.network.options import NetworkOptions
from crossfall.io.network.osm import read_osm
from crossfall.io.network.own import is_own, read_own
from crossfall.io.network.place import near_enough
from crossfall.io.network.report import NetworkImport
from crossfall.io.network.source import Found
from crossfall.io.network.table import LineTable
from crossfall.io.text import unguarded


def from_osm(path: Path, options: NetworkOptions) -> NetworkImport:
    """An OpenStreetMap extract: noded at shared points."""
    found = read_osm(path, options)
    return assemble(found, options, file=path.name, format_name="OpenStreetMap")


def from_geojson(path: Path, options: NetworkOptions) -> NetworkImport:
    """GeoJSON: an agency's lines, an extract with tags, or a network of our own."""
    table = read_geojson(path, options)
    if isinstance(table, Found):
        return assemble(table, options, file=path.name, format_name="GeoJSON")
    if is_own(table, options):
        return _own(table, [], options, format_name="GeoJSON")
    return _agency(table, options, format_name="GeoJSON")


def from_geopackage(path: Path, options: NetworkOptions) -> NetworkImport:
    """GeoPackage: an agency's layer, or a network of our own."""
    table = read_layer(path, options)
    if not is_own(table, options):
        return _agency(table, options, format_name="GeoPackage")
    with closing(open_package(path)) as package:
        layers = feature_layers(package, path.name)
        others = [
            layer_table(package, name, path.name, may_be_empty=True)
            for name in ("features", "nodes", "backdrop")
            if name in layers
        ]
    return _own(table, others, options, format_name="GeoPackage")


def from_csv(path: Path, options: NetworkOptions) -> NetworkImport:
    """CSV with WKT: an agency's table, or a network of our own with its tables beside it."""
    table = read_csv(path, options)
    if not is_own(table, options):
        return _agency(table, options, format_name="CSV")
    stem = path.with_suffix("")
    parts = ("features", "nodes", "backdrop")
    beside = [stem.with_name(f"{stem.name}.{part}.csv") for part in parts]
    others = [read_csv(each, options, may_be_empty=True) for each in beside if each.is_file()]
    for each in (table, *others):
        # Text that a spreadsheet would run was written with an apostrophe before it
        each.columns = {
            name: [unguarded(cell) if isinstance(cell, str) else cell for cell in cells]
            for name, cells in each.columns.items()
        }
    return _own(table, others, options, format_name="CSV")


def from_gis(path: Path, options: NetworkOptions) -> NetworkImport:
    """Shapefile, FlatGeobuf or file geodatabase, alone or in a ZIP; needs the extra."""
    from crossfall.io.network.gis import gis_table

    table = gis_table(path, options)
    if is_own(table, options):
        return _own(table, [], options, format_name="GIS")
    return _agency(table, options, format_name=_gis_name(path))


def _gis_name(path: Path) -> str:
    names = {".shp": "Shapefile", ".fgb": "FlatGeobuf", ".gdb": "File geodatabase"}
    return names.get(path.suffix.lower(), "ZIP of a GIS")


BY_SUFFIX: dict[str, Callable[[Path, NetworkOptions], NetworkImport]] = {
    ".osm": from_osm,
    ".osm.gz": from_osm,
    ".osm.pbf": from_osm,
    ".gpkg": from_geopackage,
    ".geojson": from_geojson,
    ".json": from_geojson,
    ".csv": from_csv,
    ".shp": from_gis,
    ".fgb": from_gis,
    ".gdb": from_gis,
    ".zip": from_gis,
}


def _agency(table: LineTable, options: NetworkOptions, *, format_name: str) -> NetworkImport:
    found = lines_of_table(table, options)
    return assemble(found, options, file=table.file, format_name=format_name)


def _own(
    table: LineTable, others: list[LineTable], options: NetworkOptions, *, format_name: str
) -> NetworkImport:
    near_enough(table.places, options, file=table.file)
    network = read_own(table, others, options)
    found = Found(lines=None, assumed=["ids, nodes and measures are those of the file"])
    counts = Counts(n_lines=len(network.segments))
    report = describe(network, found, counts, options, file=table.file, format_name=format_name)
    return NetworkImport(network, report)
