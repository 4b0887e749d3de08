"""What people saw and gauges caught: it outweighs the model, and fades with distance and time.

A gauge reading replaces the station's rain for its neighbourhood (last night's local storm). A
look at the surface (*too wet*, *just right*, *dust*) resets the moisture to what that look allows,
as much as the look counts there: fully on the road itself, less the farther away and the more
unlike a road is.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import NamedTuple

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr

from crossfall.errors import InputError
from crossfall.formulas.layer import Layer
from crossfall.formulas.moisture_class import Bands
from crossfall.judgement.stations import distance_km, middle_of
from crossfall.model.condition import Felt, Observation
from crossfall.model.network import Segment
from crossfall.model.policy.moisture import MoisturePolicy

Floats = npt.NDArray[np.float64]

_CERTAIN = 1e-12  # the least share of a belief that a look may leave, so that nothing divides by 0


class Look(NamedTuple):
    """A look at the surface as one segment hears it."""

    day: date
    felt: Felt
    weight: float
    observer: str = ""
    report: tuple[str, ...] = ()
    """What was said in one breath, of a whole road say: it is heard once."""


class Reading(NamedTuple):
    """Rain of one day as gauges near one segment caught it."""

    day: date
    rain_mm: float
    weight: float


@dataclass(frozen=True, slots=True)
class Heard:
    """Everything one segment hears; hashable, so that alike segments can share a group."""

    looks: tuple[Look, ...] = ()
    readings: tuple[Reading, ...] = ()


def hear(
    segments: Sequence[Segment],
    observations: Sequence[Observation],
    policy: MoisturePolicy,
    *,
    today: date,
) -> tuple[list[Heard], tuple[str, ...]]:
    """What each segment hears of the observations up to ``today``, and notes for a person.

    Observations come in the order in which they were entered. Of two looks at one place on one
    day the one entered last counts, and so it is with two readings: it corrects the earlier one.

    Raises
    ------
    InputError
        If a rain reading is negative, or an observation says neither rain nor how it felt.
    """
    oldest = today - timedelta(days=policy.observation_days)
    standing = uncorrected(observations)
    used = [each for each in standing if oldest <= each.observed_on <= today]
    for each in used:
        if each.rain_mm is None and each.felt is None and not each.supersedes:
            raise InputError(f"observation {each.id} has neither rain_mm nor felt; expected one")
        if each.rain_mm is not None and not each.rain_mm >= 0:
            raise InputError(f"observation {each.id} has rain_mm {each.rain_mm:g}; expected >= 0")
    if not used:
        return [Heard()] * len(segments), ()

    lon, lat = middle_of(segments)
    looks: list[list[Look]] = [[] for _ in segments]
    caught: list[dict[date, list[tuple[float, float]]]] = [{} for _ in segments]
    index = {segment.id: i for i, segment in enumerate(segments)}
    used = newest(used)
    for each in used:
        away = distance_km(lon, lat, each.lon, each.lat)
        at = index.get(each.segment_id or "")
        if each.felt is not None:
            for i in np.flatnonzero(
                away < policy.reach_ranges * policy.observation_range_km
            ).tolist():
                weight = policy.observer_trust * np.exp(
                    -((away[i] / policy.observation_range_km) ** 2)
                )
                if at is not None and _is_unlike(segments[i], segments[at]):
                    weight *= policy.unlike_share
                if i != at:
                    _add_look(looks[i], each, _rounded(float(weight), policy))
            if at is not None:
                _add_look(looks[at], each, _rounded(policy.observer_trust, policy))
        if each.rain_mm is not None:
            day = each.observed_on + timedelta(days=policy.gauge_day_offset)
            for i in np.flatnonzero(away < policy.reach_ranges * policy.gauge_range_km).tolist():
                weight = float(np.exp(-((away[i] / policy.gauge_range_km) ** 2)))
                weight = 1.0 if i == at else weight
                caught[i].setdefault(day, []).append((weight, each.rain_mm))
    heard = [
        Heard(tuple(looks[i]), tuple(_readings(caught[i], policy))) for i in range(len(segments))
    ]
    n_looks = len({report_of(each) for each in used if each.felt is not None})
    n_gauges = sum(each.rain_mm is not None for each in used)
    n_corrected = sum(oldest <= each.observed_on <= today for each in observations) - len(used)
    notes = []
    if n_corrected:
        notes.append(
            f"{n_corrected} observation{'s' if n_corrected > 1 else ''} since {oldest} corrected by"
            " a later one and not used"
        )
    if n_looks:
        notes.append(f"{n_looks} looks at the surface since {oldest} are taken in")
    if n_gauges:
        notes.append(f"{n_gauges} gauge readings since {oldest} are taken in")
    return heard, tuple(notes)


def uncorrected(observations: Sequence[Observation]) -> list[Observation]:
    """Those that no other one supersedes, in the order of entry.

    A correction of a correction brings nothing back: what was superseded once stays out.

    Examples
    --------
    >>> day = date(2026, 6, 1)
    >>> told = [Observation(f"k7-{n}", day, 0.0, 0.0, "dust") for n in (1, 2)]
    >>> put_right = Observation("k8-1", day, 0.0, 0.0, "too_wet", supersedes="k7")
    >>> [each.id for each in uncorrected([*told, put_right])]
    ['k8-1']
    """
    corrected = {each.supersedes for each in observations if each.supersedes}
    if not corrected:
        return list(observations)
    return [each for each in observations if not {each.id, key_of(each.id)} & corrected]


def key_of(observation_id: str) -> str:
    """The key of the report that an observation was told in.

    Examples
    --------
    >>> key_of("told-3f2a-12"), key_of("gauge")
    ('told-3f2a', 'gauge')
    """
    key, dash, number = observation_id.rpartition("-")
    return key if dash and number.isdigit() else observation_id


def newest(observations: Sequence[Observation]) -> list[Observation]:
    """By day, then in order of entry; what a later one at the same place corrects is left out."""
    kept: list[Observation] = []
    answered: set[tuple[str, date, object]] = set()
    for each in reversed(observations):
        place = each.segment_id or (round(each.lon, 5), round(each.lat, 5))
        felt_key, rain_key = (("felt", each.observed_on, place), ("rain", each.observed_on, place))
        felt = None if felt_key in answered else each.felt
        rain_mm = None if rain_key in answered else each.rain_mm
        if felt is not None:
            answered.add(felt_key)
        if rain_mm is not None:
            answered.add(rain_key)
        if felt is not None or rain_mm is not None:
            kept.append(replace(each, felt=felt, rain_mm=rain_mm))
    kept.reverse()
    return sorted(kept, key=lambda one: one.observed_on)


def report_of(seen: Observation) -> tuple[str, ...]:
    """What an observation was reported in; those of one report share it.

    A report of a whole road becomes one observation for each segment, with ids ``key-1``,
    ``key-2`` and so on, of one day, one observer and one feeling.

    Examples
    --------
    >>> day = date(2026, 6, 1)
    >>> report_of(Observation("k7-12", day, 0.0, 0.0, "dust", observer="Ann"))
    ('k7', '2026-06-01', 'dust', 'Ann')
    """
    return key_of(seen.id), seen.observed_on.isoformat(), seen.felt or "", seen.observer


def take_rain(rain_mm: Floats, reading: Reading, turn: Floats, *, settles_weight: float) -> Floats:
    """Rain of a day for each member: the reading's for a share of them, else the station's.

    ``turn`` is a number from 0 to 1 for each member; those below the reading's weight take it. A
    missing figure takes a reading of ``settles_weight`` or more in every member.

    Examples
    --------
    >>> turn = np.array([0.1, 0.5, 0.9])
    >>> take_rain(np.zeros(3), Reading(date(2026, 6, 1), 20.0, 0.75), turn, settles_weight=0.5)
    array([20., 20.,  0.])
    """
    is_missing = np.isnan(rain_mm)
    takes = np.where(is_missing, reading.weight >= settles_weight, turn < reading.weight)
    return np.asarray(np.where(takes, reading.rain_mm, rain_mm))


def believe_look(
    mean_pct: npt.ArrayLike,
    spread_pct: npt.ArrayLike,
    lower_pct: npt.ArrayLike,
    upper_pct: npt.ArrayLike,
    weight: npt.ArrayLike,
    *,
    surprise_share: float,
) -> tuple[Floats, Floats]:
    """Moisture and its standard deviation after a look that allows ``lower`` to ``upper`` [%].

    The belief before is normal. With probability ``weight`` the look holds here and cuts the
    belief to the interval; otherwise it stays. The result has the mean and spread of the two
    together. A look that surprises first widens the belief to ``surprise_share`` of the distance,
    so that it can win.

    Examples
    --------
    The model says 7 %, somebody sees dust (at most 3.5 %) on that very road:

    >>> mean, spread = believe_look(7.0, 0.6, 1.5, 3.5, 1.0, surprise_share=0.5)
    >>> print(f"{mean:.1f} {spread:.1f}")
    2.9 0.5
    """
    mean, spread = np.asarray(mean_pct, float), np.asarray(spread_pct, float)
    lower, upper = np.asarray(lower_pct, float), np.asarray(upper_pct, float)
    share = np.asarray(weight, float)
    outside = np.maximum(np.maximum(lower - mean, mean - upper), 0.0)
    wide = np.maximum(spread, surprise_share * outside)

    # Work on the side where the tail is small, for precision
    is_flipped = mean < lower
    first = np.where(is_flipped, mean - upper, lower - mean) / wide
    last = np.where(is_flipped, mean - lower, upper - mean) / wide
    mass = np.maximum(ndtr(last) - ndtr(first), _CERTAIN)
    at_first, at_last = (np.exp(-(each**2) / 2) / np.sqrt(2 * np.pi) for each in (first, last))
    shift = (at_first - at_last) / mass
    cut_mean = mean + np.where(is_flipped, -1.0, 1.0) * wide * shift
    cut_mean = np.clip(cut_mean, lower, upper)
    factor = 1 + (first * at_first - last * at_last) / mass - shift**2
    cut_variance = wide**2 * np.clip(factor, 1e-6, 1.0)

    new_mean = share * cut_mean + (1 - share) * mean
    variance = share * (cut_variance + (cut_mean - new_mean) ** 2) + (1 - share) * (
        spread**2 + (mean - new_mean) ** 2
    )
    return np.asarray(new_mean), np.asarray(np.sqrt(variance))


def interval_of(felt: Felt, layer: Layer, bands: Bands) -> tuple[Floats, Floats]:
    """Moisture that a look allows, for each group [%]."""
    dry, full = layer.air_dry_mm / layer.mm_per_pct, layer.saturation_mm / layer.mm_per_pct
    if felt == "too_wet":
        return bands.upper_pct, full
    if felt == "just_right":
        return bands.lower_pct, bands.upper_pct
    if felt == "dust":
        return dry, bands.dry_pct
    raise InputError(f"felt is {felt!r}; expected too_wet, just_right or dust")


def _readings(
    caught: dict[date, list[tuple[float, float]]], policy: MoisturePolicy
) -> list[Reading]:
    found = []
    for day, pairs in sorted(caught.items()):
        weights = np.array([weight for weight, _ in pairs])
        rain = np.array([mm for _, mm in pairs])
        together = _rounded(1 - float(np.prod(1 - weights)), policy)
        if together > 0:
            mean = float((weights * rain).sum() / weights.sum())
            found.append(Reading(day, round(mean, 1), together))
    return found


def _add_look(looks: list[Look], seen: Observation, weight: float) -> None:
    if not weight > 0 or seen.felt is None:
        return
    look = Look(seen.observed_on, seen.felt, weight, seen.observer, report_of(seen))
    for i, each in enumerate(looks):
        if each.report == look.report:
            # Said once of a whole road: its nearest part counts, not every part again
            looks[i] = max(each, look, key=lambda one: one.weight)
            return
    looks.append(look)


def _rounded(weight: float, policy: MoisturePolicy) -> float:
    return round(round(weight / policy.weight_step) * policy.weight_step, 4)


def _is_unlike(a: Segment, b: Segment) -> bool:
    return (a.material, a.drainage, a.shade) != (b.material, b.drainage, b.shade)
