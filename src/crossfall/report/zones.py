"""Gravels by shrinkage product and grading coefficient, and what each zone foretells."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from html import escape

from crossfall.errors import InputError
from crossfall.model.policy.specifications import MaterialPractice
from crossfall.report.colours import FONT, INK, PAPER, QUIET

Scale = Callable[[float], float]
"""From a figure to a place on the drawing."""

_LEFT, _TOP, _RIGHT, _FOOT = 62.0, 46.0, 24.0, 52.0
_GOOD, _DUSTY, _POOR = "#dbe8d8", "#efe7c9", "#f3f1ec"
_MARKS = ("#0b5f9e", "#cf5a12", "#12876a", "#7d1f4f", "#3b2a7a")
_SHARE_OVER = 1.25


def zones_svg(
    gravels: Mapping[str, tuple[float, float]],
    *,
    practice: MaterialPractice | None = None,
    is_near_homes: bool = False,
    width: float = 720.0,
    height: float = 430.0,
) -> str:
    """Draw gravels as points, each zone with what it foretells in words.

    Parameters
    ----------
    gravels : mapping of name to (shrinkage product, grading coefficient)
        At most five; each has its own colour, shape and name.
    is_near_homes : bool
        The narrower limit, where dust matters, is the one in force.

    Raises
    ------
    InputError
        If there is none to draw, more than five, or a figure is below 0.
    """
    practice = practice or MaterialPractice()
    if not 1 <= len(gravels) <= len(_MARKS):
        raise InputError(f"gravels has {len(gravels)} points; expected 1 to {len(_MARKS)}")
    for name, point in gravels.items():
        if not all(value >= 0 for value in point):
            raise InputError(f"{name} is at {point}; expected figures of 0 or more")
    products, coefficients = zip(*gravels.values(), strict=True)
    most_x = max(practice.shrinkage_high * _SHARE_OVER, *products, 1.0) * 1.04
    most_y = max(practice.coefficient_high * _SHARE_OVER, *coefficients, 1.0) * 1.04
    wide, tall = width - _LEFT - _RIGHT, height - _TOP - _FOOT

    def x(product: float) -> float:
        return _LEFT + wide * product / most_x

    def y(coefficient: float) -> float:
        return _TOP + tall * (1 - coefficient / most_y)

    def zone(x0: float, x1: float, y0: float, y1: float, fill: str, words: str) -> str:
        left, top = x(x0), y(y1)
        right, foot = x(x1), y(y0)
        lines = words.split("|")
        middle = (top + foot) / 2 - 7 * (len(lines) - 1)
        text = "".join(
            f'<text x="{(left + right) / 2:.1f}" y="{middle + 15 * n + 4:.1f}" font-size="12.5"'
            f' text-anchor="middle" fill="{INK}">{escape(line)}</text>'
            for n, line in enumerate(lines)
        )
        return (
            f'<rect x="{left:.1f}" y="{top:.1f}" width="{right - left:.1f}"'
            f' height="{foot - top:.1f}" fill="{fill}" stroke="{INK}" stroke-width="0.9"/>{text}'
        )

    low, high = practice.shrinkage_low, practice.shrinkage_high
    homes = practice.shrinkage_high_near_homes
    erodes, ravels = practice.coefficient_low, practice.coefficient_high
    dusty = "dusty: too|much near|homes" if is_near_homes else "good, but|dusty near|homes"
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:.0f} {height:.0f}"'
        f' width="{width:.0f}" height="{height:.0f}" font-family="{FONT}" role="img"'
        f' aria-label="What gravel foretells: {escape(", ".join(gravels))}">',
        f'<rect width="100%" height="100%" fill="{PAPER}"/>',
        f'<text x="{_LEFT}" y="22" font-size="15" font-weight="bold" fill="{INK}">'
        "What the gravel foretells</text>",
        f'<text x="{width - _RIGHT}" y="22" font-size="12" text-anchor="end" fill="{INK}">'
        "limits recalled, to be verified</text>",
        zone(0, low, 0, most_y, _POOR, "ravels|and|corrugates"),
        zone(high, most_x, 0, most_y, _POOR, "slippery|when wet"),
        zone(low, high, 0, erodes, _POOR, "erodes"),
        zone(low, high, ravels, most_y, _POOR, "ravels"),
        zone(low, homes, erodes, ravels, _GOOD, "good"),
        zone(homes, high, erodes, ravels, _DUSTY, dusty),
        *_axes(x, y, (low, homes, high), (erodes, ravels), width, height),
    ]
    for number, (name, (product, coefficient)) in enumerate(gravels.items()):
        parts.append(_mark(number, x(product), y(coefficient), name, product, coefficient, width))
    parts.append("</svg>")
    return "".join(parts)


def _axes(
    x: Scale, y: Scale, at_x: tuple[float, ...], at_y: tuple[float, ...], width: float,
    height: float,
) -> list[str]:  # fmt: skip
    foot = height - _FOOT
    parts = [
        f'<path d="M{_LEFT} {_TOP}V{foot}H{width - _RIGHT}" fill="none" stroke="{QUIET}"/>',
        f'<text x="{width - _RIGHT}" y="{foot + 36}" font-size="12" text-anchor="end"'
        f' fill="{INK}">shrinkage product: linear shrinkage × passing 0.425 mm</text>',
        f'<text x="14" y="{_TOP - 10}" font-size="12" fill="{INK}">grading coefficient</text>',
    ]
    parts += [
        f'<text x="{x(value):.1f}" y="{foot + 17}" font-size="12" text-anchor="middle"'
        f' fill="{INK}">{value:g}</text>'
        for value in (0.0, *at_x)
    ]
    parts += [
        f'<text x="{_LEFT - 8}" y="{y(value) + 4:.1f}" font-size="12" text-anchor="end"'
        f' fill="{INK}">{value:g}</text>'
        for value in (0.0, *at_y)
    ]
    return parts


def _mark(
    number: int, at_x: float, at_y: float, name: str, product: float, coefficient: float,
    width: float,
) -> str:  # fmt: skip
    colour = _MARKS[number]
    shapes = (
        f'<circle cx="{at_x:.1f}" cy="{at_y:.1f}" r="6.5"',
        f'<rect x="{at_x - 6:.1f}" y="{at_y - 6:.1f}" width="12" height="12"',
        f'<path d="M{at_x:.1f} {at_y - 8:.1f}l7 13h-14z"',
        f'<path d="M{at_x:.1f} {at_y - 8:.1f}l8 8l-8 8l-8 -8z"',
        f'<path d="M{at_x - 7:.1f} {at_y - 5:.1f}h14l-7 13z"',
    )
    is_right = at_x > width * 0.72
    anchor, shift = ("end", -12) if is_right else ("start", 12)
    return (
        f'{shapes[number]} fill="{colour}" stroke="{PAPER}" stroke-width="1.6">'
        f"<title>{escape(name)}: Sp {product:.0f}, Gc {coefficient:.1f}</title></{_tag(number)}>"
        f'<text x="{at_x + shift:.1f}" y="{at_y - 8:.1f}" font-size="12.5" font-weight="bold"'
        f' text-anchor="{anchor}" fill="{colour}" stroke="{PAPER}" stroke-width="3"'
        f' paint-order="stroke">{escape(name)}</text>'
    )


def _tag(number: int) -> str:
    return ("circle", "rect", "path", "path", "path")[number]
