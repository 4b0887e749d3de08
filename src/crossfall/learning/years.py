"""The three factors of the years, from an agency's own readings: thickness, roughness, bladings.

Thicknesses give the factor of gravel loss (:mod:`crossfall.learning.gravel`). Two measured
roughnesses with no work between give the pace of roughening, and a reading shortly before and one
shortly after a blading what blading leaves. Each factor is found by group of material and traffic
and drawn towards the agency's by how sure it is; under five readings a group is marked prior and
keeps the default. The latest year is held back once, and what the earlier years say of it is
shown. The result is a proposed policy; nothing changes until a person accepts it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from crossfall.errors import InputError
from crossfall.formulas import roughness
from crossfall.learning.gravel import (
    GravelCalibration,
    GroupFactor,
    calibrate_gravel_loss,
    spread,
)
from crossfall.model import Condition, Network, Policy, Segment, Treatment, WorkRecord
from crossfall.model.policy.programme import SeasonPolicy
from crossfall.programme.facts import group_name

Floats = npt.NDArray[np.float64]

_NINETY = 1.6448536269514722
_SMOOTHS = frozenset({Treatment.BLADING, Treatment.RESHAPING, Treatment.SCARIFY_REMIX})
_RENEWS = frozenset({Treatment.REGRAVELLING, Treatment.SPOT_GRAVEL})


@dataclass(frozen=True, slots=True)
class Ratio:
    """One observed over expected, with where and when."""

    segment_id: str
    group: str
    day: date
    value: float


@dataclass(frozen=True, eq=False)
class FactorFit:
    """One factor by group."""

    name: str
    groups: tuple[GroupFactor, ...]
    factor: float
    """Of the agency as a whole."""
    n: int
    bias_before_pct: float
    """Expected over observed in the latest year, factor 1, less one [%]; NaN if none."""
    bias_after_pct: float
    """The same with factors of the earlier years [%]."""

    @property
    def is_prior(self) -> bool:
        return all(each.is_prior for each in self.groups)


@dataclass(frozen=True, eq=False)
class YearsCalibration:
    """Three factors with what they rest on, as a proposal."""

    gravel: GravelCalibration
    rate: FactorFit
    blading: FactorFit
    n_left_out: int
    """Pairs of readings left out: gravel was placed, or no factor explains them."""
    policy: Policy
    """The proposed policy; the one in force where nothing could be learned."""

    def summary(self) -> str:
        """For a person who decides."""
        parts = ["Gravel loss", self.gravel.summary()]
        for fit in (self.rate, self.blading):
            parts.append(fit.name)
            parts += [
                f"{each.group}: {each.factor:.2f} ({each.low:.2f} to {each.high:.2f},"
                f" {each.n} readings)" + (" prior" if each.is_prior else "")
                for each in fit.groups
            ]
            if fit.is_prior:
                parts.append("Too few readings anywhere: the default factor stays.")
            elif not np.isnan(fit.bias_after_pct):
                parts.append(
                    f"Held-back year: off by {fit.bias_before_pct:+.0f} % without factors, by"
                    f" {fit.bias_after_pct:+.0f} % with them."
                )
        return "\n".join(parts)


def calibrate_years(
    conditions: Sequence[Condition],
    records: Sequence[WorkRecord],
    network: Network,
    policy: Policy,
    *,
    version: str | None = None,
) -> YearsCalibration:
    """Fit all three factors, as a proposed policy of a new version.

    Raises
    ------
    InputError
        If ``version`` is that of ``policy``.
    """
    named = version or f"{policy.version}+years"
    if named == policy.version:
        raise InputError(f"version is {named!r}, which is taken; a proposal needs a new one")
    gravel = calibrate_gravel_loss(conditions, records, network, policy)
    paces, kept, n_left_out = roughness_ratios(conditions, records, network, policy)
    rate = fit_ratios("Pace of roughening", paces, policy)
    blading = fit_ratios("What blading leaves", kept, policy)
    return YearsCalibration(
        gravel, rate, blading, n_left_out, _proposed(gravel, rate, blading, policy, named)
    )


def fit_ratios(name: str, ratios: Sequence[Ratio], policy: Policy) -> FactorFit:
    """Two-level empirical Bayes of ratios: records scatter about their group, groups about 1.

    Ratios are taken by their logarithms. Scatter of records and of groups is found from the same
    readings, with the policy's as some more.

    Examples
    --------
    >>> day = date(2025, 6, 1)
    >>> ratios = [Ratio(f"s{i}", "g", day, 1.5) for i in range(500)]
    >>> round(fit_ratios("pace", ratios, Policy()).groups[0].factor, 2)
    1.5
    """
    groups, factor = _fit(ratios, policy)
    before, after = _hold_out(ratios, policy)
    return FactorFit(name, groups, factor, len(ratios), before, after)


def roughness_ratios(
    conditions: Sequence[Condition],
    records: Sequence[WorkRecord],
    network: Network,
    policy: Policy,
) -> tuple[tuple[Ratio, ...], tuple[Ratio, ...], int]:
    """Ratios of the pace of roughening and of what blading leaves, and how many were left out."""
    worked = _worked(conditions, records)
    looks: dict[str, list[Condition]] = {}
    for look in conditions:
        if look.iri_m_km is not None and look.method == "measured":
            looks.setdefault(look.segment_id, []).append(look)
    paces: list[Ratio] = []
    kept: list[Ratio] = []
    n_left_out = 0
    for segment_id, found in sorted(looks.items()):
        segment = network.segment_by_id.get(segment_id)
        if segment is None:
            continue
        road = _Road.of(segment, policy)
        found.sort(key=lambda look: look.observed_on)
        smoothed, renewed = worked.get(segment_id, (frozenset(), frozenset()))
        for first, last in pairwise(found):
            between = [day for day in smoothed if first.observed_on <= day <= last.observed_on]
            has_gravel = any(first.observed_on <= day <= last.observed_on for day in renewed)
            ratio, is_blading = road.ratio(first, last, sorted(between), policy)
            if has_gravel or ratio is None:
                n_left_out += 1
                continue
            (kept if is_blading else paces).append(
                Ratio(segment_id, road.group, last.observed_on, ratio)
            )
    return tuple(paces), tuple(kept), n_left_out


def rough_days(first: date, last: date, seasons: SeasonPolicy) -> float:
    """Days between two days, each counted by its season's pace.

    Examples
    --------
    >>> same = SeasonPolicy(names=("year",), days=(365.0,), roughness_factor=(2.0,),
    ...                     gravel_loss_factor=(1.0,))
    >>> rough_days(date(2025, 5, 1), date(2025, 5, 11), same)
    20.0
    """
    ends = np.cumsum(seasons.days)
    total = 0.0
    for offset in range((last - first).days):
        day = first + timedelta(days=offset)
        since = (day.timetuple().tm_yday - seasons.starts_on_day) % 365
        season = min(int(np.searchsorted(ends, since, side="right")), len(seasons.days) - 1)
        total += seasons.roughness_factor[season]
    return total


@dataclass(frozen=True, slots=True)
class _Road:
    """What the relationships expect of one segment, all factors 1."""

    group: str
    top: float
    bottom: float
    share: float
    rate: float
    """Positive, per day."""

    @classmethod
    def of(cls, segment: Segment, policy: Policy) -> _Road:
        material = policy.programme.material
        dust = roughness.dust_ratio(material.p075_pct, material.p425_pct)
        grading = roughness.grading_modulus(
            material.p075_pct, material.p425_pct, material.p2_pct, material.d95_mm
        )
        heavy = segment.adt * segment.heavy_share
        rain = material.rain_mm_month
        return cls(
            group_name(segment.material, segment.adt, policy),
            float(roughness.highest(dust, material.curvature_deg_km, 10 * segment.grade_pct, rain)),
            float(roughness.lowest(material.d95_mm, grading)),
            float(roughness.blading_share(dust)),
            -float(roughness.rate_per_day(segment.adt - heavy, heavy, rain)),
        )

    def ratio(
        self, first: Condition, last: Condition, smoothed: list[date], policy: Policy
    ) -> tuple[float | None, bool]:
        """Observed over expected, None where no factor explains it; and whether of a blading."""
        before, after = first.iri_m_km or 0.0, last.iri_m_km or 0.0
        near = timedelta(days=policy.learning.near_blading_days)
        if len(smoothed) == 1:
            day = smoothed[0]
            is_near = day - first.observed_on <= near and last.observed_on - day <= near
            if not is_near or not before > after > self.bottom:
                return None, True
            return (after - self.bottom) / (before - self.bottom) / self.share, True
        days = rough_days(first.observed_on, last.observed_on, policy.programme.seasons)
        if smoothed or days < policy.learning.least_rough_days:
            return None, False
        if not before < after < self.top:
            return None, False
        grown = float(np.log((self.top - before) / (self.top - after)))
        return grown / (self.rate * days), False


def _worked(
    conditions: Sequence[Condition], records: Sequence[WorkRecord]
) -> dict[str, tuple[frozenset[date], frozenset[date]]]:
    """Days on which each segment was smoothed, and got gravel."""
    smoothed: dict[str, set[date]] = {}
    renewed: dict[str, set[date]] = {}
    for record in records:
        if record.treatment in _SMOOTHS:
            smoothed.setdefault(record.segment_id, set()).add(record.done_on)
        if record.treatment in _RENEWS:
            renewed.setdefault(record.segment_id, set()).add(record.done_on)
    for look in conditions:
        if look.last_bladed_on is not None:
            smoothed.setdefault(look.segment_id, set()).add(look.last_bladed_on)
    names = set(smoothed) | set(renewed)
    return {
        name: (frozenset(smoothed.get(name, ())), frozenset(renewed.get(name, ())))
        for name in names
    }


def _fit(ratios: Sequence[Ratio], policy: Policy) -> tuple[tuple[GroupFactor, ...], float]:
    learning = policy.learning
    names = sorted({each.group for each in ratios})
    if not names:
        return (), 1.0
    row = {name: index for index, name in enumerate(names)}
    logs = np.log([each.value for each in ratios])
    group = np.array([row[each.group] for each in ratios])
    n = np.bincount(group, minlength=len(names)).astype(float)
    mean = np.bincount(group, weights=logs, minlength=len(names)) / n
    freedom = len(ratios) - len(names)
    own = float(((logs - mean[group]) ** 2).sum())
    n_assumed = learning.n_own_scatter
    record_var = (own + n_assumed * learning.record_sd**2) / (freedom + n_assumed)
    mass = n / record_var
    between = spread(mean, 1 / mass, np.zeros(len(names), dtype=np.int64), learning.group_sd)
    top = 1 / (1 / mass + between**2)
    agency_mass = float(top.sum()) + 1 / learning.agency_sd**2
    agency = float((top * mean).sum()) / agency_mass
    pull = mass + 1 / between**2
    level = (mass * mean + agency / between**2) / pull
    sd = np.sqrt(1 / pull + (1 / between**2 / pull) ** 2 / agency_mass)
    low, high = learning.least_factor, learning.most_factor

    def factor(log: float) -> float:
        return float(np.clip(np.exp(log), low, high))

    groups = tuple(
        GroupFactor(
            name,
            factor(level[index]),
            float(np.exp(level[index] - _NINETY * sd[index])),
            float(np.exp(level[index] + _NINETY * sd[index])),
            int(n[index]),
            bool(n[index] < learning.n_enough),
        )
        for index, name in enumerate(names)
    )
    return groups, factor(agency)


def _hold_out(ratios: Sequence[Ratio], policy: Policy) -> tuple[float, float]:
    if not ratios:
        return float("nan"), float("nan")
    latest = max(each.day.year for each in ratios)
    held = [each for each in ratios if each.day.year == latest]
    earlier = [each for each in ratios if each.day.year < latest]
    if not earlier:
        return float("nan"), float("nan")
    groups, agency = _fit(earlier, policy)
    by_group = {each.group: each.factor for each in groups}
    logs = np.log([each.value for each in held])
    fitted = np.log([by_group.get(each.group, agency) for each in held])
    return (
        100 * float(np.expm1(-logs.mean())),
        100 * float(np.expm1((fitted - logs).mean())),
    )


def _proposed(
    gravel: GravelCalibration, rate: FactorFit, blading: FactorFit, policy: Policy, version: str
) -> Policy:
    """Agency factors, and the three of each group that one was learned for."""
    usual = policy.programme.factors
    learned: list[Mapping[str, float]] = []
    agency: list[float] = []
    for groups, factor, now in (
        (gravel.groups, gravel.factor, usual.gravel_loss),
        (rate.groups, rate.factor, usual.roughness_rate),
        (blading.groups, blading.factor, usual.blading_effect),
    ):
        sure = {each.group: each.factor for each in groups if not each.is_prior}
        learned.append(sure)
        agency.append(factor if sure else now)
    names = sorted(set().union(*learned))
    if not names:
        return policy
    loss, pace, effect = learned
    by_group = tuple(
        (
            name,
            loss.get(name, agency[0]),
            pace.get(name, agency[1]),
            effect.get(name, agency[2]),
        )
        for name in names
    )
    factors = replace(
        usual,
        gravel_loss=agency[0],
        roughness_rate=agency[1],
        blading_effect=agency[2],
        by_group=by_group,
    )
    return replace(policy, version=version, programme=replace(policy.programme, factors=factors))
