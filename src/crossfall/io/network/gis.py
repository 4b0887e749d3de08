"""Shapefile, FlatGeobuf and file geodatabase, through the extra ``crossfall[gis]``.

Archives are never unpacked: the reader looks into them where they lie, after their names were
checked. A file is opened only when its first bytes are those of its kind, so that a text that
names other files cannot pass for one.
"""

from __future__ import annotations

import zipfile
from collections.abc import Callable
from pathlib import Path, PurePosixPath
from typing import Any

import numpy as np
import shapely

from crossfall.errors import InputError
from crossfall.io.network.options import NetworkOptions
from crossfall.io.network.table import LineTable, table_of_shapes

SHAPEFILE, FLATGEOBUF, GEODATABASE = ".shp", ".fgb", ".gdb"
_MAGIC = {SHAPEFILE: b"\x00\x00\x27\x0a", FLATGEOBUF: b"fgb\x03"}
_LARGEST_BYTES = 8_000_000_000
_MOST_RATIO = 200.0
_MOST_ENTRIES = 4000
_LINES = ("LineString", "MultiLineString", "Unknown", "Measured", "3D")


def gis_table(path: Path, options: NetworkOptions) -> LineTable:
    """One layer of lines; with several, ``options.layer`` chooses.

    Raises
    ------
    InputError
        If the extra is not there, the archive reaches outside itself or hides others, or the file
        is damaged or not of its kind.
    """
    pyogrio = _extra(path)
    source, crs_file = _source(path)
    try:
        layers = [(str(name), str(kind)) for name, kind in pyogrio.list_layers(source)]
        layer = _choose(layers, options.layer, path.name)
        meta, _, geometry, columns = pyogrio.raw.read(
            source, layer=layer, force_2d=True, datetime_as_string=True
        )
    except (pyogrio.errors.DataSourceError, pyogrio.errors.DataLayerError) as error:
        raise InputError(f"{path.name} cannot be read ({error}); export it again") from None
    except (UnicodeDecodeError, ValueError) as error:
        raise InputError(
            f"{path.name} holds text or figures that cannot be read ({error}); export it again with"
            " UTF-8 text"
        ) from None
    if geometry is None or not len(geometry):
        raise InputError(f"{path.name} has no line in it; expected roads")
    try:
        shapes = shapely.from_wkb(geometry)
    except shapely.errors.GEOSException:
        raise InputError(f"{path.name}: a geometry cannot be read; export it again") from None
    names = [str(name) for name in meta["fields"]]
    table = table_of_shapes(
        np.asarray(shapes, dtype=object),
        {name: _plain(values) for name, values in zip(names, columns, strict=True)},
        file=path.name,
        crs=_system(meta.get("crs")),
        label=lambda row: f"{layer} row {row + 1}",
    )
    if table.crs is None and crs_file:
        raise InputError(
            f"{path.name} has a .prj that names no coordinate system anybody knows; say it, for"
            " example --crs EPSG:26913"
        )
    return table


def refuse_archive(path: Path) -> tuple[str, ...]:
    """Names in a ZIP, after none of them reaches outside, hides a link or swells beyond reason.

    Raises
    ------
    InputError
        If one does; nothing was unpacked.
    """
    try:
        with zipfile.ZipFile(path) as archive:
            entries = archive.infolist()
    except (zipfile.BadZipFile, EOFError, OSError) as error:
        raise InputError(f"{path.name} is not a ZIP that can be read ({error})") from None
    if len(entries) > _MOST_ENTRIES:
        raise InputError(f"{path.name} has {len(entries)} entries; expected one set of road lines")
    total = 0
    for entry in entries:
        name = entry.filename
        parts = PurePosixPath(name.replace("\\", "/")).parts
        is_outside = name.startswith(("/", "\\")) or ".." in parts or ":" in name
        is_link = (entry.external_attr >> 16) & 0o170000 == 0o120000
        if is_outside or is_link or "\x00" in name:
            what = "a link" if is_link else "a name that reaches outside the archive"
            raise InputError(f"{path.name} holds {what} ({name!r}); it was not opened")
        total += entry.file_size
        swells = entry.file_size / entry.compress_size if entry.compress_size else 1.0
        if swells > _MOST_RATIO:
            raise InputError(
                f"{path.name} holds {name!r}, which swells {swells:.0f} times; it was not opened"
            )
    if total > _LARGEST_BYTES:
        raise InputError(f"{path.name} would take {total / 1e9:.1f} GB; it was not opened")
    return tuple(entry.filename for entry in entries)


