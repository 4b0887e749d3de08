"""Where a machine's device says it was: arrays of fixes, and what is set aside before matching.

Readers make :class:`Fixes` in pieces, so that a file of any size passes through bounded memory.
Setting aside is done here, with counts, whatever the format was.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
import numpy.typing as npt
from scipy.ndimage import median_filter

from crossfall.errors import InputError
from crossfall.model.policy import TracksPolicy
from crossfall.network.projection import LocalPlane

Floats = npt.NDArray[np.float64]

UP, DOWN, UNKNOWN = 0, 1, -1
"""States of a blade bit."""

_MEDIAN_OF = 5


@dataclass(frozen=True, eq=False)
class Fixes:
    """Fixes of one machine in the order of the file, shape (fix,) each.

    Raises
    ------
    InputError
        If the arrays differ in length.
    """

    time_s: Floats
    """Seconds since 1970-01-01 UTC [s]."""
    lon: Floats
    lat: Floats
    """WGS 84 [degrees]."""
    blade: npt.NDArray[np.int8] = field(default_factory=lambda: np.zeros(0, dtype=np.int8))
    """1 down, 0 up, -1 nobody says; left out it is unknown everywhere."""

    def __post_init__(self) -> None:
        n = self.time_s.shape[0]
        if self.blade.shape[0] == 0 and n:
            object.__setattr__(self, "blade", np.full(n, UNKNOWN, dtype=np.int8))
        for name in ("lon", "lat", "blade"):
            if getattr(self, name).shape != (n,):
                raise InputError(
                    f"{name} has shape {getattr(self, name).shape}; expected ({n},) as time_s"
                )

    @property
    def n(self) -> int:
        return int(self.time_s.shape[0])

    def only(self, keep: npt.NDArray[np.bool_] | slice) -> Fixes:
        """The fixes that a mask or a slice names."""
        return Fixes(self.time_s[keep], self.lon[keep], self.lat[keep], self.blade[keep])


def together(parts: Sequence[Fixes]) -> Fixes:
    """Fixes of several pieces, one after the other."""
    if not parts:
        return Fixes(np.zeros(0), np.zeros(0), np.zeros(0))
    return Fixes(
        np.concatenate([part.time_s for part in parts]),
        np.concatenate([part.lon for part in parts]),
        np.concatenate([part.lat for part in parts]),
        np.concatenate([part.blade for part in parts]),
    )


def set_aside(fixes: Fixes, policy: TracksPolicy) -> tuple[Fixes, dict[str, int]]:
    """Fixes that can be believed, in order of time, and how many others there were and why.

    Stretches that stand in another order in the file, the newest first for example, are put in
    order. A fix is set aside when its place or time is not finite or possible, when its clock
    jumped (as few fixes as can be, so that one wrong clock does not cost the others), when the
    clock stands still, or when getting there and away again asks for more than
    ``fastest_km_h``.

    Examples
    --------
    >>> t = np.array([0.0, 10.0, 900.0, 20.0, 30.0, 40.0])
    >>> lon = np.array([8.0, 8.0002, 8.0003, 8.0004, 9.0, 8.0008])
    >>> kept, why = set_aside(Fixes(t, lon, np.full(6, 47.0)), TracksPolicy())
    >>> kept.time_s, why
    (array([ 0., 10., 20., 40.]), {'clock jumped': 1, 'faster than a machine': 1})
    """
    why: dict[str, int] = {}

    def drop(fixes: Fixes, keep: npt.NDArray[np.bool_], reason: str) -> Fixes:
        n_bad = int(fixes.n - np.count_nonzero(keep))
        if n_bad:
            why[reason] = why.get(reason, 0) + n_bad
            return fixes.only(keep)
        return fixes

    with np.errstate(invalid="ignore"):
        possible = (
            np.isfinite(fixes.time_s)
            & (np.abs(fixes.lon) <= 180)
            & (np.abs(fixes.lat) <= 90)
            & ((fixes.lon != 0) | (fixes.lat != 0))
        )
    fixes = drop(fixes, possible, "no usable place or time")
    if fixes.n:
        fixes = _in_order(fixes)
        fixes = drop(fixes, _longest_rise(fixes.time_s), "clock jumped")
        fresh = np.concatenate([[True], np.diff(fixes.time_s) > 0])
        fixes = drop(fixes, fresh, "same time twice")
    # A jump out and back again: the steps on both sides are too fast. Twice, for pairs of them
    for _ in range(3):
        if fixes.n < 2:
            break
        fixes = drop(fixes, ~_jumps(fixes, policy.fastest_km_h / 3.6), "faster than a machine")
    return fixes, why


def runs(fixes: Fixes, *, longest_gap_s: float) -> Iterable[Fixes]:
    """Stretches without a silence longer than ``longest_gap_s``, each of at least two fixes."""
    cuts = np.flatnonzero(np.diff(fixes.time_s) > longest_gap_s) + 1
    bounds = [0, *cuts.tolist(), fixes.n]
    for first, after in pairwise(bounds):
        if after - first >= 2:
            yield fixes.only(slice(first, after))


def smooth(x: Floats, y: Floats, *, over_m: float) -> tuple[Floats, Floats]:
    """Places with single jumps and part of the scatter taken out, shape (fix,) [m].

    A running median over five fixes, then a mean over as many fixes as the machine usually needs
    for ``over_m`` of travel: many at one a second and a walking pace, none at one a quarter minute.
    """
    if x.shape[0] < _MEDIAN_OF or over_m <= 0:
        return x, y
    steps = np.hypot(np.diff(x), np.diff(y))
    far = np.hypot(x[_MEDIAN_OF:] - x[:-_MEDIAN_OF], y[_MEDIAN_OF:] - y[:-_MEDIAN_OF])
    usual = float(np.median(far)) / _MEDIAN_OF if far.size else float(np.median(steps))
    if usual * (_MEDIAN_OF - 1) <= 2 * over_m:
        x = median_filter(x, size=_MEDIAN_OF, mode="nearest")
        y = median_filter(y, size=_MEDIAN_OF, mode="nearest")
    half = min(int(over_m / max(usual, 0.25) / 2), 15)
    return _local_mean(x, y, half, over_m)


def to_plane(fixes: Fixes, plane: LocalPlane) -> tuple[Floats, Floats]:
    """Metres east and north of the plane's centre, shape (fix,) each [m]."""
    return plane.to_plane(fixes.lon, fixes.lat)


