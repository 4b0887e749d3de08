"""One colour and one short word for each treatment.

The colours keep apart for readers who see red and green alike, but no drawing rests on them
alone: the word stands on the bar, or in the key beside the line.
"""

from __future__ import annotations

from crossfall.model import Treatment

INK = "#1b1b1b"
PAPER = "#fcfbf7"
QUIET = "#c9c5ba"
FONT = "'DejaVu Sans', Verdana, sans-serif"

_FILL = {
    Treatment.BLADING: "#7cc4ea",
    Treatment.RESHAPING: "#0b5f9e",
    Treatment.SCARIFY_REMIX: "#3b2a7a",
    Treatment.REGRAVELLING: "#e69f00",
    Treatment.SPOT_GRAVEL: "#f2d95c",
    Treatment.SHOULDER_PULLING: "#12876a",
    Treatment.SECONDARY_DITCH_REMOVAL: "#0c4f3f",
    Treatment.DITCH_CLEANING: "#c7709f",
    Treatment.CULVERT_CLEARING: "#7d1f4f",
    Treatment.DUST_CONTROL: "#98916a",
    Treatment.WINDROW_PICKUP: "#cf5a12",
    Treatment.ENGINEER: "#1b1b1b",
}
_DARK = frozenset(
    {
        Treatment.RESHAPING,
        Treatment.SCARIFY_REMIX,
        Treatment.SHOULDER_PULLING,
        Treatment.SECONDARY_DITCH_REMOVAL,
        Treatment.CULVERT_CLEARING,
        Treatment.WINDROW_PICKUP,
        Treatment.ENGINEER,
    }
)
_WORD = {
    Treatment.BLADING: "blade",
    Treatment.RESHAPING: "reshape",
    Treatment.SCARIFY_REMIX: "remix",
    Treatment.REGRAVELLING: "regravel",
    Treatment.SPOT_GRAVEL: "spots",
    Treatment.SHOULDER_PULLING: "shoulders",
    Treatment.SECONDARY_DITCH_REMOVAL: "edge ditch",
    Treatment.DITCH_CLEANING: "ditch",
    Treatment.CULVERT_CLEARING: "culverts",
    Treatment.DUST_CONTROL: "dust",
    Treatment.WINDROW_PICKUP: "windrow",
    Treatment.ENGINEER: "engineer",
}


def fill(treatment: Treatment) -> str:
    """Colour of a treatment, ``#rrggbb``."""
    return _FILL.get(treatment, QUIET)


def ink_on(treatment: Treatment) -> str:
    """Colour of letters on that colour."""
    return "#ffffff" if treatment in _DARK else INK


def word(treatment: Treatment) -> str:
    """Short word for a bar or a key.

    Examples
    --------
    >>> word(Treatment.SECONDARY_DITCH_REMOVAL)
    'edge ditch'
    """
    return _WORD.get(treatment, treatment.label)
