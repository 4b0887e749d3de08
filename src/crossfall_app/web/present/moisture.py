"""The moisture page: zones and roads by day, and what was written of a look once it is in."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cached_property
from typing import Any

from django.utils.safestring import mark_safe

from crossfall.judgement import (
    LoadAdvisory,
    MoistureClass,
    MoistureState,
    SurfaceDifference,
    Zone,
    ZoneKind,
    told_reports,
)
from crossfall.model import District, LoadPosting, Segment
from crossfall_app.web.present.measures import Measures, day_name, moment, percent, short_day
from crossfall_app.web.present.morning import Layer, class_layers, rain_words
from crossfall_app.web.present.plan import where_on
from crossfall_app.web.present.words import (
    DRAINAGE_LABEL,
    FELT_LABEL,
    SURFACE,
    SURFACE_LABEL,
)

_MOST_CHANGES = 40
"""Rows of a list; the sentence above it counts them all."""
_MOST = 0.5
"""More than half of a zone's length is most of it."""


_RECT = '<rect class="c-{each.colour}" height="100" x="{each.y}" width="{each.height}"/>'


@dataclass(frozen=True)
class Cell:
    """One zone or road on one day: chances from wet to dry, and the chance of a workable day."""

    layers: tuple[Layer, ...]
    workable: str
    is_unsure: bool = False
    """No class is likely enough to be named; of a zone, on most of its length."""

    @cached_property
    def across(self) -> str:
        """The bar of a road's row: one part for each class, side by side, drawn once for many."""
        # Our own colour names and figures; a template takes four times as long for some thousands
        drawn: str = mark_safe("".join(_RECT.format(each=each) for each in self.layers))
        return drawn


@dataclass(frozen=True, slots=True)
class RoadRow:
    """One stretch of road through the days."""

    segment_id: str
    route: str
    where: str
    cells: tuple[Cell, ...]


@dataclass(frozen=True, slots=True)
class ZoneRow:
    """One zone through the days; ``roads`` is filled where it is open."""

    key: str
    label: str
    length: str
    n_roads: int
    cells: tuple[Cell, ...]
    roads: tuple[RoadRow, ...]
    is_open: bool


def zone_rows(
    found: Sequence[Zone],
    kind: ZoneKind,
    state: MoistureState,
    district: District,
    measures: Measures,
    *,
    opened: str | None,
    wanted: str,
) -> list[ZoneRow]:
    """Zones, with the roads of the one that is open, or the roads that fit ``wanted`` words."""
    words = wanted.lower().split()
    segments = district.network.segment_by_id
    cells = road_cells(state)
    rows = []
    for zone in found:
        is_open = bool(words) or zone.name == opened
        inside = [segments[each] for each in zone.segment_ids] if is_open else []
        fitting = [each for each in inside if _fits(each, words)]
        if words and not fitting:
            continue
        rows.append(
            ZoneRow(
                key=zone.name,
                label=zone_label(zone.name, kind),
                length=measures.road(zone.length_m),
                n_roads=len(zone.segment_ids),
                cells=tuple(
                    Cell(
                        class_layers(zone.class_share[:, n].tolist()),
                        percent(share),
                        bool(zone.unsure_share[n] > _MOST),
                    )
                    for n, share in enumerate(zone.workable_share.tolist())
                ),
                roads=tuple(
                    RoadRow(each.id, each.route, where_on(each, measures), cells[each.id])
                    for each in sorted(fitting, key=lambda each: (each.route, each.from_m))
                ),
                is_open=is_open,
            )
        )
    return rows


def zone_label(name: str, kind: ZoneKind) -> str:
    """A zone's name as people read it."""
    if kind == "drainage":
        return DRAINAGE_LABEL[name]
    return name or "No board district"


def road_cells(state: MoistureState) -> dict[str, tuple[Cell, ...]]:
    """The cells of every road; alike roads share theirs."""
    by_group: dict[int, tuple[Cell, ...]] = {}
    found = {}
    n_members = state.n_members
    for segment_id, group in zip(state.segment_ids, state.groups.of_segment.tolist(), strict=True):
        if group not in by_group:
            classes = state.group_classes[:, group]
            counts = [(classes == each).sum(axis=0).tolist() for each in MoistureClass]
            by_group[group] = tuple(
                Cell(
                    class_layers([row[day] / n_members for row in counts]),
                    percent(counts[MoistureClass.WORKABLE][day] / n_members),
                    max(row[day] for row in counts) / n_members < state.policy.sure_share,
                )
                for day in range(state.n_days)
            )
        found[segment_id] = by_group[group]
    return found


def day_heads(state: MoistureState) -> list[str]:
    """The names of the columns."""
    days = (state.first_day + timedelta(days=n) for n in range(state.n_days))
    return [short_day(day, state.first_day) for day in days]


def today_sentence(whole: Zone, measures: Measures) -> str:
    """What the surface is like, most of it first."""
    shares = sorted(
        zip(whole.class_share[:, 0].tolist(), SURFACE, strict=True), key=lambda each: -each[0]
    )
    parts = [f"{percent(share)} {SURFACE_LABEL[key].lower()}" for share, key in shares if share > 0]
    return f"Of {measures.road(whole.length_m)} today: {', '.join(parts)}."