def _in_order(fixes: Fixes) -> Fixes:
    """Stretches of rising time that do not overlap, put in order; else as they are."""
    cuts = np.flatnonzero(np.diff(fixes.time_s) < 0) + 1
    if not cuts.size:
        return fixes
    first = np.concatenate([[0], cuts])
    last = np.concatenate([cuts, [fixes.n]]) - 1
    order = np.argsort(fixes.time_s[first], kind="stable")
    starts, ends = fixes.time_s[first[order]], fixes.time_s[last[order]]
    if np.any(starts[1:] < ends[:-1]):
        return fixes
    places = np.concatenate([np.arange(first[k], last[k] + 1) for k in order.tolist()])
    return Fixes(fixes.time_s[places], fixes.lon[places], fixes.lat[places], fixes.blade[places])


def _longest_rise(time_s: Floats) -> npt.NDArray[np.bool_]:
    """As many fixes as can be kept with a clock that never falls."""
    keep = np.ones(time_s.shape[0], dtype=np.bool_)
    if not np.any(np.diff(time_s) < 0):
        return keep
    ends: list[float] = []
    at: list[int] = []
    before = np.full(time_s.shape[0], -1, dtype=np.int64)
    for k, value in enumerate(time_s.tolist()):
        place = bisect_right(ends, value)
        before[k] = at[place - 1] if place else -1
        if place == len(ends):
            ends.append(value)
            at.append(k)
        else:
            ends[place], at[place] = value, k
    keep[:] = False
    k = at[-1]
    while k >= 0:
        keep[k] = True
        k = int(before[k])
    return keep


def _local_mean(x: Floats, y: Floats, half: int, over_m: float) -> tuple[Floats, Floats]:
    """Mean of up to ``half`` fixes on both sides; fewer where the machine goes faster."""
    if half < 1:
        return x, y
    n = x.shape[0]
    # The reach shrinks where so many fixes would span much more road than over_m
    ahead = np.minimum(np.arange(n) + half, n - 1)
    behind = np.maximum(np.arange(n) - half, 0)
    span = np.hypot(x[ahead] - x[behind], y[ahead] - y[behind])
    with np.errstate(divide="ignore"):
        reach = np.clip((half * over_m / np.maximum(span, over_m)).astype(np.int64), 0, half)
    place = np.arange(n)
    reach = np.minimum(reach, np.minimum(place, n - 1 - place))
    total_x = np.concatenate([[0.0], np.cumsum(x)])
    total_y = np.concatenate([[0.0], np.cumsum(y)])
    count = 2 * reach + 1
    first, after = place - reach, place + reach + 1
    return (
        (total_x[after] - total_x[first]) / count,
        (total_y[after] - total_y[first]) / count,
    )


def _jumps(fixes: Fixes, fastest_m_s: float) -> npt.NDArray[np.bool_]:
    """Fixes that lie too far from both neighbours; at the ends, from the one there is."""
    x = np.radians(fixes.lon) * np.cos(np.radians(fixes.lat)) * 6_371_000.0
    y = np.radians(fixes.lat) * 6_371_000.0
    # Some metres of noise are no speed
    speed = np.maximum(np.hypot(np.diff(x), np.diff(y)) - 60.0, 0.0) / np.diff(fixes.time_s)
    too_fast = speed > fastest_m_s
    before = np.concatenate([[False], too_fast])
    after = np.concatenate([too_fast, [False]])
    bad = before & after
    # At an end, the neighbour is the jump unless the next step is calm
    if fixes.n > 2:
        bad[0] = too_fast[0] and not too_fast[1]
        bad[-1] = too_fast[-1] and not too_fast[-2]
    return np.asarray(bad)
