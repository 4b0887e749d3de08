"""Seasonal load limits: when to ask for one, and what a posted one means for our own trucks.

The thaw indices only *advise*. A limit binds once a named person of the posting authority has
signed it; from then on the agency's own trucks obey it like everybody else's.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING, Literal

import numpy as np
import numpy.typing as npt

from crossfall.errors import InputError, UnitsError
from crossfall.model.fleet import Machine
from crossfall.model.network import Segment
from crossfall.model.policy.gate import GatePolicy
from crossfall.model.policy.moisture import MoisturePolicy
from crossfall.model.posting import LoadPosting

if TYPE_CHECKING:
    from crossfall.judgement.state import MoistureState

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class LoadAdvisory:
    """What the thaw indices advise around one station. It binds nobody."""

    station: str
    segment_ids: tuple[str, ...]
    advice: Literal["put_up", "keep_up", "take_down", "none"]
    on: date | None
    """Day from which it should hold, for ``put_up``; day of the advice otherwise."""
    p: float
    """Chance that the roads are thaw-weak on that day."""
    thawing_c_day: float
    freezing_c_day: float
    reason: str
    has_winter_strength: bool = False
    """Whether it has frozen so hard that roads carry more than in summer, and are not weak."""
    is_posted: bool = False
    """Whether these roads have a signed limit up; those around one station that have not stand
    in an advisory of their own."""


def advise_load_limits(state: MoistureState) -> tuple[LoadAdvisory, ...]:
    """One advisory for the roads around each station without a posting, one for those with.

    *Put up* from the first day on which most members are thaw-weak and the thawing index still
    rises afterwards (a warming forecast); *keep up* while roads are weak and a posting holds;
    *take down* when a posting holds and no day ahead is weak in more than a few of the members.
    """
    found = []
    for station in dict.fromkeys(state.stations):
        sites = [i for i, each in enumerate(state.stations) if each == station]
        groups = np.isin(state.site_of_group, sites) & (state.groups.station >= 0)
        around = groups[state.groups.of_segment]
        has_limit = np.isfinite(state.posted_axle_t[:, 0])
        for is_posted, which in ((False, around & ~has_limit), (True, around & has_limit)):
            rows = np.flatnonzero(which)
            if rows.size:
                is_part = rows.size < int(around.sum())
                found.append(_advise(state, station.name, sites[0], rows, is_posted, is_part))
    return tuple(found)


def sign_posting(
    advisory: LoadAdvisory,
    *,
    posting_id: str,
    axle_t: float,
    authority: str,
    signed_by: str,
    up_at: datetime,
    down_at: datetime | None = None,
    policy: GatePolicy | None = None,
) -> LoadPosting:
    """Turn advice into a posting; refused without an authority and a name.

    A limit may be signed where the indices ask for none, for people know more than they do; the
    posting then says so.

    Raises
    ------
    InputError
        If nobody signed it, or the limit is not above 0.
    UnitsError
        If the limit is so high that it must be in another unit; it would bind nobody.
    """
    most = (policy or GatePolicy()).posted_axle_most_t
    if most < axle_t:
        raise UnitsError(
            f"axle_t is {axle_t:g}; expected at most {most:g} t an axle, maybe it is in kilograms,"
            " in pounds or of the whole truck"
        )
    reason = advisory.reason
    if advisory.advice == "none":
        reason = f"Signed although the thaw indices ask for none. {reason}"
    return LoadPosting(
        posting_id,
        advisory.segment_ids,
        axle_t,
        authority,
        signed_by,
        up_at,
        down_at,
        reason,
    )


def posted_axle_t(
    segments: Sequence[Segment],
    postings: Sequence[LoadPosting],
    *,
    first_day: date,
    n_days: int,
) -> Floats:
    """Heaviest axle let on, (segment, day), inf where nothing is posted [t].

    Raises
    ------
    InputError
        If a posting names no segment that is maintained.
    """
    limit = np.full((len(segments), n_days), np.inf)
    index = {segment.id: i for i, segment in enumerate(segments)}
    for posting in postings:
        rows = [index[each] for each in posting.segment_ids if each in index]
        if not rows:
            raise InputError(f"posting {posting.id} names no maintained segment")
        for at in range(n_days):
            if posting.is_up_on(first_day + timedelta(days=at)):
                limit[rows, at] = np.minimum(limit[rows, at], posting.axle_t)
    return limit


def heaviest_axle_t(machine: Machine, policy: GatePolicy, *, load_t: float | None = None) -> float:
    """Heaviest axle of a machine, loaded in full unless ``load_t`` says less [t]."""
    if machine.kind == "grader":
        return policy.grader_axle_share * machine.mass_t
    if load_t is None:
        load_t = machine.capacity / 1000 if machine.kind == "water_truck" else machine.payload_t
    return policy.truck_axle_share * (machine.mass_t + load_t)


def legal_payload_t(machine: Machine, axle_t: float, policy: GatePolicy) -> float:
    """Payload a truck may carry under an axle limit, 0 when it may not pass even empty [t].

    Examples
    --------
    A truck of 9 t empty that carries 12 t, under 6 t an axle with 0.4 of the mass on the heaviest:

    >>> truck = Machine("t1", "Truck 1", "haul_truck", "yard", mass_t=9.0, payload_t=12.0)
    >>> legal_payload_t(truck, 6.0, GatePolicy(truck_axle_share=0.4))
    6.0
    """
    most = axle_t / policy.truck_axle_share - machine.mass_t
    full = machine.capacity / 1000 if machine.kind == "water_truck" else machine.payload_t
    return float(min(max(most, 0.0), full))


def _advise(
    state: MoistureState, station: str, site: int, rows: Ints, is_posted: bool, is_part: bool
) -> LoadAdvisory:
    policy = state.policy
    p_weak = state.site_is_weak[:, site].mean(axis=0)
    thawing = np.median(state.site_thawing_c_day[:, site], axis=0)
    freezing = np.median(state.site_freezing_c_day[:, site], axis=0)
    at, advice = _advice(p_weak, thawing, is_posted, policy)
    indices = (
        f"thawing index {thawing[at]:.0f} of {policy.thaw_onset_c_day:.0f} °C·d, freezing index"
        f" {freezing[at]:.0f} °C·d"
    )
    says = {
        "put_up": "Ask for a load limit: the road is thawing from the top over trapped water",
        "keep_up": "Leave the load limit up: still weak below",
        "take_down": "The load limit can come down: no frost below, look before you lift it",
        "none": "No load limit needed",
    }[advice]
    which = f", for the stretches that have {'one' if is_posted else 'none'} up" if is_part else ""
    return LoadAdvisory(
        station=station,
        segment_ids=tuple(state.segment_ids[i] for i in rows),
        advice=advice,
        on=None if advice == "none" else state.first_day + timedelta(days=at),
        p=float(p_weak[at]),
        thawing_c_day=float(thawing[at]),
        freezing_c_day=float(freezing[at]),
        reason=f"{says}{which}: {indices}.",
        has_winter_strength=bool(
            freezing[0] >= policy.winter_strength_c_day and p_weak[0] < policy.weak_share
        ),
        is_posted=is_posted,
    )


def _advice(
    p_weak: Floats, thawing: Floats, is_posted: bool, policy: MoisturePolicy
) -> tuple[int, Literal["put_up", "keep_up", "take_down", "none"]]:
    if is_posted:
        return (0, "keep_up") if p_weak.max() >= policy.weak_over_share else (0, "take_down")
    for at in np.flatnonzero(p_weak >= policy.weak_share):
        after = thawing[at : at + policy.weak_warming_days + 1]
        if after.size == 1 or after[-1] > after[0]:
            return int(at), "put_up"
    return 0, "none"
