"""The inspection form: five scores in words, a few flags, and what may be measured beside them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date
from typing import Any

from crossfall.errors import Problem
from crossfall.judgement.rating import RATING_NAMES
from crossfall.model import Segment
from crossfall.units import convert
from crossfall_app.web.present.measures import Measures
from crossfall_app.web.present.plan import where_on

SCORE_WORDS: dict[str, tuple[str, dict[int, str]]] = {
    "crown": (
        "Crown",
        {
            5: "High in the middle; rain runs off at once",
            4: "Good, with a flat spot here and there",
            3: "Low; water stands in places",
            2: "Nearly flat; puddles after every rain",
            1: "None, or a bowl; water stays on the road",
        },
    ),
    "drainage": (
        "Ditches and culverts",
        {
            5: "Clear on both sides, culverts open",
            4: "Mostly clear",
            3: "Half filled or missing in places",
            2: "Little ditch; culverts partly blocked",
            1: "None; water runs on or across the road",
        },
    ),
    "gravel": (
        "Gravel",
        {
            5: "A full layer everywhere, about 100 mm",
            4: "A good layer, thin here and there",
            3: "Thin on a quarter of it, about 50 mm",
            2: "Thin on most of it; the ground shows",
            1: "Little or none",
        },
    ),
    "deformation": (
        "Washboard, potholes, ruts",
        {
            5: "Smooth",
            4: "Slight, hardly felt",
            3: "Felt; some up to 50 mm deep",
            2: "Slows you down; many up to 75 mm deep",
            1: "Hard to pass in a car",
        },
    ),
    "defects": (
        "Dust and loose stone",
        {
            5: "Hardly any",
            4: "Some dust; a little loose stone",
            3: "Dust hides the view a moment; loose stone about 50 mm deep",
            2: "Heavy dust; ridges of loose stone",
            1: "Blinding dust; loose stone steers the car",
        },
    ),
}
FLAGS = (
    ("is_ditch_blocked", "A ditch is blocked"),
    ("is_culvert_blocked", "A culvert is blocked"),
    ("has_high_shoulder", "A shoulder is higher than the road"),
    ("has_secondary_ditch", "A second ditch runs along the edge"),
)
FIGURES: tuple[tuple[str, str, str, str], ...] = (
    ("crossfall_pct", "Crossfall", "%", "for example 4"),
    ("gravel_mm", "Gravel thickness", "mm", ""),
    ("corrugation_mm", "Washboard, depth", "mm", "from trough to crest"),
    ("corrugation_spacing_m", "Washboard, spacing", "m", "from crest to crest"),
    ("pothole_mm", "Potholes, depth", "mm", ""),
    ("pothole_width_mm", "Potholes, width", "mm", ""),
    ("pothole_count_per_km", "Potholes, number", "1/km", ""),
    ("rut_mm", "Ruts, depth", "mm", ""),
    ("loose_mm", "Loose stone, depth", "mm", ""),
    ("iri_m_km", "Roughness, IRI", "m/km", "of a measured profile"),
)
CHOICES: tuple[tuple[str, str, tuple[tuple[str, str], ...]], ...] = (
    ("dust", "Dust behind a car", (("none", "none"), ("low", "low"), ("medium", "medium"),
     ("high", "high"))),
    ("ditch", "Ditch", (("clear", "clear"), ("shallow", "shallow"), ("blocked", "blocked"),
     ("none", "none where one is needed"))),
    ("shoulder", "Shoulder", (("even", "even with the road"), ("high", "higher than the road"),
     ("low", "lower: a drop"), ("eroded", "washed out"))),
    ("windrow_side", "Windrow left", (("left", "on the left"), ("right", "on the right"),
     ("both", "on both sides"))),
)  # fmt: skip
SIDES = (("both", "both sides"), ("left", "left only"), ("right", "right only"))
_OURS_TO_TYPED = {"mm": "in", "m": "ft", "1/km": "1/mi"}


def typed_unit(unit: str, measures: Measures) -> str:
    """The unit a person types a figure in.

    Examples
    --------
    >>> typed_unit("mm", Measures("us")), typed_unit("mm", Measures()), typed_unit("%", Measures())
    ('in', 'mm', '%')
    """
    return _OURS_TO_TYPED.get(unit, unit) if measures.system == "us" else unit


def cells_of(posted: Mapping[str, str], segment_id: str, measures: Measures) -> dict[str, str]:
    """What was typed, as cells of a survey in the engine's units; empty ones say nothing."""
    cells = {"segment_id": segment_id}
    units = {name: unit for name, _, unit, _ in FIGURES} | {"from_m": "m", "to_m": "m"}
    names = (
        "observed_on", "observer", "last_bladed_on", "note", "side", *SCORE_WORDS,
        *(name for name, *_ in CHOICES), *units,
    )  # fmt: skip
    for name in names:
        text = posted.get(name, "").strip()
        if text:
            cells[name] = _in_our_unit(text, units.get(name, ""), measures)
    for name, _ in FLAGS:
        if name in posted:
            cells[name] = "yes"
    return cells


