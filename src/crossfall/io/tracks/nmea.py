"""NMEA 0183 sentences as receivers log them: RMC with dates, GGA where a day is said.

A sentence counts only with a checksum that fits. RMC brings its own date. GGA has only the time
of day; the day goes on by one when the clock falls back by more than half a day.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

from crossfall.errors import InputError
from crossfall.io.tracks.profile import TrackProfile
from crossfall.io.tracks.stream import Collector
from crossfall.network.fixes import Fixes

_SENTENCE = re.compile(r"^\$([A-Z0-9]{5}),([^*]*)\*([0-9A-Fa-f]{2})\s*$")
_HALF_DAY_S = 43_200.0
_CENTURY_FROM = 80
"""Two digits from here on are of the last century."""
_LONGEST_LINE = 1024


def read_nmea(path: Path, profile: TrackProfile, left_out: Counter[str]) -> Iterator[Fixes]:
    """Fixes of RMC sentences; of GGA sentences where the file has no RMC and the day is said."""
    found, clock = Collector(), _Clock(profile.first_day)
    n_sentences, has_rmc = 0, False
    with path.open("rb") as file:
        while raw := file.readline(_LONGEST_LINE):
            line = raw.decode("ascii", errors="replace")
            match = _SENTENCE.match(line)
            if match is None:
                if line.strip():
                    left_out["lines that are no whole sentence"] += 1
                continue
            n_sentences += 1
            if checksum(line) != int(match[3], 16):
                left_out["bad checksum"] += 1
                continue
            kind, cells = match[1][2:], match[2].split(",")
            if kind == "RMC":
                has_rmc = True
                _add_rmc(cells, found, left_out)
            elif kind == "GGA" and not has_rmc:
                _add_gga(cells, clock, found, left_out)
            if found.is_full:
                yield found.take()
    if not n_sentences:
        raise InputError(f"{path.name} has no NMEA sentence; expected lines such as $GPRMC,...*6A")
    yield found.take()


def checksum(sentence: str) -> int:
    """Exclusive or of what stands between ``$`` and ``*``.

    Examples
    --------
    >>> hex(checksum("$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47"))
    '0x47'
    """
    value = 0
    for letter in sentence[1 : sentence.rindex("*")]:
        value ^= ord(letter)
    return value


class _Clock:
    """The day that times of day belong to."""

    def __init__(self, day: date | None) -> None:
        self.day = day
        self._last_s: float | None = None

    def seconds(self, of_day_s: float) -> float | None:
        if self.day is None:
            return None
        if self._last_s is not None and self._last_s - of_day_s > _HALF_DAY_S:
            self.day += timedelta(days=1)
        self._last_s = of_day_s
        start = datetime(self.day.year, self.day.month, self.day.day, tzinfo=UTC)
        return start.timestamp() + of_day_s


def _add_rmc(cells: list[str], found: Collector, left_out: Counter[str]) -> None:
    # time, status, lat, N/S, lon, E/W, knots, course, ddmmyy
    if len(cells) < 9 or cells[1] != "A":
        left_out["no fix at that moment"] += 1
        return
    try:
        of_day_s = _of_day(cells[0])
        day, month, year = int(cells[8][:2]), int(cells[8][2:4]), int(cells[8][4:6])
        year += 1900 if year >= _CENTURY_FROM else 2000
        start = datetime(year, month, day, tzinfo=UTC).timestamp()
        lat, lon = _degrees(cells[2], cells[3], "NS"), _degrees(cells[4], cells[5], "EW")
    except ValueError:
        left_out["time or place that cannot be read"] += 1
        return
    found.add(start + of_day_s, lon, lat)


def _add_gga(cells: list[str], clock: _Clock, found: Collector, left_out: Counter[str]) -> None:
    # time, lat, N/S, lon, E/W, quality
    if len(cells) < 6 or cells[5] in {"", "0"}:
        left_out["no fix at that moment"] += 1
        return
    try:
        when = clock.seconds(_of_day(cells[0]))
        lat, lon = _degrees(cells[1], cells[2], "NS"), _degrees(cells[3], cells[4], "EW")
    except ValueError:
        left_out["time or place that cannot be read"] += 1
        return
    if when is None:
        left_out["a time without a date; say the first day with --day"] += 1
        return
    found.add(when, lon, lat)


def _of_day(text: str) -> float:
    hours, minutes, seconds = int(text[:2]), int(text[2:4]), float(text[4:])
    if not (0 <= hours < 24 and 0 <= minutes < 60 and 0 <= seconds < 61):
        raise ValueError(text)
    return hours * 3600.0 + minutes * 60.0 + seconds


def _degrees(text: str, letter: str, letters: str) -> float:
    """``4807.038``, ``N`` to degrees; the last two digits before the point are minutes."""
    whole = text.index(".") - 2 if "." in text else len(text) - 2
    value = float(text[:whole] or 0) + float(text[whole:]) / 60
    if letter not in letters or not letter:
        raise ValueError(letter)
    return value if letter == letters[0] else -value
