"""The cab: when a phone may be touched, how long silence is borne, and how facts travel."""

from __future__ import annotations

from dataclasses import dataclass

from crossfall.model.policy.setting import setting


@dataclass(frozen=True, slots=True)
class CabPolicy:
    """Limits of the field page and of what it sends."""

    speed_low_km_h: float = setting(
        5.0,
        unit="km/h",
        doc="Working speed that is shown with a pass: slower end.",
        evidence="common practice",
        low=1.0,
        high=20.0,
    )
    speed_high_km_h: float = setting(
        8.0,
        unit="km/h",
        doc="Working speed that is shown with a pass: faster end; faster, the blade may bounce.",
        evidence="common practice",
        low=2.0,
        high=25.0,
    )
    moving_km_h: float = setting(
        2.0,
        unit="km/h",
        doc="At and above this speed the page shows and takes no input.",
        low=0.5,
        high=5.0,
    )
    stopped_s: float = setting(
        180.0,
        unit="s",
        doc="Without a touch for so long the page asks again: stopped, blade down, brake set.",
        low=30.0,
        high=1800.0,
    )
    pass_share: float = setting(
        0.9,
        unit="-",
        doc="So much of a pass's length driven along the road counts as a pass seen.",
        low=0.5,
        high=1.0,
    )
    off_road_m: float = setting(
        40.0,
        unit="m",
        doc="Positions farther from the road's line are not on it, for passes seen.",
        low=10.0,
        high=200.0,
    )
    seen_km_h: float = setting(
        16.0,
        unit="km/h",
        doc="Driven faster from end to end it was no pass, but travel.",
        low=5.0,
        high=40.0,
    )
    check_in_h: float = setting(
        2.0,
        unit="h",
        doc="A lone worker checks in at least so often, without being asked.",
        low=0.25,
        high=12.0,
    )
    overdue_min: float = setting(
        15.0,
        unit="min",
        doc="Grace after the time somebody is expected back, or to check in.",
        low=0.0,
        high=120.0,
    )
    skew_told_s: float = setting(
        60.0,
        unit="s",
        doc="A phone's clock that is farther off is told to its user; every time is corrected.",
        low=5.0,
        high=3600.0,
    )
    oldest_days: int = setting(
        30, unit="day", doc="Facts told longer ago are kept and marked as doubtful.", low=1,
        high=365,
    )  # fmt: skip
    note_letters: int = setting(
        500, unit="letters", doc="Longest note with a fact.", low=50, high=4000
    )
    facts_a_batch: int = setting(
        20, unit="facts", doc="Most facts that are sent at once.", low=1, high=200
    )
    photo_side_px: int = setting(
        1600, unit="px", doc="A photo's longer side after the phone made it smaller.", low=400,
        high=8000,
    )  # fmt: skip
    chunk_kb: int = setting(
        128, unit="kB", doc="Photos travel in parts of this size.", low=16, high=2000
    )
    storage_share: float = setting(
        0.8, unit="-", doc="The phone says so when its storage is this full.", low=0.3, high=0.99
    )
    keep_days: int = setting(
        14, unit="day", doc="A phone keeps what arrived, in case the office is restored.", low=1,
        high=90,
    )  # fmt: skip
    code_min: float = setting(
        15.0, unit="min", doc="A pairing code opens once, within this time.", low=1.0, high=1440.0
    )
    code_tries: int = setting(
        10, unit="tries", doc="Wrong codes from one address within that time: it is shut out.",
        low=3, high=100,
    )  # fmt: skip
    code_tries_all: int = setting(
        1000, unit="tries", doc="Wrong codes from all addresses: pairing closes for all.",
        low=10, high=100_000,
    )  # fmt: skip
    device_days: int = setting(
        180, unit="day", doc="A phone that was silent for so long is paired again.", low=1, high=730
    )
    days_ahead: int = setting(
        3, unit="day", doc="Cards of the days ahead that a phone takes along.", low=0, high=14
    )
