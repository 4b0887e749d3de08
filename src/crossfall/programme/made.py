"""Made networks of any size for benchmarks and tests: random figures, no real roads.

Widths, lengths and traffic are spread as on rural gravel roads; everything is drawn from a seed.
Nothing here is a measurement.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

from crossfall.errors import InputError
from crossfall.programme.limits import Limits
from crossfall.programme.table import COLUMNS, SegmentTable

Floats = npt.NDArray[np.float64]


def made_table(n: int, seed: int, *, n_pits: int = 3) -> SegmentTable:
    """A table of ``n`` made segments.

    Examples
    --------
    >>> made_table(5, 1).n
    5
    """
    if n < 1:
        raise InputError(f"n is {n}; expected at least 1 segment")
    rng = np.random.default_rng(seed)
    values = np.empty((len(COLUMNS), n), dtype=np.float32)
    length, width = rng.uniform(0.4, 1.8, n), rng.uniform(5.0, 8.0, n)
    adt = np.clip(np.exp(rng.normal(4.0, 0.9, n)), 4, 900)
    rain = rng.uniform(0.03, 0.12, n)
    drawn = {
        "top_iri": rng.uniform(14, 22, n),
        "bottom_iri": rng.uniform(0.8, 3, n),
        "blading_share": rng.uniform(0.56, 0.78, n),
        "rate_fixed": np.full(n, 0.461e-3),
        "rate_traffic": 1e-3 * adt * (0.0168 - 0.0287 * rain),
        "loss_fixed_mm": rng.uniform(5, 10, n),
        "loss_traffic_mm": adt * rng.uniform(0.005, 0.05, n),
        "user_minor_iri": adt * 365 * length * 35 * 0.03,
        "bare_minor": adt * 365 * length * 25,
        "blade_minor": length * 0.7 * 14500,
        "lift_minor_mm": length * width * 3500,
        "dust_minor": length * 250000,
        "blade_h": length * 0.7,
        "lift_h_mm": length * width * 0.02,
        "lift_m3_mm": length * width,
        "start_mm": rng.uniform(5, 130, n),
        "start_iri": rng.uniform(4, 14, n),
        "service_iri": rng.choice([9.0, 11.0, 16.0, 30.0], n, p=[0.05, 0.2, 0.6, 0.15]),
        "drain_minor": length * 60000,
        "drain_short": rng.choice([0.0, 0.5, 1.0], n, p=[0.5, 0.3, 0.2]),
    }
    for row, name in enumerate(COLUMNS):
        values[row] = drawn[name]
    pits = rng.integers(0, n_pits, n).astype(np.int32)
    return SegmentTable((), values, pits, tuple(f"pit {pit + 1}" for pit in range(n_pits)))


def made_columns(n: int, seed: int, *, n_pits: int = 3) -> dict[str, npt.NDArray[Any]]:
    """Facts of ``n`` made segments, as a file of a large network holds them."""
    if n < 1:
        raise InputError(f"n is {n}; expected at least 1 segment")
    rng = np.random.default_rng(seed)
    classes = np.array(["arterial", "collector", "local", "minimum"])
    return {
        "segment_id": np.char.add("m", np.arange(n).astype(np.str_)),
        "length_m": rng.uniform(400, 1800, n),
        "width_m": rng.uniform(5.0, 8.0, n),
        "adt": np.clip(np.exp(rng.normal(4.0, 0.9, n)), 4, 900),
        "heavy_share": rng.uniform(0.02, 0.25, n),
        "grade_pct": rng.uniform(0.2, 6.0, n),
        "road_class": classes[rng.choice(4, n, p=[0.05, 0.2, 0.6, 0.15])],
        "material": np.full(n, "surface gravel"),
        "gravel_mm": rng.uniform(5, 130, n),
        "deformation": rng.uniform(1.5, 5.0, n),
        "drainage": rng.uniform(1.5, 5.0, n),
        "gravel_minor_m3": rng.uniform(2500, 5000, n),
        "pit": np.char.add("pit ", (rng.integers(0, n_pits, n) + 1).astype(np.str_)),
    }


def made_limits(
    free_use: Floats, *, money: float = 0.8, hours: float = 0.85, gravel: float = 0.75
) -> Limits:
    """Limits as shares of what each row would take on average if nothing were limited.

    ``free_use`` is (row, year) as in ``Limits.stacked``.
    """
    n_years = free_use.shape[1]
    mean = free_use.mean(axis=1)
    return Limits(
        np.full(n_years, money * mean[0]),
        np.full(n_years, hours * mean[1]),
        np.repeat(gravel * mean[2:, None], n_years, axis=1),
    )
