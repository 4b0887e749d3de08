"""Factors of roughening and blading on synthetic truth, and all three together."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from crossfall.errors import InputError
from crossfall.formulas.roughness import after_blading, after_days
from crossfall.learning import calibrate_years
from crossfall.learning.years import Ratio, _Road, fit_ratios, rough_days, roughness_ratios
from crossfall.model import Condition, Network, Node, Policy, Segment, Treatment, WorkRecord
from crossfall.model.policy.programme import SeasonPolicy

POLICY = Policy()


def _ratios(seed: int, *, n_groups: int = 60) -> tuple[list[Ratio], dict[str, float]]:
    """Readings of a made agency whose groups' factors are known."""
    rng = np.random.default_rng(seed)
    agency = rng.normal(0.1, 0.2)
    found, truth = [], {}
    for group in range(n_groups):
        log = agency + rng.normal(0, 0.25)
        truth[f"g{group}"] = float(np.exp(log))
        for index in range(int(rng.integers(2, 15))):
            value = float(np.exp(log + rng.normal(0, 0.4)))
            day = date(2022 + index % 4, 6, 1)
            found.append(Ratio(f"g{group}s{index}", f"g{group}", day, value))
    return found, truth


def test_nine_in_ten_intervals_hold_the_truth() -> None:
    held = []
    for seed in range(12):
        ratios, truth = _ratios(seed)
        groups = fit_ratios("pace", ratios, POLICY).groups
        held += [each.low <= truth[each.group] <= each.high for each in groups]
    assert len(held) == 720
    assert 0.85 <= np.mean(held) <= 0.95


def test_pooling_is_nearer_than_groups_alone_and_than_one_factor_for_all() -> None:
    ratios, truth = _ratios(3)
    fit = fit_ratios("pace", ratios, POLICY)
    by_group = {each.group: each.factor for each in fit.groups}

    def rmse(guess: dict[str, float]) -> float:
        return float(np.sqrt(np.mean([np.log(guess[g] / truth[g]) ** 2 for g in truth])))

    alone = {
        g: float(np.exp(np.mean([np.log(r.value) for r in ratios if r.group == g]))) for g in truth
    }
    assert rmse(by_group) < rmse(alone)
    assert rmse(by_group) < rmse(dict.fromkeys(truth, fit.factor))


def test_the_latest_year_is_held_back() -> None:
    rng = np.random.default_rng(1)
    ratios = [
        Ratio(f"s{i}", "g", date(2023 + i % 3, 6, 1), float(1.5 * np.exp(rng.normal(0, 0.1))))
        for i in range(90)
    ]
    fit = fit_ratios("pace", ratios, POLICY)
    assert fit.bias_before_pct == pytest.approx(100 * (1 / 1.5 - 1), abs=3)
    assert abs(fit.bias_after_pct) < 5
    alone = fit_ratios("pace", [replace(each, day=date(2025, 6, 1)) for each in ratios], POLICY)
    assert np.isnan(alone.bias_after_pct)


def _network(n: int) -> Network:
    nodes = tuple(Node(f"n{i}", 0.02 * i, 45.0) for i in range(n + 1))
    return Network(
        nodes,
        tuple(
            Segment(
                f"s{i}",
                f"Road {i}",
                f"n{i}",
                f"n{i + 1}",
                0.0,
                1000.0,
                ((0.02 * i, 45.0), (0.02 * i + 0.02, 45.0)),
                adt=60.0,
            )
            for i in range(n)
        ),
    )


def _look(segment_id: str, day: date, iri: float, gravel_mm: float | None = None) -> Condition:
    return Condition(
        segment_id, day, 4, 4, 4, 4, 4, method="measured", iri_m_km=iri, gravel_mm=gravel_mm
    )


PACE, EFFECT = 1.4, 1.15


