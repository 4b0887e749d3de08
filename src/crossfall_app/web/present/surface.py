"""One road's surface: today and why, its days, the chart and the figures behind it, and water."""

from __future__ import annotations

import math
from typing import Any

from django.utils.safestring import mark_safe

from crossfall.judgement import MoistureClass, RoadDays, WateringVerdict
from crossfall.judgement.road_days import FAN, DayAhead
from crossfall.model import Segment
from crossfall.report import moisture_chart
from crossfall.workflow import RoadSurface
from crossfall_app.web.present.measures import (
    Measures,
    day_name,
    hours,
    money,
    money_range,
    percent,
    short_day,
)
from crossfall_app.web.present.plan import where_on
from crossfall_app.web.present.words import (
    DRAINAGE_LABEL,
    PART_LABEL,
    SURFACE,
    SURFACE_LABEL,
    WATER_LABEL,
)

_WIDE = {"width": 880.0, "height": 360.0, "n_past": 30}
_NARROW = {"width": 360.0, "height": 290.0, "n_past": 14}
"""Two drawings of one chart, so that its words can be read on a phone; the page shows one."""
_SHOWN_PARTS = 3
"""Days whose parts are shown; beyond them a forecast says nothing of hours."""
_P10, _P50, _P90 = (FAN.index(each) for each in (0.1, 0.5, 0.9))


def surface_page(segment: Segment, surface: RoadSurface, measures: Measures) -> dict[str, Any]:
    """Everything one road's moisture page shows."""
    days = surface.days
    today = days.today
    return {
        "id": segment.id,
        "route": segment.route,
        "where": where_on(segment, measures),
        "kind": ", ".join(
            (
                segment.material,
                DRAINAGE_LABEL[segment.drainage].lower(),
                f"{segment.shade} to the sun" if segment.shade == "open" else segment.shade,
            )
        ),
        "today": {**_named(today), "why": measures.words(today.reason)},
        "summary": measures.words(days.summary()),
        "station": days.station,
        "parts": _parts(days),
        "ahead": [_ahead(each, days, measures) for each in days.ahead],
        "past": [
            {
                "day": day_name(each.day),
                "moisture": _pct(each.moisture_pct),
                "rain": measures.show(each.rain_mm, "mm"),
            }
            for each in reversed(days.past[-int(_WIDE["n_past"]) :])
        ],
        "charts": _charts(days, measures),
        "band": f"{days.lower_pct:.1f} and {days.upper_pct:.1f} %",
        "optimum": f"{days.optimum_pct:g} %",
        "water": _water(surface.water, measures),
        "no_water": surface.no_water,
    }


def surface_csv(days: RoadDays) -> tuple[list[str], list[list[Any]]]:
    """Heads and rows of the chart: recorded days, then the fan; figures in mm and per cent."""
    names = [f"{round(100 * share)}" for share in FAN]
    heads = ["day", "is_recorded", "moisture_pct", "rain_mm"]
    heads += [f"moisture_p{name}_pct" for name in names]
    heads += [f"rain_p{name}_mm" for name in names]
    heads += [f"p_{key}" for key in SURFACE]
    blank = [""] * (len(heads) - 4)
    rows: list[list[Any]] = [
        [each.day.isoformat(), 1, _cell(each.moisture_pct), _cell(each.rain_mm), *blank]
        for each in days.past
    ]
    rows += [
        [
            each.day.isoformat(), 0, "", "",
            *(_cell(value) for value in (*each.moisture_pct, *each.rain_mm, *each.p_by_class)),
        ]
        for each in days.ahead
    ]  # fmt: skip
    return heads, rows


def _class(likely: MoistureClass) -> dict[str, str]:
    key = SURFACE[likely]
    return {"colour": key, "label": SURFACE_LABEL[key]}


def _named(day: DayAhead) -> dict[str, str]:
    """The class of a day, where one is likely enough to be named."""
    if day.is_unsure:
        return {"colour": SURFACE[MoistureClass.UNKNOWN], "label": "Not sure"}
    return _class(day.likely)


def _parts(days: RoadDays) -> list[dict[str, Any]]:
    return [
        {
            "name": PART_LABEL[name],
            "days": [
                {**_class(part.likely), "workable": percent(part.p_workable)}
                for each in days.ahead[:_SHOWN_PARTS]
                for part in each.parts
                if part.name == name
            ],
        }
        for name in PART_LABEL
    ]


def _ahead(each: DayAhead, days: RoadDays, measures: Measures) -> dict[str, Any]:
    low, middle, high = (each.moisture_pct[at] for at in (_P10, _P50, _P90))
    is_known = math.isfinite(middle)
    return {
        **_named(each),
        "day": short_day(each.day, days.today.day),
        "workable": percent(each.p_workable),
        "moisture": f"{middle:.1f} % ({low:.1f}–{high:.1f})" if is_known else _pct(middle),
        "rain": measures.show(each.rain_mm[_P50], "mm"),
        "rain_high": measures.show(each.rain_mm[_P90], "mm"),
        "why": measures.words(each.reason),
    }


def _charts(days: RoadDays, measures: Measures) -> list[dict[str, str]]:
    drawn = []
    for name, size in (("wide", _WIDE), ("narrow", _NARROW)):
        svg = moisture_chart(days, units=measures.system, **size)  # type: ignore[arg-type]
        # Drawn by our own room, which escapes every word
        drawn.append({"name": name, "svg": mark_safe(svg)})
    return drawn


def _water(water: WateringVerdict | None, measures: Measures) -> dict[str, Any] | None:
    if water is None:
        return None
    shown: dict[str, Any] = {
        "verdict": water.verdict,
        "label": WATER_LABEL[water.verdict],
        "reason": measures.words(water.reason),
    }
    if water.demand is None or water.cost is None:
        return shown
    shown["facts"] = [
        ("Water along the road", measures.along(water.demand.litres_per_km, "L")),
        ("Loads for this stretch", f"{water.n_loads}"),
        ("One load, there and back", f"{water.cycle_min:.0f} min"),
        ("Truck time", hours(water.truck_h)),
        ("Rain that would do the same", measures.show(water.demand.applied_mm, "mm")),
        ("Cost", f"{money(water.cost.likely)} ({money_range(water.cost)})"),
        ("Chance of a workable day without it", percent(water.p_workable_without)),
    ]
    return shown


def _pct(value: float) -> str:
    return f"{value:.1f} %" if math.isfinite(value) else "not known"


def _cell(value: float) -> str:
    return f"{value:.4g}" if math.isfinite(value) else ""
