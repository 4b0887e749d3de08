"""What OpenStreetMap tags say of a road, and what they do not say.

A surface is what the tag says, or what the track grade suggests, or unknown;
it is never assumed. Widths without a unit are metres by the convention of the
source.
"""

from __future__ import annotations

import re
from collections.abc import Mapping

from crossfall.io.network.options import NetworkOptions, is_maintained
from crossfall.model.network import BackdropKind, FeatureKind, RoadClass, Surface, SurfaceSource
from crossfall.network.roads import RoadFacts

Tags = Mapping[str, str]

ROAD_CLASS: dict[str, RoadClass] = {
    "trunk": "arterial",
    "trunk_link": "arterial",
    "primary": "arterial",
    "primary_link": "arterial",
    "secondary": "arterial",
    "secondary_link": "arterial",
    "tertiary": "collector",
    "tertiary_link": "collector",
    "unclassified": "local",
    "residential": "local",
    "living_street": "local",
    "road": "local",
    "service": "minimum",
    "track": "minimum",
}
"""Road class of each kind of drivable way."""

CLOSED_TO_MACHINES = {"motorway": "motorways", "motorway_link": "motorways"}
"""Ways that a grader may not travel on; left out, and counted."""

SURFACE: dict[str, Surface] = {
    **dict.fromkeys(
        ("gravel", "fine_gravel", "compacted", "pebblestone", "shells", "chippings"), "gravel"
    ),
    **dict.fromkeys(
        ("dirt", "earth", "ground", "soil", "mud", "sand", "clay", "grass", "rock", "woodchips"),
        "earth",
    ),
    **dict.fromkeys(
        (
            "paved",
            "asphalt",
            "concrete",
            "concrete:plates",
            "concrete:lanes",
            "paving_stones",
            "paving_stones:30",
            "sett",
            "cobblestone",
            "cobblestone:flattened",
            "unhewn_cobblestone",
            "bricks",
            "brick",
            "chipseal",
            "metal",
            "wood",
            "grass_paver",
        ),
        "paved",
    ),
}
"""Surfaces that a tag names. ``unpaved`` is not here: it does not say which."""

TRACK_GRADE: dict[str, Surface] = {
    "grade1": "paved",
    "grade2": "gravel",
    "grade3": "gravel",
    "grade4": "earth",
    "grade5": "earth",
}

_WATER: dict[str, BackdropKind] = {"river": "water", "stream": "stream"}
_TRACKS_BESIDE = {"siding", "spur", "yard", "crossover"}
_YES = {"yes", "true", "1"}
_NOT_A_BRIDGE = {"", "no", "abandoned", "razed", "proposed"}
_NUMBER = re.compile(r"^\s*(\d+(?:[.,]\d+)?)\s*(m|ft|'|t|lbs|st)?\s*$")
_FEET_INCHES = re.compile(r"^\s*(\d+)'(?:\s*(\d+)\")?\s*$")
_FOOT_M = 0.3048
_TONNES = {"": 1.0, "t": 1.0, "lbs": 0.45359237e-3, "st": 0.90718474}


def why_not_a_road(tags: Tags) -> str | None:
    """None for a road that machines travel on, else what it is, for the report."""
    highway = tags.get("highway", "")
    if highway in CLOSED_TO_MACHINES:
        return CLOSED_TO_MACHINES[highway]
    if highway not in ROAD_CLASS:
        return "paths and other ways"
    if tags.get("area") == "yes":
        return "areas"
    if highway == "service" and tags.get("service") in {
        "driveway",
        "parking_aisle",
        "drive-through",
    }:
        return "driveways and parking"
    return None


def surface_of(tags: Tags) -> tuple[Surface, SurfaceSource]:
    """Surface and where it is known from.

    Examples
    --------
    >>> surface_of({"surface": "fine_gravel"})
    ('gravel', 'tag')
    >>> surface_of({"tracktype": "grade4"})
    ('earth', 'inferred')
    >>> surface_of({"highway": "residential"})
    ('unknown', 'unknown')
    """
    said = tags.get("surface", "").split(";")[0].strip().lower()
    if said in SURFACE:
        return SURFACE[said], "tag"
    grade = TRACK_GRADE.get(tags.get("tracktype", ""))
    if said == "unpaved":
        # The tag says that it is loose, not of what; a track grade may say more
        return ("earth" if grade == "earth" else "gravel"), "inferred"
    if grade is not None:
        return grade, "inferred"
    return "unknown", "unknown"


