"""Following the layer through past and future: two bounds, looks on the way, then members.

The past is run twice, from a bone-dry and from a full start, and with the least and the most that
missing days may have brought. Where the two have come together moisture is known. A look at the
surface resets it on its day. At the end of the record the members start, a little apart.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from crossfall.formulas.moisture import Weather, run_layer
from crossfall.judgement.forcing import Timeline
from crossfall.judgement.observe import Heard, believe_look, interval_of
from crossfall.judgement.stations import Groups
from crossfall.model.policy.moisture import MoisturePolicy

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Followed:
    """Moisture at the start of each day [%], NaN where unknown."""

    past_pct: Floats
    """(group, day) over the recorded days."""
    future_pct: Floats
    """(member, group, day) from the first member day on."""


@dataclass(frozen=True, eq=False)
class _Reset:
    """Looks of one day, for all groups."""

    day: int
    lower_pct: Floats
    upper_pct: Floats
    weight: Floats


def follow_layer(
    timeline: Timeline,
    groups: Groups,
    site: Ints,
    heard: Sequence[Heard],
    policy: MoisturePolicy,
    *,
    seed: int,
) -> Followed:
    """Run past and future for every group; ``site`` and ``heard`` have one entry per group."""
    layer, n_past, n_members = groups.layer, timeline.n_past, timeline.n_members
    per_pct = layer.mm_per_pct
    resets = _resets(timeline, groups, heard)
    spread = np.full(layer.n_segments, policy.start_spread_pct)
    seen = np.full(layer.n_segments, -1)

    def settle(pair: Floats, reset: _Reset) -> Floats:
        mean, half = pair.mean(axis=0), np.abs(pair[1] - pair[0]) / 2
        believed, doubt = believe_look(
            mean,
            np.maximum(policy.start_spread_pct, half),
            reset.lower_pct,
            reset.upper_pct,
            reset.weight,
        )
        is_heard = reset.weight > 0
        spread[is_heard] = doubt[is_heard]
        seen[is_heard] = reset.day
        # A look that counts less than half does not settle what was unknown
        keep = np.where(reset.weight >= 0.5, 0.0, 1 - reset.weight)
        return np.where(is_heard, believed + keep * (pair - mean), pair)

    ends = [0, n_members] if timeline.is_doubled else [0, 0]
    start = np.stack([layer.air_dry_mm, layer.saturation_mm]) / per_pct
    past = _run(
        timeline.weather.part(ends, slice(0, n_past)),
        groups, site, start, [each for each in resets if each.day <= n_past], 0, settle,
    )  # fmt: skip
    is_unknown = np.abs(past[1] - past[0]) > policy.unknown_above_pct
    past_pct = np.where(is_unknown, np.nan, past.mean(axis=0))[:, :-1]

    # What a look made sure fades towards the common spread
    age = np.where(seen >= 0, n_past - seen, 0)
    kept = np.exp(-2 * age / policy.observation_memory_days)
    spread = np.sqrt(policy.start_spread_pct**2 * (1 - kept) + spread**2 * kept)
    # Where station and gauges disagree and nobody looked, a storm may or may not have come
    doubt = np.where(seen < 0, np.minimum(timeline.rain_doubt_mm[site], layer.tew_mm), 0.0)
    spread = np.hypot(spread, doubt / per_pct)
    rng = np.random.default_rng([seed, 5])
    noise = rng.standard_normal((n_members, 1))
    factor = np.clip(1 + policy.rew_spread * rng.standard_normal(n_members), 0.5, 1.5)

    def nudge(members: Floats, reset: _Reset) -> Floats:
        mean, before = members.mean(axis=0), members.std(axis=0)
        believed, doubt = believe_look(
            mean,
            np.maximum(policy.start_spread_pct, before),
            reset.lower_pct,
            reset.upper_pct,
            reset.weight,
        )
        nudged = believed + doubt * noise
        return np.where(reset.weight > 0, nudged, members)

    later = [each for each in resets if each.day > n_past]
    needs_both = timeline.is_doubled or bool(is_unknown[:, -1].any())
    runs = []
    for which in (0, 1) if needs_both else (0,):
        first = n_members if which and timeline.is_doubled else 0
        rows = slice(first, first + n_members)
        level = past[which, :, -1] if needs_both else past[:, :, -1].mean(axis=0)
        runs.append(
            _run(
                timeline.weather.part(rows, slice(n_past, None)),
                groups, site, level + spread * noise, later, n_past, nudge, factor,
            )[..., :-1]
        )  # fmt: skip
    future = runs[0]
    if needs_both:
        is_unknown = np.abs(runs[1] - runs[0]) > policy.unknown_above_pct
        future = np.where(is_unknown, np.nan, (runs[0] + runs[1]) / 2)
    is_far = groups.station < 0
    past_pct[is_far] = np.nan
    future[:, is_far] = np.nan
    return Followed(past_pct, future)


def _run(
    weather: Weather,
    groups: Groups,
    site: Ints,
    start_pct: Floats,
    resets: Sequence[_Reset],
    first: int,
    apply: Callable[[Floats, _Reset], Floats],
    rew_factor: Floats | None = None,
) -> Floats:
    """Moisture [%] at all day boundaries, (row, group, day + 1), with resets on their days."""
    layer = groups.layer
    n_days = weather.liquid_mm.shape[-1]
    found = np.empty((*start_pct.shape, n_days + 1))
    level = start_pct
    stops = sorted({0, n_days, *(each.day - first for each in resets)})
    for at, until in zip(stops, [*stops[1:], n_days], strict=True):
        for reset in resets:
            if reset.day - first == at:
                level = apply(level, reset)
        begin = np.clip(level * layer.mm_per_pct, layer.air_dry_mm, layer.saturation_mm)
        run = run_layer(
            layer, weather.part(slice(None), slice(at, until)), site, begin, rew_factor=rew_factor
        )
        found[..., at : until + 1] = layer.percent(run.water_mm)
        level = found[..., until]
    return found


def _resets(timeline: Timeline, groups: Groups, heard: Sequence[Heard]) -> list[_Reset]:
    """One reset for each day and kind of look, oldest first."""
    kinds = sorted({(look.day, look.felt) for each in heard for look in each.looks})
    found = []
    for day, felt in kinds:
        weight = np.zeros(groups.n_groups)
        for i, each in enumerate(heard):
            against = [look.weight for look in each.looks if (look.day, look.felt) == (day, felt)]
            weight[i] = 1 - np.prod([1 - one for one in against]) if against else 0.0
        lower, upper = interval_of(felt, groups.layer, groups.bands)
        at = timeline.day_index(day)
        if 0 <= at <= timeline.n_days:
            found.append(_Reset(at, lower, upper, weight))
    return found
