"""Segments and strategies as the simulation sees them: plain arrays, money in minor units.

Everything that does not change over the years is worked out once for each segment: how fast it
roughens and thins, with the part that grows with traffic apart, and what a blading, a millimetre
of gravel or a year of dust control takes in money, gravel and hours.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from crossfall.errors import InputError
from crossfall.formulas import roughness
from crossfall.formulas.gravel_loss import yearly_loss
from crossfall.model import Condition, Policy, Segment, Strategy
from crossfall.model.policy.programme import StrategyPolicy
from crossfall.programme.pits import GravelPlaced

Floats = npt.NDArray[np.float64]
Singles = npt.NDArray[np.float32]
Ints = npt.NDArray[np.int32]

COLUMNS = (
    "top_iri",
    "bottom_iri",
    "blading_share",
    "rate_fixed",
    "rate_traffic",
    "loss_fixed_mm",
    "loss_traffic_mm",
    "user_minor_iri",
    "bare_minor",
    "blade_minor",
    "lift_minor_mm",
    "dust_minor",
    "blade_h",
    "lift_h_mm",
    "lift_m3_mm",
    "start_mm",
    "start_iri",
    "service_iri",
)
"""Rows of :attr:`SegmentTable.values`; rates are positive, per day."""

MOST_YEARS = 30
"""Regravelling years are kept as bits of one 32-bit word, and priced in two halves."""
MOST_GRAVEL_MM = 1000.0
ANY_PIT = "any pit"


@dataclass(frozen=True, eq=False)
class SegmentTable:
    """Arrays of many segments."""

    ids: tuple[str, ...]
    """May be empty for made networks."""
    values: Singles
    """(column, segment), C-contiguous, in the order of :data:`COLUMNS`."""
    pit: Ints
    """Index of the pit that serves each segment (segment,)."""
    pit_names: tuple[str, ...]

    @property
    def n(self) -> int:
        return int(self.values.shape[1])

    def column(self, name: str) -> Singles:
        return self.values[COLUMNS.index(name)]

    def rows(self, chosen: npt.NDArray[np.int64]) -> SegmentTable:
        """The table of some of the segments."""
        return SegmentTable(
            tuple(self.ids[row] for row in chosen.tolist()) if self.ids else (),
            np.ascontiguousarray(self.values[:, chosen]),
            self.pit[chosen],
            self.pit_names,
        )


@dataclass(frozen=True, eq=False)
class StrategySet:
    """All combinations of dust control, blading and regravelling, in that order of index."""

    bladings: Singles
    """(blading,) a year; the first is the least."""
    trigger_mm: Singles
    """(gravel,) regravel below; 0 never."""
    lift_mm: Singles
    """(gravel,) placed then."""
    dust: Singles
    """(dust,) 1 with dust control, 0 without."""

    @property
    def n(self) -> int:
        return int(self.bladings.shape[0] * self.trigger_mm.shape[0] * self.dust.shape[0])

    def parts(self, strategy: npt.NDArray[np.integer]) -> tuple[Ints, Ints, Ints]:
        """Indices (dust, blading, gravel) of strategies."""
        n_gravel, n_blading = self.trigger_mm.shape[0], self.bladings.shape[0]
        gravel = strategy % n_gravel
        blading = strategy // n_gravel % n_blading
        return (
            (strategy // (n_gravel * n_blading)).astype(np.int32),
            blading.astype(np.int32),
            gravel.astype(np.int32),
        )

    def nouns(self) -> tuple[Strategy, ...]:
        """The strategies as they are shown."""
        made = []
        for index in range(self.n):
            dust, blading, gravel = (int(part) for part in self.parts(np.array(index)))
            n, trigger = float(self.bladings[blading]), float(self.trigger_mm[gravel])
            lift = float(self.lift_mm[gravel])
            words = [f"blade {n:g} a year"]
            words.append(
                f"regravel {lift:g} mm below {trigger:g} mm" if trigger > 0 else "no regravelling"
            )
            if self.dust[dust] > 0:
                words.append("dust control")
            made.append(
                Strategy(
                    id=f"b{n:g}-g{trigger:g}+{lift:g}" + ("-d" if self.dust[dust] > 0 else ""),
                    name=", ".join(words),
                    bladings_per_year=n,
                    regravel_below_mm=trigger if trigger > 0 else None,
                    lift_mm=lift,
                    has_dust_control=bool(self.dust[dust] > 0),
                )
            )
        return tuple(made)


def strategy_set(policy: StrategyPolicy) -> StrategySet:
    """The combinations a policy allows; the first is the least that can be done.

    Raises
    ------
    InputError
        If lists differ in length, a figure is negative, or the least is not first.

    Examples
    --------
    >>> strategies = strategy_set(StrategyPolicy())
    >>> strategies.n, strategies.nouns()[0].name
    (50, 'blade 1 a year, no regravelling')
    """
    bladings = np.array(policy.bladings_per_year, dtype=np.float32)
    trigger = np.array(policy.regravel_below_mm, dtype=np.float32)
    lift = np.array(policy.lift_mm, dtype=np.float32)
    dust = np.array(policy.with_dust_control, dtype=np.float32)
    if trigger.shape != lift.shape:
        raise InputError(
            f"regravel_below_mm has {trigger.shape[0]} figures and lift_mm {lift.shape[0]};"
            " expected one lift for each trigger"
        )
    if bladings.size == 0 or np.any(bladings < 0.1) or bladings.argmin() != 0:
        raise InputError("bladings_per_year must be at least 0.1 each and begin with the least")
    if trigger.size == 0 or trigger[0] != 0 or np.any(trigger < 0):
        raise InputError("regravel_below_mm must begin with 0 (never) and not be negative")
    if np.any((trigger > 0) & (lift <= 0)):
        raise InputError("lift_mm is 0 where a trigger is set; expected what is placed then")
    if dust.size == 0 or dust[0] != 0:
        raise InputError("with_dust_control must begin with False")
    return StrategySet(bladings, trigger, lift, dust)


def segment_table(
    segments: Sequence[Segment],
    conditions: Sequence[Condition],
    policy: Policy,
    *,
    gravel: Mapping[str, GravelPlaced] | None = None,
    rain_mm_month: float | None = None,
) -> SegmentTable:
    """Work out the table of an agency's segments.

    ``conditions`` are those believed today; a segment without one starts from its own gravel
    thickness and the policy's assumed ride. ``gravel`` gives pit and price of segments that a pit
    can reach; the others take the policy's price, from no pit in particular.

    Raises
    ------
    InputError
        If traffic is negative or gravel is thicker than a metre: the figure is in other units.
    """
    needs, programme = policy.needs, policy.programme
    material, factors, costs = programme.material, programme.factors, programme.costs
    seen = {condition.segment_id: condition for condition in conditions}
    length_km = np.array([segment.length_m for segment in segments]) / 1000
    width = np.array([segment.width_m for segment in segments])
    adt = np.array([segment.adt for segment in segments])
    heavy = adt * np.array([segment.heavy_share for segment in segments])
    rise = 10 * np.array([segment.grade_pct for segment in segments])
    rain = material.rain_mm_month if rain_mm_month is None else rain_mm_month
    start_mm = np.array([_gravel_mm(segment, seen.get(segment.id)) for segment in segments])
    _check(segments, adt, start_mm)
    ride = np.array(
        [
            seen[segment.id].deformation if segment.id in seen else needs.assumed.deformation
            for segment in segments
        ]
    )
    at, iri = zip(*needs.worth.iri_knots, strict=True)
    dust_ratio = roughness.dust_ratio(material.p075_pct, material.p425_pct)
    grading = roughness.grading_modulus(
        material.p075_pct, material.p425_pct, material.p2_pct, material.d95_mm
    )
    no_cars = np.zeros_like(adt)
    loss_at_rest, loss = (
        yearly_loss(
            adt=traffic,
            rise_fall_m_km=rise,
            curvature_deg_km=material.curvature_deg_km,
            rain_mm_month=rain,
            p075_pct=material.p075_pct,
            plasticity_pct=material.plasticity_pct,
            factor=factors.gravel_loss,
        )
        for traffic in (no_cars, adt)
    )
    rate_at_rest, rate = (
        -roughness.rate_per_day(light, trucks, rain, factor=factors.roughness_rate)
        for light, trucks in ((no_cars, no_cars), (adt - heavy, heavy))
    )
    hour_minor = policy.costs.grader.likely.minor + policy.costs.operator.likely.minor
    blade_h = needs.usual.blading_h_km * length_km
    area_mm = length_km * width  # one millimetre over the whole segment, in cubic metres
    placed = gravel or {}
    price_m3 = np.array(
        [
            placed[segment.id].minor_m3 if segment.id in placed else costs.gravel_placed_minor_m3
            for segment in segments
        ]
    )
    service = programme.service
    limit = {
        "arterial": service.arterial_iri,
        "collector": service.collector_iri,
        "local": service.local_iri,
        "minimum": service.minimum_iri,
    }
    columns = (
        roughness.highest(dust_ratio, material.curvature_deg_km, rise, rain),
        np.full_like(adt, float(roughness.lowest(material.d95_mm, grading))),
        np.full_like(
            adt, float(roughness.blading_share(dust_ratio, factor=factors.blading_effect))
        ),
        rate_at_rest,
        rate - rate_at_rest,
        loss_at_rest,
        loss - loss_at_rest,
        adt * 365.0 * length_km * costs.voc_minor_km * costs.voc_share_per_iri,
        adt * 365.0 * length_km * costs.bare_minor_km,
        blade_h * hour_minor,
        area_mm * price_m3,
        length_km * costs.dust_minor_km,
        blade_h,
        area_mm * costs.regravel_grader_h_m3,
        area_mm,
        start_mm,
        np.interp(ride, at, iri),
        np.array([limit[segment.road_class] for segment in segments]),
    )
    pit_of = [placed[each.id].pit if each.id in placed else ANY_PIT for each in segments]
    names = tuple(dict.fromkeys(pit_of))
    pits = [names.index(name) for name in pit_of]
    return SegmentTable(
        tuple(segment.id for segment in segments),
        np.ascontiguousarray(np.array(columns, dtype=np.float32)),
        np.array(pits, dtype=np.int32),
        names,
    )


def _gravel_mm(segment: Segment, condition: Condition | None) -> float:
    if condition is not None and condition.gravel_mm is not None:
        return condition.gravel_mm
    return segment.gravel_mm


def _check(segments: Sequence[Segment], adt: Floats, start_mm: Floats) -> None:
    if not segments:
        raise InputError("there are no maintained segments to plan years for")
    for segment, traffic, gravel in zip(segments, adt.tolist(), start_mm.tolist(), strict=True):
        if not traffic >= 0:
            raise InputError(f"adt of segment {segment.id} is {traffic:g}; expected >= 0")
        if not 0 <= gravel <= MOST_GRAVEL_MM:
            raise InputError(
                f"gravel_mm of segment {segment.id} is {gravel:g}; expected 0 to"
                f" {MOST_GRAVEL_MM:g} mm"
            )
