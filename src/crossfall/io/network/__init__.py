"""Road networks in: one door for every format, by the file's name.

A file becomes a network and a report of what was found, left out and could not
be settled. Nothing is stored here: the difference to the network that is there
is shown first (:func:`compare`).
"""

from __future__ import annotations

import gc
from collections.abc import Callable
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Any

from crossfall.errors import InputError
from crossfall.io.network.options import FIELDS, NetworkOptions
from crossfall.io.network.report import ImportReport, NetworkImport

if TYPE_CHECKING:
    from crossfall.io.network.calibration import read_calibrations
    from crossfall.io.network.events import read_events
    from crossfall.io.network.points import FeatureImport, add_features, read_features
    from crossfall.io.network.same_roads import keep_ids
    from crossfall.io.network.staging import (
        Change,
        NetworkDiff,
        carry_over,
        compare,
        settle_surfaces,
    )

__all__ = [
    "FIELDS",
    "Change",
    "FeatureImport",
    "ImportReport",
    "NetworkDiff",
    "NetworkImport",
    "NetworkOptions",
    "add_features",
    "carry_over",
    "compare",
    "keep_ids",
    "read_calibrations",
    "read_events",
    "read_features",
    "read_network",
    "settle_surfaces",
]

_LATER = {
    "read_calibrations": "calibration",
    "read_events": "events",
    "keep_ids": "same_roads",
    **dict.fromkeys(("FeatureImport", "add_features", "read_features"), "points"),
    **dict.fromkeys(
        ("Change", "NetworkDiff", "carry_over", "compare", "settle_surfaces"), "staging"
    ),
}


def read_network(path: str | Path, *, options: NetworkOptions | None = None) -> NetworkImport:
    """Read a road network.

    Parameters
    ----------
    path : path
        ``.osm``, ``.osm.gz``, ``.osm.pbf``, ``.gpkg``, ``.geojson``, ``.json`` or ``.csv``;
        with the extra ``crossfall[gis]`` also ``.shp``, ``.fgb``, ``.gdb`` and ``.zip``.
    options : NetworkOptions, optional
        Column names, coordinate system, and what counts as maintained.

    Raises
    ------
    InputError
        If the file cannot be used; the message names the file, the row or field, and what
        to do.
    """
    path, options = Path(path), options or NetworkOptions()
    reader = _reader(path)
    # Millions of small tuples and no cycle among them: the collector would only walk them
    was_enabled = gc.isenabled()
    gc.disable()
    try:
        return reader(path, options)
    finally:
        if was_enabled:
            gc.enable()


def __getattr__(name: str) -> Any:
    """Load the rest of the room when it is first asked for: geometry libraries are slow."""
    if name not in _LATER:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{_LATER[name]}"), name)


def _reader(path: Path) -> Callable[[Path, NetworkOptions], NetworkImport]:
    # The readers load large libraries; only the one that is needed is imported
    from crossfall.io.network import readers

    for suffix, reader in readers.BY_SUFFIX.items():
        if path.name.lower().endswith(suffix):
            if not (path.is_file() or (suffix == ".gdb" and path.is_dir())):
                raise InputError(f"{path.name} is not there; expected a file to read roads from")
            return reader
    raise InputError(
        f"{path.name} has a name crossfall does not know; expected one that ends in"
        f" {', '.join(readers.BY_SUFFIX)}"
    )
