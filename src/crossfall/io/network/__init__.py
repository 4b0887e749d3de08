"""Road networks in: one door for every format, by the file's name.

A file becomes a network and a report of what was found, left out and could not
be settled. Nothing is stored here: the difference to the network that is there
is shown first (:func:`compare`).
"""

from __future__ import annotations

from pathlib import Path

from crossfall.errors import InputError
from crossfall.io.network.assemble import assemble
from crossfall.io.network.options import FIELDS, NetworkOptions
from crossfall.io.network.report import ImportReport, NetworkImport

__all__ = ["FIELDS", "ImportReport", "NetworkImport", "NetworkOptions", "read_network"]

_FORMATS = {
    ".osm": "OpenStreetMap",
    ".osm.gz": "OpenStreetMap",
    ".osm.pbf": "OpenStreetMap",
    ".geojson": "GeoJSON",
    ".json": "GeoJSON",
}


def read_network(path: str | Path, *, options: NetworkOptions | None = None) -> NetworkImport:
    """Read a road network.

    Parameters
    ----------
    path : path
        ``.osm``, ``.osm.gz``, ``.osm.pbf``, ``.gpkg``, ``.geojson``, ``.json`` or ``.csv``.
    options : NetworkOptions, optional
        Column names, coordinate system, and what counts as maintained.

    Raises
    ------
    InputError
        If the file cannot be used; the message names the file, the row or field, and what
        to do.
    """
    path, options = Path(path), options or NetworkOptions()
    format_name = _format(path)
    if format_name == "OpenStreetMap":
        from crossfall.io.network.osm import read_osm

        found = read_osm(path, options)
    else:
        from crossfall.io.network.geojson import read_geojson

        found = read_geojson(path, options)
    return assemble(found, options, file=path.name, format_name=format_name)


def _format(path: Path) -> str:
    name = path.name.lower()
    for suffix, format_name in _FORMATS.items():
        if name.endswith(suffix):
            if not path.is_file():
                raise InputError(f"{path.name} is not there; expected a file to read roads from")
            return format_name
    raise InputError(
        f"{path.name} has a name crossfall does not know; expected one that ends in"
        f" {', '.join(_FORMATS)}"
    )
