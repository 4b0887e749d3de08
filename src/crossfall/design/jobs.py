"""From a need to a job: the treatment that is needed, after everything that must come first."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import replace
from typing import Any, Protocol

import numpy as np
import numpy.typing as npt

from crossfall.design.cautions import caution_keys
from crossfall.design.cost import price_book
from crossfall.design.curves import CurveFinder
from crossfall.design.dust import dust_stages
from crossfall.design.edges import (
    culvert_stages,
    ditch_stages,
    secondary_ditch_stages,
    shoulder_stages,
)
from crossfall.design.haul_ways import HaulWays, posted_below
from crossfall.design.outfit import outfit_of
from crossfall.design.passes import PassBook
from crossfall.design.regravelling import regravel_stages
from crossfall.design.shaping import (
    blading_stages,
    remix_stages,
    reshaping_stages,
    windrow_stages,
)
from crossfall.design.site import Site, Tools
from crossfall.design.source import Distances, SourceFinder
from crossfall.design.spots import spot_gravel_stages
from crossfall.errors import InfeasibleError, InputError
from crossfall.judgement.rules import sequence
from crossfall.model import (
    Condition,
    CostRange,
    DesignSignature,
    Fleet,
    Job,
    Need,
    Network,
    PointFeature,
    Policy,
    Quantity,
    Segment,
    Stage,
    Treatment,
)
from crossfall.network import RoadGraph

Designer = Callable[[Site, str, int, tuple[str, ...]], tuple[Stage, ...]]
"""A site, the job's id, the first stage's number and what must be finished before."""

_DESIGNERS: Mapping[Treatment, Designer] = {
    Treatment.BLADING: blading_stages,
    Treatment.RESHAPING: reshaping_stages,
    Treatment.SCARIFY_REMIX: remix_stages,
    Treatment.REGRAVELLING: regravel_stages,
    Treatment.SPOT_GRAVEL: spot_gravel_stages,
    Treatment.SHOULDER_PULLING: shoulder_stages,
    Treatment.SECONDARY_DITCH_REMOVAL: secondary_ditch_stages,
    Treatment.DITCH_CLEANING: ditch_stages,
    Treatment.CULVERT_CLEARING: culvert_stages,
    Treatment.DUST_CONTROL: dust_stages,
    Treatment.WINDROW_PICKUP: windrow_stages,
}


class SurfaceMoisture(Protocol):
    """What a design asks of the moisture state."""

    @property
    def segment_ids(self) -> Sequence[str]: ...

    @property
    def moisture_pct(self) -> npt.NDArray[Any]: ...

    @property
    def posted_axle_t(self) -> npt.NDArray[Any]: ...


def design_jobs(
    needs: Sequence[Need],
    conditions: Sequence[Condition],
    network: Network,
    graph: Distances,
    fleet: Fleet,
    state: SurfaceMoisture,
    policy: Policy,
    *,
    signatures: Sequence[DesignSignature] = (),
    treated: Collection[str] = (),
) -> tuple[Job, ...]:
    """Design every need, in the order given.

    Parameters
    ----------
    needs : sequence of Need
        What each road needs; a need for nothing is passed over.
    conditions : sequence of Condition
        Today's, at most one for each segment counts (the last).
    network, graph, fleet, policy
        The district; ``graph`` measures hauls from pits and water points.
    state : MoistureState
        Water is reckoned for the driest day of its window, loads for the lowest posted limit.
    signatures : sequence of DesignSignature
        Those that stand in the days to plan, in order of entry; the last word on a work counts.
        A job that asks for an engineer waits until one is among them.
    treated : collection of segment ids
        Roads that got dust control not long ago: they have a procedure of their own.

    Raises
    ------
    InputError
        If a need names an unknown segment, or rates differ in currency or year.
    """
    by_segment = {condition.segment_id: condition for condition in conditions}
    driest = _driest(state)
    posted = _posted(state, policy)
    tools = make_tools(fleet, graph, policy, seasonal_t=posted)
    signed = standing_words(signatures)
    paved = _paved_nodes(network)
    jobs = []
    for need in needs:
        if need.treatment == Treatment.NONE:
            continue
        segment = network.segment_by_id.get(need.segment_id)
        if segment is None:
            raise InputError(f"need {need.id} is for unknown segment {need.segment_id!r}")
        site = Site(
            segment=segment,
            condition=by_segment.get(segment.id),
            features=network.features_by_segment.get(segment.id, ()),
            driest_pct=driest.get(segment.id),
            meets_paved=(segment.from_node in paved, segment.to_node in paved),
            tools=tools,
            posted_t=posted.get(segment.id),
            is_treated=segment.id in treated,
        )
        jobs.append(_job(need, site, signed.get(segment.id, ())))
    return tuple(jobs)


def design_job(
    need: Need,
    segment: Segment,
    *,
    fleet: Fleet,
    graph: Distances,
    policy: Policy,
    condition: Condition | None = None,
    features: tuple[PointFeature, ...] = (),
    driest_pct: float | None = None,
    meets_paved: tuple[bool, bool] = (False, False),
    posted_t: float | None = None,
    signatures: Sequence[DesignSignature] = (),
    is_treated: bool = False,
    widenings: tuple[tuple[float, float, float], ...] = (),
) -> Job:
    """Design one need on one segment.

    Parameters
    ----------
    driest_pct : float, optional
        Surface moisture to reckon water from, by dry mass; None reckons none. [%]
    meets_paved : (bool, bool)
        Whether a paved road joins at the start and at the end.
    posted_t : float, optional
        Heaviest loaded truck that a seasonal posting lets on. [t]
    widenings : sequence of (from, to, width)
        Stretches that are wider than the road, by so much; they get the gravel they take. [m]
    """
    if need.segment_id != segment.id:
        raise InputError(f"need {need.id} is for {need.segment_id}, not for {segment.id}")
    tools = make_tools(fleet, graph, policy)
    site = Site(
        segment, condition, features, driest_pct, meets_paved, tools, posted_t,
        is_treated=is_treated, widenings=widenings,
    )  # fmt: skip
    return _job(need, site, standing_words(signatures).get(segment.id, ()))


def make_tools(
    fleet: Fleet,
    graph: Distances,
    policy: Policy,
    *,
    seasonal_t: Mapping[str, float] | None = None,
) -> Tools:
    """Lay out prices, passes and sources once for all jobs of a run.

    Parameters
    ----------
    seasonal_t : mapping, optional
        Heaviest loaded truck that a seasonal posting lets on, by segment. [t]
    """
    outfit, book = outfit_of(fleet, policy), price_book(policy, fleet)
    passes = PassBook(policy.design, outfit.blade_m)
    network = graph.network if isinstance(graph, RoadGraph) else None
    full_t = outfit.full_truck_t(policy.design.hauled_t_m3)
    limits = posted_below(network, full_t, seasonal_t or {}) if network else {}
    sources = SourceFinder(fleet, HaulWays(graph, limits), book, outfit, policy)
    return Tools(policy, outfit, book, passes, sources, CurveFinder(policy.design.shape))


def standing_words(
    signatures: Sequence[DesignSignature],
) -> dict[str, tuple[DesignSignature, ...]]:
    """The last word on each work of each segment, in order of entry; what was taken back is out."""
    last: dict[tuple[str, Treatment], DesignSignature] = {}
    for each in signatures:
        key = (each.segment_id, each.treatment)
        last.pop(key, None)
        last[key] = each
    found: dict[str, tuple[DesignSignature, ...]] = {}
    for each in last.values():
        if not each.is_withdrawn:
            found[each.segment_id] = (*found.get(each.segment_id, ()), each)
    return found


def _job(need: Need, site: Site, signed: Sequence[DesignSignature]) -> Job:
    job_id = f"{need.id}-job"
    order = _in_order(need)
    asks_engineer = Treatment.ENGINEER in order
    # Of a road that was sent to the engineer any signed work is the answer, the newest one
    word = next(
        (s for s in reversed(signed) if asks_engineer or s.treatment == need.treatment), None
    )
    if word is not None and word.limit_t is not None:
        site = replace(site, signed_t=word.limit_t)
    treatment = word.treatment if word is not None and asks_engineer else need.treatment
    stages: list[Stage] = []
    assumed = list(dict.fromkeys((*need.assumed, *site.assumed)))
    waits = asks_engineer and word is None
    for each in _as_signed(order, word):
        done = _last_of_each_part(stages)
        try:
            stages.extend(_DESIGNERS[each](site, job_id, len(stages) + 1, done))
        except InfeasibleError as reason:
            # What follows rests on what could not be laid out
            waits = True
            assumed.append(f"{each.label} is not laid out: {reason}")
            break
    if waits:
        assumed.append("engineer to confirm: nothing of this is planned or issued before")
    if word is not None:
        assumed.append(f"confirmed by {word.words}" + f": {word.note}" * bool(word.note))
    assumed.extend(site.tools.outfit.assumed_of(stages))
    return Job(
        id=job_id,
        need_id=need.id,
        segment_id=site.segment.id,
        treatment=treatment,
        stages=tuple(stages),
        benefit_h=need.benefit_h,
        quantities=_totals(stages),
        cost=_total_cost(stages, site),
        assumed=(*assumed, *(f"rates: {source}" for source in site.tools.book.sources[:2])),
        cautions=tuple(
            dict.fromkeys(
                key
                for s in stages
                for key in caution_keys(s, site.features, site.tools.design.permission)
            )
        ),
        needs_engineer=waits,
        confirmed_by="" if word is None else word.words,
    )


def _as_signed(order: tuple[Treatment, ...], word: DesignSignature | None) -> tuple[Treatment, ...]:
    """What may be laid out: with the engineer's answer in place of the question."""
    others = tuple(each for each in order if each != Treatment.ENGINEER)
    if word is None or Treatment.ENGINEER not in order:
        return others
    before, after = sequence(word.treatment, frozenset((word.treatment, *others)))
    answer = (*before, word.treatment, *after)
    is_base_shaped = word.treatment == Treatment.REGRAVELLING
    return tuple(each for each in answer if not (is_base_shaped and each == Treatment.RESHAPING))


