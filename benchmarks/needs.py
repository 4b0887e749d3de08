"""How long it takes to say what each of 100,000 roads needs and why.

The network is made from a seed: scores, traffic and work are random, the flow is the product's
own. Making the network is not timed; bringing every road up to today, judging it and writing the
needs is.

    python benchmarks/needs.py [--segments 100000] [--json]
"""

from __future__ import annotations

import argparse
import json
import statistics
import time
from datetime import date, timedelta

import numpy as np

from crossfall.judgement.needs import find_needs
from crossfall.model import (
    Condition,
    District,
    Fleet,
    Network,
    Node,
    Segment,
    Station,
    Treatment,
    WeatherRecord,
    WorkRecord,
)

TODAY = date(2026, 5, 18)
REPEATS = 5
LEAST_SEGMENTS, MOST_SECONDS = 100_000, 2.0
"""What is promised: so many segments judged in so many seconds."""


def made_district(n: int, seed: int = 1) -> District:
    """A district of ``n`` made segments, nine in ten surveyed, with a year of work and rain."""
    rng = np.random.default_rng(seed)
    nodes = tuple(Node(f"n{i}", 0.001 * i % 10, 45 + 0.0001 * i % 2) for i in range(n + 1))
    classes = ("arterial", "collector", "local", "minimum")
    which = rng.choice(4, n, p=(0.03, 0.17, 0.6, 0.2))
    adt = np.exp(rng.normal(4.0, 0.8, n))
    length = rng.uniform(400, 1700, n)
    segments = tuple(
        Segment(
            f"s{i}",
            f"Road {i // 5}",
            f"n{i}",
            f"n{i + 1}",
            0.0,
            float(length[i]),
            ((nodes[i].lon, nodes[i].lat), (nodes[i + 1].lon, nodes[i + 1].lat)),
            classes[which[i]],
            adt=float(adt[i]),
            grade_pct=float(i % 7),
        )
        for i in range(n)
    )
    scores = np.clip(rng.normal(4.4, 0.35, (5, n)), 1, 5)
    scores -= 1.6 * (rng.random((5, n)) < 0.10)
    scores = np.clip(scores, 1, 5)
    days = rng.integers(1, 90, n)
    conditions = tuple(
        Condition(
            f"s{i}",
            TODAY - timedelta(days=int(days[i])),
            *(float(score) for score in scores[:, i]),
            method="measured",
            last_bladed_on=TODAY - timedelta(days=int(days[i]) + 10),
            crossfall_pct=float(rng.uniform(1, 6)) if i % 3 == 0 else None,
        )
        for i in range(n)
        if i % 10
    )
    records = tuple(
        WorkRecord(
            f"r{i}",
            f"s{int(row)}",
            TODAY - timedelta(days=int(rng.integers(1, 365))),
            Treatment.BLADING,
            3,
            1.0,
            "made",
        )
        for i, row in enumerate(rng.integers(0, n, n))
    )
    rain = rng.gamma(0.25, 9.0, 730)
    weather = tuple(
        WeatherRecord(
            Station(f"g{k}", f"gauge {k}", 2.0 * k, 45.5),
            TODAY - timedelta(days=730),
            rain,
            np.full(730, 5.0),
            np.full(730, 15.0),
            is_invented=True,
        )
        for k in range(5)
    )
    return District(
        "made",
        Network(nodes, segments),
        Fleet((), (), ()),
        conditions=conditions,
        records=records,
        weather=weather,
        is_invented=True,
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--segments", type=int, default=100_000)
    parser.add_argument("--json", action="store_true", help="end with one line of JSON")
    options = parser.parse_args()
    district = made_district(options.segments)
    find_needs(made_district(500), today=TODAY)
    seconds = []
    for _ in range(REPEATS):
        began = time.perf_counter()
        needs, conditions = find_needs(district, today=TODAY)
        seconds.append(time.perf_counter() - began)
    figures = {
        "segments": len(conditions),
        "seconds": round(statistics.median(seconds), 3),
        "seconds_worst": round(max(seconds), 3),
        "needs": len(needs),
    }
    targets = {"segments": LEAST_SEGMENTS, "seconds": MOST_SECONDS}
    met = figures["segments"] >= LEAST_SEGMENTS and figures["seconds"] <= MOST_SECONDS
    print(
        f"{figures['segments']} segments judged in {figures['seconds']} s (median of {REPEATS},"
        f" worst {figures['seconds_worst']} s); {figures['needs']} need something"
    )
    if options.json:
        told = {"name": "needs", "figures": figures, "targets": targets, "met": met}
        print(json.dumps(told))


if __name__ == "__main__":
    main()
