"""What an instrument wrote down of a ride: an elevation profile, or an accelerometer's trace.

A profile has the columns ``distance_m`` and ``elevation_m`` (or ``elevation_mm``), a trace
``time_s`` and ``acceleration_m_s2`` (or ``acceleration_g``) and, if the speed was logged,
``speed_km_h``. Steps are even, speed is steady: what comes out of an uneven file would look like a
figure and be none.
"""

from __future__ import annotations

import csv
import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

from crossfall.errors import InputError, Problem, refuse
from crossfall.formulas.corrugation import GRAVITY
from crossfall.io.text import open_text
from crossfall.io.written import likely
from crossfall.units import convert

Floats = npt.NDArray[np.float64]

_PROFILE = {"elevation_m": 1.0, "elevation_mm": convert(1.0, "mm", "m")}
_TRACE = {"acceleration_m_s2": 1.0, "acceleration_g": GRAVITY}
_COLUMNS = ("distance_m", *_PROFILE, "time_s", *_TRACE, "speed_km_h")
_UNEVEN_SHARE = 0.02
"""By so much a step may differ from the others, as figures are written with few digits; ours."""
_SPEED_SHARE = 0.15
"""By so much the speed may leave its mean; ours."""


@dataclass(frozen=True, eq=False)
class Profile:
    """Elevation along the way at even steps."""

    file: str
    start_m: float
    """Where it begins, from the start of the segment [m]."""
    step_m: float
    elevation_m: Floats

    @property
    def length_m(self) -> float:
        return self.step_m * (self.elevation_m.shape[0] - 1)


@dataclass(frozen=True, eq=False)
class Trace:
    """Vertical acceleration of a wheel at even times, driven at a steady speed."""

    file: str
    sample_hz: float
    speed_km_h: float
    acceleration_m_s2: Floats

    @property
    def length_m(self) -> float:
        return self.acceleration_m_s2.shape[0] / self.sample_hz * self.speed_km_h / 3.6


def read_ride(path: str | Path, *, speed_km_h: float | None = None) -> Profile | Trace:
    """Read a profile or a trace, whichever its columns say it is.

    ``speed_km_h`` is the speed of a trace that did not log it.

    Raises
    ------
    InputError
        If the file cannot be read, its columns are of neither kind, a figure is missing or none,
        the steps are uneven, the speed is not known, said twice, or not steady; rows are named.
    """
    path = Path(path)
    table = _read(path)
    elevation = next((name for name in _PROFILE if name in table), None)
    trace = next((name for name in _TRACE if name in table), None)
    if elevation is not None and "distance_m" in table and trace is None:
        if speed_km_h is not None:
            raise InputError(
                f"{path.name} is a profile; a speed belongs to an accelerometer's trace"
            )
        step = _even_step(table["distance_m"], f"{path.name}, distance_m")
        start = float(table["distance_m"][0])
        return Profile(path.name, start, step, table[elevation] * _PROFILE[elevation])
    if trace is not None and "time_s" in table and elevation is None:
        step = _even_step(table["time_s"], f"{path.name}, time_s")
        speed = _speed(table.get("speed_km_h"), speed_km_h, path.name)
        return Trace(path.name, 1 / step, speed, table[trace] * _TRACE[trace])
    raise InputError(
        f"{path.name} has the columns {', '.join(table)}; expected distance_m and elevation_m of a"
        " profile, or time_s and acceleration_m_s2 of a trace"
    )


def _read(path: Path) -> dict[str, Floats]:
    with open_text(path) as lines:
        table = csv.reader(lines, strict=True)
        try:
            rows = [(table.line_num, row) for row in table if any(map(str.strip, row))]
        except csv.Error as error:
            raise InputError(f"{path.name} row {table.line_num} is not CSV ({error})") from None
    if len(rows) < 3:
        raise InputError(f"{path.name} has fewer than two points; expected a header and a ride")
    header = [name.strip() for name in rows[0][1]]
    for name in header:
        if name not in _COLUMNS:
            raise InputError(f"{path.name}: column {name!r} is unknown{likely(name, _COLUMNS)}")
        if header.count(name) > 1:
            raise InputError(f"{path.name}: column {name!r} is there twice")
    problems: list[Problem] = []
    figures = np.full((len(rows) - 1, len(header)), np.nan)
    for at, (number, cells) in enumerate(rows[1:]):
        if len(cells) != len(header):
            words = f"has {len(cells)} cells; expected {len(header)} as the header"
            problems.append(Problem(f"{path.name} row {number}", words))
            continue
        for column, cell in enumerate(cells):
            value = _figure(cell)
            if value is None:
                where = f"{path.name} row {number}, {header[column]}"
                problems.append(Problem(where, f"is {cell.strip()!r}; expected a figure"))
            else:
                figures[at, column] = value
    refuse(problems)
    return {name: figures[:, column] for column, name in enumerate(header)}


def _figure(cell: str) -> float | None:
    try:
        value = float(cell)
    except ValueError:
        return None
    return value if math.isfinite(value) else None


def _even_step(at: Floats, where: str) -> float:
    steps = np.diff(at)
    step = float(np.median(steps))
    if not step > 0:
        raise InputError(f"{where} does not rise; expected each point beyond the one before")
    off = np.abs(steps - step) > _UNEVEN_SHARE * step
    if off.any():
        first = int(np.argmax(off))
        raise InputError(
            f"{where} goes from {at[first]:g} to {at[first + 1]:g} among steps of {step:g};"
            " expected even steps, so cut there or sample it again"
        )
    return float((at[-1] - at[0]) / (at.shape[0] - 1))


def _speed(logged: Floats | None, said: float | None, file: str) -> float:
    if logged is None and said is None:
        raise InputError(f"{file} does not say how fast it was driven; give the speed")
    if logged is None:
        assert said is not None, "one of the two is there"
        return said
    if said is not None:
        raise InputError(f"{file} has its own column speed_km_h; give no other speed")
    mean = float(logged.mean())
    if not mean > 0 or np.abs(logged - mean).max() > _SPEED_SHARE * mean:
        raise InputError(
            f"{file} was driven at {logged.min():g} to {logged.max():g} km/h; expected a steady"
            f" speed within {100 * _SPEED_SHARE:.0f} %, so cut out a steady stretch"
        )
    return mean
