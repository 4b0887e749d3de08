"""What a person can say about a network file before it is read."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from crossfall.errors import InputError
from crossfall.model import Network
from crossfall.model.network import RoadClass, Surface
from crossfall.model.policy import NetworkPolicy

FIELDS = (
    "id",
    "route",
    "road_class",
    "surface",
    "width_m",
    "adt",
    "adt_method",
    "width_method",
    "gravel_method",
    "surface_source",
    "heavy_share",
    "jurisdiction",
    "district",
    "is_maintained",
    "is_oneway",
    "length_m",
    "travel_km_h",
    "material",
    "drainage",
    "shade",
    "serves",
    "gravel_mm",
    "grade_pct",
    "max_mass_t",
    "is_bridge",
    "level",
    "wkt",
)
"""Fields of ours that a column of theirs can be mapped to."""

SHORT = {"name": "route", "class": "road_class", "width": "width_m", "length": "length_m"}
"""Words that people say for some of them."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NetworkOptions:
    """How to read a network file. Everything has a sensible default."""

    columns: Mapping[str, str] = field(default_factory=dict)
    """Our field to their column: ``{"route": "ROAD_NAME", "width_m": "WIDTH_FT"}``."""
    layer: str | None = None
    """Layer of a GeoPackage; needed only when it has several."""
    crs: str | None = None
    """Coordinate system when the file does not say: ``EPSG:26913``."""
    near: tuple[float, float] | None = None
    """Lon, lat of a place the lines should be near [degrees]."""
    existing: Network | None = None
    """The network that is there already; new lines must lie in the same country."""
    include_unknown: bool = False
    """Also maintain local roads whose surface nobody knows."""
    maintained_by: tuple[str, ...] = ()
    """Maintain only these jurisdictions' roads; empty takes all."""
    surface_words: Mapping[str, Surface] = field(default_factory=dict)
    """The agency's own codes: ``{"AGG": "gravel"}``."""
    width_unit: Literal["m", "ft"] | None = None
    """Unit of the width column when its name does not end in ``_m`` or ``_ft``."""
    length_unit: Literal["m", "ft", "km", "mi"] | None = None
    keep_lines: bool | None = None
    """True keeps every line a segment of its own; None does so for files that crossfall wrote."""
    join_crossings: bool = False
    """Make a junction where lines of one level cross without sharing a vertex."""
    skip_bad: bool = False
    """Leave out zero-length lines and lines without coordinates, and list them."""
    encoding: str = "utf-8"
    """Of CSV and GeoJSON files."""
    policy: NetworkPolicy = field(default_factory=NetworkPolicy)

    def __post_init__(self) -> None:
        columns: dict[str, str] = {}
        for said, theirs in self.columns.items():
            name = SHORT.get(said, said)
            if name in columns:
                raise InputError(f"--column gives {name} twice, as {columns[name]} and {theirs}")
            columns[name] = theirs
        object.__setattr__(self, "columns", columns)
        for name in columns:
            if name not in FIELDS:
                raise InputError(
                    f"--column {name}=... is no field; expected one of {', '.join(FIELDS)}"
                )
        for word, surface in self.surface_words.items():
            if surface not in ("gravel", "earth", "paved", "unknown"):
                raise InputError(
                    f"--surface {word}={surface} names no surface of ours; expected gravel, earth,"
                    " paved or unknown"
                )


def is_maintained(
    options: NetworkOptions,
    *,
    surface: Surface,
    road_class: RoadClass,
    jurisdiction: str,
    said: bool | None = None,
) -> bool:
    """Whether this agency blades a road: a loose one of its own; where the file says so, that.

    Examples
    --------
    >>> is_maintained(
    ...     NetworkOptions(), surface="unknown", road_class="local", jurisdiction=""
    ... )
    False
    """
    if said is not None:
        return said
    if jurisdiction == "private":
        return False
    if options.maintained_by and jurisdiction not in options.maintained_by:
        return False
    if surface == "unknown":
        return options.include_unknown and road_class != "arterial"
    return surface in ("gravel", "earth")
