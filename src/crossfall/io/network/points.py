"""Point features by table: culverts, gates, monuments, and lines that cross roads.

A GeoJSON, GeoPackage or CSV file of points (or of pipelines and power lines),
each with its kind in a column or one kind for the whole file, is put on a
network that is there. A CSV may give ``lon`` and ``lat``, or ``segment_id`` or
``route`` with ``at_m``, in place of well-known text.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np

from crossfall.errors import InputError, Problem, refuse
from crossfall.io.network.options import NetworkOptions
from crossfall.io.network.place import to_lonlat
from crossfall.io.network.table import LineTable
from crossfall.io.network.words import KIND_WORDS
from crossfall.model import Network, PointFeature
from crossfall.model.network import FeatureKind
from crossfall.network.features import attach_features
from crossfall.network.linear import LinearReference
from crossfall.network.roads import FoundLine, FoundPoint

_KIND_COLUMNS = ("kind", "feature_kind", "feature_type", "feature")
_ID_COLUMNS = ("feature_id", "id", "asset_id", "external_id")
_NAME_COLUMNS = ("name", "label", "description")
_LIMIT_COLUMNS = ("max_mass_t",)


@dataclass(frozen=True, slots=True)
class FeatureImport:
    """Features put on a network, and what lies on no road."""

    features: tuple[PointFeature, ...]
    n_left_out: dict[str, int] = field(default_factory=dict)
    problems: tuple[Problem, ...] = ()


def read_features(
    path: str | Path,
    network: Network,
    *,
    kind: FeatureKind | None = None,
    options: NetworkOptions | None = None,
) -> FeatureImport:
    """Read point features, and points where lines cross roads.

    Parameters
    ----------
    path : path
        ``.geojson``, ``.json``, ``.gpkg`` or ``.csv``.
    network : Network
        The roads they are put on.
    kind : FeatureKind, optional
        Kind of every row, when no column says it.

    Raises
    ------
    InputError
        If a row has no place, no kind, or a kind that crossfall does not know.
    """
    path, options = Path(path), options or NetworkOptions()
    if not path.is_file():
        raise InputError(f"{path.name} is not there; expected a file to read features from")
    table = _table(path, network, options)
    bad: list[Problem] = []
    points, lines = found_in_table(table, options, bad, kind=kind)
    refuse(bad)
    if not points and not lines:
        raise InputError(f"{path.name} has no point and no line in it; expected features")
    linear = LinearReference(network)
    attached = attach_features(
        network.segments, points, lines, linear.plane, options.policy, source=path.name
    )
    problems = [
        Problem(path.name, f"{n} {what} lie on no road and were left out")
        for what, n in sorted(attached.n_left_out.items())
    ]
    return FeatureImport(attached.features, attached.n_left_out, tuple(problems))


def add_features(network: Network, features: Sequence[PointFeature]) -> Network:
    """The network with these features; one with the id of another takes its place."""
    by_id = {feature.id: feature for feature in (*network.features, *features)}
    return replace(network, features=tuple(by_id.values()))


def found_in_table(
    table: LineTable,
    options: NetworkOptions,
    bad: list[Problem],
    *,
    kind: FeatureKind | None = None,
    among_roads: bool = False,
) -> tuple[list[FoundPoint], list[FoundLine]]:
    """Points and crossing lines of a table; rows that cannot be used are listed in ``bad``.

    Among roads the lines are the roads themselves, and a point without a kind is no feature.
    """
    kind_of = _kinds(table, kind, bad, may_be_blank=among_roads)
    id_of, name_of = _texts(table, _ID_COLUMNS), _texts(table, _NAME_COLUMNS)
    limit_of = _texts(table, _LIMIT_COLUMNS)
    points: list[FoundPoint] = []
    lines: list[FoundLine] = []
    if len(table.point_row):
        lonlat = to_lonlat(table.point_places, table.crs, options, file=table.file)
        for row, (lon, lat) in zip(table.point_row.tolist(), lonlat.tolist(), strict=True):
            of_kind = kind_of(row)
            if of_kind is not None:
                points.append(
                    FoundPoint(
                        of_kind,
                        id_of(row) or f"{row + 1}",
                        lon,
                        lat,
                        name_of(row),
                        max_mass_t=_limit(limit_of(row), table, row, bad),
                        must_touch=False,
                    )
                )
    if not among_roads and len(table.line_row):
        lonlat = to_lonlat(table.places, table.crs, options, file=table.file)
        places, offsets = [tuple(place) for place in lonlat.tolist()], table.offsets.tolist()
        for k, row in enumerate(table.line_row.tolist()):
            of_kind = kind_of(row)
            if of_kind is not None:
                line = tuple(places[offsets[k] : offsets[k + 1]])
                lines.append(FoundLine(of_kind, id_of(row) or f"{row + 1}", line, name_of(row)))
    return points, lines


def has_kinds(table: LineTable) -> bool:
    """Whether a column says what each row is."""
    return _column(table, _KIND_COLUMNS) is not None


def _kinds(
    table: LineTable, kind: FeatureKind | None, bad: list[Problem], *, may_be_blank: bool
) -> Callable[[int], FeatureKind | None]:
    column = _column(table, _KIND_COLUMNS)
    if column is None and kind is None:
        raise InputError(
            f"{table.file} does not say what its features are; expected a column kind, or name"
            " one kind for the whole file"
        )

    def read(row: int) -> FeatureKind | None:
        said = None if column is None else table.columns[column][row]
        if said in (None, "") and (kind is not None or may_be_blank):
            return kind
        word = str(said or "").strip().lower().replace(" ", "_").replace("-", "_")
        if word not in KIND_WORDS:
            known = ", ".join(sorted(set(KIND_WORDS.values())))
            where = f"{table.file} {table.label(row)}, {column}"
            bad.append(Problem(where, f"{said!r} is no kind of feature; expected one of {known}"))
            return None
        return KIND_WORDS[word]

    return read


def _texts(table: LineTable, names: tuple[str, ...]) -> Callable[[int], str]:
    column = _column(table, names)
    if column is None:
        return lambda row: ""
    values = table.columns[column]
    return lambda row: "" if values[row] is None else str(values[row]).strip()


def _limit(text: str, table: LineTable, row: int, bad: list[Problem]) -> float | None:
    if not text:
        return None
    try:
        limit = float(text)
    except ValueError:
        limit = -1.0
    if not 0 < limit < 1000:
        where = f"{table.file} {table.label(row)}, max_mass_t"
        bad.append(Problem(where, f"{text!r} is not a mass limit in tonnes"))
        return None
    return limit


def _column(table: LineTable, names: tuple[str, ...]) -> str | None:
    by_lower = {name.lower(): name for name in table.columns}
    return next((by_lower[name] for name in names if name in by_lower), None)


def _table(path: Path, network: Network, options: NetworkOptions) -> LineTable:
    name = path.name.lower()
    if name.endswith((".geojson", ".json")):
        from crossfall.io.network.geojson import geojson_table

        return geojson_table(path, options)
    if name.endswith(".gpkg"):
        from crossfall.io.network.geopackage import read_layer

        return read_layer(path, options, of_lines=False)
    if name.endswith(".csv"):
        return _csv_table(path, network, options)
    raise InputError(
        f"{path.name} has a name crossfall does not know; expected .geojson, .gpkg or .csv"
    )


def _csv_table(path: Path, network: Network, options: NetworkOptions) -> LineTable:
    """Places from well-known text, from lon and lat, or from a road and metres along it."""
    from crossfall.io.network.csv_wkt import read_columns, read_csv
    from crossfall.io.network.events import position_of

    columns, numbers = read_columns(path, encoding=options.encoding)
    by_lower = {each.lower(): each for each in columns}
    if not ({"lon", "lat"} <= by_lower.keys() or "at_m" in by_lower):
        return read_csv(path, options)

    def label(row: int) -> str:
        return f"row {numbers[row]}"

    bad: list[Problem] = []
    places: list[tuple[float, float]] = []
    linear = LinearReference(network) if "at_m" in by_lower else None
    for row in range(len(numbers)):
        cells = {name: columns[theirs][row] for name, theirs in by_lower.items()}
        try:
            if linear is not None:
                spot = position_of(cells, "at_m", linear)
                places.append(linear.place(spot.segment_id, spot.at_m))
            else:
                places.append((float(cells["lon"] or "nan"), float(cells["lat"] or "nan")))
                if not np.all(np.isfinite(places[-1])):
                    raise InputError("lon or lat is empty")
        except ValueError as error:
            places.append((0.0, 0.0))
            bad.append(Problem(f"{path.name} {label(row)}", str(error)))
    refuse(bad)
    nothing: Any = np.empty((0, 2))
    return LineTable(
        file=path.name,
        columns=dict(columns),
        n_rows=len(numbers),
        places=nothing,
        offsets=np.zeros(1, dtype=np.int64),
        line_row=np.empty(0, dtype=np.int64),
        point_places=np.array(places),
        point_row=np.arange(len(numbers)),
        label=label,
    )
