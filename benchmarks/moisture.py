"""How fast surface moisture is: plain and compiled, a week of members, a country by chunks.

Run ``python benchmarks/moisture.py`` for a table, with ``--json`` for one JSON object on the last
line. ``--country`` adds 2.3 million segments over a year in bounded memory. The weather is drawn
from a seed; every figure includes the writing of all daily states and fluxes, and says so.
"""

from __future__ import annotations

import argparse
import json
import os
import tracemalloc
from collections.abc import Callable
from time import perf_counter

import numpy as np

from crossfall.formulas.layer import Layer, make_layer
from crossfall.formulas.moisture import Weather, run_in_chunks, run_layer
from crossfall.formulas.moisture_class import MoistureClass, classify_moisture, workable_bands

N_SEGMENTS = 2000
N_STATIONS = 8
TARGETS = {
    "numpy_segment_days_per_s": 1.2e6,
    "numba_segment_days_per_s": 15e6,
    "ensemble_s": 1.0,
}
COUNTRY_TARGETS = {"country_extra_mb": 1000.0}
"""With ``--country``: memory beyond the figures that go in, for 2.3 million segments × 365 days."""
_AT_MOST = {"ensemble_s", "country_extra_mb"}


def invented_layer(n: int, rng: np.random.Generator) -> Layer:
    """Segments that all differ, so that no grouping helps."""
    one = np.ones(n)
    return make_layer(
        thickness_m=rng.uniform(0.10, 0.15, n),
        dry_density_kg_m3=2100 * one,
        specific_gravity=2.68 * one,
        optimum_pct=7 * one,
        field_capacity_pct=8 * one,
        air_dry_pct=1.5 * one,
        rew_mm=rng.uniform(5, 9, n),
        drain_per_day=rng.choice([0.6, 0.35, 0.2], n),
        curve_number=91 * one,
        et_factor=1.15 * rng.choice([1.0, 0.8, 0.6], n),
        conductivity_w_m_k=2.0,
    )


def invented_weather(n_members: int, n_days: int, rng: np.random.Generator) -> Weather:
    """Rain on a third of the days, a warm and a frosty season."""
    shape = (n_members, N_STATIONS, n_days)
    season = np.cos(2 * np.pi * np.arange(n_days) / 365)
    rain = np.where(rng.uniform(size=shape) < 0.33, rng.gamma(0.8, 8, shape), 0.0)
    et0 = np.clip(3 - 2.5 * season + rng.normal(0, 0.7, shape), 0.1, None)
    frost = np.clip(4 * season + rng.normal(0, 2, shape), 0, None)
    return Weather(rain, et0, frost, np.zeros(shape, dtype=bool))


def best_of(n: int, work: Callable[[], object]) -> float:
    """Shortest of ``n`` runs [s]."""
    times = []
    for _ in range(n):
        start = perf_counter()
        work()
        times.append(perf_counter() - start)
    return min(times)


def measure() -> dict[str, float]:
    """The figures of the two forms and of a week of members."""
    rng = np.random.default_rng(1)
    n_days = 1460
    layer, sky = invented_layer(N_SEGMENTS, rng), invented_weather(1, n_days, rng)
    station = rng.integers(0, N_STATIONS, N_SEGMENTS)
    start = layer.field_capacity_mm[None].copy()
    n_cells = N_SEGMENTS * n_days

    begun = perf_counter()
    compiled = run_layer(layer, sky, station, start, engine="numba")
    compile_s = perf_counter() - begun
    plain = run_layer(layer, sky, station, start, engine="numpy")
    plain_s = best_of(3, lambda: run_layer(layer, sky, station, start, engine="numpy"))
    compiled_s = best_of(3, lambda: run_layer(layer, sky, station, start, engine="numba"))
    return {
        "numpy_segment_days_per_s": n_cells / plain_s,
        "numba_segment_days_per_s": n_cells / compiled_s,
        "ensemble_s": _ensemble(rng),
        "compile_and_first_run_s": compile_s,
        "largest_difference_mm": float(np.abs(plain.water_mm - compiled.water_mm).max()),
        "imbalance_mm": compiled.imbalance_mm(sky, station),
        "n_cores": float(os.cpu_count() or 1),
    }


def _ensemble(rng: np.random.Generator) -> float:
    """2,000 segments, 51 members, 10 days: balance, classes, chance of workable [s]."""
    n_members, n_days = 51, 10
    layer, sky = invented_layer(N_SEGMENTS, rng), invented_weather(n_members, n_days, rng)
    station = rng.integers(0, N_STATIONS, N_SEGMENTS)
    start = np.repeat(layer.field_capacity_mm[None], n_members, axis=0)
    optimum = np.full(N_SEGMENTS, 7.0)
    bands = workable_bands(
        optimum,
        np.full(N_SEGMENTS, 10.3),
        below_pct=2.0,
        above_pct=1.5,
        saturation_share=0.9,
        dry_share=0.5,
    )

    def week() -> object:
        run = run_layer(layer, sky, station, start)
        classes = classify_moisture(
            layer.percent(run.start_mm),
            sky.liquid_mm[:, station],
            sky.frost_index[:, station] >= layer.freeze_through_c_day[:, None],
            sky.is_weak[:, station],
            bands,
            rain_limit_mm=3.0,
        )
        return (classes == MoistureClass.WORKABLE).mean(axis=0)

    return best_of(3, week)


def country() -> dict[str, float]:
    """2.3 million segments over a year, a chunk at a time: states made, kept as a count."""
    rng = np.random.default_rng(2)
    n = 2_300_000
    layer, sky = invented_layer(n, rng), invented_weather(1, 365, rng)
    station = rng.integers(0, N_STATIONS, n)
    start = layer.field_capacity_mm[None].copy()
    given_mb = sum(each.nbytes for each in (*vars(layer).values(), station, start)) / 2**20
    tracemalloc.start()
    begun = perf_counter()
    n_wet = 0
    for _, run in run_in_chunks(layer, sky, station, start, engine="numba"):
        n_wet += int((run.start_mm > 25.0).sum())
    seconds = perf_counter() - begun
    extra_mb = tracemalloc.get_traced_memory()[1] / 2**20
    tracemalloc.stop()
    return {
        "country_s": seconds,
        "country_segment_days_per_s": n * 365 / seconds,
        "country_given_mb": given_mb,
        "country_extra_mb": extra_mb,
        "country_wet_days": float(n_wet),
    }


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--json", action="store_true", help="one JSON object on the last line")
    parser.add_argument("--country", action="store_true", help="add 2.3 million segments × a year")
    asked = parser.parse_args()
    figures = measure() | (country() if asked.country else {})
    targets = TARGETS | (COUNTRY_TARGETS if asked.country else {})
    met = all(
        figures[name] <= target if name in _AT_MOST else figures[name] >= target
        for name, target in targets.items()
    )
    for name, value in figures.items():
        target = f"  target {targets[name]:g}" if name in targets else ""
        print(f"{name:28} {value:16.6g}{target}")
    if asked.json:
        print(json.dumps({"name": "moisture", "figures": figures, "targets": targets, "met": met}))


if __name__ == "__main__":
    main()
