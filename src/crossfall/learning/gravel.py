"""Gravel loss from the agency's own surveys: how the published relationship fits here.

Two thicknesses of one segment, with no gravel placed between, give a loss to set beside the
predicted one. Segments of one group (material and traffic) are alike, groups of one agency less so,
and a thickness is only known to a centimetre or so: the factor of each group is drawn towards the
agency's, and each segment's towards its group's, by how sure each is (empirical Bayes, two levels,
spreads estimated from the same data). Spans in which gravel was placed are left out. The latest
year is held back once to see whether what the earlier years say holds.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from crossfall.errors import InputError
from crossfall.model import Condition, Network, Policy, Segment, Treatment, WorkRecord
from crossfall.programme.facts import group_name, loss_mm_year

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

_DAYS_A_YEAR = 365.25
_NINETY = 1.6448536269514722
_PLACES_GRAVEL = frozenset({Treatment.REGRAVELLING, Treatment.SPOT_GRAVEL})


@dataclass(frozen=True, slots=True)
class Span:
    """Gravel lost on one segment between two looks, observed and predicted by factor 1."""

    segment_id: str
    group: str
    first: date
    last: date
    observed_mm: float
    predicted_mm: float


@dataclass(frozen=True, slots=True)
class GroupFactor:
    """The gravel-loss factor of one group of segments."""

    group: str
    factor: float
    low: float
    high: float
    """Interval that holds the group's true factor nine times in ten."""
    n: int
    is_prior: bool
    """Too few spans: the factor is the agency's, or the default."""


@dataclass(frozen=True, eq=False)
class GravelCalibration:
    """Factors by group with what they rest on."""

    groups: tuple[GroupFactor, ...]
    factor: float
    """Of the agency as a whole."""
    by_segment: Mapping[str, float]
    """Factor of each segment with a span, and its group's where it has none."""
    sd_by_segment: Mapping[str, float]
    bias_before_pct: float
    """Predicted over observed loss of the held-back spans, factor 1, less one [%]; NaN if none."""
    bias_after_pct: float
    """The same with factors of the earlier spans [%]."""
    n_left_out: int
    """Spans left out because gravel was placed, or they were too short to say anything."""
    policy: Policy
    """A proposed policy with the agency's factor; nothing changes until it is accepted."""

    def summary(self) -> str:
        """For a person who decides."""
        told = [each for each in self.groups if not each.is_prior]
        lines = [
            f"{each.group}: {each.factor:.2f} ({each.low:.2f} to {each.high:.2f}, {each.n} spans)"
            + (" prior" if each.is_prior else "")
            for each in self.groups
        ]
        if not told:
            lines.append("Too few spans anywhere: the default factor stays.")
        elif not np.isnan(self.bias_after_pct):
            lines.append(
                f"Held-back year: predicted loss is off by {self.bias_before_pct:+.0f} % without"
                f" factors, by {self.bias_after_pct:+.0f} % with them."
            )
        return "\n".join(lines)


def calibrate_gravel_loss(
    conditions: Sequence[Condition],
    records: Sequence[WorkRecord],
    network: Network,
    policy: Policy,
    *,
    version: str | None = None,
) -> GravelCalibration:
    """Factors of gravel loss from measured thicknesses, as a proposal.

    Raises
    ------
    InputError
        If ``version`` is the version of ``policy``.
    """
    named = version or f"{policy.version}+gravel"
    if named == policy.version:
        raise InputError(f"version is {named!r}, which is taken; a proposal needs a new one")
    spans, n_left_out = gravel_spans(conditions, records, network, policy)
    found = fit_factors(spans, policy)
    before, after = _hold_out(spans, policy)
    enough = any(not each.is_prior for each in found.groups)
    factors = replace(policy.programme.factors, gravel_loss=found.factor)
    proposed = replace(policy, version=named, programme=replace(policy.programme, factors=factors))
    by_segment, sd_by_segment = _of_segments(network, found, policy)
    return GravelCalibration(
        found.groups,
        found.factor,
        by_segment,
        sd_by_segment,
        before,
        after,
        n_left_out,
        proposed if enough else policy,
    )


