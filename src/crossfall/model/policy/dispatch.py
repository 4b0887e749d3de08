"""Shifts, turns, travel and what an hour is worth."""

from __future__ import annotations

from dataclasses import dataclass

from crossfall.model.need import Treatment
from crossfall.model.policy.setting import setting


def _skill_for() -> dict[Treatment, Treatment]:
    return {
        Treatment.SCARIFY_REMIX: Treatment.RESHAPING,
        Treatment.SHOULDER_PULLING: Treatment.RESHAPING,
        Treatment.SECONDARY_DITCH_REMOVAL: Treatment.RESHAPING,
        Treatment.DITCH_CLEANING: Treatment.RESHAPING,
        Treatment.CULVERT_CLEARING: Treatment.RESHAPING,
        Treatment.SPOT_GRAVEL: Treatment.REGRAVELLING,
        Treatment.DUST_CONTROL: Treatment.BLADING,
        Treatment.WINDROW_PICKUP: Treatment.BLADING,
    }


@dataclass(frozen=True, slots=True)
class DispatchPolicy:
    """Shifts, turns, travel and what an hour is worth."""

    hour_price: float = setting(
        0.25,
        unit="h/h",
        doc="Worth that one more grader hour must bring before it is spent; below 1 because the"
        " crew is paid for the shift anyway, above 0 for fuel, wear and readiness",
        low=0.0,
        high=2.0,
    )
    is_overtime_planned: bool = setting(
        False,
        unit="yes or no",
        doc="Whether a plan may count on grader operators' overtime, each up to their own limit",
    )
    overtime_price: float = setting(
        1.5,
        unit="h/h",
        doc="Worth that an hour of overtime must bring on top of hour_price",
        low=0.0,
        high=10.0,
    )
    off_beat_price: float = setting(
        0.02,
        unit="h/h",
        doc="What an hour of work in another board district than the operator's home must bring"
        " more, in the search only",
        low=0.0,
        high=5.0,
    )
    service_days: float = setting(
        60.0,
        unit="days",
        doc="A road waits no longer than this for a blade, if it can be helped",
        low=0.0,
        high=1000.0,
    )
    overdue_worth_h: float = setting(
        0.2,
        unit="h",
        doc="What work on a road that has waited longer is worth more, in the search only",
        low=0.0,
        high=20.0,
    )
    may_stay_out: bool = setting(
        False,
        unit="yes or no",
        doc="Whether graders may stand overnight at a camp or where their last job ended",
    )
    pickup_km_h: float = setting(
        60.0,
        unit="km/h",
        doc="Most that the crew's pickup drives, between a machine that stays out and its yard",
        low=10.0,
        high=120.0,
    )
    pickup_mass_t: float = setting(
        3.5, unit="t", doc="Mass of the crew's pickup", low=0.5, high=20.0
    )
    least_saved_min: float = setting(
        10.0,
        unit="min",
        doc="What a night out must save in drives before it is tried",
        low=0.0,
        high=240.0,
    )
    turn_min: float = setting(
        2.0, unit="min", doc="Turning a grader around at a junction or dead end", low=0.0, high=30.0
    )
    turn_on_road_min: float = setting(
        3.0, unit="min", doc="Turning a grader around between junctions", low=0.0, high=30.0
    )
    pretrip_min: float = setting(
        15.0,
        unit="min",
        doc="Walk-round, greasing and warming up before leaving the yard",
        low=0.0,
        high=120.0,
    )
    break_min: float = setting(
        30.0, unit="min", doc="Length of the meal break", low=0.0, high=120.0
    )
    break_over_h: float = setting(
        6.0, unit="h", doc="Shifts longer than this have a meal break", low=0.0, high=24.0
    )
    break_latest_h: float = setting(
        5.0, unit="h", doc="The break begins no later than this into the shift", low=0.0, high=24.0
    )
    time_zone: str = setting(
        "",
        unit="IANA name",
        doc="Zone of the clock that crews go by, such as America/Denver, for the hour of sunset;"
        " empty for the full hour nearest to the sun's, without summer time. A workspace's own"
        " zone is used when this is empty",
    )
    dusk_margin_min: float = setting(
        30.0,
        unit="min",
        doc="Machines are home and windrows closed this long before sunset",
        low=0.0,
        high=180.0,
    )
    open_windrow_m: float = setting(
        1700.0,
        unit="m",
        doc="Most length of windrow that one grader leaves open at once: longer work is cut into"
        " stages, and no more lies between a way out and its way back",
        low=100.0,
        high=50000.0,
    )
    windrow_open_max_min: float = setting(
        90.0,
        unit="min",
        doc="Longest that a windrow lies after a pass before the next pass of the same stage",
        low=0.0,
        high=600.0,
    )
    work_weekdays: tuple[int, ...] = setting(
        (0, 1, 2, 3, 4),
        unit="weekdays",
        doc="Days on which crews go out, 0 for Monday to 6 for Sunday",
    )
    closing_worth_h: float = setting(
        100.0,
        unit="h",
        doc="Worth, in the search only, of finishing a stage that lies half done",
        low=0.0,
        high=1000.0,
    )
    keep_machine_h: float = setting(
        0.3,
        unit="h",
        doc="What a change must earn before a stage of an earlier plan goes to another machine",
        low=0.0,
        high=20.0,
    )
    keep_day_h: float = setting(
        0.15,
        unit="h",
        doc="What a change must earn before a stage of an earlier plan goes to another day",
        low=0.0,
        high=20.0,
    )
    trainee_not_alone: tuple[Treatment, ...] = setting(
        (Treatment.RESHAPING, Treatment.SCARIFY_REMIX, Treatment.REGRAVELLING),
        unit="treatments",
        doc="Work that a trainee does not do without somebody experienced beside them",
    )
    skill_for: dict[Treatment, Treatment] = setting(  # noqa: RUF009
        unit="treatment to treatment",
        doc="Who can do the second may be sent to do the first",
        factory=_skill_for,
    )
    water_truck_share: float = setting(
        1.0,
        unit="h/h",
        doc="Water-truck hours for each blade-down hour of work that is allowed only if watered",
        low=0.0,
        high=4.0,
    )
    most_segments_searched: int = setting(
        6000,
        unit="segments",
        doc="Most segments the search looks at; beyond it, those worth most for their hours",
        low=10,
        high=20000,
    )
    most_travel_steps: float = setting(
        1.5e8,
        unit="steps",
        doc="Most work spent on travel times: ways into worked segments times directed roads",
        low=1e6,
        high=1e10,
    )
    n_neighbours: int = setting(
        40,
        unit="stages",
        doc="Near stages taken out and put back together",
        low=5,
        high=200,
    )
