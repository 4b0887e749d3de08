"""Machines' tracks: whether they may be used at all, how long they are kept, how they are read."""

from __future__ import annotations

from dataclasses import dataclass

from crossfall.model.policy.setting import setting


@dataclass(frozen=True, slots=True)
class TracksPolicy:
    """Tracks show where a person was and when; they stay off until the agency turns them on.

    Examples
    --------
    >>> TracksPolicy().is_on
    False
    """

    is_on: bool = setting(
        False,
        unit="-",
        doc="Whether tracks of machines may be brought in and kept. Off until the agency decides;"
        " a track can be looked at without it, and nothing of it is stored then.",
    )
    keep_days: int = setting(
        30,
        unit="day",
        doc="A proposal made from a track is kept so long and then purged; fixes and times of day"
        " are never kept. Records of work and the sums of a machine's day stay.",
        low=0,
        high=3650,
    )
    noise_m: float = setting(
        6.5,
        unit="m",
        doc="Standard deviation of a fix, east and north each.",
        low=0.5,
        high=50.0,
    )
    search_m: float = setting(
        35.0,
        unit="m",
        doc="A road further than this from a fix is not the one the machine is on.",
        low=10.0,
        high=150.0,
    )
    n_candidates: int = setting(
        6, unit="roads", doc="Most roads weighed for one fix, nearest first.", low=2, high=16
    )
    detour_m: float = setting(
        5.0,
        unit="m",
        doc="Scale of the difference between the way along roads and the straight line between"
        " two fixes (beta of Newson and Krumm); ours is for short steps.",
        low=0.5,
        high=200.0,
    )
    thin_m: float = setting(
        15.0,
        unit="m",
        doc="Fixes closer than this to the last one that was used only say when.",
        low=2.0,
        high=100.0,
    )
    smooth_m: float = setting(
        12.0,
        unit="m",
        doc="Fixes are averaged over so much travel before they are matched; a median over five"
        " takes out single jumps first.",
        low=0.0,
        high=100.0,
    )
    longest_gap_s: float = setting(
        300.0,
        unit="s",
        doc="A longer silence ends the drive; nothing is made up in between.",
        low=10.0,
        high=3600.0,
    )
    fastest_km_h: float = setting(
        120.0, unit="km/h", doc="A fix that asks for more is set aside.", low=40.0, high=250.0
    )
    turn_back_m: float = setting(
        25.0,
        unit="m",
        doc="A machine that came back by less than this has not turned.",
        low=5.0,
        high=100.0,
    )
    cell_m: float = setting(
        20.0, unit="m", doc="Length of the pieces in which passes are counted.", low=5.0, high=100.0
    )
    pass_share: float = setting(
        0.3,
        unit="-",
        doc="A pass counts when at least this share of the worked cells saw it: a silence of the"
        " device takes a part of a pass away and not the pass.",
        low=0.05,
        high=0.5,
    )
    least_pass_m: float = setting(
        75.0,
        unit="m",
        doc="Less than this with the blade down is no pass; a shorter segment counts only when the"
        " blade stayed down from the road before it to the road behind it.",
        low=10.0,
        high=500.0,
    )
    faulty_bit_share: float = setting(
        0.05,
        unit="-",
        doc="Fixes whose blade bit is believed wrong.",
        low=0.001,
        high=0.4,
    )
    seconds_a_change: float = setting(
        300.0,
        unit="s",
        doc="A blade is believed to be raised or lowered about once in so long.",
        low=10.0,
        high=36_000.0,
    )
    work_slowest_km_h: float = setting(
        2.5, unit="km/h", doc="Without a blade bit: slower is standing.", low=0.5, high=5.0
    )
    work_fastest_km_h: float = setting(
        15.0,
        unit="km/h",
        doc="Faster is travelling; it outweighs a blade bit, and stands for one where there is"
        " none.",
        low=8.0,
        high=25.0,
    )
    work_sustained_m: float = setting(
        100.0,
        unit="m",
        doc="Without a blade bit: working speed must be held over so much road.",
        low=20.0,
        high=1000.0,
    )
    inferred_least_m: float = setting(
        200.0,
        unit="m",
        doc="Without a blade bit: less than this, or half of a shorter segment, is no work.",
        low=20.0,
        high=5000.0,
    )
    fast_km_h: float = setting(
        8.0,
        unit="km/h",
        doc="Blading clearly faster than this is marked: check, risk of corrugation.",
        evidence="common practice",
        low=4.0,
        high=20.0,
    )
    fast_margin_km_h: float = setting(
        0.15,
        unit="km/h",
        doc="A leg is clearly faster when it exceeds the speed by this and by its own uncertainty.",
        low=0.0,
        high=3.0,
    )
    speed_least_m: float = setting(
        100.0,
        unit="m",
        doc="A leg shorter than this, or than half its segment, tells no working speed.",
        low=20.0,
        high=1000.0,
    )
    speed_most_km_h: float = setting(
        60.0,
        unit="km/h",
        doc="A leg faster than this with the blade down is not believed.",
        low=15.0,
        high=120.0,
    )
    longest_turn_s: float = setting(
        600.0,
        unit="s",
        doc="Between two passes of a road: a shorter pause is a turn and belongs to the job, a"
        " longer one is something else.",
        low=30.0,
        high=3600.0,
    )
    finished_share: float = setting(
        0.9,
        unit="-",
        doc="Share of a card's length that must have its passes before it is proposed as done.",
        low=0.5,
        high=1.0,
    )
