"""Columns for what does not fit a column: packed JSON and packed arrays.

Both are compressed, and both are checked on the way in: a NaN in JSON or text that PostgreSQL
cannot hold is refused on SQLite too, so that a workspace can move between the two.
"""

# mypy: disallow-subclassing-any=False
from __future__ import annotations

import json
import re
import zlib
from typing import Any

import numpy as np
import numpy.typing as npt
from django.db import models

from crossfall.errors import InputError

_ITEM = np.dtype("<f8")
# An escaped NUL, but not an escaped backslash before the letters u0000
_NUL = re.compile(r"(?<!\\)(?:\\\\)*\\u0000")


class PackedJSONField(models.BinaryField):
    """Any JSON value, compressed; for long nested tuples that nobody searches by SQL."""

    description = "compressed JSON"

    def from_db_value(self, value: Any, expression: Any, connection: Any) -> Any:
        return None if value is None else unpack_json(bytes(value))

    def get_db_prep_value(self, value: Any, connection: Any, prepared: bool = False) -> Any:
        packed = value if value is None or isinstance(value, bytes) else pack_json(value)
        return super().get_db_prep_value(packed, connection, prepared)


class PackedArrayField(models.BinaryField):
    """A float array of any shape, compressed little-endian doubles; NaN survives exactly."""

    description = "compressed float array"

    def from_db_value(self, value: Any, expression: Any, connection: Any) -> Any:
        return None if value is None else unpack_array(bytes(value))

    def get_db_prep_value(self, value: Any, connection: Any, prepared: bool = False) -> Any:
        packed = value if value is None or isinstance(value, bytes) else pack_array(value)
        return super().get_db_prep_value(packed, connection, prepared)


def columns_of(table: type[models.Model]) -> tuple[Any, ...]:
    """The columns of a table, its key first where it is declared first."""
    return tuple(table._meta.concrete_fields)  # noqa: SLF001 - Django documents _meta


def pack_json(value: Any) -> bytes:
    """Compact JSON, compressed.

    Examples
    --------
    >>> unpack_json(pack_json({"a": [1, 2.5, None]}))
    {'a': [1, 2.5, None]}
    """
    return zlib.compress(canonical_json(value).encode("utf-8"))


def unpack_json(packed: bytes) -> Any:
    """The value that :func:`pack_json` packed."""
    return json.loads(zlib.decompress(packed))


def canonical_json(value: Any) -> str:
    """One text for one value: sorted keys, no spaces, no NaN; what checksums are taken of.

    Examples
    --------
    >>> canonical_json({"b": 1, "a": "é"})
    '{"a":"é","b":1}'
    """
    try:
        text = json.dumps(
            value, ensure_ascii=False, allow_nan=False, sort_keys=True, separators=(",", ":")
        )
        text.encode("utf-8")
    except UnicodeEncodeError as error:
        raise InputError("a text holds half a character; retype it") from error
    except ValueError as error:
        raise InputError(f"a figure is not finite and cannot be stored ({error})") from error
    if _NUL.search(text):
        raise InputError("a text holds a NUL character; retype it")
    return text


def pack_array(values: Any) -> bytes:
    """Shape and doubles, compressed.

    Examples
    --------
    >>> unpack_array(pack_array(np.array([[0.0, np.nan]])))
    array([[ 0., nan]])
    """
    array = np.ascontiguousarray(values, dtype=_ITEM)
    head = np.array([array.ndim, *array.shape], dtype="<i8").tobytes()
    return zlib.compress(head + array.tobytes())


def unpack_array(packed: bytes) -> npt.NDArray[np.float64]:
    """The array that :func:`pack_array` packed."""
    raw = zlib.decompress(packed)
    n_dims = int(np.frombuffer(raw, "<i8", 1)[0])
    shape = np.frombuffer(raw, "<i8", n_dims, 8)
    return np.frombuffer(raw, _ITEM, offset=8 * (1 + n_dims)).reshape(shape).astype(np.float64)
