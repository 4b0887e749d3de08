"""From what is known of segments to the table that the years are simulated with.

Facts are columns, one figure for each segment: from an agency's nouns, or from a file of a large
network. Three ways give the gravel loss: the relationship of traffic, grade, rain and material,
the one with four inputs, or only rates that the agency has measured.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from crossfall.errors import InputError
from crossfall.formulas import roughness
from crossfall.formulas.gravel_loss import yearly_loss, yearly_loss_four_inputs
from crossfall.model import Condition, Policy, Segment
from crossfall.programme.pits import GravelPlaced
from crossfall.programme.simulate import check_seasons
from crossfall.programme.table import SegmentTable

Floats = npt.NDArray[np.float64]
Words = npt.NDArray[np.str_]

MOST_GRAVEL_MM = 1000.0
ANY_PIT = "any pit"
METHODS = ("relationship", "four inputs", "measured")


@dataclass(frozen=True, eq=False)
class SegmentFacts:
    """What is known of segments, one figure for each (segment,)."""

    ids: tuple[str, ...]
    length_m: Floats
    width_m: Floats
    adt: Floats
    heavy_share: Floats
    grade_pct: Floats
    road_class: Words
    material: Words
    gravel_mm: Floats
    deformation: Floats
    """Score of the ride, 5 to 1."""
    drainage: Floats
    """Score of ditches and culverts, 5 to 1."""
    gravel_minor_m3: Floats
    """Price of a compacted cubic metre, placed; NaN takes the policy's."""
    pit: Words
    """Name of the pit that serves it."""


@dataclass(frozen=True, slots=True)
class Scenario:
    """Other rain or traffic than is expected, for asking what if."""

    rain_factor: float = 1.0
    traffic_factor: float = 1.0
    """On traffic from the first year on."""
    growth_pct: float | None = None
    """Growth of traffic a year; None leaves the policy's."""
    name: str = "as expected"

    def policy(self, policy: Policy) -> Policy:
        """The policy with this scenario's rain and growth.

        Raises
        ------
        InputError
            If a factor is not above 0, or the growth is beyond belief.
        """
        for name in ("rain_factor", "traffic_factor"):
            if not 0 < getattr(self, name) <= 10:
                raise InputError(f"{name} is {getattr(self, name):g}; expected above 0, up to 10")
        programme = policy.programme
        material = programme.material
        rain = replace(material, rain_mm_month=material.rain_mm_month * self.rain_factor)
        costs = programme.costs
        if self.growth_pct is not None:
            if not -50 <= self.growth_pct <= 50:
                raise InputError(f"growth_pct is {self.growth_pct:g}; expected -50 to 50 a year")
            costs = replace(costs, traffic_growth_pct=self.growth_pct)
        return replace(policy, programme=replace(programme, material=rain, costs=costs))


def facts_of(
    segments: Sequence[Segment],
    conditions: Sequence[Condition],
    policy: Policy,
    *,
    gravel: Mapping[str, GravelPlaced] | None = None,
) -> SegmentFacts:
    """Columns of an agency's segments.

    ``conditions`` are those believed today; a segment without one starts from its own gravel
    thickness and the policy's assumed ride. ``gravel`` gives pit and price of segments that a pit
    can reach; the others take the policy's price, from no pit in particular.
    """
    assumed, placed = policy.needs.assumed, gravel or {}
    seen = {condition.segment_id: condition for condition in conditions}

    def score(name: str) -> Floats:
        return np.array(
            [
                getattr(seen[each.id], name) if each.id in seen else getattr(assumed, name)
                for each in segments
            ]
        )

    return SegmentFacts(
        ids=tuple(each.id for each in segments),
        length_m=np.array([each.length_m for each in segments]),
        width_m=np.array([each.width_m for each in segments]),
        adt=np.array([each.adt for each in segments]),
        heavy_share=np.array([each.heavy_share for each in segments]),
        grade_pct=np.array([each.grade_pct for each in segments]),
        road_class=np.array([each.road_class for each in segments], dtype=np.str_),
        material=np.array([each.material for each in segments], dtype=np.str_),
        gravel_mm=np.array([_gravel_mm(each, seen.get(each.id)) for each in segments]),
        deformation=score("deformation"),
        drainage=score("drainage"),
        gravel_minor_m3=np.array(
            [placed[each.id].minor_m3 if each.id in placed else np.nan for each in segments]
        ),
        pit=np.array(
            [placed[each.id].pit if each.id in placed else ANY_PIT for each in segments],
            dtype=np.str_,
        ),
    )


