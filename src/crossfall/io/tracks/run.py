"""From a track file to a machine's days: read, set aside, match and sum, block by block."""

from __future__ import annotations

import hashlib
from collections import Counter
from dataclasses import dataclass
from datetime import UTC, datetime, tzinfo
from pathlib import Path

import numpy as np

from crossfall.errors import InputError
from crossfall.io.text import count
from crossfall.io.tracks.profile import TrackProfile
from crossfall.io.tracks.stream import open_track
from crossfall.model import Network, Progress, quiet
from crossfall.model.policy import TracksPolicy
from crossfall.network.fixes import Fixes, runs, set_aside, together
from crossfall.network.legs import TrackLeg, find_legs
from crossfall.network.matching import match
from crossfall.network.road_index import RoadIndex
from crossfall.network.work_days import WorkDay, work_days

_MOSTLY = 0.5
BLOCK = 100_000
"""Fixes matched at a time; a day of one fix a second fits in."""


@dataclass(frozen=True, slots=True)
class TrackMatch:
    """What a track says a machine did. Nothing of it is stored yet."""

    file: str
    sha256: str
    n_fixes: int
    """Fixes in the file, those that could not be read left out."""
    set_aside: dict[str, int]
    """Fixes and lines that were not used, and why."""
    off_road_pct: float
    """Believable fixes with no road near [%]."""
    first_at: datetime
    last_at: datetime
    days: tuple[WorkDay, ...]
    legs: tuple[TrackLeg, ...]

    @property
    def is_inferred(self) -> bool:
        """The file has no blade state; work was told from speed."""
        return any(day.blade == "inferred" for day in self.days)

    def summary(self) -> str:
        """A few sentences for the person who decides."""
        n_segments = sum(len(day.passes) for day in self.days)
        lines = [
            f"{self.file}: {count(self.n_fixes, 'fix', 'fixes')} on"
            f" {count(len(self.days), 'day')}, {count(n_segments, 'worked segment')}."
        ]
        if self.is_inferred:
            lines.append("It has no blade state: work is inferred from speed and not known.")
        if self.off_road_pct >= 1:
            lines.append(f"{self.off_road_pct:.0f} % of the fixes are near no road.")
        if self.set_aside:
            told = ", ".join(f"{n} {why}" for why, n in sorted(self.set_aside.items()))
            lines.append(f"Set aside: {told}.")
        return "\n".join(lines)


def match_file(
    path: str | Path,
    network: Network,
    policy: TracksPolicy,
    *,
    profile: TrackProfile | None = None,
    zone: tzinfo = UTC,
    progress: Progress = quiet,
) -> TrackMatch:
    """Lay a track on the roads and sum it by day.

    Parameters
    ----------
    path : path
        See :func:`~crossfall.io.tracks.open_track`.
    network : Network
    policy : TracksPolicy
    profile : TrackProfile, optional
        How to read the file.
    zone : tzinfo
        The agency's, which says where a day begins.
    progress : Progress

    Raises
    ------
    InputError
        If the file cannot be read, or no fix of it can be used.
    """
    path = Path(path)
    stream = open_track(path, profile)
    roads = RoadIndex(network, search_m=policy.search_m)
    run = _Run(roads, policy)
    waiting: list[Fixes] = []
    n_waiting = 0
    for piece in stream.pieces:
        waiting.append(piece)
        n_waiting += piece.n
        if n_waiting >= BLOCK:
            waiting = [run.take(together(waiting))]
            n_waiting = waiting[0].n
            progress(0.0, f"{run.n_fixes} fixes read")
    run.finish(together(waiting))
    left_out = Counter(stream.left_out) + run.set_aside
    if run.first_s is None or run.last_s is None:
        told = ", ".join(f"{n} {why}" for why, n in sorted(left_out.items())) or "it is empty"
        raise InputError(f"{path.name} has no fix that can be used: {told}")
    legs = sorted(run.legs, key=lambda leg: leg.start_s)
    return TrackMatch(
        file=path.name,
        sha256=sha256_of(path),
        n_fixes=run.n_fixes,
        set_aside=dict(left_out),
        off_road_pct=100 * run.n_off / max(run.n_believed, 1),
        first_at=datetime.fromtimestamp(run.first_s, UTC),
        last_at=datetime.fromtimestamp(run.last_s, UTC),
        days=work_days(legs, run.spans, network, zone, policy),
        legs=tuple(legs),
    )


