"""Where machines stand at night, as the checker sees it: home again, or at a stay."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date

from crossfall.dispatch.checker_facts import Facts
from crossfall.dispatch.checker_support import Ways
from crossfall.dispatch.standing import Since
from crossfall.model import Itinerary, Plan, Stay, Violation

_SLACK_MIN = 0.01


@dataclass(frozen=True, slots=True)
class Night:
    """Where a machine's day begins and ends, and the operator's rides to and from it [min]."""

    begins_at: frozenset[str]
    ends_at: frozenset[str]
    before_min: float = 0.0
    after_min: float = 0.0


def nights_of(plan: Plan, facts: Facts, since: Since | None) -> dict[tuple[str, date], Night]:
    """For each itinerary the places it must join, by machine and day."""
    stays: dict[str, list[Stay]] = {}
    for stay in plan.stays:
        stays.setdefault(stay.machine_id, []).append(stay)
    found: dict[tuple[str, date], Night] = {}
    for each in plan.itineraries:
        own = stays.get(each.machine_id, [])
        others = [other.day for other in plan.itineraries if other.machine_id == each.machine_id]
        before = [
            stay
            for stay in own
            if stay.night_of < each.day
            and not any(stay.night_of < day < each.day for day in others)
        ]
        after = [stay for stay in own if stay.night_of == each.day]
        home = facts.home_nodes.get(each.machine_id, frozenset())
        is_standing = since is not None and since.standing(each.machine_id, each.day) is not None
        rides = not is_standing and bool(before)
        found[each.machine_id, each.day] = Night(
            frozenset({before[0].node}) if before else home,
            frozenset({after[0].node}) if after else home,
            before[0].shuttle_min if rides else 0.0,
            after[0].shuttle_min if after else 0.0,
        )
    return found


def check_nights(plan: Plan, facts: Facts, since: Since | None) -> Iterator[Violation]:
    """Stays are allowed, at a camp or at the day's last job, and the pickup can make its rides.

    A plan made anew in the middle of a week stays where the one in force has arranged it.
    """
    roads = Ways(facts)
    camps = {place.id: node for place, node in facts.camps}
    for stay in plan.stays:
        where = f"{stay.machine_id} {stay.night_of}"
        if not facts.policy.may_stay_out:
            yield Violation("night", where, "machines are to be home at night")
        if not any(
            each.machine_id == stay.machine_id and each.day > stay.night_of
            for each in plan.itineraries
        ):
            yield Violation("night", where, f"it is never fetched from {stay.node}")
        last = _last_job(plan, stay)
        if stay.place_id:
            if stay.node not in camps.get(stay.place_id, frozenset()):
                yield Violation("night", where, f"{stay.node} is not at camp {stay.place_id}")
        elif since is None and last is not None and stay.node != last:
            yield Violation("night", where, f"its last job ends at {last}, not at {stay.node}")
        machine = facts.machines.get(stay.machine_id)
        if machine is None:
            continue
        pickup = replace(
            machine,
            id="pickup",
            mass_t=facts.policy.pickup_mass_t,
            travel_km_h=facts.policy.pickup_km_h,
        )
        homes = facts.home_nodes.get(stay.machine_id, frozenset())
        least = min((roads.between_min(pickup, home, stay.node) for home in homes), default=0.0)
        if stay.shuttle_min < least - _SLACK_MIN:
            told = f"a ride of {stay.shuttle_min:.1f} min, it takes {least:.1f}"
            yield Violation("night", where, told)


def _last_job(plan: Plan, stay: Stay) -> str | None:
    """Where the last pass before the night ended; None when that day is over already."""
    for each in plan.itineraries:
        if each.machine_id == stay.machine_id and each.day == stay.night_of:
            return _end_of_work(each)
    return None


def _end_of_work(itinerary: Itinerary) -> str | None:
    """The node that the machine leaves its last worked segment by."""
    legs = itinerary.legs
    last = max((i for i, leg in enumerate(legs) if leg.kind == "work"), default=-1)
    if last < 0:
        return None
    end = legs[last]
    for leg in legs[last + 1 :]:
        if leg.segment_id != end.segment_id:
            break
        end = leg if leg.kind == "travel" else end
    return end.to_node