def rain_row(whole: Zone, district: District, measures: Measures) -> dict[str, Any]:
    """Chance and height of rain over all roads, day by day."""
    limit_mm = district.policy.moisture.rain_limit_mm
    return {
        "rain": [
            {"chance": percent(chance), "high": rain_words(high, measures)}
            for chance, high in zip(
                whole.rain_chance.tolist(), whole.rain_high_mm.tolist(), strict=True
            )
        ],
        "wet_day": f"over {measures.show(limit_mm, 'mm')}",
    }


def change_rows(
    difference: SurfaceDifference, district: District, measures: Measures
) -> dict[str, Any]:
    """What a report changed: how far it reached, and every road whose class is another one."""
    segments = district.network.segment_by_id
    rows = [
        {
            "segment_id": each.segment_id,
            "route": segments[each.segment_id].route,
            "where": where_on(segments[each.segment_id], measures),
            **_before_after(each.was, each.now, each.p_workable_was, each.p_workable_now),
        }
        for each in difference.changes[:_MOST_CHANGES]
    ]
    return {
        "says": difference.summary(),
        "rows": rows,
        "n_more": len(difference.changes) - len(rows),
    }


def change_of_road(difference: SurfaceDifference, segment_id: str) -> dict[str, Any]:
    """The same for one road, changed or not."""
    each = difference.of(segment_id, difference.day)
    return {
        "says": difference.summary(),
        **_before_after(each.was, each.now, each.p_workable_was, each.p_workable_now),
    }


def report_rows(district: District, measures: Measures, today: date) -> list[dict[str, Any]]:
    """What was told within the days that count, the last first, with what stands and what not."""
    oldest = today - timedelta(days=district.policy.moisture.observation_days)
    told = [each for each in district.observations if oldest <= each.observed_on <= today]
    segments = district.network.segment_by_id
    rows = []
    for report in told_reports(told):
        first = report.first
        places = [
            segments[each.segment_id].route if each.segment_id in segments else "a place"
            for each in report.observations
        ]
        said = [FELT_LABEL[first.felt].lower()] if first.felt else []
        said += [measures.show(first.rain_mm, "mm")] if first.rain_mm is not None else []
        rows.append(
            {
                "key": report.key,
                "day": day_name(first.observed_on),
                "where": ", ".join(dict.fromkeys(places)),
                "said": ", ".join(said) or "taken back",
                "observer": first.observer,
                "note": first.note,
                "stands": report.is_standing and not report.is_withdrawal,
                "is_corrected": not report.is_standing,
                "corrects": report.corrects,
            }
        )
    return rows


def limit_rows(
    advisories: Sequence[LoadAdvisory],
    postings: Iterable[LoadPosting],
    measures: Measures,
) -> dict[str, Any]:
    """Load limits: what the thaw advises around each station, and what is posted."""
    return {
        "stations": [
            {
                "station": each.station,
                "advice": each.advice,
                "reason": measures.words(each.reason),
                "n_roads": len(each.segment_ids),
                "is_urgent": each.advice in {"put_up", "take_down"},
                "on": each.on.isoformat() if each.on else "",
            }
            for each in advisories
        ],
        "posted": [
            {
                "id": each.id,
                "axle": measures.show(each.axle_t, "t"),
                "authority": each.authority,
                "signed_by": each.signed_by,
                "up": moment(each.up_at),
                "n_roads": len(each.segment_ids),
            }
            for each in postings
            if each.down_at is None
        ],
        "is_wanted": any(each.advice == "put_up" for each in advisories),
        "on": next((each.on.isoformat() for each in advisories if each.on), ""),
        "axle_sign": measures.sign("t"),
    }


def strip_csv(state: MoistureState, district: District) -> tuple[list[str], list[list[Any]]]:
    """Heads and rows of the strip: one row for each road and day."""
    heads = ["segment_id", "route", "from_m", "to_m", "day", "likely", "is_unsure"]
    heads += [f"p_{key}" for key in SURFACE]
    chances = [state.p_class(each) for each in MoistureClass]
    segments = district.network.segment_by_id
    rows = []
    for row, segment_id in enumerate(state.segment_ids):
        segment = segments[segment_id]
        for at in range(state.n_days):
            day = state.first_day + timedelta(days=at)
            rows.append(
                [
                    segment_id,
                    segment.route,
                    f"{segment.from_m:.1f}",
                    f"{segment.to_m:.1f}",
                    day.isoformat(),
                    SURFACE[state.most_likely(segment_id, day)],
                    int(max(each[row, at] for each in chances) < state.policy.sure_share),
                    *(f"{each[row, at]:.4g}" for each in chances),
                ]
            )
    return heads, rows


def _before_after(
    was: MoistureClass, now: MoistureClass, p_was: float, p_now: float
) -> dict[str, str]:
    return {
        "was": SURFACE_LABEL[SURFACE[was]],
        "was_colour": SURFACE[was],
        "was_workable": percent(p_was),
        "now": SURFACE_LABEL[SURFACE[now]],
        "now_colour": SURFACE[now],
        "now_workable": percent(p_now),
    }


def _fits(segment: Segment, words: Sequence[str]) -> bool:
    text = f"{segment.route} {segment.external_id} {segment.id}".lower()
    return all(word in text for word in words)
