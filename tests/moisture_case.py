"""An invented district with a simple sky, for the tests of moisture and gate."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np

from crossfall.model import (
    District,
    Fleet,
    Forecast,
    Machine,
    Network,
    Node,
    Segment,
    Station,
    WeatherRecord,
)

TODAY = date(2026, 6, 10)
STATION = Station("g1", "Willow Gauge", -100.0, 45.0, 400.0)


def roads(n=1, **change):
    """``n`` roads a kilometre apart, eastwards from the gauge."""
    step = 1 / 78.8
    nodes = tuple(Node(f"n{i}", -100.0 + i * step, 45.0) for i in range(n + 1))
    segments = tuple(
        Segment(
            f"s{i}", f"Road {i}", f"n{i}", f"n{i + 1}", 0.0, 1000.0,
            ((nodes[i].lon, 45.0), (nodes[i].lon + step / 2, 45.0), (nodes[i + 1].lon, 45.0)),
            **({"surface": "gravel", "drainage": "good", "gravel_mm": 150.0} | change),
        )
        for i in range(n)
    )  # fmt: skip
    return Network(nodes, segments)


def weather(n_days=500, rain=None, tmin=10.0, tmax=22.0, until=TODAY, station=STATION, **more):
    """A record that ends the day before ``until``; ``rain`` maps days before it to mm."""
    fallen = np.zeros(n_days)
    for days_before, mm in (rain or {}).items():
        fallen[n_days - days_before] = mm
    low = np.broadcast_to(np.asarray(tmin, float), (n_days,)).copy()
    high = np.broadcast_to(np.asarray(tmax, float), (n_days,)).copy()
    return WeatherRecord(station, until - timedelta(days=n_days), fallen, low, high, **more)


def forecast(rain, tmin=10.0, tmax=22.0, first=TODAY, issued=TODAY, station=STATION, pop=None):
    """Members (member, day) of rain, alike in temperature."""
    fallen = np.atleast_2d(np.asarray(rain, float))
    return Forecast(
        station, issued, first, fallen, np.full(fallen.shape, tmin), np.full(fallen.shape, tmax),
        pop=None if pop is None else np.asarray(pop, float),
    )  # fmt: skip


FLEET = Fleet(
    (),
    (
        Machine("g1", "Grader 1", "grader", "yard", mass_t=16.0),
        Machine("w1", "Water 1", "water_truck", "yard", capacity=15_000.0, mass_t=9.0),
        Machine("t1", "Truck 1", "haul_truck", "yard", capacity=10.0, payload_t=14.0, mass_t=10.0),
    ),
    (),
)


def district(*, network=None, record=None, **more):
    """One gauge, one road, no rain, unless said otherwise."""
    return District(
        "invented", network or roads(), more.pop("fleet", FLEET),
        weather=more.pop("weather", (record or weather(),)), is_invented=True, **more,
    )  # fmt: skip
