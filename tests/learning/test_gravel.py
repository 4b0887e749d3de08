"""Calibration of gravel loss on synthetic truth: does the interval hold it, does pooling help?"""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from crossfall.errors import InputError
from crossfall.learning import calibrate_gravel_loss, fit_roughness
from crossfall.learning.gravel import Span, fit_factors, gravel_spans
from crossfall.model import Condition, Network, Node, Policy, Segment, Treatment, WorkRecord
from crossfall.model.policy.records import LearningPolicy

POLICY = Policy()
N_GROUPS, N_SEGMENTS = 40, 60


def _made(seed: int) -> tuple[list[Span], dict[str, float], dict[str, float], dict[str, str]]:
    """Spans of a made agency whose factors are known; 30 % of its segments are never measured."""
    rng = np.random.default_rng(seed)
    level = rng.normal(0.9, 0.15)
    spans, truth, groups, member = [], {}, {}, {}
    day = date(2024, 6, 1)
    for group in range(N_GROUPS):
        mean = level + rng.normal(0, 0.3)
        groups[f"g{group}"] = mean
        for segment in range(N_SEGMENTS):
            name = f"g{group}s{segment}"
            member[name] = f"g{group}"
            truth[name] = mean + rng.normal(0, 0.22)
            yearly = rng.uniform(8, 25)
            if rng.random() < 0.3:
                continue
            for _ in range(rng.integers(1, 5)):
                loss = truth[name] * yearly + rng.normal(0, 10 * np.sqrt(2))
                spans.append(Span(name, f"g{group}", day, day, loss, yearly))
    return spans, truth, groups, member


@pytest.mark.parametrize("seed", range(4))
def test_nine_in_ten_intervals_hold_the_truth(seed: int) -> None:
    spans, truth, groups, member = _made(seed)
    fit = fit_factors(spans, POLICY)
    held_groups = np.mean([each.low <= groups[each.group] <= each.high for each in fit.groups])
    assert 0.775 <= held_groups <= 1.0, "40 groups: 0.85 and 0.95 less and plus chance"
    held = []
    for name, true in truth.items():
        if name in fit.segment_factor:
            half = 1.645 * fit.segment_sd[name]
            held.append(abs(fit.segment_factor[name] - true) <= half)
    assert 0.85 <= np.mean(held) <= 0.95
    assert set(member) >= set(fit.segment_factor)


@pytest.mark.parametrize("seed", range(4))
def test_pooling_beats_each_segment_for_itself_and_one_factor_for_all(seed: int) -> None:
    spans, truth, _, member = _made(seed)
    fit = fit_factors(spans, POLICY)
    by_group = {each.group: each.factor for each in fit.groups}
    own: dict[str, list[tuple[float, float]]] = {}
    for span in spans:
        own.setdefault(span.segment_id, []).append((span.observed_mm, span.predicted_mm))

    def rmse(guess: dict[str, float]) -> float:
        return float(np.sqrt(np.mean([(guess[name] - truth[name]) ** 2 for name in own])))

    alone = {
        name: sum(o * p for o, p in pairs) / sum(p * p for _, p in pairs)
        for name, pairs in own.items()
    }
    pooled = rmse(dict(fit.segment_factor))
    assert pooled < 0.6 * rmse(alone)
    assert pooled < 0.8 * rmse(dict.fromkeys(own, fit.factor))
    assert pooled <= rmse({name: by_group[member[name]] for name in own}) + 1e-9


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
                adt=80.0,
            )
            for i in range(n)
        ),
    )


def _looks(n: int, loss_mm: float, seed: int = 1) -> list[Condition]:
    rng = np.random.default_rng(seed)
    return [
        Condition(
            f"s{i}",
            date(2023 + year, 6, 1),
            4,
            4,
            4,
            4,
            4,
            method="measured",
            gravel_mm=float(120 - loss_mm * year + rng.normal(0, 3)),
        )
        for i in range(n)
        for year in range(4)
    ]


def test_the_proposal_is_a_new_policy_and_the_old_one_stays() -> None:
    network = _network(30)
    found = calibrate_gravel_loss(_looks(30, 8.0), (), network, POLICY)
    assert found.policy.version != POLICY.version
    assert found.policy.programme.factors.gravel_loss == found.factor
    assert Policy() == POLICY
    assert 0.3 <= found.factor < 0.8, "8 mm a year is well below what is predicted"
    assert abs(found.bias_after_pct) < abs(found.bias_before_pct)
    assert "Held-back year" in found.summary()
    assert set(found.by_segment) == {segment.id for segment in network.segments}


def test_spans_with_gravel_placed_are_left_out() -> None:
    network = _network(3)
    looks = _looks(3, 8.0)
    placed = WorkRecord("r", "s0", date(2024, 1, 1), Treatment.REGRAVELLING, 4, 9.0, "x")
    spans, n_left_out = gravel_spans(looks, [placed], network, POLICY)
    assert n_left_out == 1
    assert len(spans) == 8


def test_under_five_spans_is_prior_and_changes_nothing() -> None:
    network = _network(1)
    found = calibrate_gravel_loss(_looks(1, 8.0), (), network, POLICY)
    assert all(each.is_prior for each in found.groups)
    assert found.policy is POLICY
    assert "default factor stays" in found.summary()
    nothing = calibrate_gravel_loss((), (), network, POLICY)
    assert nothing.factor == 1.0
    assert nothing.policy is POLICY


def test_estimated_thicknesses_do_not_count() -> None:
    looks = [replace(look, method="estimated") for look in _looks(3, 8.0)]
    assert gravel_spans(looks, (), _network(3), POLICY) == ((), 0)


def test_a_taken_version_is_refused() -> None:
    with pytest.raises(InputError, match="which is taken"):
        calibrate_gravel_loss((), (), _network(1), POLICY, version="1")


def test_what_blading_leaves_is_learnt_and_odd_readings_are_left_out() -> None:
    pairs = np.array([[10.0, 2 + 0.8 * 0.668 * 8, 2.0, 0.668]] * 50 + [[5.0, 9.0, 2.0, 0.668]])
    found = fit_roughness(np.empty((0, 5)), pairs, LearningPolicy())
    assert found.blading.n == 50
    assert found.blading.factor == pytest.approx(0.8, abs=0.01)
    assert found.is_rate_prior
    assert found.rate.factor == 1.0
    with pytest.raises(InputError, match="expected \\(n, 4\\)"):
        fit_roughness(np.empty((0, 5)), np.empty((0, 3)), LearningPolicy())
