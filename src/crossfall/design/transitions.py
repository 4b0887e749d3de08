"""Where the section changes along the job: ends, decks, rails, culverts, driveways.

Each becomes a step at its chainage. Gravel and loose fines stay off pavement, decks and rails.
"""

from __future__ import annotations

from crossfall.design.site import Site
from crossfall.design.words import metres
from crossfall.model import PointFeature

_AT_FEATURE = {
    "bridge": "bridge: lift the blade clear of the deck, flatten the crown {runout} before and"
    " after, sweep the deck",
    "rail_crossing": "rail crossing: blade up, flatten the crown {runout} each side to meet the"
    " rails, leave the flangeways clean; only with the railway's leave",
    "cattle_guard": "cattle guard: blade up, nothing pushed into the pit, clean the grid",
    "culvert": "culvert: keep the blade off the markers and ends, leave the inlet open",
    "gate": "gate: keep material off its swing",
    "ford": "ford: blade up, push nothing into the water",
    "stream": "stream: push nothing into the water, no windrow on that side",
    "pipeline": "pipeline marker: no cut and no teeth here before the owner has located it",
    "survey_monument": "survey monument: blade up, no teeth; report it if it has moved",
    "overhead_line": "overhead line: keep beds down and masts low",
}


def transition_steps(site: Site, from_m: float, to_m: float) -> tuple[str, ...]:
    """Steps for everything between two chainages where the blade must do something else.

    Driveways are gathered into one step; there may be dozens.
    """
    if not site.features and not any(site.meets_paved):
        return ()
    runout = metres(site.tools.design.shape.runout_m)
    steps = []
    if site.meets_paved[0] and from_m <= 0:
        steps.append(f"From 0 to {runout}: run the crown out to meet the paved road; sweep it")
    n_driveways = 0
    for feature in site.features:
        if not _lies(feature, from_m, to_m):
            continue
        if feature.kind == "driveway":
            n_driveways += 1
        elif feature.kind in _AT_FEATURE:
            text = _AT_FEATURE[feature.kind].format(runout=runout)
            steps.append(f"At {metres(feature.at_m or 0.0)} {text}")
    length = site.segment.length_m
    if site.meets_paved[1] and to_m >= length:
        start = metres(max(0.0, length - site.tools.design.shape.runout_m))
        steps.append(f"From {start}: run the crown out to meet the paved road; sweep it")
    if n_driveways:
        these = "driveway" if n_driveways == 1 else f"{n_driveways} driveways"
        steps.append(f"Meet the {these} without a ridge; turn elsewhere")
    return tuple(steps)


def _lies(feature: PointFeature, from_m: float, to_m: float) -> bool:
    return feature.at_m is not None and from_m <= feature.at_m <= to_m
