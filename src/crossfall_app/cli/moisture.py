"""How wet the roads are: by zone and day, and one road with its history, its outlook and why."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from crossfall.errors import InputError
from crossfall_app.cli.places import (
    DirArgument,
    JsonOption,
    WorkspaceOption,
    a_day,
    the_workspace,
    usual_first_day,
)
from crossfall_app.cli.speak import new_table, say, say_json, say_table

if TYPE_CHECKING:
    from crossfall.judgement import SurfaceDifference, WateringVerdict, Zone
    from crossfall.judgement.road_days import DayAhead
    from crossfall.model import District, Segment
    from crossfall.workflow import MorningSheet, RoadSurface

_ZONES = ("district", "drainage", "route")


def moisture(
    folder: DirArgument = None,
    days: Annotated[int, typer.Option(min=1, max=14, help="Days ahead.")] = 5,
    start: Annotated[
        str | None, typer.Option(metavar="DAY", help="First day; today when left out.")
    ] = None,
    by: Annotated[
        str | None, typer.Option(help="Also by zone: district, drainage or route.")
    ] = None,
    road: Annotated[
        str | None,
        typer.Option(help="One road by name or segment id: history, outlook, why, and water."),
    ] = None,
    history: Annotated[
        int, typer.Option(min=0, max=45, help="Recorded days to list with --road.")
    ] = 7,
    chart: Annotated[
        Path | None,
        typer.Option(metavar="SVG", help="With --road, of one stretch: draw it into this file."),
    ] = None,
    workspace: WorkspaceOption = None,
    as_json: JsonOption = False,
) -> None:
    """How moist the roads are, and what may be done on them when.

    With --road the layer's history, the days ahead with their chances, why, and whether to water
    or to wait. Below the table stand the load limits that the thaw advises.
    """
    opened = the_workspace(folder, workspace)
    from crossfall.workflow import morning

    district = the_district()
    first_day = a_day(start, "start") or usual_first_day(opened)
    # Whether to wait for rain hangs on days that need not be shown
    wait_days = district.policy.moisture.water_wait_days if road is not None else 0
    sheet = morning(district, today=first_day, n_days=max(days, 1 + wait_days))
    if sheet.state is None:
        raise InputError(sheet.trouble)
    if by is not None and by not in _ZONES:
        raise InputError(f"by is {by!r}; expected {', '.join(_ZONES)}")
    if road is not None:
        _road(district, sheet, road, (history, days), chart, opened.config.units, as_json)
    elif chart is not None:
        raise InputError("chart draws one road; name it with --road")
    else:
        _zones(district, sheet, by, as_json)


def the_district() -> District:
    """The stored district.

    Raises
    ------
    InputError
        If there is no network yet.
    """
    from crossfall_app.store import repository

    if not repository.has_network():
        raise InputError("the workspace has no network; bring one in with: crossfall import")
    return repository.load_district()


def limit_rows(sheet: MorningSheet) -> list[dict[str, Any]]:
    """What the thaw advises around each station."""
    return [
        {
            "station": each.station,
            "advice": each.advice,
            "on": each.on.isoformat() if each.on else None,
            "segments": len(each.segment_ids),
            "thawing_c_day": round(each.thawing_c_day, 2),
            "freezing_c_day": round(each.freezing_c_day, 2),
            "reason": each.reason,
        }
        for each in sheet.limits
    ]


def told_today(district: District, sheet: MorningSheet) -> SurfaceDifference | None:
    """What the looks and readings of the first day itself changed; None where no road hears any."""
    from crossfall.workflow import what_changed

    state = sheet.state
    told = {each.id for each in district.observations if each.observed_on == sheet.today}
    if state is None or not told:
        return None
    found = what_changed(district, told, today=sheet.today, n_days=state.n_days)
    return found if found.touched_ids else None


def difference_json(district: District, difference: SurfaceDifference | None) -> dict[str, Any]:
    """What some observations changed, as JSON tells it."""
    if difference is None:
        return {"heard_by": [], "changes": [], "summary": ""}
    return {
        "heard_by": list(difference.touched_ids),
        "changes": [
            {
                "segment": each.segment_id,
                "road": district.network.segment_by_id[each.segment_id].route,
                "day": each.day.isoformat(),
                "was": each.was.label,
                "now": each.now.label,
                "p_workable_was": round(each.p_workable_was, 4),
                "p_workable_now": round(each.p_workable_now, 4),
            }
            for each in difference.changes
        ],
        "summary": difference.summary(),
    }


def _zones(district: District, sheet: MorningSheet, by: str | None, as_json: bool) -> None:
    from crossfall.judgement import zones

    state, gates = sheet.state, sheet.gates
    assert state is not None, "the caller has checked"
    news = told_today(district, sheet)
    assert gates is not None, "there are gates where there is a state"
    segments = district.network.maintained
    found = zones(state, gates, segments, by) if by else ()  # type: ignore[arg-type]
    rows = [_day_row(state, gates, n) for n in range(state.n_days)]
    limits = limit_rows(sheet)
    if as_json:
        say_json(
            {
                "first_day": state.first_day.isoformat(),
                "days": rows,
                "zones": [_zone_row(each, by or "") for each in found],
                "load_limits": limits,
                "told_today": None if news is None else difference_json(district, news),
                "summary": state.summary(),
            }
        )
        return
    table = new_table(
        "Day", "Surface, roads", "Light blading", "Cutting", right=("Light blading", "Cutting")
    )
    for row in rows:
        surfaces = ", ".join(f"{n} {name}" for name, n in row["segments"].items())
        table.add_row(row["day"], surfaces, _open(row, "light_blading"), _open(row, "cutting"))
    say_table(table)
    say("Light blading and cutting, stretches: as is / only with water / no.")
    say(_go_begins(gates))
    if found:
        heads = [f"{state.first_day + timedelta(days=n):%a %d}" for n in range(state.n_days)]
        table = new_table("Workable", "km", *heads, right=("km", *heads))
        for zone in found:
            shares = [
                f"{100 * share:.0f} %{' ?' if unsure >= 0.5 else ''}"
                for share, unsure in zip(zone.workable_share, zone.unsure_share, strict=True)
            ]
            table.add_row(zone.name or "none", f"{zone.length_m / 1000:.0f}", *shares)
        say_table(table)
        say("A question mark: on most of it no class is sure enough to be named, have a look.")
    say(f"{state.headline()}.")
    for note in state.notes:
        say(f"- {note}")
    if news is not None:
        say(f"Told today: {news.summary()}")
    for each in limits:
        if each["advice"] != "none":
            say(f"{each['station']}, {each['segments']} stretches: {each['reason']}")


def _go_begins(gates: Any) -> str:
    least = gates.policy.least_chance
    return (
        f"A go begins at {100 * least['light_blading']:.0f} % chance of a fit surface for light"
        f" blading, {100 * least['cutting']:.0f} % for cutting: a road called too wet may be among"
        " them. Look before the blade goes down."
    )


def _day_row(state: Any, gates: Any, n: int) -> dict[str, Any]:
    day = state.first_day + timedelta(days=n)
    counts: dict[str, int] = {}
    for each in state.segment_ids:
        is_unsure = state.is_unsure(each, day)
        label = "not sure" if is_unsure else state.most_likely(each, day).label
        counts[label] = counts.get(label, 0) + 1
    return {
        "day": day.isoformat(),
        "segments": dict(sorted(counts.items(), key=lambda item: -item[1])),
        "open_light_blading": int(gates.allowed("light_blading")[:, n].sum()),
        "open_cutting": int(gates.allowed("cutting")[:, n].sum()),
        "watered_light_blading": int(gates.needs_water("light_blading")[:, n].sum()),
        "watered_cutting": int(gates.needs_water("cutting")[:, n].sum()),
    }


def _open(row: dict[str, Any], task: str) -> str:
    """Stretches a task may be done on as they are, only with water, and not at all."""
    n_open, n_watered = row[f"open_{task}"], row[f"watered_{task}"]
    n_roads = sum(row["segments"].values())
    return f"{n_open - n_watered} / {n_watered} / {n_roads - n_open}"


def _zone_row(zone: Zone, by: str) -> dict[str, Any]:
    from crossfall.judgement import MoistureClass

    return {
        by: zone.name,
        "segments": len(zone.segment_ids),
        "length_m": round(zone.length_m, 1),
        "days": [
            {
                "day": (zone.first_day + timedelta(days=n)).isoformat(),
                "shares": {
                    cls.label: round(float(zone.class_share[cls, n]), 4) for cls in MoistureClass
                },
                "unsure_share": round(float(zone.unsure_share[n]), 4),
                "rain_chance": _figure(float(zone.rain_chance[n])),
                "rain_high_mm": _figure(float(zone.rain_high_mm[n])),
            }
            for n in range(zone.n_days)
        ],
    }


def _road(
    district: District,
    sheet: MorningSheet,
    road: str,
    past_and_ahead: tuple[int, int],
    chart: Path | None,
    units: str,
    as_json: bool,
) -> None:
    from crossfall.workflow import road_surface

    segments = [each for each in district.network.maintained if road in (each.id, each.route)]
    if not segments:
        raise InputError(f"road {road!r} is neither a maintained segment's id nor a road's name")
    n_past, n_ahead = past_and_ahead
    found = []
    for each in segments:
        surface = road_surface(district, sheet, each.id)
        shown = replace(surface.days, ahead=surface.days.ahead[:n_ahead])
        found.append((each, replace(surface, days=shown)))
    if chart is not None:
        _draw(found, chart, units)
    if as_json:
        say_json(
            {
                "road": road,
                "days": [row for each in found for row in _rows(sheet, *each)],
                "segments": [_segment(*each) for each in found],
                "chart": str(chart) if chart else None,
            }
        )
        return
    for segment, surface in found:
        _say_road(sheet, segment, surface, n_past, units)
    if chart is not None:
        say(f"The chart is in {chart}")


def _draw(found: list[tuple[Segment, RoadSurface]], file: Path, units: str) -> None:
    from crossfall.report import moisture_chart

    if len(found) > 1:
        ids = ", ".join(segment.id for segment, _ in found[:3])
        raise InputError(
            f"the road has {len(found)} stretches and a chart shows one; name one of them"
            f" instead: {ids} ..."
        )
    if not file.parent.is_dir():
        raise InputError(f"the folder {str(file.parent)!r} for the chart is not there")
    drawn = moisture_chart(found[0][1].days, units=units)
    part = file.with_name(file.name + ".part")
    part.write_text(drawn, encoding="utf-8")
    part.replace(file)


def _say_road(
    sheet: MorningSheet, segment: Segment, surface: RoadSurface, n_past: int, units: str
) -> None:
    from crossfall.report.figures import check_system, figure, reword

    system = check_system(units)

    def said(value: float, unit: str) -> str:
        if not math.isfinite(value):
            return "not known"
        return f"{value:.1f} %" if unit == "%" else " ".join(figure(value, unit, system))

    days = surface.days
    where = f"{figure(segment.from_m / 1000, 'km', system)[0]} to"
    where += f" {' '.join(figure(segment.to_m / 1000, 'km', system))}"
    say(f"{segment.route}, {where} ({segment.id}): {reword(days.summary(), system)}")
    table = new_table("Day", "Moisture", "Rain", "Surface", "Workable", "Cutting", "Why",
                      right=("Moisture", "Rain", "Workable"))  # fmt: skip
    for each in days.past[len(days.past) - n_past :]:
        table.add_row(each.day.isoformat(), said(each.moisture_pct, "%"), said(each.rain_mm, "mm"))
    for row, day in zip(_rows(sheet, segment, surface), days.ahead, strict=True):
        low, middle, high = day.moisture_pct[0], day.moisture_pct[2], day.moisture_pct[-1]
        spread = f"{low:.1f}-{high:.1f} %" if math.isfinite(middle) else "not known"
        table.add_row(
            row["day"],
            spread,
            said(day.rain_mm[2], "mm"),
            "not sure" if day.is_unsure else row["surface"],
            f"{100 * day.p_workable:.0f} %",
            row["cutting"].replace("_", " "),
            reword(row["why"], system),
        )
    say_table(table)
    say(_go_begins(sheet.gates))
    parts = [f"{part.name} {part.likely.label}" for part in days.today.parts]
    say(f"Parts of the first day: {', '.join(parts)}.")
    say(reword(_water_said(surface.water, surface.no_water), system))


def _water_said(water: WateringVerdict | None, no_water: str) -> str:
    if water is None:
        return f"{no_water}."
    if water.cost is None:
        return water.reason
    cost = water.cost.likely
    return f"{water.reason} About {cost.currency} {cost.major:,.0f}."


def _rows(sheet: MorningSheet, segment: Segment, surface: RoadSurface) -> list[dict[str, Any]]:
    assert sheet.gates is not None, "there are gates where there is a state"
    rows = []
    for day in surface.days.ahead:
        verdict = sheet.gates.verdict(segment.id, day.day, "cutting")
        rows.append(
            {
                "segment": segment.id,
                "day": day.day.isoformat(),
                "surface": day.likely.label,
                "is_unsure": day.is_unsure,
                "why": day.reason,
                "p_workable": round(day.p_workable, 4),
                "cutting": verdict.decision,
                "cutting_why": verdict.reason,
            }
        )
    return rows


def _segment(segment: Segment, surface: RoadSurface) -> dict[str, Any]:
    days = surface.days
    return {
        "segment": segment.id,
        "station": days.station,
        "workable_from_pct": round(days.lower_pct, 3),
        "workable_to_pct": round(days.upper_pct, 3),
        "optimum_pct": days.optimum_pct,
        "history": [
            {
                "day": each.day.isoformat(),
                "moisture_pct": _figure(each.moisture_pct),
                "rain_mm": _figure(each.rain_mm),
            }
            for each in days.past
        ],
        "ahead": [_ahead(each) for each in days.ahead],
        "looks": [
            {"day": each.day.isoformat(), "felt": each.felt, "weight": each.weight}
            for each in days.looks
        ],
        "water": _water_json(surface.water),
    }


def _ahead(day: DayAhead) -> dict[str, Any]:
    from crossfall.judgement import MoistureClass
    from crossfall.judgement.road_days import FAN

    names = [f"p{round(100 * share)}" for share in FAN]
    return {
        "day": day.day.isoformat(),
        "moisture_pct": dict(zip(names, map(_figure, day.moisture_pct), strict=True)),
        "rain_mm": dict(zip(names, map(_figure, day.rain_mm), strict=True)),
        "chances": {cls.label: round(day.p_by_class[cls], 4) for cls in MoistureClass},
        "parts": {part.name: part.likely.label for part in day.parts},
        "p_workable_in_parts": {part.name: round(part.p_workable, 4) for part in day.parts},
        "is_thaw_weak": day.is_thaw_weak,
    }


def _water_json(water: WateringVerdict | None) -> dict[str, Any] | None:
    if water is None:
        return None
    told: dict[str, Any] = {"verdict": water.verdict, "reason": water.reason}
    if water.demand is not None and water.cost is not None:
        told |= {
            "litres_per_km": round(water.demand.litres_per_km),
            "rain_equivalent_mm": round(water.demand.applied_mm, 2),
            "loads": water.n_loads,
            "cycle_min": round(water.cycle_min, 1),
            "truck_h": round(water.truck_h, 2),
            "cost": water.cost.likely.major,
            "currency": water.cost.likely.currency,
            "p_workable_without": round(water.p_workable_without, 4),
        }
    return told


def _figure(value: float) -> float | None:
    return round(value, 3) if math.isfinite(value) else None


COMMANDS = (("moisture", moisture, False),)
