"""How the invented country is made: shares, sizes and names, all ours and all invented."""

from __future__ import annotations

from dataclasses import dataclass

MILE_M = 1609.344

INVENTED = "invented for the demo"
"""The source that every invented fact carries."""

AVENUES = (
    "Avocet", "Bluestem", "Curlew", "Dogwood", "Egret", "Foxtail", "Grosbeak", "Harrier",
    "Indigo", "Juniper", "Killdeer", "Larkspur", "Meadowlark", "Nettle", "Oriole", "Plover",
    "Quail", "Redpoll", "Sandpiper", "Teal", "Upland", "Vetch", "Willet", "Yarrow",
)  # fmt: skip
"""North-south roads, in order from the west."""

VILLAGES = ("Osier City", "Pellwick", "Harrow Flat", "Siskin Junction", "Tamber")

HIGHWAYS = ("State Highway 58", "State Highway 203")
"""East-west, north-south."""


@dataclass(frozen=True, slots=True)
class Recipe:
    """Shares and sizes of a section grid. Lengths in metres."""

    pieces_per_mile: float = 1.33
    """Maintenance segments for each section-line mile: some miles are cut in two."""
    missing_share: float = 0.17
    """Share of section lines that never got a road."""
    aspect: float = 1.2
    """Width of the sheet over its height."""
    correction_every: int = 24
    """Sections between correction lines, where the meridians are set over."""
    correction_shift_m: float = 440.0
    jitter_m: float = 9.0
    """Scatter of section corners about their place."""
    creek_clearance_m: float = 240.0
    """Roads keep this far from the water unless they cross it."""
    bridge_share: float = 0.42
    """Of section lines that meet the creek: those that got a bridge."""
    stop_share: float = 0.33
    """... and those that stop at the bank; the rest were never built."""
    slough_share: float = 0.05
    """Section lines that swing around a slough."""
    half_road_share: float = 0.025
    """Sections with a road through their middle."""
    block_m: tuple[float, float] = (125.0, 145.0)
    """A village block, east-west and north-south."""
    collector_every: int = 4