@dataclass(frozen=True, eq=False)
class Fit:
    """What :func:`fit_factors` found."""

    groups: tuple[GroupFactor, ...]
    factor: float
    segment_factor: Mapping[str, float]
    segment_sd: Mapping[str, float]
    between_segments_sd: float
    """Spread of segments' factors within a group."""
    between_groups_sd: float


def gravel_spans(
    conditions: Sequence[Condition],
    records: Sequence[WorkRecord],
    network: Network,
    policy: Policy,
) -> tuple[tuple[Span, ...], int]:
    """Spans between measured thicknesses that follow one another, and how many were left out."""
    placed: dict[str, list[date]] = {}
    for record in records:
        if record.treatment in _PLACES_GRAVEL:
            placed.setdefault(record.segment_id, []).append(record.done_on)
    looks: dict[str, list[Condition]] = {}
    for look in conditions:
        if look.gravel_mm is not None and look.method == "measured":
            looks.setdefault(look.segment_id, []).append(look)
    spans, n_left_out = [], 0
    for segment_id, found in looks.items():
        segment = network.segment_by_id.get(segment_id)
        if segment is None:
            continue
        found.sort(key=lambda look: look.observed_on)
        for first, last in pairwise(found):
            span = _span(segment, first, last, policy)
            has_gravel = any(
                first.observed_on < day <= last.observed_on for day in placed.get(segment_id, ())
            )
            if has_gravel or span.predicted_mm < policy.learning.least_span_mm:
                n_left_out += 1
            else:
                spans.append(span)
    return tuple(spans), n_left_out


def fit_factors(spans: Sequence[Span], policy: Policy) -> Fit:
    """Two-level empirical Bayes of loss factors.

    Each segment's own factor is least squares through the origin over its spans, with the variance
    that thickness errors give it; segments scatter around their group, groups around the agency,
    the agency around 1.

    Examples
    --------
    >>> day = date(2024, 1, 1)
    >>> spans = [Span(f"s{i}", "g", day, day, 8.0, 10.0) for i in range(400)]
    >>> round(fit_factors(spans, Policy()).groups[0].factor, 1)
    0.8
    """
    learning = policy.learning
    names = sorted({span.segment_id for span in spans})
    groups = sorted({span.group for span in spans})
    row = {name: index for index, name in enumerate(names)}
    group_of = np.zeros(len(names), dtype=np.int64)
    cross, square = np.zeros(len(names)), np.zeros(len(names))
    n_spans = np.zeros(len(groups), dtype=np.int64)
    for span in spans:
        index, group = row[span.segment_id], groups.index(span.group)
        group_of[index] = group
        cross[index] += span.observed_mm * span.predicted_mm
        square[index] += span.predicted_mm**2
        n_spans[group] += 1
    error_var = 2 * learning.thickness_error_mm**2
    own = cross / np.maximum(square, 1e-12)
    own_var = error_var / np.maximum(square, 1e-12)
    within = spread(own, own_var, group_of, learning.segment_sd)
    weight = 1 / (own_var + within**2)
    mass = np.bincount(group_of, weights=weight, minlength=len(groups))
    mean = np.bincount(group_of, weights=weight * own, minlength=len(groups)) / mass
    all_one = np.zeros(len(groups), dtype=np.int64)
    between = spread(mean, 1 / mass, all_one, learning.group_sd)
    top = 1 / (1 / mass + between**2)
    agency_mass = float(top.sum()) + 1 / learning.agency_sd**2
    agency = (float((top * mean).sum()) + 1 / learning.agency_sd**2) / agency_mass
    pull = mass + 1 / between**2
    level = (mass * mean + agency / between**2) / pull
    # the agency's own doubt comes on top, for what a group borrows from it
    borrowed = (1 / between**2 / pull) ** 2 / agency_mass
    level_var = 1 / pull + borrowed
    keep = 1 / own_var + 1 / within**2
    factor = (own / own_var + level[group_of] / within**2) / keep
    factor_var = 1 / keep + (1 / within**2 / keep) ** 2 * level_var[group_of]
    low, high = learning.least_factor, learning.most_factor
    made = []
    for index, name in enumerate(groups):
        is_prior = bool(n_spans[index] < learning.n_enough)
        middle, sd = float(level[index]), float(np.sqrt(level_var[index]))
        made.append(
            GroupFactor(
                name,
                float(np.clip(middle, low, high)),
                middle - _NINETY * sd,
                middle + _NINETY * sd,
                int(n_spans[index]),
                is_prior,
            )
        )
    return Fit(
        tuple(made),
        float(np.clip(agency, low, high)) if spans else 1.0,
        {name: float(np.clip(factor[index], low, high)) for name, index in row.items()},
        {name: float(np.sqrt(factor_var[index])) for name, index in row.items()},
        within,
        between,
    )


