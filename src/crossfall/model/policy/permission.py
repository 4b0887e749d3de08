"""When work asks for leave that is not the agency's to give."""

from __future__ import annotations

from dataclasses import dataclass

from crossfall.model.policy.setting import setting


@dataclass(frozen=True, slots=True)
class PermissionPractice:
    """Which cuts ask for buried lines to be located, and how near to them one digs by hand."""

    utilities_cut_mm: float = setting(
        150.0,
        unit="mm",
        doc="A cut of the road surface deeper than this asks for buried lines to be located first;"
        " 0 asks for every cut. Ditches, shoulders and culverts always ask. The law varies:"
        " set what yours says.",
        low=0.0,
        high=600.0,
    )
    hand_dig_m: float = setting(
        0.6096,
        unit="m",
        doc="Nearer than this to a marked line one digs by hand (24 in).",
        evidence="published",
        source="call-before-you-dig pages of a Minnesota city and a Missouri cooperative",
        low=0.3,
        high=3.0,
    )
    notice_days: int = setting(
        3,
        unit="working days",
        doc="Ask for buried lines to be located so long before the work.",
        evidence="published",
        source="call-before-you-dig pages of a Minnesota city and a Missouri cooperative (2 to 3)",
        low=1,
        high=20,
    )
