"""From a card that comes back to a record of what was really done.

The card is the order, the record is the outcome. What the crew does not say is taken from the
card's stage only where it cannot be otherwise (place and treatment of finished work); hours are
never taken from the plan, or the plan would teach itself.
"""

from __future__ import annotations

from datetime import date

from crossfall.errors import InputError, UnitsError
from crossfall.model import JobCard, Money, Side, Stage, WorkRecord
from crossfall.model.policy.records import RecordsPolicy

_MINUTES_AN_HOUR = 60.0


def close_card(
    card: JobCard,
    stage: Stage,
    *,
    by: str,
    hours: float,
    done_on: date | None = None,
    n_passes: int | None = None,
    is_finished: bool = True,
    from_m: float | None = None,
    to_m: float | None = None,
    windrow_side: Side | None = None,
    is_windrow_in_travelled_way: bool = False,
    is_culvert_open: bool = False,
    loose_gravel_m3: float = 0.0,
    n_loads: int = 0,
    water_l: float = 0.0,
    cost: Money | None = None,
    note: str = "",
    supersedes: str | None = None,
    policy: RecordsPolicy | None = None,
) -> WorkRecord:
    """The record of a card's work.

    Parameters
    ----------
    card, stage
        The issued card and the stage it orders.
    by
        Who reports, not empty.
    hours
        Grader hours on the job, travel left out [h].
    from_m, to_m
        What was reached of unfinished work, metres from the segment's start; finished work
        covers the stage.

    Raises
    ------
    InputError
        If card and stage differ, the card is not issued, hours or counts are impossible, the
        place lies outside the stage, or a windrow in the travelled way has no side.
    UnitsError
        If the hours look like minutes.
    """
    limits = policy or RecordsPolicy()
    _check_card(card, stage)
    if not by.strip():
        raise InputError("by is empty; expected the name of whoever did the work")
    _check_hours(hours, limits)
    passes = stage.n_passes if n_passes is None and is_finished else n_passes
    if passes is None:
        raise InputError("n_passes is missing; say how many passes of unfinished work were made")
    if passes < 0 or n_loads < 0 or loose_gravel_m3 < 0 or water_l < 0:
        raise InputError("passes, loads, gravel and water cannot be negative")
    if is_windrow_in_travelled_way and windrow_side is None:
        raise InputError("a windrow in the travelled way needs windrow_side: left, right or both")
    start, end = _place(stage, is_finished, from_m, to_m)
    day = card.day if done_on is None else done_on
    return WorkRecord(
        id=f"{card.id}-{day:%Y%m%d}",
        segment_id=card.segment_id,
        done_on=day,
        treatment=stage.treatment,
        n_passes=passes,
        hours=hours,
        by=by.strip(),
        card_id=card.id,
        from_m=start,
        to_m=end,
        is_finished=is_finished,
        windrow_side=windrow_side,
        is_windrow_in_travelled_way=is_windrow_in_travelled_way,
        is_culvert_open=is_culvert_open,
        loose_gravel_m3=loose_gravel_m3,
        n_loads=n_loads,
        water_l=water_l,
        cost=cost,
        note=note,
        supersedes=supersedes,
    )


def _check_card(card: JobCard, stage: Stage) -> None:
    if card.stage_id != stage.id:
        raise InputError(
            f"card {card.number} orders stage {card.stage_id}, not {stage.id};"
            " give the stage of this card"
        )
    if card.status != "issued":
        raise InputError(f"card {card.number} is {card.status}; only an issued card can be closed")


def _check_hours(hours: float, limits: RecordsPolicy) -> None:
    if not hours > 0:
        raise InputError(f"hours is {hours:g}; expected more than 0")
    if hours > limits.most_hours_a_day:
        if hours / _MINUTES_AN_HOUR <= limits.most_hours_a_day:
            raise UnitsError(
                f"hours is {hours:g}; expected hours of one day, up to"
                f" {limits.most_hours_a_day:g}; the figure looks like minutes"
            )
        raise InputError(
            f"hours is {hours:g}; expected hours of one day, up to {limits.most_hours_a_day:g}"
        )


def _place(
    stage: Stage, is_finished: bool, from_m: float | None, to_m: float | None
) -> tuple[float | None, float | None]:
    if from_m is None and to_m is None:
        return (stage.from_m, stage.to_m) if is_finished else (None, None)
    start = stage.from_m if from_m is None else from_m
    end = stage.to_m if to_m is None else to_m
    if not stage.from_m - 1 <= start < end <= stage.to_m + 1:
        raise InputError(
            f"from_m {start:g} to to_m {end:g} is not inside the stage,"
            f" {stage.from_m:g} to {stage.to_m:g} m"
        )
    return start, end
