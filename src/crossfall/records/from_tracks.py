"""What a machine's track would put into the books, laid before the person who accepts it.

Passes on a segment with an issued card are proposed as that card's work; passes nobody ordered
are proposed as blading. A proposal changes nothing: a device knows where a machine was and, at
best, whether its blade was down, and not what the work was worth.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from crossfall.errors import InputError
from crossfall.model import (
    JobCard,
    Machine,
    MachineDay,
    Network,
    Operator,
    Stage,
    Treatment,
    WorkRecord,
)
from crossfall.model.policy import TracksPolicy
from crossfall.model.track import BladeSource
from crossfall.network.passes import SegmentPasses
from crossfall.network.work_days import WorkDay

_DAYS_APART = 7
"""A card for a day further away is not the order that was carried out."""


@dataclass(frozen=True, slots=True)
class ProposedWork:
    """One segment's work on one day, as a track tells it."""

    segment_id: str
    road: str
    day: date
    machine_id: str
    operator: str
    treatment: Treatment
    n_forward: int
    n_backward: int
    from_m: float
    to_m: float
    covered_m: float
    hours: float
    """Work and the turns between passes [h]."""
    is_finished: bool
    blade: BladeSource
    card_number: int | None = None
    """The issued card that this would report on."""
    planned_passes: int | None = None
    speed_km_h: float | None = None
    speed_error_km_h: float | None = None
    n_fast: int = 0
    fastest_km_h: float | None = None
    doubts: tuple[str, ...] = ()
    """What to look at before it is accepted."""

    @property
    def n_passes(self) -> int:
        return self.n_forward + self.n_backward

    @property
    def would(self) -> str:
        """What accepting it does, in a few words."""
        if self.card_number is None:
            return "adds a record of blading that nobody ordered"
        if self.is_finished:
            return f"reports card {self.card_number} as done and closes it"
        return f"reports card {self.card_number} as begun"


def propose_work(
    days: Iterable[WorkDay],
    network: Network,
    orders: Sequence[tuple[JobCard, Stage]],
    machine: Machine,
    operator: Operator | None,
    policy: TracksPolicy,
) -> tuple[ProposedWork, ...]:
    """Work of each day and segment, with the order it belongs to.

    Parameters
    ----------
    days : iterable of WorkDay
        From :func:`~crossfall.network.work_days.work_days`.
    orders : sequence of (JobCard, Stage)
        Issued cards with their stages; each is used once.
    machine : Machine
        The one the track is of.
    operator : Operator, optional
        Who runs it; stands in the record.
    """
    open_orders = list(orders)
    found = []
    for day in days:
        for passes in day.passes:
            order = _order_for(passes, day.day, machine, open_orders)
            if order is not None:
                open_orders.remove(order)
            found.append(_proposed(passes, day, network, order, machine, operator, policy))
    return tuple(found)


def record_without_card(work: ProposedWork, *, track: str) -> WorkRecord:
    """The record of passes that nobody ordered.

    Parameters
    ----------
    track : str
        A name for the track, part of the record's id: bringing the same one in twice is refused.

    Raises
    ------
    InputError
        If the work has a card: that is closed instead.
    """
    if work.card_number is not None:
        raise InputError(f"card {work.card_number} ordered this work; record it on the card")
    return WorkRecord(
        id=f"track-{track}-{work.day:%Y%m%d}-{work.segment_id}"[:150],
        segment_id=work.segment_id,
        done_on=work.day,
        treatment=work.treatment,
        n_passes=work.n_passes,
        hours=work.hours,
        by=work.operator,
        from_m=work.from_m,
        to_m=work.to_m,
        is_finished=work.is_finished,
        note=note_of(work),
    )


def note_of(work: ProposedWork) -> str:
    """What a record says of where it came from."""
    words = [
        f"from a track: {work.n_forward} passes along, {work.n_backward} against,"
        f" {work.covered_m:.0f} m"
    ]
    if work.blade == "inferred":
        words.append("blade inferred from speed")
    if work.n_fast and work.fastest_km_h is not None:
        words.append(
            f"check: risk of corrugation, {work.n_fast} legs faster than common practice, up to"
            f" {work.fastest_km_h:.1f} km/h"
        )
    return "; ".join(words)