def inspection_form(
    segment: Segment,
    posted: Mapping[str, str],
    problems: Iterable[Problem],
    *,
    today: date,
    observer: str,
    most_mb: float,
    following: Segment | None,
    measures: Measures,
) -> dict[str, Any]:
    """Everything the form shows: fields with their words, what was typed, and what is wrong."""
    wrong: dict[str, str] = {}
    for problem in problems:
        field = problem.where.rpartition(", ")[2]
        wrong.setdefault(field, measures.words(problem.message))
    unit = typed_unit("m", measures)
    return {
        "id": segment.id,
        "route": segment.route,
        "where": where_on(segment, measures),
        "length": measures.show(segment.length_m, "m"),
        "today": today.isoformat(),
        "day": posted.get("observed_on") or today.isoformat(),
        "observer": posted.get("observer", observer),
        "last_bladed_on": posted.get("last_bladed_on", ""),
        "note": posted.get("note", ""),
        "scores": [_score(name, posted, wrong, measures) for name in SCORE_WORDS],
        "flags": [{"name": name, "label": label, "is_on": name in posted} for name, label in FLAGS],
        "figures": [
            {
                "name": name,
                "label": label,
                "unit": typed_unit(each, measures),
                "hint": hint,
                "value": posted.get(name, ""),
                "wrong": wrong.get(name, ""),
            }
            for name, label, each, hint in FIGURES
        ],
        "choices": [
            {
                "name": name,
                "label": label,
                "options": [
                    {"key": key, "label": words, "is_on": posted.get(name) == key}
                    for key, words in options
                ],
                "wrong": wrong.get(name, ""),
            }
            for name, label, options in CHOICES
        ],
        "ends": [
            {
                "name": name,
                "label": label,
                "unit": unit,
                "value": posted.get(name, ""),
                "wrong": wrong.get(name, ""),
            }
            for name, label in (("from_m", "From"), ("to_m", "To"))
        ],
        "sides": [
            {"key": key, "label": label, "is_on": posted.get("side", "both") == key}
            for key, label in SIDES
        ],
        "wrong": wrong,
        "wrong_elsewhere": [words for field, words in wrong.items() if field not in _SHOWN_BESIDE],
        "n_wrong": len(wrong),
        "is_measured": any(posted.get(name) for name in _MEASURED) or bool(_MEASURED & {*wrong}),
        "is_part": any(posted.get(name) for name in ("from_m", "to_m"))
        or posted.get("side", "both") != "both"
        or bool({"from_m", "to_m", "side"} & {*wrong}),
        "most_mb": f"{most_mb:g}",
        "following": None
        if following is None
        else {"id": following.id, "where": where_on(following, measures)},
    }


_MEASURED = {name for name, *_ in FIGURES} | {name for name, *_ in CHOICES}
_SHOWN_BESIDE = {
    *_MEASURED,
    *SCORE_WORDS,
    "from_m",
    "to_m",
    "observed_on",
    "last_bladed_on",
    "photos",
}


def _score(
    name: str, posted: Mapping[str, str], wrong: Mapping[str, str], measures: Measures
) -> dict[str, Any]:
    label, words = SCORE_WORDS[name]
    return {
        "name": name,
        "label": label,
        "wrong": "choose one" if wrong.get(name) == "is missing" else wrong.get(name, ""),
        "steps": [
            {
                "value": str(value),
                "rating": RATING_NAMES[value],
                "words": measures.words(text),
                "is_on": posted.get(name) == str(value),
            }
            for value, text in words.items()
        ],
    }


def _in_our_unit(text: str, unit: str, measures: Measures) -> str:
    typed = typed_unit(unit, measures)
    if typed == unit:
        return text
    try:
        value = float(text)
    except ValueError:
        return text
    if unit == "1/km":
        return repr(value / convert(1.0, "mi", "km"))
    return repr(convert(value, typed, unit))