def _readings(n: int, seed: int = 1) -> tuple[list[Condition], list[WorkRecord]]:
    """Roughness of roads that roughen 1.4 times as fast and keep 1.15 times as much."""
    rng = np.random.default_rng(seed)
    looks, records = [], []
    seasons = POLICY.programme.seasons
    for segment in _network(n).segments:
        road = _Road.of(segment, POLICY)
        for year in (2023, 2024, 2025):
            first = date(year, 4, 1) + timedelta(days=int(rng.integers(0, 20)))
            middle = first + timedelta(days=60)
            days = rough_days(first, middle, seasons)
            start = rng.uniform(4, 7)
            rough = float(after_days(start, road.top, -PACE * road.rate, days))
            left = float(after_blading(rough, road.bottom, min(1.0, EFFECT * road.share)))
            noise = np.exp(rng.normal(0, 0.01, 3))
            looks += [
                _look(segment.id, first, start * noise[0]),
                _look(segment.id, middle, rough * noise[1]),
                _look(segment.id, middle + timedelta(days=3), left * noise[2]),
            ]
            records.append(
                WorkRecord(
                    f"{segment.id}-{year}",
                    segment.id,
                    middle + timedelta(days=1),
                    Treatment.BLADING,
                    3,
                    1.0,
                    "x",
                )
            )
            # the next spring's first reading follows a winter of bladings nobody recorded
            records.append(
                WorkRecord(
                    f"{segment.id}-{year}-w",
                    segment.id,
                    date(year, 12, 1),
                    Treatment.REGRAVELLING,
                    3,
                    1.0,
                    "x",
                )
            )
    return looks, records


def test_paces_and_bladings_are_read_from_an_agencys_looks() -> None:
    looks, records = _readings(40)
    paces, kept, n_left_out = roughness_ratios(looks, records, _network(40), POLICY)
    assert len(paces) == len(kept) == 120
    assert n_left_out == 80, "spans over the winter's gravel"
    found = calibrate_years(looks, records, _network(40), POLICY)
    assert found.rate.groups[0].factor == pytest.approx(PACE, rel=0.05)
    assert found.blading.groups[0].factor == pytest.approx(EFFECT, rel=0.05)
    assert not found.rate.is_prior
    assert found.policy.version == "1+years"
    (group,) = found.policy.programme.factors.by_group
    assert group[1] == POLICY.programme.factors.gravel_loss, "no thickness was read"
    assert group[2] == pytest.approx(PACE, rel=0.05)
    assert "Held-back year" in found.summary()
    assert abs(found.rate.bias_after_pct) < abs(found.rate.bias_before_pct)


def test_under_five_readings_is_prior_and_changes_nothing() -> None:
    looks, records = _readings(1)
    found = calibrate_years(looks, records, _network(1), POLICY)
    assert found.rate.groups[0].n == 3
    assert found.rate.is_prior
    assert found.policy is POLICY
    assert "default factor stays" in found.summary()
    nothing = calibrate_years((), (), _network(1), POLICY)
    assert nothing.policy is POLICY


def test_readings_that_no_factor_explains_are_left_out() -> None:
    first = date(2025, 5, 1)
    later = first + timedelta(days=40)
    for second in (4.0, 60.0):  # smoother without work; rougher than any road gets
        looks = [_look("s0", first, 6.0), _look("s0", later, second)]
        assert roughness_ratios(looks, (), _network(1), POLICY) == ((), (), 1)
    soon = [_look("s0", first, 6.0), _look("s0", first + timedelta(days=3), 6.1)]
    assert roughness_ratios(soon, (), _network(1), POLICY)[2] == 1


def test_days_count_by_their_season() -> None:
    seasons = SeasonPolicy(starts_on_day=1, days=(100.0, 265.0), roughness_factor=(3.0, 1.0))
    assert rough_days(date(2025, 1, 1), date(2025, 1, 11), seasons) == 30
    assert rough_days(date(2025, 4, 6), date(2025, 4, 16), seasons) == 5 * 3 + 5 * 1
    assert rough_days(date(2025, 12, 30), date(2026, 1, 2), seasons) == 2 * 1 + 3


def test_a_taken_version_is_refused() -> None:
    with pytest.raises(InputError, match="which is taken"):
        calibrate_years((), (), _network(1), POLICY, version="1")