class _Run:
    """Keeps what one block hands on to the next."""

    def __init__(self, roads: RoadIndex, policy: TracksPolicy) -> None:
        self.roads, self.policy = roads, policy
        self.legs: list[TrackLeg] = []
        self.spans: list[tuple[float, float]] = []
        self.set_aside: Counter[str] = Counter()
        self.n_fixes = self.n_believed = self.n_off = 0
        self.is_newest_first: bool | None = None
        self.first_s: float | None = None
        self.last_s: float | None = None

    def take(self, fixes: Fixes) -> Fixes:
        """Match a block up to its longest halt near the end; hand back the rest."""
        kept = self._believable(fixes)
        if kept.n < 2 or self.is_newest_first:
            # Newest first, the next block lies before this one: nothing to hand on
            self._match(kept)
            return kept.only(slice(0, 0))
        # The longest silence in the last quarter, else the place where it stood longest
        first = kept.n * 3 // 4
        cut = first + int(np.argmax(np.diff(kept.time_s[first:]))) + 1
        if kept.time_s[cut] - kept.time_s[cut - 1] <= self.policy.longest_gap_s:
            cut = first + _slowest(kept.only(slice(first, kept.n)))
        self._match(kept.only(slice(0, cut)))
        rest = kept.only(slice(cut, kept.n))
        # The rest is looked at again with the next block, and counted there
        self.n_fixes -= rest.n
        self.n_believed -= rest.n
        return rest

    def finish(self, fixes: Fixes) -> None:
        self._match(self._believable(fixes))

    def _believable(self, fixes: Fixes) -> Fixes:
        self.n_fixes += fixes.n
        if self.is_newest_first is None and fixes.n > 1:
            self.is_newest_first = bool(np.mean(np.diff(fixes.time_s) < 0) > _MOSTLY)
        if self.first_s is not None and self.last_s is not None and fixes.n:
            with np.errstate(invalid="ignore"):
                is_new = ~(fixes.time_s <= self.last_s)
                if self.is_newest_first:
                    is_new = ~(fixes.time_s >= self.first_s)
            n_known = int(fixes.n - np.count_nonzero(is_new))
            if n_known:
                self.set_aside["clock jumped"] += n_known
                fixes = fixes.only(is_new)
        kept, why = set_aside(fixes, self.policy)
        self.set_aside.update(why)
        self.n_believed += kept.n
        return kept

    def _match(self, fixes: Fixes) -> None:
        for drive in runs(fixes, longest_gap_s=self.policy.longest_gap_s):
            course = match(drive, self.roads, self.policy)
            self.n_off += int(np.count_nonzero(course.segment < 0))
            self.legs += find_legs(drive, course, self.roads, self.policy)
            self.spans.append((float(drive.time_s[0]), float(drive.time_s[-1])))
        if fixes.n:
            first, last = float(fixes.time_s[0]), float(fixes.time_s[-1])
            self.first_s = first if self.first_s is None else min(first, self.first_s)
            self.last_s = last if self.last_s is None else max(last, self.last_s)


def _slowest(fixes: Fixes) -> int:
    """The middle of the stretch of a minute or so in which the machine moved least."""
    if fixes.n < 130:
        return fixes.n // 2
    far = np.hypot(fixes.lon[60:] - fixes.lon[:-60], fixes.lat[60:] - fixes.lat[:-60])
    return int(np.argmin(far)) + 30


def sha256_of(path: Path) -> str:
    """SHA-256 of the file, as hexadecimal digits."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
