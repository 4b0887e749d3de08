"""The week at one glance: days across, machines down, and who is where at what hour."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta
from html import escape

from crossfall.model import Fleet, Itinerary, Job, Network, Plan, Stage, Treatment
from crossfall.report.colours import FONT, INK, PAPER, QUIET, fill, ink_on, word
from crossfall.report.figures import System, check_system, figure

_LEFT, _TOP, _CELL, _ROW, _GAP = 118.0, 74.0, 196.0, 74.0, 6.0
_FOOT = 58.0
_TURN_MIN = 6.0
"""A pause on a road shorter than this is a turn, not other work [min]."""


def week_picture(
    plan: Plan,
    jobs: Sequence[Job],
    network: Network,
    fleet: Fleet,
    *,
    units: str = "metric",
    is_invented: bool = False,
    title: str = "The week",
) -> str:
    """Draw a plan as SVG: one band for each machine and day, one bar for each stage.

    Parameters
    ----------
    plan, jobs, network, fleet
        What was planned, on what, with what.
    units : {'metric', 'us'}
        For the lengths bladed.
    is_invented : bool
        Say so in the picture.

    Raises
    ------
    InputError
        If ``units`` is unknown.
    """
    system = check_system(units)
    days = [plan.first_day + timedelta(days=n) for n in range(plan.n_days)]
    machines = [machine for machine in fleet.machines if machine.kind == "grader"]
    stages = {stage.id: stage for job in jobs for stage in job.stages}
    by_place = {(each.machine_id, each.day): each for each in plan.itineraries}
    operators = {operator.id: operator.name for operator in fleet.operators}
    clock = _clock(plan.itineraries)
    width = _LEFT + len(days) * (_CELL + _GAP) + 10
    height = _TOP + len(machines) * (_ROW + _GAP) + _FOOT
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:.0f} {height:.0f}"'
        f' width="{width:.0f}" height="{height:.0f}" font-family="{FONT}" role="img"'
        f' aria-label="{escape(title)}: {len(machines)} graders, {len(days)} days">',
        f'<rect width="100%" height="100%" fill="{PAPER}"/>',
        _heading(title, plan, width, is_invented=is_invented),
    ]
    for column, day in enumerate(days):
        parts.append(_day(day, column, clock))
    for row, machine in enumerate(machines):
        y = _TOP + row * (_ROW + _GAP)
        parts.append(
            f'<text x="10" y="{y + 22}" font-size="14" font-weight="bold" fill="{INK}">'
            f"{escape(machine.name)}</text>"
        )
        for column, day in enumerate(days):
            itinerary = by_place.get((machine.id, day))
            x = _LEFT + column * (_CELL + _GAP)
            parts.append(
                f'<rect x="{x}" y="{y}" width="{_CELL}" height="{_ROW}" fill="#ffffff"'
                f' stroke="{QUIET}"/>'
            )
            if itinerary is None:
                parts.append(
                    f'<text x="{x + _CELL / 2}" y="{y + _ROW / 2 + 4}" font-size="11"'
                    f' text-anchor="middle" fill="#6b675d">stays in the yard</text>'
                )
                continue
            operator = operators.get(itinerary.operator_id, itinerary.operator_id)
            parts.append(_cell(itinerary, operator, stages, network, x, y, clock, system))
    parts.append(_key({stages[s].treatment for i in plan.itineraries for s in i.stage_ids}, height))
    parts.append("</svg>")
    return "".join(parts)


def _heading(title: str, plan: Plan, width: float, *, is_invented: bool) -> str:
    served, left_out = len(plan.served), len(plan.unserved)
    line = f"{served} jobs planned, {left_out} left out with a reason"
    if plan.benefit_bound_h > 0:
        line += f"; could be better by at most {plan.gap_pct:.1f} %"
    note = (
        f'<text x="{width - 10:.0f}" y="28" font-size="12" font-weight="bold" text-anchor="end"'
        f' fill="{INK}">INVENTED DATA</text>'
        if is_invented
        else ""
    )
    return (
        f'<path d="M10 13L60 8L110 13V16L60 11L10 16Z" fill="{INK}"/>'
        f'<text x="10" y="36" font-size="19" font-weight="bold" fill="{INK}">{escape(title)}</text>'
        f'<text x="{26 + 11.6 * len(title):.0f}" y="36" font-size="12.5" fill="{INK}">'
        f"{escape(line)}</text>{note}"
    )


def _day(day: date, column: int, clock: tuple[float, float]) -> str:
    x = _LEFT + column * (_CELL + _GAP)
    low, high = (round(each / 60) for each in clock)
    return (
        f'<text x="{x}" y="{_TOP - 20}" font-size="14" font-weight="bold" fill="{INK}">'
        f"{day:%a} {day.day} {day:%b}</text>"
        f'<text x="{x}" y="{_TOP - 5}" font-size="10" fill="#6b675d">{low}:00</text>'
        f'<text x="{x + _CELL}" y="{_TOP - 5}" font-size="10" text-anchor="end"'
        f' fill="#6b675d">{high}:00</text>'
    )


def _cell(
    itinerary: Itinerary,
    operator: str,
    stages: dict[str, Stage],
    network: Network,
    x: float,
    y: float,
    clock: tuple[float, float],
    system: System,
) -> str:
    low, high = clock

    def at(minute: float) -> float:
        return x + (_CELL - 2) * (minute - low) / (high - low) + 1

    track = y + 22
    drawn = []
    if itinerary.legs:
        first, last = itinerary.legs[0].start_min, itinerary.legs[-1].end_min
        drawn.append(
            f'<path d="M{at(first):.1f} {track}H{at(last):.1f}" stroke="{QUIET}" stroke-width="4"/>'
        )
    bladed_m = 0.0
    for leg in itinerary.legs:
        if leg.kind == "break":
            drawn.append(
                f'<path d="M{at(leg.start_min):.1f} {track}H{at(leg.end_min):.1f}"'
                f' stroke="{PAPER}" stroke-width="5"/>'
            )
        bladed_m += leg.length_m if leg.kind == "work" else 0.0
    names = []
    for number, stage_id in enumerate(itinerary.stage_ids, start=1):
        stage = stages[stage_id]
        runs = _runs(itinerary, stage_id)
        longest = max(runs, key=lambda run: run[1] - run[0])
        for run in runs:
            start, long = at(run[0]), max(at(run[1]) - at(run[0]), 2.0)
            text = _fit(number, stage.treatment, long, is_longest=run == longest)
            drawn.append(
                f'<rect x="{start:.1f}" y="{track - 12}" width="{long:.1f}" height="24" rx="2"'
                f' fill="{fill(stage.treatment)}" stroke="{INK}" stroke-width="0.7"/>'
                f'<text x="{start + long / 2:.1f}" y="{track + 4}" font-size="10.5"'
                f' font-weight="bold" text-anchor="middle" fill="{ink_on(stage.treatment)}">'
                f"{text}</text>"
            )
        names.append(f"{number} {network.segment_by_id[stage.segment_id].route}")
    lines = _wrap(names, 34)
    drawn.extend(
        f'<text x="{x + 5}" y="{y + 46 + 11.5 * n}" font-size="9.5" fill="{INK}">'
        f"{escape(text)}</text>"
        for n, text in enumerate(lines[:2])
    )
    done = " ".join(figure(bladed_m / 1000, "km", system))
    drawn.append(
        f'<text x="{x + 5}" y="{y + _ROW - 5}" font-size="9.5" fill="#6b675d">'
        f"{escape(operator)} · {done} of passes</text>"
    )
    return "".join(drawn)


def _runs(itinerary: Itinerary, stage_id: str) -> list[tuple[float, float]]:
    """Stretches of a day spent on one stage; turns between passes do not part them."""
    runs: list[tuple[float, float]] = []
    for leg in itinerary.legs:
        if leg.stage_id != stage_id:
            continue
        if runs and leg.start_min - runs[-1][1] <= _TURN_MIN:
            runs[-1] = (runs[-1][0], leg.end_min)
        else:
            runs.append((leg.start_min, leg.end_min))
    return runs


def _fit(number: int, treatment: Treatment, long: float, *, is_longest: bool) -> str:
    full = f"{number} {word(treatment)}"
    if is_longest and len(full) * 6.6 < long:
        return full
    return str(number) if long > 8 else ""


def _wrap(names: Sequence[str], most: int) -> list[str]:
    """Names in lines of at most ``most`` letters; what does not fit in two is counted."""
    lines = [""]
    for index, name in enumerate(names):
        joined = f"{lines[-1]}, {name}" if lines[-1] else name
        if len(joined) <= most:
            lines[-1] = joined
        elif len(lines) == 2:
            more = f" +{len(names) - index}"
            lines[-1] = lines[-1][: most - len(more)] + more
            break
        else:
            lines.append(name[:most])
    return lines


def _clock(itineraries: Sequence[Itinerary]) -> tuple[float, float]:
    starts = [leg.start_min for each in itineraries for leg in each.legs]
    ends = [leg.end_min for each in itineraries for leg in each.legs]
    low = min(starts, default=6 * 60.0) // 60 * 60
    high = -(-max(ends, default=16 * 60.0) // 60) * 60
    return low, max(high, low + 60)


def _key(treatments: set[Treatment], height: float) -> str:
    x, y, drawn = _LEFT, height - 30, []
    for treatment in sorted(treatments, key=list(Treatment).index):
        drawn.append(
            f'<rect x="{x}" y="{y - 10}" width="14" height="14" rx="2" fill="{fill(treatment)}"'
            f' stroke="{INK}" stroke-width="0.7"/>'
            f'<text x="{x + 19}" y="{y + 2}" font-size="12" fill="{INK}">{treatment.label}</text>'
        )
        x += 32 + 7.4 * len(treatment.label)
    drawn.append(
        f'<path d="M10 {y - 3}h26" stroke="{QUIET}" stroke-width="4"/>'
        f'<text x="42" y="{y + 2}" font-size="12" fill="{INK}">travel</text>'
    )
    return "".join(drawn)
