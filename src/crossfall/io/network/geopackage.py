"""GeoPackage: one SQLite file, one table per layer, geometry as well-known binary.

Each geometry has a short header (the letters GP, a version, flags, the system,
and possibly an envelope) before the binary that everything else understands.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from contextlib import closing
from pathlib import Path
from typing import Any

import numpy as np
import shapely

from crossfall.errors import InputError
from crossfall.io.network.options import NetworkOptions
from crossfall.io.network.table import LineTable, table_of_shapes

_ENVELOPE_BYTES = (0, 32, 48, 48, 64)
_EXTENDED = 0b100000
"""Flag of a geometry that only its own program understands."""


def read_layer(path: Path, options: NetworkOptions, *, of_lines: bool = True) -> LineTable:
    """Read one layer (of road lines); with several, ``options.layer`` chooses.

    Raises
    ------
    InputError
        If the file is damaged or no GeoPackage, or the layer is absent or empty.
    """
    with closing(open_package(path)) as package:
        layers = feature_layers(package, path.name)
        name = _choose(layers, options.layer, path.name, of_lines=of_lines)
        return layer_table(package, name, path.name)


def open_package(path: Path) -> sqlite3.Connection:
    """Open for reading only; the sender's file is never touched."""
    try:
        package = sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True)
        package.execute("SELECT count(*) FROM gpkg_geometry_columns").fetchone()
    except (sqlite3.DatabaseError, UnicodeDecodeError) as error:
        raise InputError(
            f"{path.name} is not a GeoPackage that can be read ({error}); it may have been cut"
            " short: fetch it again"
        ) from None
    return package


def feature_layers(package: sqlite3.Connection, file: str) -> dict[str, str]:
    """Layers with a geometry: name and type in capitals."""
    rows = _rows(package, "SELECT table_name, geometry_type_name FROM gpkg_geometry_columns", file)
    return {str(name): str(kind).upper() for name, kind in rows}


def layer_table(
    package: sqlite3.Connection, name: str, file: str, *, may_be_empty: bool = False
) -> LineTable:
    """All rows of a layer."""
    told = _rows(
        package,
        "SELECT column_name, srs_id FROM gpkg_geometry_columns WHERE table_name = ?",
        file,
        name,
    )
    if not told:
        raise InputError(f"{file}: layer {name!r} is damaged; export it again")
    geometry, srs_id = told[0]
    info = _rows(package, f"PRAGMA table_info({_quoted(name)})", file)
    names = [str(row[1]) for row in info]
    key = next((str(row[1]) for row in info if row[5]), None)
    order = f" ORDER BY {_quoted(key)}" if key else ""
    chosen = ", ".join(_quoted(each) for each in names)
    rows = _rows(package, f"SELECT {chosen} FROM {_quoted(name)}{order}", file)
    if not rows and not may_be_empty:
        raise InputError(f"{file}: layer {name!r} is empty; expected road lines")
    cells = zip(*rows, strict=True) if rows else iter([()] * len(names))
    columns: dict[str, Any] = dict(zip(names, cells, strict=True))
    if str(geometry) not in columns:
        raise InputError(f"{file}: layer {name!r} has no column {geometry!r}; it is damaged")
    keys = columns.pop(key) if key is not None and key != geometry else range(1, len(rows) + 1)

    def label(row: int) -> str:
        return f"layer {name!r}, {key or 'row'} {keys[row]}"

    return table_of_shapes(
        _shapes(columns.pop(str(geometry)), label, file),
        columns,
        file=file,
        crs=_system(package, srs_id, file),
        label=label,
    )


def _choose(layers: dict[str, str], wanted: str | None, file: str, *, of_lines: bool) -> str:
    shown = ", ".join(layers) or "none"
    if wanted is not None:
        if wanted not in layers:
            raise InputError(f"{file} has no layer {wanted!r}; its layers are {shown}")
        return wanted
    others = ("POINT", "POLYGON") if of_lines else ("POLYGON",)
    fitting = [name for name, kind in layers.items() if not any(each in kind for each in others)]
    if not fitting:
        raise InputError(f"{file} has no layer of lines (its layers: {shown}); expected roads")
    if of_lines and {"segments", "nodes"} <= layers.keys():
        return "segments"  # crossfall wrote it; the others are read beside it
    if len(fitting) > 1:
        raise InputError(f"{file} has several layers ({', '.join(fitting)}); say which (layer)")
    return fitting[0]


def _header_bytes(head: bytes) -> int | None:
    """Bytes before the well-known binary, from the first four; None for anything else."""
    if len(head) < 4 or head[:2] != b"GP" or head[3] & _EXTENDED:
        return None
    envelope = (head[3] >> 1) & 0b111
    return 8 + _ENVELOPE_BYTES[envelope] if envelope < len(_ENVELOPE_BYTES) else None


def _shapes(blobs: Sequence[bytes | None], label: Any, file: str) -> Any:
    heads = {blob[:4] for blob in blobs if blob is not None}
    size = {head: _header_bytes(head) for head in heads}
    if None in size.values():
        row = next(k for k, blob in enumerate(blobs) if blob and size[blob[:4]] is None)
        raise InputError(
            f"{file} {label(row)}: the geometry is not a GeoPackage line; export the layer again"
            " as plain lines"
        )
    bodies = [None if blob is None else blob[size[blob[:4]] :] for blob in blobs]
    try:
        return shapely.from_wkb(np.array(bodies, dtype=object))
    except (shapely.errors.GEOSException, TypeError):
        raise InputError(
            f"{file}: a geometry cannot be read; export the layer again as plain lines"
        ) from None


def _system(package: sqlite3.Connection, srs_id: int, file: str) -> str | None:
    """Name of the coordinate system; None where the file leaves it open."""
    rows = _rows(
        package,
        "SELECT organization, organization_coordsys_id, definition FROM gpkg_spatial_ref_sys"
        " WHERE srs_id = ?",
        file,
        srs_id,
    )
    if not rows or srs_id in (-1, 0):
        return None
    organization, number, definition = rows[0]
    if str(organization).upper() == "EPSG":
        return f"EPSG:{number}"
    return None if str(definition).lower() == "undefined" else str(definition)


def _rows(package: sqlite3.Connection, sql: str, file: str, *values: Any) -> list[tuple[Any, ...]]:
    try:
        return package.execute(sql, values).fetchall()
    except sqlite3.OperationalError as error:
        if "UTF-8" in str(error):
            raise InputError(
                f"{file}: {_column_in(str(error))} holds text that is not UTF-8; export the"
                " layer again with that encoding"
            ) from None
        raise InputError(f"{file} cannot be read ({error}); export it again") from None
    except (sqlite3.DatabaseError, UnicodeDecodeError) as error:
        raise InputError(
            f"{file} is damaged ({error}); it was probably cut short: fetch it again"
        ) from None


def _column_in(message: str) -> str:
    parts = message.split("'")
    return f"column {parts[1]!r}" if len(parts) > 1 else "a column"


def _quoted(name: str | None) -> str:
    return '"' + str(name).replace('"', '""') + '"'
