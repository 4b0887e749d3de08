"""How much rain each road has had between two days.

Each segment listens to the station nearest to its middle. Days a gauge missed, and days outside
its record, count as that gauge's mean day; a gauge with hardly any days counts as the policy's
mean. Rain here only ages scores; the surface moisture has its own, stricter reading of weather.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from crossfall.model import Segment, WeatherRecord

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class RainTable:
    """Cumulative rain of the nearest gauge of each segment."""

    station: Ints
    """Index of the gauge each segment listens to (segment,)."""
    first_day: Ints
    """Ordinal of each gauge's first day (gauge,)."""
    cumulative_mm: tuple[Floats, ...]
    """Rain from the first day to the start of each later day, one array for each gauge [mm]."""
    mean_mm_day: Floats
    """Mean rain a day of each gauge (gauge,) [mm]."""

    def between(self, rows: Ints, start: Floats, end: Floats) -> Floats:
        """Rain from day ``start`` to before day ``end`` (ordinals) on segments ``rows`` [mm]."""
        total = np.zeros(rows.shape[0])
        for gauge, cumulative in enumerate(self.cumulative_mm):
            mine = self.station[rows] == gauge
            if not mine.any():
                continue
            last = cumulative.shape[0] - 1
            at_start = np.clip(start[mine] - self.first_day[gauge], 0, last).astype(np.int64)
            at_end = np.clip(end[mine] - self.first_day[gauge], 0, last).astype(np.int64)
            uncovered = np.maximum(end[mine] - start[mine], 0.0) - (at_end - at_start)
            total[mine] = (
                cumulative[at_end]
                - cumulative[at_start]
                + np.maximum(uncovered, 0.0) * self.mean_mm_day[gauge]
            )
        return total

    @property
    def mean_by_segment(self) -> Floats:
        """Mean rain a day on each segment (segment,) [mm]."""
        return self.mean_mm_day[self.station]


def rain_table(
    segments: Sequence[Segment],
    weather: Sequence[WeatherRecord],
    *,
    default_mm_day: float,
    enough_days: int = 60,
) -> RainTable:
    """Tie each segment to its nearest gauge.

    Examples
    --------
    >>> table = rain_table((), (), default_mm_day=2.0)
    >>> table.mean_mm_day
    array([2.])
    """
    if not weather:
        return RainTable(
            np.zeros(len(segments), dtype=np.int64),
            np.zeros(1, dtype=np.int64),
            (np.zeros(1),),
            np.array([default_mm_day]),
        )
    means = np.array([_mean(record.rain_mm, default_mm_day, enough_days) for record in weather])
    cumulative = tuple(
        np.concatenate(([0.0], np.cumsum(np.where(np.isnan(rain), mean, rain))))
        for rain, mean in zip((record.rain_mm for record in weather), means, strict=True)
    )
    return RainTable(
        _nearest(segments, weather),
        np.array([record.first_day.toordinal() for record in weather], dtype=np.int64),
        cumulative,
        means,
    )


def _mean(rain_mm: Floats, default_mm_day: float, enough_days: int) -> float:
    known = rain_mm[~np.isnan(rain_mm)]
    return float(known.mean()) if known.shape[0] >= enough_days else default_mm_day


def _nearest(segments: Sequence[Segment], weather: Sequence[WeatherRecord]) -> Ints:
    if len(weather) == 1 or not segments:
        return np.zeros(len(segments), dtype=np.int64)
    middle = np.array([segment.line[len(segment.line) // 2] for segment in segments])
    gauges = np.array([(record.station.lon, record.station.lat) for record in weather])
    squeeze = np.cos(np.radians(middle[:, 1]))
    away = ((middle[:, None, 0] - gauges[None, :, 0]) * squeeze[:, None]) ** 2 + (
        middle[:, None, 1] - gauges[None, :, 1]
    ) ** 2
    return np.argmin(away, axis=1).astype(np.int64)