def segment_table(
    segments: Sequence[Segment],
    conditions: Sequence[Condition],
    policy: Policy,
    *,
    gravel: Mapping[str, GravelPlaced] | None = None,
) -> SegmentTable:
    """The table of an agency's segments; see :func:`facts_of` and :func:`table_of`."""
    return table_of(facts_of(segments, conditions, policy, gravel=gravel), policy)


def table_of(
    facts: SegmentFacts,
    policy: Policy,
    *,
    traffic_factor: float = 1.0,
    pit_names: Sequence[str] | None = None,
) -> SegmentTable:
    """Work out the table; ``pit_names`` are those of a whole network that ``facts`` are part of.

    Raises
    ------
    InputError
        If traffic is negative, gravel is thicker than a metre, more gravel is lost than can be, a
        road class is unknown, or the method of gravel loss lacks what it needs.
    """
    check(facts)
    needs, programme = policy.needs, policy.programme
    material, costs, service = programme.material, programme.costs, programme.service
    check_seasons(programme.seasons)
    length_km = facts.length_m / 1000
    adt = facts.adt * traffic_factor
    heavy = adt * facts.heavy_share
    rise = 10 * facts.grade_pct
    dust_ratio = roughness.dust_ratio(material.p075_pct, material.p425_pct)
    grading = roughness.grading_modulus(
        material.p075_pct, material.p425_pct, material.p2_pct, material.d95_mm
    )
    factors = factors_of(facts, policy)
    no_cars = np.zeros_like(adt)
    loss_at_rest, loss = (
        loss_mm_year(traffic, facts.grade_pct, factors[0], policy) for traffic in (no_cars, adt)
    )
    most = programme.gravel_loss.impossible_above_mm
    if np.any(loss > most):
        worst = int(np.argmax(loss))
        raise InputError(
            f"segment {facts.ids[worst] if facts.ids else worst} would lose"
            f" {loss[worst]:.0f} mm of gravel a year; expected at most {most:g}; its traffic, the"
            " rain or a factor is in other units"
        )
    rate_at_rest, rate = (
        -roughness.rate_per_day(light, trucks, material.rain_mm_month, factor=factors[1])
        for light, trucks in ((no_cars, no_cars), (adt - heavy, heavy))
    )
    hour_minor = policy.costs.grader.likely.minor + policy.costs.operator.likely.minor
    blade_h = needs.usual.blading_h_km * length_km
    area_mm = length_km * facts.width_m  # a millimetre over the whole segment, in cubic metres
    price_m3 = np.where(
        np.isnan(facts.gravel_minor_m3), costs.gravel_placed_minor_m3, facts.gravel_minor_m3
    )
    score_at, gain = zip(*programme.strategies.drainage_short_by_score, strict=True)
    ride_at, iri = zip(*needs.worth.iri_knots, strict=True)
    columns = (
        roughness.highest(dust_ratio, material.curvature_deg_km, rise, material.rain_mm_month),
        np.full_like(adt, float(roughness.lowest(material.d95_mm, grading))),
        roughness.blading_share(dust_ratio, factor=factors[2]),
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
        facts.gravel_mm,
        np.interp(facts.deformation, ride_at, iri),
        _by_class(facts.road_class, service),
        length_km * costs.drainage_minor_km,
        np.interp(facts.drainage, score_at, gain),
    )
    names = tuple(pit_names) if pit_names is not None else _in_order(facts.pit)
    index = {name: number for number, name in enumerate(names)}
    return SegmentTable(
        facts.ids,
        np.ascontiguousarray(np.array(columns, dtype=np.float32)),
        np.array([index[name] for name in facts.pit.tolist()], dtype=np.int32),
        names,
    )


def loss_mm_year(adt: Floats, grade_pct: Floats, factor: Floats, policy: Policy) -> Floats:
    """Gravel loss of a year by the policy's method, seasons included [mm/year].

    Raises
    ------
    InputError
        If the method is unknown, or is ``measured`` and there are no rates.
    """
    programme = policy.programme
    material, how, seasons = programme.material, programme.gravel_loss, programme.seasons
    of_year = float(np.dot(seasons.gravel_loss_factor, seasons.days)) / sum(seasons.days)
    if how.method == "relationship":
        return of_year * yearly_loss(
            adt=adt,
            rise_fall_m_km=10 * grade_pct,
            curvature_deg_km=material.curvature_deg_km,
            rain_mm_month=material.rain_mm_month,
            p075_pct=material.p075_pct,
            plasticity_pct=material.plasticity_pct,
            factor=factor,
        )
    if how.method == "four inputs":
        return (
            of_year
            * factor
            * yearly_loss_four_inputs(
                adt=adt,
                rain_m_year=12 * material.rain_mm_month / 1000,
                grade_pct=grade_pct,
                material_factor=how.four_inputs_material,
            )
        )
    if how.method != "measured":
        raise InputError(
            f"gravel_loss.method is {how.method!r}; expected one of {', '.join(METHODS)}"
        )
    if not how.measured_knots:
        raise InputError(
            "gravel_loss.method is 'measured' and measured_knots is empty; enter own rates"
        )
    traffic, rate = zip(*sorted(how.measured_knots), strict=True)
    if min(rate) < 0:
        raise InputError(f"gravel_loss.measured_knots has a rate of {min(rate):g}; expected >= 0")
    # What was measured holds as it is: no factor, no season
    return np.interp(adt, traffic, rate)