def facts_of(tags: Tags, options: NetworkOptions) -> RoadFacts:
    """What the tags say of the road."""
    surface, surface_source = surface_of(tags)
    width = metres(tags.get("width", ""))
    road_class = ROAD_CLASS[tags["highway"]]
    jurisdiction = "private" if tags.get("access") in {"private", "no"} else ""
    return RoadFacts(
        name=" ".join((tags.get("name") or tags.get("ref") or "").split()),
        road_class=road_class,
        surface=surface,
        surface_source=surface_source,
        is_maintained=is_maintained(
            options, surface=surface, road_class=road_class, jurisdiction=jurisdiction
        ),
        jurisdiction=jurisdiction,
        is_oneway=is_oneway(tags) != 0,
        width_m=width if width is not None and width > 0 else None,
        width_method="estimated",
    )


def is_oneway(tags: Tags) -> int:
    """1 along the way as drawn, -1 against it, 0 both ways."""
    said = tags.get("oneway", "")
    if said in {"-1", "reverse"}:
        return -1
    if said in _YES or (not said and tags.get("junction") in {"roundabout", "circular"}):
        return 1
    return 0


def is_bridge(tags: Tags) -> bool:
    """Whether the way is carried over something."""
    return tags.get("bridge", "") not in _NOT_A_BRIDGE


def level_of(tags: Tags) -> int:
    """Level above (1) or below (-1) the ground; bridges and tunnels without a layer count."""
    try:
        return int(float(tags["layer"]))
    except (KeyError, ValueError):
        if is_bridge(tags):
            return 1
        return -1 if tags.get("tunnel", "no") not in {"no", ""} else 0


def mass_limit_t(tags: Tags) -> float | None:
    """Posted mass limit [t]; a figure without a unit is tonnes."""
    match = _NUMBER.match(tags.get("maxweight", ""))
    if match is None or (match[2] or "") not in _TONNES:
        return None
    return float(match[1].replace(",", ".")) * _TONNES[match[2] or ""]


def metres(said: str) -> float | None:
    """A length as tags write it, in metres; None where it is not a figure.

    Examples
    --------
    >>> metres("5.5"), metres("20 ft"), metres("12'6\\""), metres("narrow")
    (5.5, 6.096, 3.8100000000000005, None)
    """
    feet = _FEET_INCHES.match(said)
    if feet is not None:
        return int(feet[1]) * _FOOT_M + int(feet[2] or 0) * _FOOT_M / 12
    match = _NUMBER.match(said)
    if match is None or match[2] not in {None, "m", "ft"}:
        return None
    return float(match[1].replace(",", ".")) * (_FOOT_M if match[2] == "ft" else 1.0)


def point_kind(tags: Tags) -> tuple[FeatureKind, bool] | None:
    """Kind of a point a crew must know about, and whether it must touch the road."""
    barrier, railway, man_made = (tags.get(k, "") for k in ("barrier", "railway", "man_made"))
    if railway in {"level_crossing", "crossing"}:
        return "rail_crossing", True
    if barrier in {"gate", "lift_gate", "swing_gate", "bump_gate", "sliding_gate"}:
        return "gate", True
    if barrier == "cattle_grid":
        return "cattle_guard", True
    if tags.get("ford", "no") != "no" or tags.get("highway") == "ford":
        return "ford", True
    if tags.get("tunnel") == "culvert" or man_made == "culvert":
        return "culvert", False
    if man_made == "survey_point":
        return "survey_monument", False
    if man_made == "water_well":
        return "well", False
    if tags.get("highway") in {"stop", "give_way"}:
        return "sign", True
    return None


def line_kind(tags: Tags) -> FeatureKind | None:
    """Kind of a line that matters where it crosses a road; railways join by shared nodes only."""
    waterway = tags.get("waterway", "")
    if waterway:
        # A small watercourse in a tunnel under a road is a culvert, whichever word was used
        if tags.get("tunnel") == "culvert" or (
            tags.get("tunnel") == "yes" and waterway in {"stream", "ditch", "drain"}
        ):
            return "culvert"
        if waterway in {"stream", "river", "ditch", "drain", "canal"} and "tunnel" not in tags:
            return "stream"
    if tags.get("man_made") == "pipeline":
        return "pipeline"
    if tags.get("power") in {"line", "minor_line"}:
        return "overhead_line"
    return None


def is_rail(tags: Tags) -> bool:
    """A railway that trains may still run on."""
    return tags.get("railway") in {"rail", "light_rail", "narrow_gauge", "tram", "preserved"}


def backdrop_kind(tags: Tags) -> BackdropKind | None:
    """What a line is drawn as behind the roads, where it is worth drawing.

    Examples
    --------
    >>> backdrop_kind({"waterway": "stream"}), backdrop_kind({"railway": "rail"})
    ('stream', 'rail')
    >>> backdrop_kind({"waterway": "stream", "tunnel": "culvert"}) is None
    True
    """
    if tags.get("tunnel", "no") != "no":
        return None
    if tags.get("railway") == "rail":
        return None if tags.get("service") in _TRACKS_BESIDE else "rail"
    return _WATER.get(tags.get("waterway", ""))
