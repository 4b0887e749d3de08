"""The years ahead: one strategy for each segment, and what it uses by year."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date


@dataclass(frozen=True, slots=True)
class Strategy:
    """How a segment is kept up over the years."""

    id: str
    name: str
    bladings_per_year: float
    regravel_below_mm: float | None
    """Regravel when thickness falls below this; None never does [mm]."""
    lift_mm: float = 0.0
    has_dust_control: bool = False
    bladings_by_season: tuple[float, ...] = ()
    has_drainage_care: bool = False
    """Ditches are kept up: each is cleaned in its turn."""


@dataclass(frozen=True, slots=True)
class ProgrammeItem:
    """The strategy chosen for one segment and when it is regravelled."""

    segment_id: str
    strategy_id: str
    regravel_years: tuple[int, ...]
    cost_minor: tuple[int, ...]
    """Agency cost by year, minor units."""
    gravel_m3: tuple[float, ...]
    """Compacted gravel placed by year [m³]."""
    gravel_mm_end: float


@dataclass(frozen=True, slots=True)
class YearsQuestion:
    """What a board wants to know. Limits hold in each year; None is no limit."""

    first_year: int
    n_years: int = 10
    budget_minor: float | None = None
    """None takes what would be spent if money were no limit, on average."""
    grader_h: float | None = None
    gravel_m3: tuple[tuple[str, float], ...] = ()
    """Compacted gravel a year by pit; pits not named have no limit."""
    shares: tuple[float, ...] = (0.5, 0.6, 0.7, 0.8, 0.9, 1.0, 1.1, 1.2)
    """Levels of money to plan with, as shares of the budget; 1 is among them."""
    rain_factor: float = 1.0
    traffic_factor: float = 1.0
    growth_pct: float | None = None
    """Growth of traffic a year; None leaves the policy's."""
    probability: float = 0.8
    """With which the contingency is to keep each year's budget."""
    delay_years: int = 2
    n_draws: int = 100
    budgets_minor: tuple[float, ...] = ()
    """The budget of each year, where they differ; then ``budget_minor`` is not looked at."""
    rain_mm_month: float | None = None
    """Monthly rain in millimetres; None takes the policy's."""


@dataclass(frozen=True, slots=True)
class YearsLevel:
    """The programme of one level of money. Lists are by year; money in minor units."""

    share: float
    budget_minor: float
    is_feasible: bool
    why_not: str = ""
    """What is missed, and by how much, where nothing keeps the limits."""
    upper: float = 0.0
    """Present value of all costs, users' included, of the programme found."""
    lower: float = 0.0
    """No programme within the limits costs less."""
    gap_pct: float = 0.0
    avoidable_gap_pct: float = 0.0
    agency_minor: tuple[float, ...] = ()
    agency_low_minor: tuple[float, ...] = ()
    """One draw in ten costs less, and one in ten more than ``agency_high_minor``."""
    agency_high_minor: tuple[float, ...] = ()
    p_over_budget: tuple[float, ...] = ()
    """Share of the draws in which the year costs more than this level's money."""
    users_minor: tuple[float, ...] = ()
    """What roughness and missing gravel cost road users."""
    grader_h: tuple[float, ...] = ()
    gravel_m3: tuple[tuple[float, ...], ...] = ()
    """(pit, year) compacted."""
    iri: tuple[float, ...] = ()
    iri_low: tuple[float, ...] = ()
    iri_high: tuple[float, ...] = ()
    gravel_mm: tuple[float, ...] = ()
    gravel_low_mm: tuple[float, ...] = ()
    gravel_high_mm: tuple[float, ...] = ()
    thin_km: tuple[float, ...] = ()
    """Length with less gravel than the thickness below which roads get rougher."""
    money_worth: tuple[float, ...] = ()
    """Present value that one more unit of that year's money would save."""
    hour_worth_minor: tuple[float, ...] = ()
    gravel_worth_minor: tuple[tuple[float, ...], ...] = ()
    """(pit, year) for one more compacted cubic metre."""
    items: tuple[ProgrammeItem, ...] = ()


@dataclass(frozen=True, slots=True)
class YearsScenario:
    """The same money under other rain or traffic."""

    name: str
    is_feasible: bool
    why_not: str = ""
    upper: float = 0.0
    lower: float = 0.0
    agency_minor: float = 0.0
    """A year, on average."""
    gravel_mm_end: float = 0.0
    iri: float = 0.0
    """Mean over the years."""


@dataclass(frozen=True, slots=True)
class YearsStudy:
    """Answers to a board's questions, with what they rest on."""

    question: YearsQuestion
    currency: str
    price_year: int
    policy_version: str
    n_segments: int
    km: float
    thin_mm: float
    pit_names: tuple[str, ...]
    load_m3: float
    """Compacted gravel of one truck load."""
    budget_minor: float
    """What a share of 1 stands for, a year on average."""
    budgets_minor: tuple[float, ...]
    """(year,)."""
    is_budget_given: bool
    start_iri: float
    start_gravel_mm: float
    levels: tuple[YearsLevel, ...]
    scenarios: tuple[YearsScenario, ...] = ()
    delay_lower: float | None = None
    """Band of what doing only the least in the first years costs; None where it cannot be said."""
    delay_upper: float | None = None
    delay_why_not: str = ""
    kept_back_minor: tuple[float, ...] = ()
    """(year,) money not planned with, so that the budget holds."""
    p_kept: tuple[float, ...] = ()
    """(year,) share of the draws in which the budget then holds."""
    contingency_why_not: str = ""
    doubts: tuple[str, ...] = ()
    assumed: tuple[str, ...] = ()
    """What the answers rest on that nobody has measured here."""

    def level(self, share: float) -> YearsLevel:
        """The level nearest to a share."""
        return min(self.levels, key=lambda each: abs(each.share - share))


@dataclass(frozen=True, slots=True)
class AdoptedYears:
    """The programme that an agency works by, until it plans the years again."""

    id: str
    adopted_on: date
    first_year: int
    n_years: int
    items: tuple[ProgrammeItem, ...]
    budget_minor: float
    currency: str
    policy_version: str
    note: str = ""
