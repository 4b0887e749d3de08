"""Following the layer through past and future: two bounds, looks on the way, then members.

The past is run twice, from a bone-dry and from a full start, and with the least and the most that
missing days may have brought. Where the two have come together moisture is known. A look at the
surface resets it on its day. At the end of the record the members start, a little apart. Where a
gauge may or may not hold, each member has its own past from that day on.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from crossfall.judgement.forcing import Timeline
from crossfall.judgement.observe import Heard, Look, believe_look, interval_of
from crossfall.judgement.run_days import Rows, run_days
from crossfall.judgement.stations import Groups
from crossfall.model.condition import Felt
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
        both = pair.reshape(2, -1, layer.n_segments)
        mean, half = both.mean(axis=0), np.abs(both[1] - both[0]) / 2
        believed, doubt = believe_look(
            mean,
            np.maximum(policy.start_spread_pct, half),
            reset.lower_pct,
            reset.upper_pct,
            reset.weight,
            surprise_share=policy.surprise_share,
        )
        is_heard = reset.weight > 0
        spread[is_heard] = doubt.mean(axis=0)[is_heard]
        seen[is_heard] = reset.day
        # A look that counts too little does not settle what was unknown
        keep = np.where(reset.weight >= policy.settles_weight, 0.0, 1 - reset.weight)
        told = np.where(is_heard, believed + keep * (both - mean), both)
        return np.asarray(told.reshape(pair.shape))

    ends = [0, n_members] if timeline.is_doubled else [0, 0]
    start = np.stack([layer.air_dry_mm, layer.saturation_mm]) / per_pct
    n_shared = timeline.n_shared
    shared = _run(
        timeline, ends, slice(0, n_shared), groups, site, start,
        [each for each in resets if each.day <= n_shared], settle,
    )  # fmt: skip
    past = shared[:, None]
    if n_shared < n_past:
        # From the first gauge that may or may not hold here, every member has its own past
        members = [end + one for end in ends for one in range(n_members)]
        own = _run(
            timeline,
            members,
            slice(n_shared, n_past),
            groups,
            site,
            np.repeat(shared[..., -1], n_members, axis=0),
            [each for each in resets if n_shared < each.day <= n_past],
            settle,
        )
        own = own.reshape(2, n_members, *own.shape[1:])
        before = np.broadcast_to(past[..., :-1], (2, n_members, *past.shape[2:-1], n_shared))
        past = np.concatenate([before, own], axis=-1)
    is_unknown = (np.abs(past[1] - past[0]) > policy.unknown_above_pct).any(axis=0)
    past_pct = np.where(is_unknown, np.nan, past.mean(axis=(0, 1)))[:, :-1]

    # What a look made sure fades towards the common spread
    age = np.where(seen >= 0, n_past - seen, 0)
    kept = np.exp(-2 * age / policy.observation_memory_days)
    spread = np.sqrt(policy.start_spread_pct**2 * (1 - kept) + spread**2 * kept)
    rng = np.random.default_rng([seed, 5])
    noise = rng.standard_normal((n_members, 1))
    factor = np.clip(
        1 + policy.rew_spread * rng.standard_normal(n_members),
        policy.factor_least,
        policy.factor_most,
    )

    def nudge(members: Floats, reset: _Reset) -> Floats:
        mean, before = members.mean(axis=0), members.std(axis=0)
        believed, doubt = believe_look(
            mean,
            np.maximum(policy.start_spread_pct, before),
            reset.lower_pct,
            reset.upper_pct,
            reset.weight,
            surprise_share=policy.surprise_share,
        )
        nudged = believed + doubt * noise
        return np.where(reset.weight > 0, nudged, members)

    later = [each for each in resets if each.day > n_past]
    needs_both = timeline.is_doubled or bool(is_unknown[:, -1].any())
    runs = []
    for which in (0, 1) if needs_both else (0,):
        first = n_members if which and timeline.is_doubled else 0
        rows = slice(first, first + n_members)
        level = past[which, ..., -1] if needs_both else past[..., -1].mean(axis=0)
        runs.append(
            _run(
                timeline, rows, slice(n_past, timeline.n_days),
                groups, site, level + spread * noise, later, nudge, factor,
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
    timeline: Timeline,
    rows: Rows,
    days: slice,
    groups: Groups,
    site: Ints,
    start_pct: Floats,
    resets: Sequence[_Reset],
    apply: Callable[[Floats, _Reset], Floats],
    rew_factor: Floats | None = None,
) -> Floats:
    """Moisture [%] at all day boundaries, (row, group, day + 1), with resets on their days."""
    layer, first = groups.layer, days.start
    n_days = days.stop - first
    found = np.empty((*start_pct.shape, n_days + 1))
    level = start_pct
    stops = sorted({0, n_days, *(each.day - first for each in resets)})
    for at, until in zip(stops, [*stops[1:], n_days], strict=True):
        for reset in resets:
            if reset.day - first == at:
                level = apply(level, reset)
        begin = np.clip(level * layer.mm_per_pct, layer.air_dry_mm, layer.saturation_mm)
        run = run_days(
            timeline,
            layer,
            site,
            begin,
            rows=rows,
            days=slice(first + at, first + until),
            rew_factor=rew_factor,
        )
        found[..., at : until + 1] = layer.percent(run.water_mm)
        level = found[..., until]
    return found


def _resets(timeline: Timeline, groups: Groups, heard: Sequence[Heard]) -> list[_Reset]:
    """The looks of each day, oldest day first.

    Where looks of one day contradict each other, the one that counts most here comes last and so
    has the last word; of equal ones the one that was entered last.
    """
    found = []
    for day in sorted({look.day for each in heard for look in each.looks}):
        at = timeline.day_index(day)
        if not 0 <= at <= timeline.n_days:
            continue
        told = [_in_turn([look for look in each.looks if look.day == day]) for each in heard]
        for back in range(max(map(len, told)), 0, -1):
            weight, lower, upper = np.zeros((3, groups.n_groups))
            turn = [each[-back] if len(each) >= back else None for each in told]
            for felt in {each[0] for each in turn if each is not None}:
                low, high = interval_of(felt, groups.layer, groups.bands)
                for i, each in enumerate(turn):
                    if each is not None and each[0] == felt:
                        lower[i], upper[i], weight[i] = low[i], high[i], each[1]
            # Unheard groups keep what they have; any interval that is one will do
            unheard = weight == 0
            lower[unheard], upper[unheard] = (
                groups.bands.lower_pct[unheard],
                groups.bands.upper_pct[unheard],
            )
            found.append(_Reset(at, lower, upper, weight))
    return found


def _in_turn(looks: Sequence[Look]) -> list[tuple[Felt, float]]:
    """What was felt on one day and how much it counts together, the last word last."""
    together: dict[Felt, tuple[float, int]] = {}
    for order, look in enumerate(looks):
        missed = (1 - together.get(look.felt, (0.0, 0))[0]) * (1 - look.weight)
        together[look.felt] = (1 - missed, order)
    ranked = sorted(together.items(), key=lambda item: (round(item[1][0], 6), item[1][1]))
    return [(felt, weight) for felt, (weight, _) in ranked]
