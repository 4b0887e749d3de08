"""Drainage and work zones screened at the keyboard: no workspace, and an engineer confirms."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from crossfall.errors import InputError
from crossfall_app.cli.speak import say, say_json

if TYPE_CHECKING:
    from crossfall.report.figures import System

SCREENS = ("ditch", "culvert", "zone")
"""Words of ``crossfall design`` that are screened and not laid out."""

_OF = {
    "ditch": {
        "left_z", "right_z", "ditch_depth_m", "slope_pct", "levels", "roughness_n", "runoff_c",
        "rain_mm_h", "area_ha", "over_h", "flow_m3_s",
    },
    "culvert": {
        "diameter_mm", "slope_pct", "roughness_n", "runoff_c", "rain_mm_h", "area_ha", "over_h",
        "flow_m3_s",
    },
    "zone": {"posted_km_h", "offset_m", "stay_min", "adt", "beside"},
}  # fmt: skip
_OTHER_UNITS = {
    "area_ac": ("area_ha", "acre", "ha"),
    "rain_in_h": ("rain_mm_h", "in", "mm"),
    "diameter_in": ("diameter_mm", "in", "mm"),
    "posted_mph": ("posted_km_h", "mph", "km/h"),
    "ditch_depth_ft": ("ditch_depth_m", "ft", "m"),
    "offset_ft": ("offset_m", "ft", "m"),
}


def screen(what: str, given: dict[str, Any], *, units: str, as_json: bool) -> None:
    """Screen a ditch, a culvert or a work zone and say it.

    Raises
    ------
    InputError
        If a figure is missing, comes in two units, goes with something else, or cannot be.
    """
    from crossfall.report.figures import check_system

    system = check_system(units)
    figures = _in_our_units({k: v for k, v in given.items() if v is not None})
    stray = sorted(set(figures) - _OF[what])
    if stray:
        raise InputError(f"{stray[0]} does not go with {what}; expected {', '.join(_OF[what])}")
    told = {"ditch": _ditch, "culvert": _culvert, "zone": _zone}[what](figures, system)
    if as_json:
        say_json({"screened": what, **told["json"]})
        return
    for line in told["lines"]:
        say(_words(line, system))
    say("Local codes, your agency's rules and licensed practice govern.")


def _ditch(figures: dict[str, Any], system: System) -> dict[str, Any]:
    from dataclasses import asdict

    from crossfall.design.calculator import ditch, ditch_grade
    from crossfall.design.calculator.ditch import TO_CONFIRM
    from crossfall.io.levels import read_levels

    lines, plain = [], {}
    slope = figures.get("slope_pct")
    if "levels" in figures:
        if slope is not None:
            raise InputError("slope_pct and levels both say how the ditch falls; give one")
        grade = ditch_grade(read_levels(Path(figures["levels"])))
        lines.append(f"Survey: {grade.summary()}.")
        plain["grade"] = asdict(grade) | {"flattest": grade.flattest}
        slope = 100 * grade.flattest
        if not slope > 0:
            lines.append("Where water stands no capacity can be reckoned: mend the fall first.")
            return {"lines": lines, "json": plain}
    if slope is None:
        raise InputError("ditch needs a fall; add --slope-pct or --levels")
    _need("ditch", figures, ("ditch_depth_m",))
    made = ditch(
        left_z=figures.get("left_z", 4.0),
        right_z=figures.get("right_z", 2.0),
        depth_m=figures["ditch_depth_m"],
        slope=_slope(slope),
        roughness_n=figures.get("roughness_n", 0.03),
        **_comes(figures),
    )
    lines.append(
        f"{_flow(made.flow_m3_s, system)} comes, {_flow(made.capacity_m3_s, system)} fits; runs"
        f" {_fine(made.depth_m, system)} deep at {_fine(made.velocity_m_s, system)}/s,"
        f" {_fine(made.freeboard_m, system)} to spare: {made.verdict} ({TO_CONFIRM})."
    )
    lines += _assumed(figures, {"left_z": 4.0, "right_z": 2.0, "roughness_n": 0.03})
    return {"lines": lines, "json": plain | asdict(made)}


def _culvert(figures: dict[str, Any], system: System) -> dict[str, Any]:
    from dataclasses import asdict

    from crossfall.design.calculator import culvert
    from crossfall.design.calculator.ditch import TO_CONFIRM
    from crossfall.formulas.drainage import rational_flow

    _need("culvert", figures, ("diameter_mm", "slope_pct"))
    flow = figures.get("flow_m3_s")
    if flow is None:
        flow = rational_flow(**_rain(figures))
    elif set(figures) & {"rain_mm_h", "area_ha", "runoff_c"}:
        raise InputError("flow_m3_s and the rain both say what comes; give one")
    made = culvert(
        diameter_m=figures["diameter_mm"] / 1000,
        slope=_slope(figures["slope_pct"]),
        flow_m3_s=flow,
        n=figures.get("roughness_n", 0.024),
    )
    word = "obviously too small" if made.is_obviously_small else "not obviously too small"
    told = (
        f"{_flow(made.flow_m3_s, system)} comes, a full pipe takes"
        f" {_flow(made.full_m3_s, system)}: {word} ({TO_CONFIRM})."
    )
    lines = [told, *_assumed(figures, {"roughness_n": 0.024})]
    return {"lines": lines, "json": asdict(made)}


def _zone(figures: dict[str, Any], system: System) -> dict[str, Any]:
    from dataclasses import asdict, replace

    from crossfall.design.calculator import taper
    from crossfall.design.zone import work_zone
    from crossfall.model import Segment
    from crossfall.model.policy.work_zone import ZonePractice

    _need("zone", figures, ("posted_km_h",))
    posted = figures["posted_km_h"]
    practice = replace(ZonePractice(), posted_local_km_h=posted)
    if "offset_m" in figures:
        practice = replace(practice, shoulder_m=figures["offset_m"])
    line = ((0.0, 0.0), (0.0, 0.01))
    road = Segment("road", "this road", "a", "b", 0.0, 1000.0, line, adt=figures.get("adt", 50.0))
    made = work_zone(
        road, "cutting", figures.get("stay_min", 240.0), practice,
        is_beside=bool(figures.get("beside")),
    )  # fmt: skip
    lines = [step.replace(" — ", "; ").replace("assumed", "posted") + "." for step in made.steps]
    told = taper(offset_m=figures.get("offset_m", practice.lane_least_m), posted_km_h=posted)
    lines.append(f"Where a lane is merged: {told.summary()}.")
    lines.append("Figures: MUTCD part 6 as quoted in the methods; confirm them in your manual.")
    return {"lines": lines, "json": asdict(made) | {"merging": asdict(told)}}


def _flow(m3_s: float, system: System) -> str:
    from crossfall.units import convert

    foot = convert(1.0, "m", "ft")
    return f"{m3_s * foot**3:.1f} ft³/s" if system == "us" else f"{m3_s:.3f} m³/s"


def _fine(value_m: float, system: System) -> str:
    from crossfall.units import convert

    return f"{convert(value_m, 'm', 'ft'):.1f} ft" if system == "us" else f"{value_m:.2f} m"


def _comes(figures: dict[str, Any]) -> dict[str, float]:
    if "flow_m3_s" in figures:
        raise InputError("flow_m3_s goes with culvert; a ditch is held against the rain")
    rain = _rain(figures)
    return {
        "runoff_c": rain["runoff_c"],
        "intensity_mm_h": rain["intensity_mm_h"],
        "area_ha": rain["area_ha"],
        "over_h": rain["over_h"],
    }


def _rain(figures: dict[str, Any]) -> dict[str, float]:
    _need("the flow", figures, ("runoff_c", "rain_mm_h", "area_ha"))
    return {
        "runoff_c": figures["runoff_c"],
        "intensity_mm_h": figures["rain_mm_h"],
        "area_ha": figures["area_ha"],
        "over_h": figures.get("over_h", 0.5),
    }


def _slope(slope_pct: float) -> float:
    from crossfall.formulas.given import percent

    return percent("slope_pct", slope_pct, 0.05, 25.0, called="a ditch's fall") / 100


def _need(what: str, figures: dict[str, Any], names: tuple[str, ...]) -> None:
    missing = [name for name in names if name not in figures]
    if missing:
        options = ", ".join("--" + name.replace("_", "-") for name in missing)
        raise InputError(f"{what} needs {options}")


def _assumed(figures: dict[str, Any], usual: dict[str, float]) -> list[str]:
    return [
        f"Assumed: {name} {value:g} (not said)"
        for name, value in usual.items()
        if name not in figures
    ]


def _in_our_units(figures: dict[str, Any]) -> dict[str, Any]:
    from crossfall.units import convert

    made = dict(figures)
    for theirs, (ours, unit, into) in _OTHER_UNITS.items():
        if theirs not in made:
            continue
        if ours in made:
            raise InputError(f"{ours} is given twice, once as {theirs}; give it once")
        made[ours] = convert(made.pop(theirs), unit, into)
    return made


def _words(text: str, system: System) -> str:
    from crossfall.report.figures import reword

    return reword(text, system).replace("\N{NO-BREAK SPACE}", " ")
