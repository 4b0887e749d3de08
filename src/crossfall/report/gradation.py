"""A gradation drawn on a logarithmic axis, inside the envelope it is held to."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from html import escape

from crossfall.errors import InputError
from crossfall.formulas.gradation import Grading, check_grading
from crossfall.model.policy.specifications import Specification
from crossfall.report.colours import FONT, INK, PAPER, QUIET

Scale = Callable[[float], float]
"""From a sieve or a percentage to a place on the drawing."""

_LINES = ("#0b5f9e", "#cf5a12", "#12876a", "#7d1f4f", "#3b2a7a")
_DASHES = ("", "7 4", "2 4", "9 3 2 3", "1 3")
_LEFT, _TOP, _RIGHT, _FOOT = 62.0, 56.0, 24.0, 66.0


def gradation_svg(
    gradings: Mapping[str, Grading],
    specification: Specification | None = None,
    *,
    width: float = 720.0,
    height: float = 420.0,
) -> str:
    """Draw one or more gradations as SVG, the envelope of a specification behind them.

    Parameters
    ----------
    gradings : mapping of name to gradation
        At most five; each has its own colour *and* dash, and its name in the key.
    specification : Specification, optional
        Its bands become the grey envelope.

    Raises
    ------
    InputError
        If there is none to draw, or more than five, or one is not possible.
    """
    if not 1 <= len(gradings) <= len(_LINES):
        raise InputError(f"gradings has {len(gradings)} curves; expected 1 to {len(_LINES)}")
    curves = {name: check_grading(each, name=name) for name, each in gradings.items()}
    sieves = sorted(
        {sieve for curve in curves.values() for sieve in curve}
        | {band.sieve_mm for band in (specification.bands if specification else ())}
    )
    low, high = math.log(sieves[0]), math.log(sieves[-1])
    wide, tall = width - _LEFT - _RIGHT, height - _TOP - _FOOT

    def x(sieve_mm: float) -> float:
        return _LEFT + wide * (math.log(sieve_mm) - low) / max(high - low, 1e-9)

    def y(passing: float) -> float:
        return _TOP + tall * (1 - passing / 100)

    title = specification.name if specification else "Gradation"
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:.0f} {height:.0f}"'
        f' width="{width:.0f}" height="{height:.0f}" font-family="{FONT}" role="img"'
        f' aria-label="Gradation: {escape(", ".join(curves))}">',
        f'<rect width="100%" height="100%" fill="{PAPER}"/>',
        f'<text x="{_LEFT}" y="22" font-size="15" font-weight="bold" fill="{INK}">'
        f"{escape(title)}</text>",
        *_grid(sieves, x, y, width, height),
    ]
    if specification:
        parts.append(_envelope(specification, x, y))
    for (name, curve), colour, dash in zip(curves.items(), _LINES, _DASHES, strict=False):
        points = "L".join(f"{x(sieve):.1f} {y(value):.1f}" for sieve, value in curve.items())
        parts.append(
            f'<path d="M{points}" fill="none" stroke="{colour}" stroke-width="2.6"'
            f' stroke-dasharray="{dash}"/>'
        )
        parts.extend(
            f'<circle cx="{x(sieve):.1f}" cy="{y(value):.1f}" r="3.4" fill="{colour}">'
            f"<title>{escape(name)}: {value:g} % at {sieve:g} mm</title></circle>"
            for sieve, value in curve.items()
        )
    parts.append(_key(list(curves), height, has_envelope=specification is not None))
    if specification and not specification.is_verified:
        parts.append(
            f'<text x="{width - _RIGHT}" y="22" font-size="12" text-anchor="end" fill="{INK}">'
            "limits not verified</text>"
        )
    parts.append("</svg>")
    return "".join(parts)


def _grid(sieves: Sequence[float], x: Scale, y: Scale, width: float, height: float) -> list[str]:
    parts = []
    for percent in range(0, 101, 20):
        at = y(percent)
        parts.append(
            f'<path d="M{_LEFT} {at:.1f}H{width - _RIGHT}" stroke="{QUIET}" stroke-width="0.8"/>'
            f'<text x="{_LEFT - 8}" y="{at + 4:.1f}" font-size="12" text-anchor="end"'
            f' fill="{INK}">{percent}</text>'
        )
    last = -math.inf
    for sieve in sieves:
        at = x(sieve)
        parts.append(
            f'<path d="M{at:.1f} {_TOP}V{height - _FOOT}" stroke="{QUIET}" stroke-width="0.8"/>'
        )
        if at - last >= 34:
            parts.append(
                f'<text x="{at:.1f}" y="{height - _FOOT + 17}" font-size="12"'
                f' text-anchor="middle" fill="{INK}">{sieve:g}</text>'
            )
            last = at
    parts.append(
        f'<text x="{width - _RIGHT}" y="{height - _FOOT + 33}" font-size="12" text-anchor="end"'
        f' fill="{INK}">sieve, mm</text>'
        f'<text x="14" y="{_TOP - 14}" font-size="12" fill="{INK}">% passing</text>'
    )
    return parts


def _envelope(specification: Specification, x: Scale, y: Scale) -> str:
    bands = sorted(specification.bands, key=lambda band: band.sieve_mm)
    upper = [f"{x(b.sieve_mm):.1f} {y(b.high_pct):.1f}" for b in bands]
    lower = [f"{x(b.sieve_mm):.1f} {y(b.low_pct):.1f}" for b in reversed(bands)]
    path = "L".join((*upper, *lower))
    return (
        f'<path d="M{path}Z" fill="#d9d5c8" fill-opacity="0.75" stroke="{INK}" stroke-width="1"/>'
    )


def _key(names: Sequence[str], height: float, *, has_envelope: bool) -> str:
    at, y, drawn = _LEFT, height - 16, []
    for name, colour, dash in zip(names, _LINES, _DASHES, strict=False):
        drawn.append(
            f'<path d="M{at} {y - 4}h30" stroke="{colour}" stroke-width="2.6"'
            f' stroke-dasharray="{dash}"/><circle cx="{at + 15}" cy="{y - 4}" r="3.4"'
            f' fill="{colour}"/><text x="{at + 37}" y="{y}" font-size="12" fill="{INK}">'
            f"{escape(name)}</text>"
        )
        at += 58 + 7.6 * len(name)
    if has_envelope:
        drawn.append(
            f'<rect x="{at}" y="{y - 11}" width="26" height="13" fill="#d9d5c8" stroke="{INK}"/>'
            f'<text x="{at + 33}" y="{y}" font-size="12" fill="{INK}">envelope</text>'
        )
    return "".join(drawn)