def _in_order(need: Need) -> tuple[Treatment, ...]:
    """Everything the need calls for; a regravel shapes its own base, so that is not done twice."""
    asked = dict.fromkeys((*need.prerequisites, need.treatment, *need.follow_ups))
    asked.pop(Treatment.NONE, None)
    if Treatment.REGRAVELLING in asked:
        asked.pop(Treatment.RESHAPING, None)
    return tuple(asked)


def _last_of_each_part(stages: Sequence[Stage]) -> tuple[str, ...]:
    """Stages that no other waits for: the ends of what has been laid out so far."""
    waited_for = {each for stage in stages for each in stage.after}
    return tuple(stage.id for stage in stages if stage.id not in waited_for)


_ADDS_UP = frozenset({"m3", "t", "L", "loads"})


def _totals(stages: Sequence[Stage]) -> tuple[Quantity, ...]:
    sums: dict[tuple[str, str], float] = {}
    for stage in stages:
        for row in stage.quantities:
            if row.unit in _ADDS_UP:
                key = (row.name, row.unit)
                sums[key] = sums.get(key, 0.0) + row.value
    return tuple(Quantity(name, value, unit) for (name, unit), value in sums.items())


def _total_cost(stages: Sequence[Stage], site: Site) -> CostRange:
    # Plain sums: the price book has already seen to it that all money is of one kind
    costs = [stage.cost for stage in stages if stage.cost is not None]
    book = site.tools.book
    return book.money(
        sum(cost.low.minor for cost in costs),
        sum(cost.likely.minor for cost in costs),
        sum(cost.high.minor for cost in costs),
    )