def _extra(path: Path) -> Any:
    try:
        import pyogrio
        import pyogrio.errors
        import pyogrio.raw
    except ImportError:
        raise InputError(
            f"{path.name} needs the geodata extra: install crossfall[gis], or export the roads as"
            " GeoPackage, GeoJSON or CSV"
        ) from None
    return pyogrio


def _source(path: Path) -> tuple[str, bool]:
    """What to open, and whether a file beside it names the coordinate system."""
    name = path.name.lower()
    if name.endswith(".zip"):
        return _in_archive(path)
    if name.endswith(GEODATABASE):
        _check_geodatabase(path)
        return str(path), False
    kind = SHAPEFILE if name.endswith(SHAPEFILE) else FLATGEOBUF
    with path.open("rb") as file:
        _check_magic(file.read(4), kind, path.name)
    if kind == SHAPEFILE:
        for end in (".shx", ".dbf"):
            if not any(path.with_suffix(each).is_file() for each in (end, end.upper())):
                raise InputError(
                    f"{path.name} has no {path.stem}{end} beside it; a shapefile is several files:"
                    " put them together, or zip them"
                )
    has_prj = any(path.with_suffix(each).is_file() for each in (".prj", ".PRJ"))
    return str(path), has_prj and kind == SHAPEFILE


def _in_archive(path: Path) -> tuple[str, bool]:
    names = refuse_archive(path)
    inside = f"/vsizip/{path.resolve()}"
    shapefiles = [name for name in names if name.lower().endswith(SHAPEFILE)]
    flats = [name for name in names if name.lower().endswith(FLATGEOBUF)]
    bases = sorted(
        {
            "/".join(parts[: k + 1])
            for name in names
            for parts in [name.split("/")]
            for k, part in enumerate(parts)
            if part.lower().endswith(GEODATABASE)
        }
    )
    found = [*shapefiles, *flats, *bases]
    if len(found) != 1:
        told = ", ".join(found[:4]) or "none"
        raise InputError(
            f"{path.name} holds {len(found)} road files ({told}); expected one shapefile,"
            " FlatGeobuf or geodatabase: zip the one that is meant"
        )
    name = found[0]
    if name not in bases:
        kind = SHAPEFILE if name in shapefiles else FLATGEOBUF
        with zipfile.ZipFile(path) as archive, archive.open(name) as file:
            _check_magic(file.read(4), kind, f"{path.name} {name}")
    stem = name.rpartition(".")[0].lower()
    has_prj = any(each.lower() == f"{stem}.prj" for each in names)
    return f"{inside}/{name}", has_prj and name in shapefiles


def _check_magic(head: bytes, kind: str, file: str) -> None:
    if head[: len(_MAGIC[kind])] != _MAGIC[kind]:
        raise InputError(f"{file} does not begin as a {kind} file does; it is something else")


def _check_geodatabase(path: Path) -> None:
    if not path.is_dir() or not any(path.glob("a*.gdbtable")):
        raise InputError(f"{path.name} is no file geodatabase; expected a folder with its tables")


def _choose(layers: list[tuple[str, str]], wanted: str | None, file: str) -> str:
    shown = ", ".join(name for name, _ in layers) or "none"
    if wanted is not None:
        if wanted not in {name for name, _ in layers}:
            raise InputError(f"{file} has no layer {wanted!r}; its layers are {shown}")
        return wanted
    fitting = [name for name, kind in layers if any(word in kind for word in _LINES)]
    if not fitting:
        raise InputError(f"{file} has no layer of lines (its layers: {shown}); expected roads")
    if len(fitting) > 1:
        raise InputError(f"{file} has several layers ({', '.join(fitting)}); say which (layer)")
    return fitting[0]


def _system(crs: str | None) -> str | None:
    return None if crs is None or crs.upper().startswith("ENGCRS") else crs


def _plain(values: Any) -> list[Any]:
    """Cells as Python figures and text; what is not there is None."""
    convert: Callable[[Any], Any]
    if values.dtype.kind == "f":
        return [None if value != value else value for value in values.tolist()]
    if values.dtype.kind in "iub":
        return list(values.tolist())
    convert = _text
    return [convert(value) for value in values.tolist()]


def _text(value: Any) -> Any:
    if value is None or value == "":
        return None
    return value.strip("\x00") if isinstance(value, str) else str(value)
