"""Everything as CSV in one package: a file for each table, and a description of every column.

The package is a ZIP with ``datapackage.json`` (Data Package and Table Schema): type, unit, key and
the tables that columns refer to, with size and SHA-256 of each file. It is written the same for
the same content, to the byte, and read back with every row checked. Plans and cards are orders of
the workspace that made them and are written but not read back.
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
import os
import re
import tomllib
import zipfile
from collections.abc import Callable, Iterable
from dataclasses import fields, is_dataclass, replace
from datetime import date, timedelta
from pathlib import Path
from typing import Any, get_args, get_origin, get_type_hints

import cattrs
import numpy as np

from crossfall.errors import InputError
from crossfall.io.exports.schema import (
    TABLES,
    Column,
    Table,
    as_noun,
    columns_of,
    noun_of,
    plain,
    row_of,
)
from crossfall.io.policy import policy_text, read_policy
from crossfall.model import District, Fleet, Network, Policy, Station, WeatherRecord

_NAME = re.compile(r"[a-z_]{1,40}\.(csv|toml|json)")
_LARGEST_BYTES = 2_000_000_000
_WEATHER = (
    ("station_id", "string", ""),
    ("station_name", "string", ""),
    ("lon", "number", "deg"),
    ("lat", "number", "deg"),
    ("elevation_m", "number", "m"),
    ("day", "date", ""),
    ("rain_mm", "number", "mm"),
    ("tmin_c", "number", "degC"),
    ("tmax_c", "number", "degC"),
    ("wind_m_s", "number", "m/s"),
    ("solar_mj_m2", "number", "MJ/m2"),
    ("vapour_kpa", "number", "kPa"),
    ("source", "string", ""),
    ("is_invented", "boolean", ""),
)
_FACTS = {each.name for each in fields(District)}
_SERIES = ("rain_mm", "tmin_c", "tmax_c", "wind_m_s", "solar_mj_m2", "vapour_kpa")


def write_tables(district: District, path: str | Path) -> Path:
    """Write everything a district knows; forecasts and hourly rain are left out.

    Raises
    ------
    InputError
        If the name does not end in ``.zip``.
    """
    path = Path(path)
    if path.suffix.lower() != ".zip":
        raise InputError(f"{path.name} does not end in .zip, as a package of tables does")
    files = {f"{table.name}.csv": _csv(table, district) for table in TABLES}
    files["weather.csv"] = _weather_csv(district.weather)
    files["policy.toml"] = policy_text(_as_read(district.policy)).encode()
    files["others.json"] = _others(district)
    files["datapackage.json"] = _description(district, files)
    partial = path.with_name(path.name + ".part")
    try:
        with zipfile.ZipFile(partial, "w") as package:
            for name in sorted(files):
                # A fixed time: the same content gives the same bytes
                entry = zipfile.ZipInfo(name, date_time=(1980, 1, 1, 0, 0, 0))
                entry.compress_type = zipfile.ZIP_DEFLATED
                entry.external_attr = 0o644 << 16
                package.writestr(entry, files[name])
        os.replace(partial, path)
    finally:
        partial.unlink(missing_ok=True)
    return path


def read_tables(path: str | Path) -> District:
    """Read a package that :func:`write_tables` wrote, whole or not at all.

    Raises
    ------
    InputError
        If it is no such package, a file was changed or is missing, or a row does not fit.
    """
    path = Path(path)
    try:
        with zipfile.ZipFile(path) as package:
            description = _json(_read(package, "datapackage.json", path.name), path.name)
            files = _checked(package, description, path.name)
    except FileNotFoundError:
        raise InputError(f"{path.name} is not there; expected a package of tables") from None
    except (zipfile.BadZipFile, EOFError, NotImplementedError) as error:
        raise InputError(f"{path.name} is not a ZIP that can be read ({error})") from None
    rows = {table.name: _nouns(table, files, path.name) for table in TABLES}
    try:
        policy = _policy(files.get("policy.toml"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise InputError(f"{path.name} policy.toml is not TOML: {error}") from None
    facts: dict[str, Any] = {
        table.name: rows[table.name] for table in TABLES if table.name in _FACTS
    }
    try:
        told = json.loads(files.get("others.json", b"{}"))
        facts |= {
            name: as_noun(told[name], hint) for name, hint in _single().items() if name in told
        }
    except (ValueError, TypeError, KeyError, AttributeError, cattrs.BaseValidationError) as error:
        raise InputError(f"{path.name} others.json does not fit ({error})") from None
    return District(
        name=str(description.get("title", "")),
        is_invented=bool(description.get("is_invented", False)),
        network=Network(rows["nodes"], rows["segments"], rows["features"], rows["backdrop"]),
        fleet=Fleet(rows["places"], rows["machines"], rows["operators"], rows["pits"]),
        policy=policy,
        weather=_weather(files.get("weather.csv"), path.name),
        **facts,
    )


def _as_read(policy: Policy) -> Policy:
    """The policy as reading it back would have it, so that writing it twice gives the same text."""
    return _policy(policy_text(policy).encode())


def _others(district: District) -> bytes:
    """What is one thing and no table: the calendar, the adopted years."""
    told = {name: plain(getattr(district, name), hint) for name, hint in _single().items()}
    return (json.dumps(told, ensure_ascii=False, indent=1, sort_keys=True) + "\n").encode()


def _single() -> dict[str, Any]:
    """Fields of a district that hold one noun or none, by name, with their type."""
    hints = get_type_hints(District)
    own = {"network", "fleet", "policy"}
    return {
        name: hint
        for name, hint in hints.items()
        if name not in own
        and any(is_dataclass(part) for part in (hint, *get_args(hint)))
        and get_origin(hint) is not tuple
    }


def _csv(table: Table, district: District) -> bytes:
    header = [column.name for column in columns_of(table)]
    return _bytes([header, *(row_of(table, noun) for noun in table.of(district))])


def _bytes(rows: Iterable[list[str]]) -> bytes:
    text = io.StringIO(newline="")
    csv.writer(text, lineterminator="\r\n").writerows(rows)
    return text.getvalue().encode("utf-8")


def _weather_csv(records: Iterable[WeatherRecord]) -> bytes:
    rows = [[name for name, _, _ in _WEATHER]]
    for record in records:
        station = record.station
        for k in range(record.rain_mm.shape[0]):
            figures = []
            for name in _SERIES:
                series = getattr(record, name)
                value = float("nan") if series is None else float(series[k])
                figures.append("" if value != value else repr(value))
            day = record.first_day + timedelta(days=k)
            rows.append(
                [
                    station.id, station.name, repr(station.lon), repr(station.lat),
                    repr(station.elevation_m), day.isoformat(), *figures, record.source,
                    "true" if record.is_invented else "false",
                ]
            )  # fmt: skip
    return _bytes(rows)


def _description(district: District, files: dict[str, bytes]) -> bytes:
    resources = []
    for table in TABLES:
        schema: dict[str, Any] = {
            "fields": [_field(column) for column in columns_of(table)],
            "missingValues": [""],
        }
        if table.key:
            schema["primaryKey"] = list(table.key)
        if table.refers:
            schema["foreignKeys"] = [
                {
                    "fields": column,
                    "reference": {"resource": other, "fields": _key_of(other)},
                }
                for column, other in table.refers
            ]
        resources.append(_resource(table.name, files, schema))
    weather = [
        {"name": name, "type": kind, **({"unit": unit} if unit else {})}
        for name, kind, unit in _WEATHER
    ]
    resources.append(
        _resource(
            "weather",
            files,
            {"fields": weather, "missingValues": [""], "primaryKey": ["station_id", "day"]},
        )
    )
    for path, mediatype in (
        ("policy.toml", "application/toml"),
        ("others.json", "application/json"),
    ):
        content = files[path]
        name, _, kind = path.partition(".")
        resources.append(
            {
                "name": name,
                "path": path,
                "format": kind,
                "mediatype": mediatype,
                "bytes": len(content),
                "hash": f"sha256:{hashlib.sha256(content).hexdigest()}",
            }
        )
    told = {
        "profile": "data-package",
        "name": "crossfall-tables",
        "title": district.name,
        "is_invented": district.is_invented,
        "resources": resources,
    }
    return (json.dumps(told, indent=1, ensure_ascii=False) + "\n").encode("utf-8")


def _resource(name: str, files: dict[str, bytes], schema: dict[str, Any]) -> dict[str, Any]:
    content = files[f"{name}.csv"]
    return {
        "name": name,
        "path": f"{name}.csv",
        "profile": "tabular-data-resource",
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "bytes": len(content),
        "hash": f"sha256:{hashlib.sha256(content).hexdigest()}",
        "schema": schema,
    }


def _field(column: Column) -> dict[str, Any]:
    told: dict[str, Any] = {"name": column.name, "type": column.type}
    if column.unit:
        told["unit"] = column.unit
    if column.words:
        told["constraints"] = {"enum": list(column.words)}
    if not column.is_optional and column.type not in ("string", "array", "object"):
        told.setdefault("constraints", {})["required"] = True
    return told


def _key_of(table: str) -> str:
    return next(each.key[0] for each in TABLES if each.name == table)


def _read(package: zipfile.ZipFile, name: str, file: str) -> bytes:
    try:
        entry = package.getinfo(name)
    except KeyError:
        raise InputError(f"{file} has no {name}; expected a package that crossfall wrote") from None
    if entry.file_size > _LARGEST_BYTES:
        raise InputError(f"{file} {name} would take {entry.file_size / 1e9:.1f} GB; it is refused")
    return package.read(entry)


def _json(content: bytes, file: str) -> dict[str, Any]:
    try:
        told = json.loads(content)
    except (ValueError, RecursionError) as error:
        raise InputError(f"{file} datapackage.json is not JSON ({error})") from None
    if not isinstance(told, dict) or not isinstance(told.get("resources"), list):
        raise InputError(f"{file} datapackage.json has no list of resources")
    return told


def _checked(package: zipfile.ZipFile, description: dict[str, Any], file: str) -> dict[str, bytes]:
    """The files that the description names, each as it was written; nothing is unpacked."""
    found: dict[str, bytes] = {}
    for resource in description["resources"]:
        name = str(resource.get("path", "")) if isinstance(resource, dict) else ""
        if not _NAME.fullmatch(name):
            raise InputError(
                f"{file} names a file {name!r}; expected plain names such as roads.csv"
            )
        content = _read(package, name, file)
        told = str(resource.get("hash", ""))
        if told != f"sha256:{hashlib.sha256(content).hexdigest()}":
            raise InputError(
                f"{file} {name} is not what the description says; it was changed after it was"
                " written: bring changed tables in one by one"
            )
        found[name] = content
    return found


def _nouns(table: Table, files: dict[str, bytes], file: str) -> tuple[Any, ...]:
    content = files.get(f"{table.name}.csv")
    if content is None:
        return ()
    where = f"{file} {table.name}.csv"
    rows = _rows(content, where)
    header = [column.name for column in columns_of(table)]
    if not rows or rows[0] != header:
        raise InputError(f"{where} has other columns than this version of crossfall writes")
    found = []
    for number, row in enumerate(rows[1:], start=2):
        if len(row) != len(header):
            raise InputError(f"{where} line {number} has {len(row)} cells; expected {len(header)}")
        found.append(noun_of(table, row, where=f"{where} line {number}"))
    return tuple(found)


def _rows(content: bytes, where: str) -> list[list[str]]:
    try:
        text = content.decode("utf-8")
        return list(csv.reader(io.StringIO(text, newline=""), strict=True))
    except (UnicodeDecodeError, csv.Error) as error:
        raise InputError(f"{where} cannot be read ({error})") from None


def _policy(content: bytes | None) -> Policy:
    if content is None:
        return Policy()
    import tempfile

    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "policy.toml"
        path.write_bytes(content)
        read: Callable[[Path], Policy] = read_policy
        return read(path)


def _weather(content: bytes | None, file: str) -> tuple[WeatherRecord, ...]:
    if content is None:
        return ()
    rows = _rows(content, f"{file} weather.csv")
    names = [name for name, _, _ in _WEATHER]
    if not rows or rows[0] != names:
        raise InputError(f"{file} weather.csv has other columns than crossfall writes")
    by_station: dict[tuple[str, str], list[dict[str, str]]] = {}
    for row in rows[1:]:
        cells = dict(zip(names, row, strict=True))
        by_station.setdefault((cells["station_id"], cells["source"]), []).append(cells)
    return tuple(_record(days, file) for days in by_station.values())


def _record(days: list[dict[str, str]], file: str) -> WeatherRecord:
    first = days[0]
    try:
        station = Station(
            first["station_id"], first["station_name"], float(first["lon"]), float(first["lat"]),
            float(first["elevation_m"]),
        )  # fmt: skip
        series = {
            name: np.array([float(day[name]) if day[name] else np.nan for day in days])
            for name in _SERIES
        }
        start = date.fromisoformat(first["day"])
        in_a_row = [start + timedelta(days=k) for k in range(len(days))]
        if [date.fromisoformat(day["day"]) for day in days] != in_a_row:
            raise InputError(f"{file} weather.csv: days of station {station.id} are not in a row")
    except ValueError as error:
        raise InputError(f"{file} weather.csv: {error}") from None
    record = WeatherRecord(
        station, start, series["rain_mm"], series["tmin_c"], series["tmax_c"],
        source=first["source"], is_invented=first["is_invented"] == "true",
    )  # fmt: skip
    others: dict[str, Any] = {
        name: series[name]
        for name in ("wind_m_s", "solar_mj_m2", "vapour_kpa")
        if not np.all(np.isnan(series[name]))
    }
    return replace(record, **others)
