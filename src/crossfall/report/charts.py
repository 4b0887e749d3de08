"""Charts as Vega-Lite specifications: plain dictionaries, drawn alike on a page and on paper.

A chart is made from a result and says nothing that is not in it. Pages hand the dictionary to the
browser's runtime, which interprets its expressions and builds no code; documents have it drawn to
SVG here. Colours are told apart by lightness as well as hue, lines by their dash, and every chart
has a table behind it.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any

import vl_convert

from crossfall.model import YearsStudy
from crossfall.report.colours import INK
from crossfall.report.figures import System

Spec = dict[str, Any]

SCHEMA = "https://vega.github.io/schema/vega-lite/v6.json"
_VL_VERSION = "v6_4"
BLUE, SAND, RUST, WINE, GREEN = "#1f5f99", "#e3b43c", "#c2540a", "#7a0f3c", "#0f7a5a"
_PITS = (BLUE, SAND, GREEN, WINE, "#7fb8d8", "#8a6d1f", RUST, "#5b5b66")
_SOFT = "#5a6664"
_CONFIG: Spec = {
    "background": None,
    "font": "Atkinson Hyperlegible Next, DejaVu Sans, Verdana, sans-serif",
    "view": {"stroke": None},
    "axis": {
        "labelFontSize": 12,
        "titleFontSize": 12,
        "titleFontWeight": "normal",
        "titleColor": _SOFT,
        "labelColor": INK,
        "gridColor": "#d8ddd9",
        "domainColor": _SOFT,
        "tickColor": _SOFT,
    },
    "legend": {"labelFontSize": 12, "titleFontSize": 12, "orient": "top", "titleColor": _SOFT},
    "text": {"fontSize": 12, "color": INK},
}


def chart_names() -> tuple[str, ...]:
    """The charts of a study, in the order a reader meets them."""
    return tuple(_CHARTS)


def years_chart(
    study: YearsStudy,
    name: str,
    *,
    share: float = 1.0,
    units: System = "metric",
    width: int | str = "container",
    height: int = 220,
) -> Spec:
    """One chart of a study as a Vega-Lite specification.

    Charts that follow one level of money carry all levels and a parameter ``share`` that a page
    may set; paper shows the one it was made with.

    Raises
    ------
    KeyError
        If there is no chart of this name; see :func:`chart_names`.
    """
    spec = _CHARTS[name](study, units)
    return {
        "$schema": SCHEMA,
        "config": _CONFIG,
        "width": width,
        "height": height,
        "autosize": {"type": "fit", "contains": "padding"},
        "params": [{"name": "share", "value": study.level(share).share}],
        **spec,
    }


def to_svg(spec: Spec) -> str:
    """Draw a specification for print. Nothing is fetched: data stand in the specification."""
    return str(vl_convert.vegalite_to_svg(json.dumps(spec), vl_version=_VL_VERSION))


def measure(quantity: str, system: System) -> tuple[float, str]:
    """Factor and sign in which a quantity of a study is charted.

    Examples
    --------
    >>> measure("thickness", "us")[1], measure("roughness", "metric")
    ('in', (1.0, 'm/km'))
    """
    us = {
        "thickness": (1 / 25.4, "in"),
        "length": (1 / 1.609344, "mi"),
        "volume": (1.307950619314392, "yd³"),
        "roughness": (63.36, "in/mi"),
    }
    metric = {
        "thickness": (1.0, "mm"),
        "length": (1.0, "km"),
        "volume": (1.0, "m³"),
        "roughness": (1.0, "m/km"),
    }
    return (us if system == "us" else metric)[quantity]


def _curve(study: YearsStudy, _: System) -> Spec:
    """What each level of money costs more in the end, as a band of what is proven."""
    feasible = [each for each in study.levels if each.is_feasible]
    best_upper = min(each.upper for each in feasible)
    best_lower = min(each.lower for each in feasible)
    scale = 100 * _thousands(study)[0]
    rows = [
        {
            "share": each.share,
            "money": each.budget_minor / scale,
            "low": max(0.0, each.lower - best_upper) / scale,
            "high": (each.upper - best_lower) / scale,
        }
        for each in feasible
    ]
    sign = _thousands(study)[1]
    x = {
        "field": "money",
        "type": "quantitative",
        "title": f"Money a year, {sign}",
        "scale": {"zero": False, "nice": False, "padding": 12},
        "axis": {"format": ",.0f", "tickCount": 6},
    }
    y = ["Costs more than the best", f"level in the end, {sign}"]
    return {
        "description": "What less money costs roads and drivers over all years together",
        "data": {"values": rows},
        "layer": [
            {
                "mark": {"type": "area", "color": RUST, "opacity": 0.35},
                "encoding": {
                    "x": x,
                    "y": {"field": "low", "type": "quantitative", "title": y},
                    "y2": {"field": "high"},
                },
            },
            {
                "mark": {
                    "type": "line",
                    "color": RUST,
                    "strokeWidth": 2,
                    "point": {"size": 45, "color": RUST},
                },
                "encoding": {"x": x, "y": {"field": "high", "type": "quantitative", "title": y}},
            },
            {
                "transform": [{"filter": "datum.share == share"}],
                "mark": {"type": "rule", "color": INK, "strokeWidth": 3},
                "encoding": {"x": x},
            },
            {
                "transform": [{"filter": "datum.share == share"}],
                "mark": {"type": "point", "filled": True, "color": INK, "size": 120},
                "encoding": {"x": x, "y": {"field": "high", "type": "quantitative", "title": y}},
            },
        ],
    }


def _money(study: YearsStudy, _: System) -> Spec:
    factor, sign = _thousands(study)
    rows = _by_year(
        study,
        {
            "middle": "agency_minor",
            "low": "agency_low_minor",
            "high": "agency_high_minor",
        },
        1 / (100 * factor),
    )
    for row in rows:
        budget = study.budgets_minor[row["year"] - study.question.first_year]
        row["budget"] = row["share"] * budget / (100 * factor)
    budget = {
        "mark": {"type": "line", "color": INK, "strokeDash": [6, 4], "interpolate": "step"},
        "encoding": {"x": _YEAR, "y": {"field": "budget", "type": "quantitative"}},
    }
    return {
        "description": "What the agency spends in each year, with the budget dashed",
        "data": {"values": rows},
        "layer": [*_band(f"Spent, {sign}", BLUE, is_stepped=True), budget],
        "transform": [{"filter": "datum.share == share"}],
    }


def _gravel(study: YearsStudy, system: System) -> Spec:
    factor, sign = measure("thickness", system)
    fields = {"middle": "gravel_mm", "low": "gravel_low_mm", "high": "gravel_high_mm"}
    thin = {
        "mark": {"type": "rule", "color": WINE, "strokeDash": [2, 3]},
        "data": {"values": [{"thin": study.thin_mm * factor}]},
        "encoding": {"y": {"field": "thin", "type": "quantitative"}},
    }
    return {
        "description": "Mean thickness of gravel at the end of each year",
        "data": {"values": _by_year(study, fields, factor)},
        "layer": [
            *(_filtered(each) for each in _band(f"Mean gravel, {sign}", GREEN)),
            thin,
        ],
    }


def _roughness(study: YearsStudy, system: System) -> Spec:
    factor, sign = measure("roughness", system)
    fields = {"middle": "iri", "low": "iri_low", "high": "iri_high"}
    return {
        "description": "Mean roughness of each year",
        "data": {"values": _by_year(study, fields, factor)},
        "layer": _band(f"Mean roughness, {sign}", WINE),
        "transform": [{"filter": "datum.share == share"}],
    }


def _thin(study: YearsStudy, system: System) -> Spec:
    factor, sign = measure("length", system)
    return {
        "description": "Length of road with less gravel than it should have, year by year",
        "data": {"values": _by_year(study, {"middle": "thin_km"}, factor)},
        "transform": [{"filter": "datum.share == share"}],
        "mark": {"type": "bar", "color": RUST},
        "encoding": {
            "x": _YEAR,
            "y": {"field": "middle", "type": "quantitative", "title": f"Thin roads, {sign}"},
        },
    }


def _pits(study: YearsStudy, system: System) -> Spec:
    factor, sign = measure("volume", system)
    first = study.question.first_year
    rows = [
        {"share": level.share, "year": first + index, "pit": pit, "gravel": volume * factor}
        for level in study.levels
        if level.is_feasible
        for pit, volumes in zip(study.pit_names, level.gravel_m3, strict=True)
        for index, volume in enumerate(volumes)
    ]
    return {
        "description": "Compacted gravel placed in each year, by pit",
        "data": {"values": rows},
        "transform": [{"filter": "datum.share == share"}],
        "mark": {"type": "bar"},
        "encoding": {
            "x": _YEAR,
            "y": {
                "field": "gravel",
                "type": "quantitative",
                "aggregate": "sum",
                "title": f"Gravel, compacted {sign}",
                "axis": {"format": ",.0f"},
            },
            "color": {
                "field": "pit",
                "type": "nominal",
                "title": None,
                "scale": {"domain": list(study.pit_names), "range": list(_range(study))},
            },
        },
    }


def _worth(study: YearsStudy, _: System) -> Spec:
    return {
        "description": "What one more of the year's money would save over all years",
        "data": {"values": _by_year(study, {"middle": "money_worth"}, 1.0)},
        "transform": [{"filter": "datum.share == share"}],
        "mark": {"type": "bar", "color": SAND, "stroke": INK, "strokeWidth": 0.5},
        "encoding": {
            "x": _YEAR,
            "y": {
                "field": "middle",
                "type": "quantitative",
                "title": f"One more {study.currency} saves",
                "axis": {"format": ".2f"},
            },
        },
    }


_CHARTS = {
    "curve": _curve,
    "money": _money,
    "gravel": _gravel,
    "roughness": _roughness,
    "thin": _thin,
    "pits": _pits,
    "worth": _worth,
}
_YEAR: Spec = {
    "field": "year",
    "type": "ordinal",
    "title": None,
    "axis": {"labelAngle": 0, "labelOverlap": "greedy", "labelSeparation": 4},
}


def _band(title: str, colour: str, *, is_stepped: bool = False) -> list[Spec]:
    shape = {"interpolate": "monotone"} if not is_stepped else {}
    value = {"type": "quantitative", "title": title, "axis": {"format": ",~r"}}
    return [
        {
            "mark": {"type": "area", "color": colour, "opacity": 0.25, **shape},
            "encoding": {"x": _YEAR, "y": {"field": "low", **value}, "y2": {"field": "high"}},
        },
        {
            "mark": {"type": "line", "color": colour, "strokeWidth": 2.5, **_dots(colour), **shape},
            "encoding": {"x": _YEAR, "y": {"field": "middle", **value}},
        },
    ]


def _dots(colour: str) -> Spec:
    return {"point": {"color": colour, "size": 30}}


def _filtered(layer: Spec) -> Spec:
    return {"transform": [{"filter": "datum.share == share"}], **layer}


def _by_year(study: YearsStudy, fields: dict[str, str], factor: float) -> list[dict[str, Any]]:
    """A row for each level and year."""
    first = study.question.first_year
    return [
        {
            "share": level.share,
            "year": first + index,
            **{name: getattr(level, field)[index] * factor for name, field in fields.items()},
        }
        for level in study.levels
        if level.is_feasible
        for index in range(study.question.n_years)
    ]


def _thousands(study: YearsStudy) -> tuple[float, str]:
    """Money is charted in thousands or millions, so that ticks stay short."""
    if study.budget_minor > 1e9:
        return 1e6, f"million {study.currency}"
    if study.budget_minor > 1e6:
        return 1e3, f"thousand {study.currency}"
    return 1.0, study.currency


def _range(study: YearsStudy) -> Sequence[str]:
    return [_PITS[index % len(_PITS)] for index in range(len(study.pit_names))]
