"""Edges, dust, tapers and the price of it all."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from crossfall.design.cost import Line, PriceBook
from crossfall.errors import InputError
from crossfall.formulas.edge_wear import break_even_life_h, edge_cost_per_km, edge_life_km
from crossfall.formulas.given import at_least, positive, within
from crossfall.formulas.work_zone import Taper, taper_length, taper_spacing
from crossfall.model import CostRange
from crossfall.model.policy.work_zone import ZonePractice


@dataclass(frozen=True, slots=True)
class Edge:
    """A set of cutting edges."""

    name: str
    set_price: float
    life_h: float
    change_h: float = 0.0
    currency: str = "USD"
    bladings_ratio: float = 1.0
    """Bladings needed with it over those with the plain edge, as measured; 1 assumes none saved."""


@dataclass(frozen=True, slots=True)
class EdgeCost:
    """One edge's cost for a pass-kilometre, and against the first."""

    name: str
    life_km: float
    cost_per_km: float
    cost_per_km_saved: float
    """After the measured saving in bladings."""
    break_even_h: float
    """Life at which it costs as much for a blading as the first [h]."""


@dataclass(frozen=True, slots=True)
class EdgeComparison:
    """Edges side by side; the first is the one to beat."""

    rows: tuple[EdgeCost, ...]
    currency: str

    def summary(self) -> str:
        """One line to read out."""
        best = min(self.rows, key=lambda row: row.cost_per_km_saved)
        parts = [f"{row.name} {row.cost_per_km_saved:.3f}" for row in self.rows]
        return f"{self.currency} for a pass-km: {', '.join(parts)}; {best.name} costs least"


def edge_cost(
    edges: Sequence[Edge], *, speed_km_h: float, efficiency: float, change_rate_h: float = 0.0
) -> EdgeComparison:
    """Compare cutting edges by cost for a pass-kilometre.

    Parameters
    ----------
    speed_km_h, efficiency : float
        How the grader works. [km/h, -]
    change_rate_h : float
        Money for an hour of changing edges.

    Examples
    --------
    >>> plain, bits = Edge("plain", 300.0, 60.0), Edge("bits", 1800.0, 600.0)
    >>> edge_cost([plain, bits], speed_km_h=8.0, efficiency=1.0).summary()
    'USD for a pass-km: plain 0.625, bits 0.375; bits costs least'
    """
    if not edges:
        raise InputError("edges is empty; expected at least one set")
    if len({edge.currency for edge in edges}) > 1:
        raise InputError("edges are priced in more than one currency; give them in one")
    per_hour = None
    rows = []
    for edge in edges:
        within(f"bladings_ratio of {edge.name}", edge.bladings_ratio, 0.05, 3.0)
        life = edge_life_km(edge.life_h, speed_km_h, efficiency)
        cost = edge_cost_per_km(edge.set_price, edge.change_h, change_rate_h, life)
        if per_hour is None:
            per_hour = (edge.set_price + edge.change_h * change_rate_h) / edge.life_h
        even = (
            break_even_life_h(
                edge.set_price * edge.bladings_ratio,
                edge.change_h * edge.bladings_ratio,
                change_rate_h,
                against_per_h=per_hour,
            )
            if per_hour > 0
            else 0.0
        )
        rows.append(EdgeCost(edge.name, life, cost, cost * edge.bladings_ratio, even))
    return EdgeComparison(tuple(rows), edges[0].currency)


@dataclass(frozen=True, slots=True)
class Dust:
    """Solution for one treatment of a road."""

    area_m2: float
    solution_l: float
    refused_m: float
    """Length left out near wells and water [m]."""

    def summary(self) -> str:
        """One line to read out."""
        left = f", {self.refused_m:.0f} m left out near water" if self.refused_m else ""
        return f"{self.solution_l:,.0f} L over {self.area_m2:,.0f} m2{left}"


