"""Frost in the layer and weakness from the thaw below it."""

from __future__ import annotations

import numpy as np
import pytest

from crossfall.errors import InputError
from crossfall.formulas.thaw import (
    freeze_through_c_day,
    freezing_index,
    frost_index,
    thaw_reference_c,
    thaw_season,
    thawing_index,
)
from crossfall.model.policy import MoisturePolicy
from crossfall.units import convert

RULES = {
    "onset_c_day": 13.9, "min_freeze_c_day": 55.0, "recovery_share": 0.3,
    "refreeze_share": 0.5, "max_days": 56,
}  # fmt: skip


def test_frost_index_by_hand():
    # LISFLOOD documentation after Molnau and Bissell, decay .97 (+-.002)
    t = np.array([-5.0, -5, -5, -2, 0, 3])
    expected = [5, 9.85, 14.554, 16.118, 15.634, 12.165]
    assert frost_index(t) == pytest.approx(expected, abs=0.002)


def test_frost_index_in_hours_is_close_to_days():
    days = np.array([-4.0, -8.0, -1.0, 3.0])
    hours = frost_index(np.repeat(days, 24), step_days=1 / 24)[23::24]
    assert hours == pytest.approx(frost_index(days), rel=0.02)


def test_a_capped_layer_thaws_within_days_of_a_long_winter():
    t = np.concatenate([np.full(100, -9.0), np.full(4, 3.0)])
    assert frost_index(t)[-1] > 200
    assert frost_index(t, cap_c_day=6.5)[-3:].max() <= 3.2


def test_stefan():
    # z2 L / (2 k 86400) with L = 334000 rho w, k 2: 3.196 and 1.421 degC d (+-.005)
    found = freeze_through_c_day([0.15, 0.10], 2100.0, 7.0, 2.0)
    assert found == pytest.approx([3.196, 1.421], abs=0.005)


def test_thawing_index_by_hand():
    # Tref -1.67 degC (29 F, MnDOT), halving of frost [recalled] (+-.01)
    t = np.array([-3.0, -1, 2, 4, 3, -2, 5, 6])
    index = thawing_index(t, -1.67)
    assert index == pytest.approx([0, 0.67, 4.34, 10.01, 14.68, 13.68, 20.35, 28.02], abs=0.01)
    assert np.argmax(index >= 13.9) == 4


def test_thawing_index_in_fahrenheit_days():
    # From 1 March, reference 25.7 F then 24.8 F from day 8; arithmetic on the recalled rule:
    # 2.3, 7.6, 16.9, 21.2, 16.2, 10.2, 11.5, 19.7, 30.9 F d, over 25 on day 9
    t_f = np.array([28.0, 31, 35, 30, 22, 20, 27, 33, 36])
    reference_f = np.array([25.7] * 7 + [24.8] * 2)
    to_c = lambda values: np.array([convert(v, "degF", "degC") for v in values])  # noqa: E731
    index_f = thawing_index(to_c(t_f), to_c(reference_f)) * 9 / 5
    expected = [2.3, 7.6, 16.9, 21.2, 16.2, 10.2, 11.5, 19.7, 30.9]
    assert index_f == pytest.approx(expected, abs=0.05)
    # The published threshold 25 F d is 13.9 degC d
    assert np.argmax(index_f > 25) == 8
    assert abs(25 * 5 / 9 - 13.9) < 0.05


def test_freezing_index_of_ten_days():
    # Ten days at 18 F: 140 F d
    assert freezing_index(np.full(10, (18 - 32) * 5 / 9))[-1] * 9 / 5 == pytest.approx(140.0)


def test_reference_temperature_is_the_published_line():
    # MnDOT: 29 F on 1 February falling to 24 F on 15 March
    dates = {"start_day": 32, "start_c": -1.67, "end_day": 74, "end_c": -4.44}
    assert thaw_reference_c(32, **dates) == pytest.approx((29 - 32) / 1.8, abs=0.01)
    assert thaw_reference_c(74, **dates) == pytest.approx((24 - 32) / 1.8, abs=0.01)
    assert thaw_reference_c(15, **dates) == 0.0
    # In the south 1 August stands for 1 February
    assert thaw_reference_c(213, **dates, is_southern=True) == pytest.approx(-1.67, abs=0.1)
    with pytest.raises(InputError, match="start_day"):
        thaw_reference_c(10, start_day=74, start_c=-1.0, end_day=32, end_c=-4.0)


def test_thresholds_of_the_thaw_are_the_published_ones():
    # MnDOT: critical at 25 F d of thaw, winter strength at 280 F d of frost
    policy = MoisturePolicy()
    assert policy.thaw_onset_c_day == pytest.approx(25 / 1.8, abs=0.05)
    assert policy.winter_strength_c_day == pytest.approx(280 / 1.8, abs=0.05)


def test_spring_weakens_and_recovers():
    t = np.concatenate([np.full(40, -8.0), np.full(40, 4.0)])
    season = thaw_season(t, -2.0, **RULES)
    weak = np.flatnonzero(season.is_weak)
    # 6 degrees above the reference each day: 13.9 is passed on the third warm day
    assert weak[0] == 42
    # Recovered when degrees above 0 reach .3 of 320, that is after 24 warm days
    assert weak[-1] == 40 + 24 - 2
    assert not season.is_weak[-10:].any()
    assert season.freezing_c_day[-1] == 0.0


def test_a_midwinter_thaw_is_undone_by_frost():
    t = np.concatenate([np.full(30, -8.0), np.full(5, 4.0), np.full(20, -9.0), np.full(10, -5.0)])
    season = thaw_season(t, 0.0, **RULES)
    assert season.is_weak[34]
    # 20 degC d of thaw; ten degC d of frost undo it: two days at -9
    assert season.is_weak[35]
    assert not season.is_weak[36:].any()
    assert season.thawing_c_day[36] == 0.0
    assert season.freezing_c_day[36] > 240


def test_a_mild_winter_never_weakens():
    t = np.concatenate([np.full(5, -3.0), np.full(60, 6.0), np.full(4, -4.0), np.full(60, 8.0)])
    season = thaw_season(t, -1.0, **RULES)
    assert not season.is_weak.any()


def test_a_weak_spell_has_an_end():
    # Just above the reference for months: the thaw index grows, degrees above zero do not
    t = np.concatenate([np.full(60, -10.0), np.full(100, -0.5)])
    season = thaw_season(t, -4.44, **RULES)
    assert season.is_weak.sum() <= RULES["max_days"] + 1


def test_many_members_at_once_are_each_on_their_own():
    rng = np.random.default_rng(3)
    t = rng.normal(-3, 7, (4, 3, 120))
    whole = thaw_season(t, -2.0, **RULES)
    alone = thaw_season(t[2, 1], -2.0, **RULES)
    np.testing.assert_array_equal(whole.is_weak[2, 1], alone.is_weak)
    np.testing.assert_allclose(whole.freezing_c_day[2, 1], alone.freezing_c_day)


def test_bad_decay():
    with pytest.raises(InputError, match="decay"):
        frost_index(np.zeros(3), decay=0.0)
