"""The words of the cautions, and where along the job they apply.

They remind; they do not teach, and they never replace local codes and licensed practice. The
one that says so is on every card.
"""

from __future__ import annotations

from collections.abc import Sequence

from crossfall.design.cautions import caution_keys
from crossfall.errors import InputError
from crossfall.model import Caution, PointFeature, Stage
from crossfall.model.policy.permission import PermissionPractice

_NBSP = "\N{NO-BREAK SPACE}"

WORDS: dict[str, str] = {
    "rail": "Railway. Only with the railway's leave. Nothing on the rails or in the flangeways."
    " Machine stuck: everybody off, call the emergency number on the crossing's sign.",
    "bridge_deck": "Bridge. Blade clear of deck, joints and rails; mind the posted limit.",
    "culvert_ends": "Culvert. Blade off the markers and ends; edge may be undermined.",
    "cattle_guard": "Cattle guard. Blade up over the grid; nothing pushed in.",
    "water_near": "Water or well near. No windrow, spoil, fuel or spray on that side.",
    "pipeline": "Pipeline. No cut, no teeth until the owner has located it and agreed.",
    "overhead_line": "Overhead line. No raised bed, mast or boom under it. Keep the distance that"
    " the owner gives.",
    "survey_monument": "Survey monument. Blade and teeth up; report any damage.",
    "utilities": "Utilities. No cut before everything buried is located and marked. Dig by hand"
    " near the marks.",
    "utilities_shallow": "Utilities. Before the cut ask what lies shallow here; no deeper than"
    " this card says. Tape, pipe or cable comes up: stop, stay off, call.",
    "right_of_way": "Narrow right of way. Nothing cut, dumped or parked beyond the line that is"
    " agreed.",
    "trench": "Trench and ditch. Nobody in an unshored cut or under an undercut bank. Nobody enters"
    " a pipe.",
    "open_culvert": "Open culvert. Never left open in the travelled way without signs, barricade"
    " and the foreman's approval.",
    "backing_trucks": "Backing trucks. One spotter, one signal, alarm on. Nobody on foot behind a"
    " truck.",
    "raised_beds": "Raised beds. Look up before lifting; bed down before driving on.",
    "pit_rules": "Pit. Follow its rules: hard hat, radio, right of way, no one under the face.",
    "soft_shoulder": "Soft shoulder. Keep the wheels on firm ground; the edge may give way.",
    "spray": "Spray. Gloves and eye protection; keep people and animals off; read the product's"
    " data sheet.",
    "open_windrow": "Windrow. None left in the travelled way at shift end, at dusk or before rain"
    " unless marked, low and approved by the foreman."
    f" At 305{_NBSP}mm, or with no room to pass: close or detour.",
    "turning": "Turning. Never near a crest, on a curve or in a private drive.",
    "driveways": "Driveways. Watch for cars, children and school buses; leave no ridge.",
    "lightning": "Lightning. Thunder heard: stop, stay in the cab or a vehicle, off high ground.",
    "work_zone": "Work zone. Signs and beacon first, by the local manual; vest on; last sign down"
    " after the last machine.",
    "with_traffic": "Traffic. Every pass goes with the traffic. Pull over for a queue; slow before"
    " curves and crests.",
    "seat_belt": "Seat belt on. Walk round before moving. Blade down and brake set before getting"
    " off.",
    "alone_and_phone": "Alone. Check in at the agreed times. Phone only when stopped, blade down,"
    " brake set.",
    "local_codes": "Local codes, your agency's rules and licensed practice govern; this card never"
    " replaces them. In doubt, stop and ask.",
}

_MARKED_BY = {
    "rail": {"rail_crossing"},
    "bridge_deck": {"bridge"},
    "culvert_ends": {"culvert"},
    "cattle_guard": {"cattle_guard"},
    "water_near": {"stream", "ford", "well", "wetland"},
    "right_of_way": {"right_of_way"},
    "pipeline": {"pipeline"},
    "overhead_line": {"overhead_line"},
    "survey_monument": {"survey_monument"},
}


def cautions_for(
    stage: Stage,
    features: Sequence[PointFeature],
    practice: PermissionPractice | None = None,
) -> tuple[Caution, ...]:
    """Cautions of one stage, those at a place first.

    Examples
    --------
    >>> caution("seat_belt").text.split(".")[0]
    'Seat belt on'
    """
    return tuple(
        caution(key, at=_places(key, stage, features))
        for key in caution_keys(stage, features, practice)
    )


def caution(key: str, *, at: str = "") -> Caution:
    """One caution by its key.

    Raises
    ------
    InputError
        If the key is unknown.
    """
    if key not in WORDS:
        raise InputError(f"caution {key!r} is unknown; expected one of {', '.join(WORDS)}")
    return Caution(key, WORDS[key], at)


def _places(key: str, stage: Stage, features: Sequence[PointFeature]) -> str:
    kinds = _MARKED_BY.get(key, set())
    found = sorted(
        feature.at_m
        for feature in features
        if feature.kind in kinds
        and feature.at_m is not None
        and stage.from_m <= feature.at_m <= stage.to_m
    )
    return ", ".join(f"{at_m:,.0f}{_NBSP}m" for at_m in found)
