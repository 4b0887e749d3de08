"""The surface by zone and day: how much road is in which class, and on how much work may go ahead.

A zone is a handful of roads that somebody decides about together: a board district, one road, or
all roads that drain alike. Every share is of road length, so that a long road counts as such.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Literal, get_args

import numpy as np
import numpy.typing as npt

from crossfall.errors import InputError
from crossfall.formulas.moisture_class import MoistureClass
from crossfall.judgement.gate import TASKS, GateTable
from crossfall.judgement.state import MoistureState
from crossfall.model.need import Task
from crossfall.model.network import Segment

Floats = npt.NDArray[np.float64]
ZoneKind = Literal["whole", "district", "route", "drainage"]


@dataclass(frozen=True, eq=False)
class Zone:
    """Roads taken together; shares are of road length, 0 to 1."""

    name: str
    """As in the network: ``District 4``, ``Mill Road``, ``poor``; empty for the whole."""
    segment_ids: tuple[str, ...]
    length_m: float
    first_day: date
    class_share: Floats
    """Expected share in each :class:`MoistureClass`, (class, day)."""
    go_share: dict[Task, Floats]
    """Where a task may be done as it is, (day,)."""
    watered_share: dict[Task, Floats]
    """Where it may be done only with water, (day,)."""
    rain_chance: Floats
    """Chance of more rain than shuts a road for the day, (day,); NaN where unknown."""
    rain_high_mm: Floats
    """Mean rain over the zone that is not exceeded nine times in ten, (day,) [mm]."""
    unsure_share: Floats
    """Where no class has members enough to be named, (day,)."""

    @property
    def n_days(self) -> int:
        return int(self.class_share.shape[1])

    @property
    def workable_share(self) -> Floats:
        """Expected share that is workable, (day,)."""
        return np.asarray(self.class_share[MoistureClass.WORKABLE])

    def summary(self) -> str:
        """One line for the first day: ``District 4: 61 km, 82 % workable, 18 % drying``."""
        shares = zip(MoistureClass, self.class_share[:, 0].tolist(), strict=True)
        parts = [f"{100 * share:.0f} % {cls.label}" for cls, share in shares if share >= 0.005]
        if self.unsure_share[0] >= 0.005:
            parts.append(f"not sure on {100 * self.unsure_share[0]:.0f} %")
        name = f"{self.name}: " if self.name else ""
        return ", ".join([f"{name}{self.length_m / 1000:.0f} km", *parts])


def zones(
    state: MoistureState, gates: GateTable, segments: Sequence[Segment], by: ZoneKind = "whole"
) -> tuple[Zone, ...]:
    """The maintained roads in zones, in the order of their names; *poor* before *fair* and *good*.

    Parameters
    ----------
    state, gates
        Of the same days.
    segments
        The network's; those the state does not know are passed over.
    by : {'whole', 'district', 'route', 'drainage'}
        ``drainage`` is the road's own, before a blocked ditch.

    Raises
    ------
    InputError
        If ``by`` is unknown.
    """
    if by not in get_args(ZoneKind):
        raise InputError(f"by is {by!r}; expected one of {', '.join(get_args(ZoneKind))}")
    members: dict[str, list[Segment]] = {}
    for segment in segments:
        if segment.id in state.index_by_id:
            members.setdefault(_name(segment, by), []).append(segment)
    chances = np.stack([state.p_class(each) for each in MoistureClass])
    unsure = chances.max(axis=0) < state.policy.sure_share
    ordered = sorted(members, key=_drainage_first if by == "drainage" else _by_name)
    return tuple(_zone(name, members[name], state, gates, chances, unsure) for name in ordered)


def _zone(
    name: str,
    members: list[Segment],
    state: MoistureState,
    gates: GateTable,
    chances: Floats,
    unsure: npt.NDArray[np.bool_],
) -> Zone:
    rows = np.array([state.index(each.id) for each in members])
    lengths = np.array([each.length_m for each in members])
    go, watered = {}, {}
    for task in TASKS:
        is_allowed, is_wet = gates.allowed(task)[rows], gates.needs_water(task)[rows]
        go[task] = np.asarray(np.average(is_allowed & ~is_wet, axis=0, weights=lengths))
        watered[task] = np.asarray(np.average(is_wet, axis=0, weights=lengths))
    rain = state.rain_mm[:, rows]
    return Zone(
        name=name,
        segment_ids=tuple(each.id for each in members),
        length_m=float(lengths.sum()),
        first_day=state.first_day,
        class_share=np.asarray(np.average(chances[:, rows], axis=1, weights=lengths)),
        go_share=go,
        watered_share=watered,
        rain_chance=_rain_chance(rain, lengths, state.policy.rain_limit_mm),
        rain_high_mm=_rain_high(rain, lengths, state.policy.rain_high_share),
        unsure_share=np.asarray(np.average(unsure[rows], axis=0, weights=lengths)),
    )


def _rain_chance(rain_mm: Floats, lengths: Floats, limit_mm: float) -> Floats:
    weights = np.where(np.isfinite(rain_mm), lengths[None, :, None], 0.0)
    total = weights.sum(axis=(0, 1))
    is_wet = np.nan_to_num(rain_mm) > limit_mm
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.asarray((is_wet * weights).sum(axis=(0, 1)) / total)


def _rain_high(rain_mm: Floats, lengths: Floats, share: float) -> Floats:
    members = np.average(rain_mm, axis=1, weights=lengths)
    found = np.full(members.shape[1], np.nan)
    for day in range(members.shape[1]):
        known = members[np.isfinite(members[:, day]), day]
        if known.size:
            found[day] = np.quantile(known, share)
    return found


def _name(segment: Segment, by: ZoneKind) -> str:
    return "" if by == "whole" else str(getattr(segment, by))


def _by_name(name: str) -> tuple[bool, list[tuple[int, str]]]:
    """Unnamed last; ``90th Street`` before ``100th Street``."""
    parts: list[tuple[int, str]] = []
    digits = ""
    for sign in name + " ":
        if sign.isdigit():
            digits += sign
            continue
        if digits:
            parts.append((int(digits), ""))
            digits = ""
        parts.append((10**9, sign.lower()))
    return not name, parts


def _drainage_first(name: str) -> int:
    return ("poor", "fair", "good").index(name)
