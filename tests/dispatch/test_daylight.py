"""Sunset by the clock on the wall."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest
import refet.calcs

from crossfall.dispatch.checker_facts import Facts
from crossfall.dispatch.daylight import clock_ahead_h, last_light, sunset_min
from crossfall.errors import InputError
from crossfall.formulas.sun import sun_ahead_of_clock
from crossfall.model.policy import DispatchPolicy
from dispatch.small_weeks import crew, grid

PRINTED_H = {
    120: 0.046, 150: 0.043, 160: 0.015, 180: -0.055, 210: -0.107, 240: -0.022, 270: 0.147,
    300: 0.268, 320: 0.255, 340: 0.151, 360: -0.007,
}  # fmt: skip
"""Equation of time, Table 1 of the AccuPAR LP-80 Operator's Manual (Decagon Devices), seen."""


def test_sun_and_clock_agree_with_the_printed_table() -> None:
    """The formula's own error against the true equation of time is a little over a minute."""
    for day, hours in PRINTED_H.items():
        assert float(sun_ahead_of_clock(day)) == pytest.approx(hours, abs=0.0215)


def test_sun_and_clock_agree_with_refet() -> None:
    days = np.arange(1, 366)
    assert sun_ahead_of_clock(days) == pytest.approx(refet.calcs.seasonal_correction(days))


def test_sunset_moves_four_minutes_for_each_degree_west() -> None:
    day = date(2026, 6, 8)
    east, west = (sunset_min(lon, 45.0, day, time_zone="America/Chicago") for lon in (-95.0, -96.0))
    assert west - east == pytest.approx(4.0)


def test_summer_time_is_an_hour_later_and_no_zone_is_the_suns_own_hour() -> None:
    day = date(2026, 6, 8)
    plain = sunset_min(-105.0, 40.0, day)
    assert sunset_min(-105.0, 40.0, day, time_zone="America/Denver") == pytest.approx(plain + 60)
    assert sunset_min(-105.0, 40.0, day, time_zone="America/Phoenix") == pytest.approx(plain)
    winter = date(2026, 12, 8)
    assert sunset_min(-105.0, 40.0, winter, time_zone="America/Denver") == pytest.approx(
        sunset_min(-105.0, 40.0, winter)
    )
    assert clock_ahead_h(-97.5, day) == -6.0
    assert clock_ahead_h(78.0, day, "Asia/Kolkata") == 5.5


def test_days_at_the_pole_have_no_dusk_or_no_light() -> None:
    assert sunset_min(0.0, 80.0, date(2026, 6, 21)) == pytest.approx(24 * 60, abs=20)
    assert sunset_min(0.0, 80.0, date(2026, 12, 21)) == pytest.approx(12 * 60, abs=20)


@pytest.mark.parametrize("zone", ["", "America/Denver", "Asia/Kolkata", "UTC"])
@pytest.mark.parametrize("middle", [-97.5, -112.5, -100.2, 7.5, 170.0])
def test_the_checker_works_out_the_same_dusk_for_itself(zone: str, middle: float) -> None:
    network = grid(2, 2)
    shift = middle - sum(n.lon for n in network.nodes) / 4
    network = replace(network, nodes=tuple(replace(n, lon=n.lon + shift) for n in network.nodes))
    policy = DispatchPolicy(time_zone=zone)
    light, facts = last_light(network, policy), Facts.of(network, crew(), policy)
    for n in range(0, 365, 7):
        day = date(2026, 1, 1) + timedelta(days=n)
        assert facts.last_light_min(day) == pytest.approx(light(day), abs=1e-6)


def test_an_unknown_zone_is_refused() -> None:
    with pytest.raises(InputError, match=r"dispatch\.time_zone is 'Mars/North'"):
        clock_ahead_h(0.0, date(2026, 6, 8), "Mars/North")
