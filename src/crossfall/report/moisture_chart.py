"""One road's moisture as a chart: what was, what may be, and between which limits it can be worked.

Moisture stands at the start of each day, rain fell between two of them, so a bar lies between the
points it explains. Every shape has a colour of its own for paper and a class name, by which a page
may recolour it in the dark.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from html import escape

from crossfall.errors import InputError
from crossfall.judgement import MoistureClass, RoadDays
from crossfall.judgement.road_days import FAN, DayAhead, PastDay
from crossfall.report.figures import System, check_system, figure
from crossfall.units import convert

_LEFT, _RIGHT, _TOP, _FOOT, _GAP = 38.0, 64.0, 10.0, 22.0, 22.0
_RAIN_SHARE = 0.26
_LEAST_RAIN = {"metric": 10.0, "us": 0.5}
_STEPS = (0.1, 0.2, 0.25, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 25.0, 50.0, 100.0, 200.0)
_P10, _P25, _P50, _P75, _P90 = range(len(FAN))
_FILL = {
    "wet": "#1c4c9c",
    "workable": "#12805c",
    "drying": "#c9a227",
    "dry": "#efdca6",
    "rain": "#2f6fb0",
    "ink": "#0f1719",
    "soft": "#3d494b",
    "hair": "#bcc6c0",
}
_SAID = {"too_wet": "too wet", "just_right": "just right", "dust": "dust"}


@dataclass(frozen=True)
class _Plot:
    """Where things stand on the drawing."""

    first_day: date
    today: date
    n_days: int
    width: float
    height: float
    most_pct: float
    most_rain: float
    system: System

    @property
    def right(self) -> float:
        return self.width - _RIGHT

    @property
    def rain_foot(self) -> float:
        return self.height - _FOOT

    @property
    def rain_top(self) -> float:
        return self.rain_foot - _RAIN_SHARE * (self.rain_foot - _TOP)

    @property
    def foot(self) -> float:
        return self.rain_top - _GAP

    @property
    def column(self) -> float:
        return (self.right - _LEFT) / self.n_days

    def x(self, day: date) -> float:
        """The start of a day."""
        return _LEFT + (day - self.first_day).days * self.column

    def y(self, moisture_pct: float) -> float:
        share = min(max(moisture_pct / self.most_pct, 0.0), 1.0)
        return self.foot - share * (self.foot - _TOP)

    def rain(self, rain_mm: float) -> float:
        amount = rain_mm if self.system == "metric" else convert(rain_mm, "mm", "in")
        share = min(amount / self.most_rain, 1.0)
        return self.rain_foot - share * (self.rain_foot - self.rain_top)


def moisture_chart(
    days: RoadDays,
    *,
    width: float = 880.0,
    height: float = 360.0,
    n_past: int = 30,
    units: str = "metric",
) -> str:
    """Draw the layer's history and fan, the limits of its classes, rain, and what people saw.

    Parameters
    ----------
    width, height : float
        Size of the drawing; text stands at 12 units.
    n_past : int
        Recorded days to show.
    units : {'metric', 'us'}
        For rain.

    Raises
    ------
    InputError
        If ``units`` is unknown or the size leaves no room.
    """
    system = check_system(units)
    if width < 240 or height < 180 or n_past < 1:
        raise InputError(
            f"a chart of {width:g} by {height:g} with {n_past} days has no room;"
            " expected at least 240 by 180 and one day"
        )
    past = days.past[-n_past:]
    plot = _plot(days, past, width, height, system)
    return "".join(
        (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:g} {height:g}"'
            f' class="moisture-chart" role="img" font-size="12"'
            f' aria-label="{escape(_label(days))}">',
            *_classes(days, plot),
            *_scales(plot),
            *_fan(days.ahead, plot),
            *_history(past, days, plot),
            *_rain(past, days.ahead, plot),
            *_looks(days, plot),
            *_hover(past, days.ahead, plot),
            "</svg>",
        )
    )


def _plot(
    days: RoadDays, past: Sequence[PastDay], width: float, height: float, system: System
) -> _Plot:
    figures = [each.moisture_pct for each in past]
    figures += [each.moisture_pct[_P90] for each in days.ahead]
    most = max((each for each in figures if math.isfinite(each)), default=0.0)
    rain = [each.rain_mm for each in past] + [each.rain_mm[_P90] for each in days.ahead]
    wettest = max((each for each in rain if math.isfinite(each)), default=0.0)
    wettest = wettest if system == "metric" else convert(wettest, "mm", "in")
    first = past[0].day if past else days.today.day
    return _Plot(
        first_day=first,
        today=days.today.day,
        n_days=(days.ahead[-1].day - first).days + 1,
        width=width,
        height=height,
        most_pct=max(most + 0.5, days.upper_pct + 1.5),
        most_rain=max(wettest * 1.05, _LEAST_RAIN[system]),
        system=system,
    )


def _label(days: RoadDays) -> str:
    first = days.past[0].day if days.past else days.today.day
    return (
        f"Moisture of the surface and rain from {first} to {days.ahead[-1].day}; workable between"
        f" {days.lower_pct:.1f} and {days.upper_pct:.1f} %. {days.summary()}"
    )


def _classes(days: RoadDays, plot: _Plot) -> Iterable[str]:
    """The classes as bands across the plot, each named at its right end."""
    edges = (
        ("wet", "too wet", plot.most_pct, days.upper_pct, 0.13),
        ("workable", "workable", days.upper_pct, days.lower_pct, 0.24),
        ("drying", "drying", days.lower_pct, days.dry_pct, 0.26),
        ("dry", "dry", days.dry_pct, 0.0, 0.36),
    )
    for key, name, high, low, strength in edges:
        top, foot = plot.y(high), plot.y(low)
        yield (
            f'<rect class="mc-{key}" x="{_LEFT}" y="{top:.1f}" width="{plot.right - _LEFT:.1f}"'
            f' height="{max(foot - top, 0):.1f}" fill="{_FILL[key]}" fill-opacity="{strength}"/>'
        )
        if foot - top > 11:
            yield _text(plot.right + 5, (top + foot) / 2 + 4, name, "mc-ink", "start")
    for limit in (days.upper_pct, days.lower_pct):
        yield (
            f'<path class="mc-edge" d="M{_LEFT} {plot.y(limit):.1f}H{plot.right:.1f}"'
            f' stroke="{_FILL["workable"]}" stroke-width="1" fill="none"/>'
        )
    y = plot.y(days.optimum_pct)
    yield (
        f'<path class="mc-edge" d="M{_LEFT} {y:.1f}H{plot.right:.1f}" stroke="{_FILL["workable"]}"'
        ' stroke-width="1" stroke-dasharray="5 4" fill="none"/>'
    )


def _scales(plot: _Plot) -> Iterable[str]:
    for value in _ticks(plot.most_pct, 4):
        yield _text(_LEFT - 5, plot.y(value) + 4, f"{value:g} %", "mc-soft", "end")
    sign = "mm" if plot.system == "metric" else "in"
    for value in _ticks(plot.most_rain, 2):
        y = plot.rain(value if plot.system == "metric" else convert(value, "in", "mm"))
        yield _text(_LEFT - 5, y + 4, f"{value:g}", "mc-soft", "end")
        yield _rule(f"M{_LEFT} {y:.1f}H{plot.right:.1f}")
    middle = (plot.rain_top + plot.rain_foot) / 2 + 4
    yield _text(plot.right + 5, middle, f"rain, {sign}", "mc-ink", "start")
    for n in range(plot.n_days):
        day = plot.first_day + timedelta(days=n)
        if day.weekday() == 0 and abs((day - plot.today).days) > 1:
            x = plot.x(day)
            yield _rule(f"M{x:.1f} {_TOP}V{plot.rain_foot:.1f}")
            name = f"{day.day} {day:%b}"
            if x + 7 * len(name) < plot.width:
                yield _text(x + 2, plot.height - 7, name, "mc-soft", "start")
    x = plot.x(plot.today)
    yield (
        f'<path class="mc-now" d="M{x:.1f} {_TOP - 4}V{plot.rain_foot + 5:.1f}"'
        f' stroke="{_FILL["ink"]}" stroke-width="2" fill="none"/>'
    )
    yield _text(x + 3, plot.height - 7, "today", "mc-ink", "start", is_bold=True)


def _fan(ahead: Sequence[DayAhead], plot: _Plot) -> Iterable[str]:
    known = [each for each in ahead if all(map(math.isfinite, each.moisture_pct))]
    for low, high, strength in ((_P10, _P90, 0.22), (_P25, _P75, 0.3)):
        there = [(plot.x(each.day), plot.y(each.moisture_pct[high])) for each in known]
        back = [(plot.x(each.day), plot.y(each.moisture_pct[low])) for each in reversed(known)]
        if known:
            yield (
                f'<path class="mc-fan" d="{_path(there + back)}Z" fill="{_FILL["ink"]}"'
                f' fill-opacity="{strength}"/>'
            )
    middle = [(plot.x(each.day), plot.y(each.moisture_pct[_P50])) for each in known]
    if middle:
        yield (
            f'<path class="mc-line" d="{_path(middle)}" stroke="{_FILL["ink"]}" stroke-width="2"'
            ' stroke-dasharray="2 3" fill="none"/>'
        )


def _history(past: Sequence[PastDay], days: RoadDays, plot: _Plot) -> Iterable[str]:
    """Known stretches as lines; a day that nobody knows leaves a gap."""
    today = days.today
    points = [(each.day, each.moisture_pct) for each in past]
    points.append((today.day, today.moisture_pct[_P50]))
    stretch: list[tuple[float, float]] = []
    for day, moisture in (*points, (today.day, math.nan)):
        if math.isfinite(moisture):
            stretch.append((plot.x(day), plot.y(moisture)))
            continue
        if stretch:
            yield (
                f'<path class="mc-line" d="{_path(stretch)}" stroke="{_FILL["ink"]}"'
                ' stroke-width="2" stroke-linejoin="round" stroke-linecap="round" fill="none"/>'
            )
        stretch = []


def _rain(past: Sequence[PastDay], ahead: Sequence[DayAhead], plot: _Plot) -> Iterable[str]:
    for each in past:
        if math.isfinite(each.rain_mm) and each.rain_mm > 0:
            yield _bar(each.day, each.rain_mm, plot, is_likely=True)
    for day in ahead:
        high, middle = day.rain_mm[_P90], day.rain_mm[_P50]
        if math.isfinite(high) and high > 0:
            yield _bar(day.day, high, plot, is_likely=False)
        if math.isfinite(middle) and middle > 0:
            yield _bar(day.day, middle, plot, is_likely=True)
    yield (
        f'<path class="mc-line" d="M{_LEFT} {plot.rain_foot:.1f}H{plot.right:.1f}"'
        f' stroke="{_FILL["ink"]}" stroke-width="1" fill="none"/>'
    )


def _bar(day: date, rain_mm: float, plot: _Plot, *, is_likely: bool) -> str:
    top = plot.rain(rain_mm)
    how = f'fill="{_FILL["rain"]}"' if is_likely else f'fill="none" stroke="{_FILL["rain"]}"'
    return (
        f'<rect class="{"mc-rain" if is_likely else "mc-maybe"}" x="{plot.x(day) + 1:.1f}"'
        f' y="{top:.1f}" width="{max(plot.column - 2, 1):.1f}"'
        f' height="{plot.rain_foot - top:.1f}" {how}/>'
    )


def _looks(days: RoadDays, plot: _Plot) -> Iterable[str]:
    level = {
        "too_wet": (days.upper_pct + plot.most_pct) / 2,
        "just_right": (days.lower_pct + days.upper_pct) / 2,
        "dust": days.dry_pct / 2,
    }
    for look in days.looks:
        if not plot.first_day <= look.day <= days.ahead[-1].day:
            continue
        x, y = plot.x(look.day) + plot.column * 0.35, plot.y(level[look.felt])
        who = f" by {look.observer}" if look.observer else ""
        said = f"Seen {_SAID[look.felt]}{who}, {_day(look.day)}"
        yield (
            f'<g class="mc-look"><title>{escape(said)}</title>'
            f'<circle cx="{x:.1f}" cy="{y:.1f}" r="5.5" fill="#ffffff" stroke="{_FILL["ink"]}"'
            f' stroke-width="2"/><circle cx="{x:.1f}" cy="{y:.1f}" r="2" fill="{_FILL["ink"]}"/>'
            "</g>"
        )


def _hover(past: Sequence[PastDay], ahead: Sequence[DayAhead], plot: _Plot) -> Iterable[str]:
    """What each day says under the pointer; the table behind the chart says it to everybody."""
    for each in past:
        parts = [f"{each.moisture_pct:.1f} %"] if math.isfinite(each.moisture_pct) else []
        parts += [_rain_said(each.rain_mm, plot)]
        yield _column(each.day, f"{_day(each.day)}: {', '.join(parts)}", plot)
    for day in ahead:
        low, middle, high = (day.moisture_pct[at] for at in (_P10, _P50, _P90))
        named = "not sure" if day.is_unsure else MoistureClass(day.likely).label
        said = f"{_day(day.day)}: {named}"
        if math.isfinite(middle):
            said += f", {middle:.1f} % ({low:.1f} to {high:.1f})"
        yield _column(day.day, f"{said}, {_rain_said(day.rain_mm[_P50], plot)}", plot)


def _rain_said(rain_mm: float, plot: _Plot) -> str:
    if not math.isfinite(rain_mm):
        return "rain not known"
    return " ".join(figure(rain_mm, "mm", plot.system)) + " of rain"


def _column(day: date, said: str, plot: _Plot) -> str:
    return (
        f'<rect x="{plot.x(day):.1f}" y="{_TOP}" width="{plot.column:.1f}"'
        f' height="{plot.rain_foot - _TOP:.1f}" fill="#ffffff" fill-opacity="0">'
        f"<title>{escape(said)}</title></rect>"
    )


def _ticks(most: float, n_wanted: int) -> list[float]:
    """A few round figures from 0 to below the top.

    Examples
    --------
    >>> _ticks(10.3, 4), _ticks(0.8, 2)
    ([0.0, 5.0, 10.0], [0.0, 0.5])
    """
    step = next((each for each in _STEPS if most / each <= n_wanted), _STEPS[-1])
    return [step * n for n in range(math.floor(most / step + 1e-9) + 1)]


def _text(x: float, y: float, said: str, name: str, anchor: str, *, is_bold: bool = False) -> str:
    colour = _FILL["ink" if name == "mc-ink" else "soft"]
    weight = ' font-weight="700"' if is_bold else ""
    return (
        f'<text class="{name}" x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" fill="{colour}"'
        f"{weight}>{escape(said)}</text>"
    )


def _rule(path: str) -> str:
    return (
        f'<path class="mc-hair" d="{path}" stroke="{_FILL["hair"]}" stroke-width="0.7"'
        ' fill="none"/>'
    )


def _path(points: Sequence[tuple[float, float]]) -> str:
    return "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in points)


def _day(day: date) -> str:
    return f"{day:%a} {day.day} {day:%b}"
