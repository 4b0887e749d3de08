"""Where the section changes along the job: ends, decks, rails, culverts, driveways.

Each becomes a step at its chainage. Gravel and loose fines stay off pavement, decks and rails.
"""

from __future__ import annotations

from crossfall.design.site import Site
from crossfall.design.words import metres, percent
from crossfall.model import PointFeature

_MOST_CURVES = 4
_AT_FEATURE = {
    "bridge": "blade clear of the deck, crown flattened over {runout} each side, deck swept",
    "rail_crossing": "blade up, crown flattened over {runout} each side to meet the rails,"
    " flangeways left clean",
    "cattle_guard": "blade up, nothing pushed into the pit",
    "ford": "blade up, nothing pushed into the water",
}
_WHEN_CUTTING = {
    "culvert": "keep blade and teeth off markers and ends, leave the inlet open",
    "pipeline": "no cut and no teeth before the owner has located it",
    "survey_monument": "blade and teeth up",
}
_WORDS = {
    "bridge": ("bridge", "bridges"),
    "rail_crossing": ("rails", "rails"),
    "cattle_guard": ("cattle guard", "cattle guards"),
    "ford": ("ford", "fords"),
    "culvert": ("culvert", "culverts"),
    "pipeline": ("pipeline", "pipelines"),
    "survey_monument": ("survey monument", "survey monuments"),
}


def transition_steps(
    site: Site, from_m: float, to_m: float, *, is_cutting: bool = True
) -> tuple[str, ...]:
    """Steps for everything between two chainages where the blade must do something else.

    Features of one kind share a step. What only asks for care, such as an overhead line, is a
    caution on the card and no step.
    """
    curves = [span for span in site.tools.curves.of(site.segment) if _meets(span, from_m, to_m)]
    if not site.features and not any(site.meets_paved) and not curves:
        return ()
    runout = metres(site.tools.design.shape.runout_m)
    steps = []
    if site.meets_paved[0] and from_m <= 0:
        steps.append(f"From 0 to {runout}: run the crown out to meet the paved road; sweep it")
    if site.meets_paved[1] and to_m >= site.segment.length_m:
        start = metres(max(0.0, site.segment.length_m - site.tools.design.shape.runout_m))
        steps.append(f"From {start}: run the crown out to meet the paved road; sweep it")
    asks = {**_AT_FEATURE, **_WHEN_CUTTING} if is_cutting else _AT_FEATURE
    if curves:
        where = ", ".join(f"{metres(low)} to {metres(high)}" for low, high in curves[:_MOST_CURVES])
        steepest = percent(site.tools.design.shape.superelevation_max_pct)
        steps.append(
            f"Curve {where}: where it is banked keep one plane, at most {steepest}, and run the"
            f" crown out over {runout} at both ends"
        )
    places: dict[str, list[float]] = {}
    for feature in site.features:
        if _lies(feature, from_m, to_m):
            places.setdefault(feature.kind, []).append(feature.at_m or 0.0)
    for kind, text in asks.items():
        if kind in places:
            where = ", ".join(metres(at_m) for at_m in places[kind])
            word = _WORDS[kind][len(places[kind]) > 1]
            steps.append(f"At {where} {word}: {text.format(runout=runout)}")
    n_driveways = len(places.get("driveway", ()))
    if n_driveways:
        these = "driveway" if n_driveways == 1 else f"{n_driveways} driveways"
        steps.append(f"Meet the {these} without a ridge")
    return tuple(steps)


def _meets(span_m: tuple[float, float], from_m: float, to_m: float) -> bool:
    return span_m[0] < to_m and span_m[1] > from_m


def _lies(feature: PointFeature, from_m: float, to_m: float) -> bool:
    return feature.at_m is not None and from_m <= feature.at_m <= to_m
