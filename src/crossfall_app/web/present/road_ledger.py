"""What a road has been through: looks with their photos, work, and its rating over time."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Any

from crossfall.judgement.rating import RATING_NAMES
from crossfall.model import Condition, District, Segment, WorkRecord
from crossfall_app.web.present.inspect import CHOICES, FIGURES, FLAGS, SCORE_WORDS, typed_unit
from crossfall_app.web.present.measures import Measures, hours, money
from crossfall_app.web.present.themes import rating_of

_WIDTH, _HEIGHT, _LEFT, _RIGHT, _TOP, _BOTTOM = 640.0, 190.0, 70.0, 14.0, 12.0, 34.0
_MOST_LOOKS = 24
_MOST_WORKS = 60
_MARK = 4.0


@dataclass(frozen=True, slots=True)
class _Scale:
    """Where a day and a rating lie on the drawing."""

    first: date
    last: date

    def x(self, day: date) -> float:
        span = max((self.last - self.first).days, 1)
        share = (day - self.first).days / span
        return round(_LEFT + share * (_WIDTH - _LEFT - _RIGHT), 1)

    @staticmethod
    def y(rating: float) -> float:
        low, high = min(RATING_NAMES), max(RATING_NAMES)
        share = (rating - low) / (high - low)
        return round(_HEIGHT - _BOTTOM - share * (_HEIGHT - _TOP - _BOTTOM), 1)


def road_ledger(
    segment: Segment, district: District, today: date, measures: Measures
) -> dict[str, Any]:
    """Looks and work of one segment, newest first, and the drawing of its ratings."""
    superseded = {each.supersedes for each in district.records if each.supersedes}
    looks = sorted(
        (each for each in district.conditions if each.segment_id == segment.id),
        key=lambda each: each.observed_on,
    )
    works = sorted(
        (
            each
            for each in district.records
            if each.segment_id == segment.id and each.id not in superseded
        ),
        key=lambda each: (each.done_on, each.id),
    )
    return {
        "id": segment.id,
        "looks": [_look(each, measures) for each in reversed(looks[-_MOST_LOOKS:])],
        "works": [_work(each, measures) for each in reversed(works[-_MOST_WORKS:])],
        "n_more": max(len(looks) - _MOST_LOOKS, 0) + max(len(works) - _MOST_WORKS, 0),
        "chart": _chart(looks, works, today),
    }


def _look(look: Condition, measures: Measures) -> dict[str, Any]:
    rating = rating_of(look)
    figures = [
        f"{label.lower()} {_figure(value, unit, measures)}"
        for name, label, unit, _ in FIGURES
        if (value := getattr(look, name)) is not None
    ]
    seen = [label.lower() for name, label in FLAGS if getattr(look, name)]
    for name, label, options in CHOICES:
        value = getattr(look, name)
        if value is not None:
            seen.append(f"{label.lower()} {dict(options)[value]}")
    return {
        "day": _day(look.observed_on),
        "iso": look.observed_on.isoformat(),
        "rating": f"{rating} {RATING_NAMES[rating]}",
        "method": look.method,
        "observer": look.observer,
        "where": _where(look, measures),
        "scores": ", ".join(
            f"{label.lower()} {getattr(look, name):g}" for name, (label, _) in SCORE_WORDS.items()
        ),
        "figures": "; ".join(figures),
        "seen": "; ".join(seen),
        "note": look.note,
        "photos": [
            {"name": name, "alt": f"Photo {n} of {len(look.photos)}, {_day(look.observed_on)}"}
            for n, name in enumerate(look.photos, start=1)
        ],
    }


def _where(look: Condition, measures: Measures) -> str:
    if look.from_m is None and look.to_m is None and look.side == "both":
        return ""
    words = []
    if look.from_m is not None or look.to_m is not None:
        end = "the end" if look.to_m is None else measures.show(look.to_m, "m")
        words.append(f"{measures.show(look.from_m or 0.0, 'm')} to {end}")
    if look.side != "both":
        words.append(f"{look.side} side")
    return ", ".join(words)


def _work(record: WorkRecord, measures: Measures) -> dict[str, Any]:
    told = []
    if record.n_passes:
        told.append(f"{record.n_passes} passes")
    if record.hours:
        told.append(hours(record.hours))
    if record.loose_gravel_m3:
        told.append(f"{measures.show(record.loose_gravel_m3, 'm3')} of loose gravel")
    if record.windrow_side:
        told.append(f"windrow left on the {record.windrow_side}")
    if not record.is_finished:
        told.append("not finished")
    return {
        "day": _day(record.done_on),
        "what": record.treatment.label,
        "details": ", ".join(told),
        "by": record.by,
        "cost": money(record.cost) if record.cost is not None else "",
        "agreement": record.agreement_id or "",
        "note": record.note,
    }


def _chart(looks: list[Condition], works: list[WorkRecord], today: date) -> dict[str, Any] | None:
    """Ratings as dots joined by a line, work as marks along the foot; None without two dots."""
    if len({look.observed_on for look in looks}) < 2:
        return None
    days = [look.observed_on for look in looks]
    scale = _Scale(days[0], max(days[-1], today))
    dots = [
        {
            "x": scale.x(look.observed_on),
            "y": scale.y(rating_of(look)),
            "is_measured": look.method == "measured",
        }
        for look in looks
    ]
    foot = _HEIGHT - _BOTTOM
    shown = [work for work in works if scale.first <= work.done_on <= scale.last]
    return {
        "width": _WIDTH,
        "height": _HEIGHT,
        "left": _LEFT,
        "right": _WIDTH - _RIGHT,
        "rules": [
            {"y": scale.y(value), "label": f"{value} {name}"}
            for value, name in sorted(RATING_NAMES.items())
        ],
        "dots": dots,
        "way": " ".join(f"{dot['x']},{dot['y']}" for dot in dots),
        "works": [{"x": round(scale.x(work.done_on) - _MARK / 2, 1)} for work in shown],
        "work_y": foot + 4,
        "ends": [
            {"x": scale.x(scale.first), "label": f"{scale.first:%b %Y}", "anchor": "start"},
            {"x": scale.x(scale.last), "label": f"{scale.last:%b %Y}", "anchor": "end"},
        ],
        "label_y": _HEIGHT - 6,
        "says": f"Rating at {len(looks)} looks from {_day(days[0])} to {_day(days[-1])},"
        f" and {len(shown)} times work",
    }


def _figure(value: float, unit: str, measures: Measures) -> str:
    if unit == "m/km":
        return f"{value:g} {unit}"
    if unit in ("%", "1/km"):
        shown = measures.words(f"{value:g} %") if unit == "%" else f"{value:g} {unit}"
        return shown if typed_unit(unit, measures) == unit else f"{value:g} a km"
    return measures.show(value, unit)


def _day(day: date) -> str:
    return f"{day.day} {day:%b %Y}"
