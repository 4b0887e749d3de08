"""Large networks as folders of Parquet files, read by runs of rows and never all at once.

A folder may be gathered from many agencies' files; rows keep the order of the files' names. Results
go into a folder of the same kind. Needs the extra ``crossfall[scale]``.
"""

from __future__ import annotations

import math
import os
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from crossfall.errors import InputError
from crossfall.model.partitions import SEGMENT_COLUMNS, Columns

ROWS_A_FILE = 50_000
_ROWS_A_GROUP = 10_000


class ParquetSegments:
    """A folder of files of segments; see :data:`~crossfall.model.partitions.SEGMENT_COLUMNS`.

    Raises
    ------
    InputError
        If the folder has no such files, or one lacks a column, has one too many or of another kind.
    """

    def __init__(self, folder: str | Path) -> None:
        parquet = _parquet()
        self.files = tuple(sorted(str(each) for each in Path(folder).glob("*.parquet")))
        if not self.files:
            raise InputError(f"{folder} has no .parquet files of segments")
        counts, pits = [], dict[str, None]()
        for file in self.files:
            opened = parquet.ParquetFile(file)
            _check_columns(Path(file).name, opened.schema_arrow)
            counts.append(opened.metadata.num_rows)
            names = opened.read(columns=["pit"]).column("pit").unique().to_pylist()
            pits |= dict.fromkeys(str(name) for name in names)
        self.starts = tuple(int(each) for each in np.concatenate(([0], np.cumsum(counts))))
        self.n = self.starts[-1]
        self.pit_names = tuple(sorted(pits))
        if self.n == 0:
            raise InputError(f"the files in {folder} hold no segments")

    def read(self, begin: int, end: int) -> Columns:
        """Rows ``begin`` to ``end`` of all files together."""
        import pyarrow as pa

        parquet, tables = _parquet(), []
        for file, start, stop in zip(self.files, self.starts[:-1], self.starts[1:], strict=True):
            low, high = max(begin, start), min(end, stop)
            if low < high:
                tables.append(_rows(parquet.ParquetFile(file), low - start, high - start))
        table = pa.concat_tables(tables)
        return {name: _array(table.column(name), kind) for name, kind in SEGMENT_COLUMNS}


class ParquetResults:
    """A folder that results are written to, a file for each run of rows."""

    def __init__(self, folder: str | Path) -> None:
        self.folder = str(folder)
        Path(folder).mkdir(parents=True, exist_ok=True)
        left = sorted(Path(folder).glob("years-*.parquet"))
        if left:
            raise InputError(f"{folder} holds results already, such as {left[0].name}")

    def write(self, index: int, columns: Columns) -> None:
        """Write one run; a run that a lost worker left half written is replaced whole."""
        import pyarrow as pa

        path = Path(self.folder) / f"years-{index:05d}.parquet"
        beside = path.with_suffix(f".{os.getpid()}.tmp")
        _parquet().write_table(pa.table(dict(columns)), beside, compression="zstd")
        beside.replace(path)


def write_segments(columns: Columns, folder: str | Path, *, name: str = "segments") -> list[Path]:
    """Write columns of segments as files of at most :data:`ROWS_A_FILE` rows."""
    import pyarrow as pa

    folder = Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    table = pa.table({column: columns[column] for column, _ in SEGMENT_COLUMNS})
    paths = []
    for number in range(max(1, math.ceil(table.num_rows / ROWS_A_FILE))):
        path = folder / f"{name}-{number:05d}.parquet"
        part = table.slice(number * ROWS_A_FILE, ROWS_A_FILE)
        _parquet().write_table(part, path, compression="zstd", row_group_size=_ROWS_A_GROUP)
        paths.append(path)
    return paths


def _rows(opened: Any, begin: int, end: int) -> Any:
    """Rows of one file, reading only the groups that hold them."""
    groups: list[int] = []
    at, first = 0, 0
    for group in range(opened.num_row_groups):
        size = opened.metadata.row_group(group).num_rows
        if at < end and at + size > begin:
            if not groups:
                first = at
            groups.append(group)
        at += size
    columns = [name for name, _ in SEGMENT_COLUMNS]
    return opened.read_row_groups(groups, columns=columns).slice(begin - first, end - begin)


def _array(column: Any, kind: type) -> npt.NDArray[Any]:
    if kind is str:
        return np.array(column.to_pylist(), dtype=np.str_)
    values: npt.NDArray[Any] = column.to_numpy().astype(np.float64)
    return values


def _check_columns(name: str, schema: Any) -> None:
    import pyarrow.types as kinds

    known: Mapping[str, type] = dict(SEGMENT_COLUMNS)
    missing = [each for each in known if each not in schema.names]
    odd = [each for each in schema.names if each not in known]
    if missing or odd:
        said = [f"lacks {', '.join(missing)}"] if missing else []
        said += [f"has unknown {', '.join(odd)}"] if odd else []
        raise InputError(f"{name} {' and '.join(said)}; expected {', '.join(known)}")
    for each, kind in known.items():
        stored = schema.field(each).type
        is_number = kinds.is_floating(stored) or kinds.is_integer(stored)
        if is_number is not (kind is float):
            wanted = "numbers" if kind is float else "text"
            raise InputError(f"{name}: column {each} is {stored}; expected {wanted}")


def _parquet() -> Any:
    try:
        import pyarrow.parquet
    except ImportError as error:
        raise InputError("large networks need: pip install 'crossfall[scale]'") from error
    return pyarrow.parquet
