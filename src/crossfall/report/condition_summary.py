"""The condition of all roads on a few pages: map, distribution, the worst, and how it is known.

For a board that has to see what it owns. Every share is of road length, and beside every figure
stands how much of it was measured, judged by eye, or assumed because nobody has looked.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime
from typing import Any

import numpy as np

from crossfall.errors import InputError
from crossfall.judgement.rating import RATING_NAMES, SCORES, overall_rating
from crossfall.model import Condition, District, Need, Segment
from crossfall.report.condition_map import RATING_COLOUR, condition_map, rating_key
from crossfall.report.figures import System, check_system, figure, reword
from crossfall.report.typesetting import paper_name, typeset

_MOST_WORST = 16
_POOR = 2
_CLASSES = ("arterial", "collector", "local", "minimum")
_HOW = (
    ("measured", "measured"),
    ("computed", "computed from measurements"),
    ("estimated", "judged by eye"),
    ("default", "assumed: nobody has looked"),
)
_SCORE_WORDS = {
    "crown": "crown",
    "drainage": "drainage",
    "gravel": "gravel",
    "deformation": "washboard, potholes, ruts",
    "defects": "dust, loose stone",
}


def condition_summary_pdf(
    district: District,
    conditions: Sequence[Condition],
    needs: Sequence[Need],
    *,
    today: date,
    made_at: datetime,
    paper: str = "a4",
    units: str = "metric",
) -> bytes:
    """Typeset the summary.

    Parameters
    ----------
    district : District
    conditions : sequence of Condition
        What each maintained segment is believed to be like on ``today``.
    needs : sequence of Need
        For the cause and treatment beside the worst roads.
    today : date
    made_at : datetime
        Stamped on the paper, and the only clock it knows.
    paper : {'a4', 'letter'}
    units : {'metric', 'us'}

    Returns
    -------
    bytes
        One PDF.

    Raises
    ------
    InputError
        If no maintained road has a condition, or ``paper`` or ``units`` is unknown.
    """
    name = paper_name(paper)
    book = condition_summary_data(district, conditions, needs, today=today, units=units)
    book |= {"paper": name, "made": f"{made_at:%Y-%m-%d %H:%M}"}
    return typeset("condition_summary.typ", book, made_at=made_at)


def condition_summary_data(
    district: District,
    conditions: Sequence[Condition],
    needs: Sequence[Need],
    *,
    today: date,
    units: str = "metric",
) -> dict[str, Any]:
    """Everything on the paper in the words and figures it is shown in.

    Raises
    ------
    InputError
        If no maintained road has a condition, or ``units`` is unknown.
    """
    system = check_system(units)
    known = {each.id: each for each in district.network.maintained}
    looks = [look for look in conditions if look.segment_id in known]
    if not looks:
        raise InputError("no maintained road has a condition; bring the roads in first")
    segments = [known[look.segment_id] for look in looks]
    scores = np.array([[getattr(look, name) for look in looks] for name in SCORES], dtype=float)
    rating = overall_rating(scores)
    km = np.array([segment.length_m for segment in segments]) / 1000
    assumed = frozenset(look.segment_id for look in looks if look.method == "default")
    by_id = {look.segment_id: int(value) for look, value in zip(looks, rating, strict=True)}
    road = _road_words(system)
    return {
        "name": district.name,
        "day": f"{today:%A} {today.day} {today:%B} {today.year}",
        "invented": district.is_invented,
        "figures": _figures(rating, km, road),
        "ratings": _ratings(rating, km, road),
        "how": _how_known(looks, km, road),
        "classes": _by_class(segments, rating, km, road),
        "class_head": [f"{value} {RATING_NAMES[value]}" for value in sorted(RATING_NAMES)[::-1]],
        "worst": _worst(looks, segments, rating, scores, needs, system),
        "n_worst_left": max(int((rating <= _POOR).sum()) - _MOST_WORST, 0),
        "map": condition_map(district.network, by_id, assumed=assumed, units=system),
        "map_alt": "Map of the roads, coloured by condition",
        "key": rating_key(list(by_id.values()), has_assumed=bool(assumed)),
        "policy": district.policy.version,
    }


_Road = Any


def _road_words(system: System) -> _Road:
    def words(length_km: float) -> str:
        value, sign = figure(float(length_km), "km", system)
        return f"{value} {sign}"

    return words


def _share(part: float, whole: float) -> str:
    """Whole percent, never 0 or 100 when it is only near."""
    if part <= 0:
        return "0 %"
    share = round(100 * part / whole)
    if share == 0:
        return "<1 %"
    return ">99 %" if share == 100 and part < whole * (1 - 1e-9) else f"{share} %"


def _figures(rating: Any, km: Any, road: _Road) -> list[dict[str, str]]:
    total = float(km.sum())
    good, poor = float(km[rating >= 4].sum()), float(km[rating <= _POOR].sum())
    mean = float((rating * km).sum() / total)
    return [
        {"label": "Roads in our care", "value": road(total), "note": f"{len(km)} stretches"},
        {"label": "Mean rating", "value": f"{mean:.1f}", "note": "by length, of 5"},
        {"label": "Good or excellent", "value": _share(good, total), "note": road(good)},
        {"label": "Poor or failed", "value": _share(poor, total), "note": road(poor)},
    ]


def _ratings(rating: Any, km: Any, road: _Road) -> list[dict[str, Any]]:
    total = float(km.sum())
    rows = []
    for value in sorted(RATING_NAMES, reverse=True):
        part = float(km[rating == value].sum())
        rows.append(
            {
                "label": f"{value} {RATING_NAMES[value]}",
                "colour": RATING_COLOUR[value],
                "percent": round(100 * part / total, 3),
                "share": _share(part, total),
                "km": road(part),
                "n": int((rating == value).sum()),
            }
        )
    return rows


def _how_known(looks: Sequence[Condition], km: Any, road: _Road) -> list[dict[str, Any]]:
    total = float(km.sum())
    rows = []
    for method, label in _HOW:
        part = float(sum(k for look, k in zip(looks, km, strict=True) if look.method == method))
        if part > 0:
            rows.append(
                {
                    "method": method,
                    "label": label,
                    "percent": round(100 * part / total, 3),
                    "share": _share(part, total),
                    "km": road(part),
                }
            )
    return rows


def _by_class(
    segments: Sequence[Segment], rating: Any, km: Any, road: _Road
) -> list[dict[str, Any]]:
    classes = np.array([segment.road_class for segment in segments])
    rows = []
    for name in _CLASSES:
        mine = classes == name
        if not mine.any():
            continue
        total = float(km[mine].sum())
        rows.append(
            {
                "name": name,
                "km": road(total),
                "mean": f"{float((rating * km)[mine].sum() / total):.1f}",
                "cells": [
                    _share(float(km[mine & (rating == value)].sum()), total)
                    for value in sorted(RATING_NAMES, reverse=True)
                ],
            }
        )
    return rows


def _worst(
    looks: Sequence[Condition],
    segments: Sequence[Segment],
    rating: Any,
    scores: Any,
    needs: Sequence[Need],
    system: System,
) -> list[dict[str, str]]:
    need_of = {need.segment_id: need for need in needs}
    mean = scores.mean(axis=0)
    adt = np.array([segment.adt for segment in segments])
    # Worst first; of equally bad ones those that more people drive
    order = np.lexsort((-adt, mean, rating))[:_MOST_WORST]
    how = {method: label.partition(":")[0] for method, label in _HOW}
    rows = []
    for row in order.tolist():
        segment, look, need = segments[row], looks[row], need_of.get(looks[row].segment_id)
        length, sign = figure(segment.length_m / 1000, "km", system)
        lowest = SCORES[int(scores[:, row].argmin())]
        cause = reword(need.cause, system) if need is not None else ""
        rows.append(
            {
                "road": segment.route,
                "segment": segment.id,
                "length": f"{length} {sign}",
                "rating": f"{int(rating[row])}",
                "colour": RATING_COLOUR[int(rating[row])],
                "lowest": f"{_SCORE_WORDS[lowest]} {scores[:, row].min():.1f}",
                "need": need.treatment.label if need is not None else "nothing due",
                "cause": cause,
                "how": how[look.method],
            }
        )
    return rows