def factors_of(facts: SegmentFacts, policy: Policy) -> tuple[Floats, Floats, Floats]:
    """Factors on gravel loss, roughness rate and blading of each segment (segment,)."""
    agency = policy.programme.factors
    own = {name: three for name, *three in agency.by_group}
    usual = [agency.gravel_loss, agency.roughness_rate, agency.blading_effect]
    if not own:
        found = np.tile(usual, (facts.adt.shape[0], 1))
    else:
        pairs = zip(facts.material.tolist(), facts.adt.tolist(), strict=True)
        found = np.array([own.get(group_name(*pair, policy), usual) for pair in pairs])
    return found[:, 0], found[:, 1], found[:, 2]


def group_name(material: str, adt: float, policy: Policy) -> str:
    """Material and class of traffic: segments that lose gravel alike.

    Examples
    --------
    >>> group_name("crushed limestone", 64.0, Policy())
    'crushed limestone, 30 to 100 vehicles a day'
    """
    edges = policy.learning.traffic_edges
    index = sum(1 for edge in edges if adt >= edge)
    if index == 0:
        return f"{material}, under {edges[0]:.0f} vehicles a day"
    if index == len(edges):
        return f"{material}, over {edges[-1]:.0f} vehicles a day"
    return f"{material}, {edges[index - 1]:.0f} to {edges[index]:.0f} vehicles a day"


def doubts(table: SegmentTable, policy: Policy) -> tuple[str, ...]:
    """What of a table is hard to believe, in sentences."""
    how = policy.programme.gravel_loss
    loss = table.column("loss_fixed_mm") + table.column("loss_traffic_mm")
    found = []
    n_low = int((loss < how.doubtful_below_mm).sum())
    n_high = int((loss > how.doubtful_above_mm).sum())
    if n_low:
        found.append(f"{n_low} segments lose less than {how.doubtful_below_mm:g} mm a year.")
    if n_high:
        found.append(f"{n_high} segments lose more than {how.doubtful_above_mm:g} mm a year.")
    return tuple(found)


def check(facts: SegmentFacts) -> None:
    """Figures that cannot be are named.

    Raises
    ------
    InputError
        If there are no segments, or a figure is impossible; names the segment and the figure.
    """
    n = facts.adt.shape[0]
    if n == 0:
        raise InputError("there are no maintained segments to plan years for")
    limits = {
        "length_m": (1e-3, 1e6, "m"),
        "width_m": (0.5, 60.0, "m"),
        "adt": (0.0, 1e5, "vehicles a day"),
        "heavy_share": (0.0, 1.0, "as a share"),
        "grade_pct": (0.0, 40.0, "%"),
        "gravel_mm": (0.0, MOST_GRAVEL_MM, "mm"),
    }
    for name, (low, high, unit) in limits.items():
        values = getattr(facts, name)
        bad = ~((values >= low) & (values <= high))
        if bad.any():
            row = int(np.argmax(bad))
            who = facts.ids[row] if facts.ids else f"number {row + 1}"
            raise InputError(
                f"{name} of segment {who} is {values[row]:g}; expected {low:g} to {high:g} {unit}"
            )


def check_segments(segments: Sequence[Segment], policy: Policy) -> None:
    """Segments' own figures, before anything is worked out from them; see :func:`check`."""
    check(facts_of(segments, (), policy))


def _gravel_mm(segment: Segment, condition: Condition | None) -> float:
    if condition is not None and condition.gravel_mm is not None:
        return condition.gravel_mm
    return segment.gravel_mm


def _by_class(road_class: Words, service: object) -> Floats:
    found = np.full(road_class.shape[0], np.nan)
    for name in ("arterial", "collector", "local", "minimum"):
        found[road_class == name] = getattr(service, f"{name}_iri")
    if np.isnan(found).any():
        odd = str(road_class[int(np.argmax(np.isnan(found)))])
        raise InputError(f"road_class is {odd!r}; expected arterial, collector, local or minimum")
    return found


def _in_order(names: Words) -> tuple[str, ...]:
    """Each name once, in the order they first come."""
    return tuple(dict.fromkeys(names.tolist()))