def _driest(state: SurfaceMoisture) -> dict[str, float]:
    """For each segment the lowest of the days' middle members; unknown ones are left out [%]."""
    if not len(state.segment_ids):
        return {}
    known = np.where(np.isfinite(state.moisture_pct), state.moisture_pct, np.nan)
    is_known = np.atleast_1d(np.isfinite(known).any(axis=(0, 2)))
    kept = known[:, is_known, :]
    if kept.size == 0:
        return {}
    is_day = np.isfinite(kept).any(axis=0)
    middle = np.full(is_day.shape, np.inf)
    middle[is_day] = np.nanmedian(kept[:, is_day], axis=0)
    ids = [each for each, known_one in zip(state.segment_ids, is_known, strict=True) if known_one]
    return dict(zip(ids, (float(value) for value in middle.min(axis=1)), strict=True))


def _posted(state: SurfaceMoisture, policy: Policy) -> dict[str, float]:
    """For each posted segment the heaviest loaded truck let on in the window [t]."""
    if not len(state.segment_ids):
        return {}
    lowest = state.posted_axle_t.min(axis=1)
    share = policy.gate.truck_axle_share
    return {
        segment_id: float(axle_t) / share
        for segment_id, axle_t in zip(state.segment_ids, lowest, strict=True)
        if np.isfinite(axle_t)
    }


def _paved_nodes(network: Network) -> set[str]:
    return {
        node
        for segment in network.segments
        if segment.surface == "paved"
        for node in (segment.from_node, segment.to_node)
    }