def machine_days(
    days: Iterable[WorkDay],
    machine_id: str,
    *,
    track: str,
    source: str,
    engine_h: dict[date, float] | None = None,
    fuel_l: dict[date, float] | None = None,
) -> tuple[MachineDay, ...]:
    """The sums of each day that stay when the track itself is purged.

    Parameters
    ----------
    track : str
        A name for the track, part of the ids: bringing the same one in twice is refused.
    source : str
        The file's name.
    engine_h, fuel_l : dict of date to float, optional
        What the machine's counters rose by on a day. [h], [L]
    """
    hours, fuel = engine_h or {}, fuel_l or {}
    return tuple(
        MachineDay(
            id=f"{machine_id}-{day.day:%Y%m%d}-{track}"[:150],
            machine_id=machine_id,
            day=day.day,
            work_h=day.work_h,
            travel_h=day.travel_h,
            standing_h=day.standing_h,
            work_km=day.work_km,
            travel_km=day.travel_km,
            travel=day.travel,
            blade=day.blade,
            engine_h=hours.get(day.day),
            fuel_l=fuel.get(day.day),
            source=source,
        )
        for day in days
    )


def _order_for(
    passes: SegmentPasses, day: date, machine: Machine, orders: Sequence[tuple[JobCard, Stage]]
) -> tuple[JobCard, Stage] | None:
    """The order of this machine on this segment, nearest in time, that the passes lie on."""
    mine = [
        (card, stage)
        for card, stage in orders
        if card.segment_id == passes.segment_id
        and card.machine in (machine.name, machine.id)
        and abs((card.day - day).days) <= _DAYS_APART
        and min(passes.to_m, stage.to_m) > max(passes.from_m, stage.from_m)
    ]
    return min(mine, key=lambda each: (abs((each[0].day - day).days), each[0].number), default=None)


def _proposed(
    passes: SegmentPasses,
    day: WorkDay,
    network: Network,
    order: tuple[JobCard, Stage] | None,
    machine: Machine,
    operator: Operator | None,
    policy: TracksPolicy,
) -> ProposedWork:
    segment = network.segment_by_id[passes.segment_id]
    doubts = list(_doubts(passes, policy))
    from_m, to_m = passes.from_m, passes.to_m
    card = stage = None
    if order is None:
        is_finished = passes.covered_m >= policy.finished_share * segment.length_m
        doubts.append("nobody ordered it; is it blading?")
    else:
        card, stage = order
        from_m, to_m = max(from_m, stage.from_m), min(to_m, stage.to_m)
        reached = min(passes.covered_m, to_m - from_m) / (stage.to_m - stage.from_m)
        is_finished = reached >= policy.finished_share and passes.n_passes >= stage.n_passes
        if passes.n_passes < stage.n_passes:
            doubts.append(f"{passes.n_passes} of {stage.n_passes} ordered passes were seen")
        elif passes.n_passes > stage.n_passes:
            doubts.append(f"{passes.n_passes} passes were seen, {stage.n_passes} were ordered")
        if reached < policy.finished_share:
            doubts.append(f"{100 * reached:.0f} % of the ordered length was reached")
    return ProposedWork(
        segment_id=passes.segment_id,
        road=segment.route,
        day=day.day,
        machine_id=machine.id,
        operator=operator.name if operator else machine.name,
        treatment=stage.treatment if stage else Treatment.BLADING,
        n_forward=passes.n_forward,
        n_backward=passes.n_backward,
        from_m=from_m,
        to_m=to_m,
        covered_m=passes.covered_m,
        hours=passes.on_site_s / 3600,
        is_finished=is_finished,
        blade=passes.blade,
        card_number=card.number if card else None,
        planned_passes=stage.n_passes if stage else None,
        speed_km_h=passes.speed_km_h,
        speed_error_km_h=passes.speed_error_km_h,
        n_fast=passes.n_fast,
        fastest_km_h=passes.fastest_km_h,
        doubts=tuple(doubts),
    )


def _doubts(passes: SegmentPasses, policy: TracksPolicy) -> Iterable[str]:
    if passes.blade == "inferred":
        yield "the device does not say whether the blade was down; it is inferred from speed"
    if passes.n_fast and passes.fastest_km_h is not None:
        yield (
            f"check: risk of corrugation; {passes.n_fast} of the legs ran clearly above"
            f" {policy.fast_km_h:g} km/h, up to {passes.fastest_km_h:.1f} km/h"
        )
    holes = passes.to_m - passes.from_m - passes.covered_m
    if holes > 2 * policy.cell_m:
        yield f"{holes:.0f} m in between were not worked"
