"""How a network too large for one table is read and written: in runs of rows."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Protocol

import numpy as np
import numpy.typing as npt

Columns = Mapping[str, npt.NDArray[Any]]


class SegmentSource(Protocol):
    """Facts of many segments, in one fixed order; sent to workers as it is."""

    n: int
    pit_names: tuple[str, ...]

    def read(self, begin: int, end: int) -> Columns:
        """Columns of the segments ``begin`` to ``end``, named as in the file."""


class ResultSink(Protocol):
    """Where the result of a run of segments goes."""

    def write(self, index: int, columns: Columns) -> None:
        """Keep one run; written again it replaces itself."""


SEGMENT_COLUMNS: tuple[tuple[str, type], ...] = (
    ("segment_id", str),
    ("length_m", float),
    ("width_m", float),
    ("adt", float),
    ("heavy_share", float),
    ("grade_pct", float),
    ("road_class", str),
    ("material", str),
    ("gravel_mm", float),
    ("deformation", float),
    ("drainage", float),
    ("gravel_minor_m3", float),
    ("pit", str),
)
"""What a file of segments holds, one row for each; a price of NaN takes the policy's."""


def empty_columns() -> dict[str, npt.NDArray[Any]]:
    """No segments at all."""
    return {
        name: np.array([], dtype=np.str_ if kind is str else np.float64)
        for name, kind in SEGMENT_COLUMNS
    }