def dust(
    *,
    length_m: float,
    width_m: float,
    rate_l_m2: float,
    near_water_m: Sequence[tuple[float, float]] = (),
    is_repeat: bool = False,
) -> Dust:
    """Litres for one application; stretches near water get none, a repeat half the rate.

    Examples
    --------
    >>> dust(length_m=1609.344, width_m=7.3152, rate_l_m2=1.358).summary()
    '15,987 L over 11,773 m2'
    """
    positive("length_m", length_m)
    positive("width_m", width_m)
    within("rate_l_m2", rate_l_m2, 0.1, 5.0, hint="gallons a square yard times 4.527")
    left_out = _covered(near_water_m, length_m)
    area = (length_m - left_out) * width_m
    return Dust(area, area * rate_l_m2 * (0.5 if is_repeat else 1.0), left_out)


@dataclass(frozen=True, slots=True)
class Zone:
    """Lengths of a work zone."""

    taper_m: float
    device_spacing_m: float
    n_devices: int
    sign_a_m: float
    sign_b_m: float
    sign_c_m: float

    def summary(self) -> str:
        """One line to read out."""
        return (
            f"taper {self.taper_m:.1f} m with {self.n_devices} devices at most"
            f" {self.device_spacing_m:.1f} m apart; signs {self.sign_a_m:.1f} m,"
            f" {self.sign_b_m:.1f} m and {self.sign_c_m:.1f} m; local codes govern"
        )


def taper(
    *,
    offset_m: float,
    posted_km_h: float,
    kind: Taper = "merging",
    road: str = "rural",
    practice: ZonePractice | None = None,
) -> Zone:
    """Taper, devices and sign distances to load the truck by; local codes govern.

    Raises
    ------
    InputError
        If ``road`` is not in the table, or a value is out of range.

    Examples
    --------
    >>> said = taper(offset_m=3.6576, posted_km_h=72.42048, road="rural").summary()
    >>> said.split("; ")[0]
    'taper 164.6 m with 13 devices at most 13.7 m apart'
    >>> said.split("; ")[1]
    'signs 152.4 m, 152.4 m and 152.4 m'
    """
    practice = practice or ZonePractice()
    table = {each.road: each for each in practice.sign_spacings}
    if road not in table:
        raise InputError(f"road is {road!r}; expected one of {', '.join(table)}")
    length, spacing = taper_length(offset_m, posted_km_h, kind), taper_spacing(posted_km_h)
    signs = table[road]
    n_devices = int(-(-length // spacing)) + 1
    return Zone(length, spacing, n_devices, signs.a_m, signs.b_m, signs.c_m)


@dataclass(frozen=True, slots=True)
class JobCost:
    """A cost with what it is for a kilometre and for a cubic metre."""

    total: CostRange
    per_km: CostRange | None
    per_m3: CostRange | None
    sources: tuple[str, ...]

    def summary(self) -> str:
        """One line to read out."""
        low, likely, high = self.total.low, self.total.likely, self.total.high
        return (
            f"{likely.currency} {likely.major:,.0f} ({low.major:,.0f} to {high.major:,.0f},"
            f" {likely.year} prices)"
        )


def job_cost(
    book: PriceBook,
    lines: Sequence[Line],
    *,
    length_km: float | None = None,
    compacted_m3: float | None = None,
) -> JobCost:
    """Price hours, materials and mobilisation from an agency's price book.

    Examples
    --------
    >>> from crossfall.design.cost import price_book
    >>> from crossfall.model import Fleet, Policy
    >>> book = price_book(Policy(), Fleet((), (), ()))
    >>> job_cost(book, [("grader", 6.0), ("operator", 6.0)], length_km=1.6).summary()
    'USD 855 (536 to 1,404, 2022 prices)'
    """
    for name, quantity in lines:
        at_least(f"quantity of {name}", quantity, 0.0)
    total = book.cost(lines)
    return JobCost(
        total,
        None if length_km is None else _over(total, positive("length_km", length_km)),
        None if compacted_m3 is None else _over(total, positive("compacted_m3", compacted_m3)),
        book.sources,
    )


def _over(cost: CostRange, quantity: float) -> CostRange:
    share = 1 / quantity
    return CostRange(cost.low.times(share), cost.likely.times(share), cost.high.times(share))


def _covered(spans: Sequence[tuple[float, float]], length_m: float) -> float:
    """Length that overlapping spans cover together, within the road [m]."""
    covered, reached = 0.0, 0.0
    for from_m, to_m in sorted(spans):
        start, end = max(from_m, reached, 0.0), min(to_m, length_m)
        if end > start:
            covered += end - start
            reached = end
    return covered