def group_of_segment(segment: Segment, policy: Policy) -> str:
    """Material and class of traffic: segments that lose gravel alike."""
    return group_name(segment.material, segment.adt, policy)


def _span(segment: Segment, first: Condition, last: Condition, policy: Policy) -> Span:
    one = np.ones(1)
    yearly = loss_mm_year(one * segment.adt, one * segment.grade_pct, one, policy)[0]
    years = (last.observed_on - first.observed_on).days / _DAYS_A_YEAR
    return Span(
        segment.id,
        group_of_segment(segment, policy),
        first.observed_on,
        last.observed_on,
        (first.gravel_mm or 0.0) - (last.gravel_mm or 0.0),
        float(yearly) * years,
    )


def spread(values: Floats, variances: Floats, group: Ints, assumed: float) -> float:
    """Spread of true values within groups, by moments, with the assumed one as some more.

    What the values scatter beyond their own variances, never below a tenth of what is assumed.
    """
    weight = 1 / variances
    n_groups = int(group.max()) + 1 if group.size else 0
    mass = np.bincount(group, weights=weight, minlength=n_groups)
    mean = np.bincount(group, weights=weight * values, minlength=n_groups) / np.maximum(mass, 1e-12)
    scatter = float((weight * (values - mean[group]) ** 2).sum())
    freedom = float(values.shape[0] - n_groups)
    squares = np.bincount(group, weights=weight**2, minlength=n_groups)
    scale = float((mass - squares / np.maximum(mass, 1e-12)).sum())
    n_assumed = 4.0
    if freedom <= 0 or scale <= 0:
        return assumed
    moment = max(scatter - freedom, 0.0) / scale
    mixed = (freedom * moment + n_assumed * assumed**2) / (freedom + n_assumed)
    return float(np.sqrt(max(mixed, (0.1 * assumed) ** 2)))


def _hold_out(spans: Sequence[Span], policy: Policy) -> tuple[float, float]:
    """Bias of predicted loss on the latest year, without and with factors of earlier years [%]."""
    if not spans:
        return float("nan"), float("nan")
    latest = max(span.last for span in spans).year
    held = [span for span in spans if span.last.year == latest]
    earlier = [span for span in spans if span.last.year < latest]
    observed = sum(span.observed_mm for span in held)
    if not earlier or observed <= 0:
        return float("nan"), float("nan")
    fit = fit_factors(earlier, policy)
    by_group = {each.group: each.factor for each in fit.groups}
    plain = sum(span.predicted_mm for span in held)
    fitted = sum(by_group.get(span.group, fit.factor) * span.predicted_mm for span in held)
    return 100 * (plain / observed - 1), 100 * (fitted / observed - 1)


def _of_segments(
    network: Network, fit: Fit, policy: Policy
) -> tuple[dict[str, float], dict[str, float]]:
    by_group = {each.group: each for each in fit.groups}
    factors, sds = {}, {}
    for segment in network.maintained:
        own = fit.segment_factor.get(segment.id)
        group = by_group.get(group_of_segment(segment, policy))
        if own is not None:
            factors[segment.id], sds[segment.id] = own, fit.segment_sd[segment.id]
        elif group is not None:
            half = (group.high - group.low) / 2 / _NINETY
            factors[segment.id] = group.factor
            sds[segment.id] = float(np.hypot(half, fit.between_segments_sd))
        else:
            factors[segment.id] = fit.factor
            sds[segment.id] = float(np.hypot(fit.between_groups_sd, fit.between_segments_sd))
    return factors, sds
