"""One machine's day, walked leg by leg: the checker's own reading of an itinerary."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import dataclass, field

from crossfall.dispatch.checker_facts import Facts
from crossfall.dispatch.checker_nights import Night
from crossfall.dispatch.standing import Since, Standing
from crossfall.model import Itinerary, Job, Leg, Segment, Stage, Violation

_SLACK_MIN = 0.01
_SLACK_M = 1.01
"""Ends of stages within a metre of a segment's end count as the end."""

Known = dict[str, tuple[Job, Stage]]


def check_day(
    itinerary: Itinerary, facts: Facts, known: Known, since: Since | None, night: Night
) -> list[Violation]:
    """Rules that concern one itinerary alone."""
    where = f"{itinerary.machine_id} {itinerary.day}"
    standing = since.standing(itinerary.machine_id, itinerary.day) if since else None
    found = [Violation(rule, where, text) for rule, text in _crew(itinerary, facts, known)]
    if itinerary.legs and itinerary.machine_id in facts.machines:
        found += [
            Violation(rule, where, text) for rule, text in _clock(itinerary, facts, since, night)
        ]
        found += [
            Violation(rule, where, text) for rule, text in _path(itinerary, facts, standing, night)
        ]
        found += [
            Violation(rule, where, text) for rule, text in _passes(itinerary, facts, known, since)
        ]
        found += [Violation(rule, where, text) for rule, text in _open(itinerary, facts, known)]
        found += [Violation(rule, where, text) for rule, text in _signs(itinerary, known, since)]
    return found


Found = Iterator[tuple[str, str]]


def _crew(itinerary: Itinerary, facts: Facts, known: Known) -> Found:
    """A working grader, its own operator on duty, with the skill and the attachment."""
    machine = facts.machines.get(itinerary.machine_id)
    operator = facts.operators.get(itinerary.operator_id)
    if machine is None or machine.kind != "grader" or not machine.is_available:
        yield "crew", "the machine is not an available grader"
        return
    if operator is None or operator.machine_id != machine.id:
        yield "crew", f"{itinerary.operator_id} does not run this machine"
        return
    if itinerary.day in operator.off_days:
        yield "crew", f"{operator.id} is off"
    policy = facts.policy
    for stage_id in itinerary.stage_ids:
        if stage_id not in known:
            yield "passes", f"stage {stage_id} is not among the jobs"
            continue
        stage = known[stage_id][1]
        alike = policy.skill_for.get(stage.treatment)
        if stage.treatment not in operator.skills and alike not in operator.skills:
            yield "skill", f"{operator.id} is not qualified for {stage.treatment} ({stage_id})"
        if operator.is_trainee and stage.treatment in policy.trainee_not_alone:
            yield "skill", f"trainee {operator.id} would do {stage.treatment} alone ({stage_id})"
        if stage.needs_attachment and stage.needs_attachment not in machine.attachments:
            yield "attachment", f"no {stage.needs_attachment} for {stage_id}"


def _clock(itinerary: Itinerary, facts: Facts, since: Since | None, night: Night) -> Found:
    """Legs follow without gap or overlap, inside the shift, with walk-round and meal."""
    operator = facts.operators.get(itinerary.operator_id)
    legs, policy = itinerary.legs, facts.policy
    for before, after in itertools.pairwise(legs):
        if abs(after.start_min - before.end_min) > _SLACK_MIN:
            yield (
                "clock",
                f"a leg starts at {after.start_min:.1f}, the last ended {before.end_min:.1f}",
            )
    for leg in legs:
        if not leg.end_min >= leg.start_min:
            yield "clock", f"a leg ends at {leg.end_min:.1f} before it starts {leg.start_min:.1f}"
    if operator is None:
        return
    start = operator.shift_start_h * 60
    longest = facts.longest_h(operator) * 60
    end = min(start + longest, facts.last_light_min(itinerary.day))
    standing = since.standing(itinerary.machine_id, itinerary.day) if since else None
    if since and itinerary.day == since.day:
        earliest = standing.clock_min if standing else max(start, since.clock_min)
        if legs[0].start_min < earliest - _SLACK_MIN:
            yield "shift", f"it starts at {legs[0].start_min:.1f}, before {earliest:.1f}"
    # Rides to and from a machine that stands out are in the shift
    begins, ends = legs[0].start_min - night.before_min, legs[-1].end_min + night.after_min
    if begins < start - _SLACK_MIN:
        yield "shift", f"it starts at {begins:.1f}, the shift at {start:.1f}"
    if ends > end + _SLACK_MIN:
        yield "shift", f"it ends at {ends:.1f}, the shift or the light at {end:.1f}"
    waits = 0.0
    for leg in legs:
        if leg.kind == "break":
            # Late in the day the meal is due before the walk-round even
            continue
        if leg.kind != "wait" or leg.stage_id is not None:
            break
        waits += leg.end_min - leg.start_min
    if standing is None and waits < policy.pretrip_min - _SLACK_MIN:
        yield "shift", f"only {waits:.1f} min of walk-round before leaving"
    latest = start + policy.break_latest_h * 60
    needs_meal = operator.shift_h > policy.break_over_h and legs[-1].end_min > latest + _SLACK_MIN
    meals = [
        leg
        for leg in legs
        if leg.kind == "break"
        and leg.end_min - leg.start_min >= policy.break_min - _SLACK_MIN
        and leg.start_min <= max(latest, legs[0].start_min) + _SLACK_MIN
    ]
    has_eaten = standing is not None and standing.has_eaten
    if needs_meal and policy.break_min > 0 and not meals and not has_eaten:
        yield "break", f"no meal break begins by {latest:.1f}"


@dataclass
class _Walker:
    """Where the machine is: at a node, or on a segment between its ends."""

    at_node: str | None
    on_segment: str | None = None
    at_m: float = 0.0
    came: tuple[str, bool] | None = None
    """Segment and direction it last moved along."""
    turned_min: float = 0.0
    problems: list[tuple[str, str]] = field(default_factory=list)


def _path(itinerary: Itinerary, facts: Facts, standing: Standing | None, night: Night) -> Found:
    """From the yard, along real roads the right way round, back to the yard."""
    machine = facts.machines[itinerary.machine_id]
    first, last = itinerary.legs[0], itinerary.legs[-1]
    if standing is not None and first.from_node != standing.node:
        yield "path", f"it starts at {first.from_node}, it stands at {standing.node}"
    elif standing is None and first.from_node not in night.begins_at:
        yield "path", f"it starts at {first.from_node}, not where it stood overnight"
    if last.to_node not in night.ends_at:
        yield "path", f"it ends at {last.to_node}, not where it is to stand overnight"
    walker = _Walker(at_node=first.from_node, came=standing.came if standing else None)
    for leg in itinerary.legs:
        if leg.kind in ("travel", "work"):
            segment = facts.segments.get(leg.segment_id or "")
            if segment is None:
                yield "path", f"there is no segment {leg.segment_id}"
                return
            if machine.mass_t > facts.limits_t[segment.id]:
                yield "mass", f"{machine.mass_t:g} t over {segment.id}"
            _move(walker, leg, segment, facts, min(machine.travel_km_h, segment.travel_km_h))
        else:
            _stand(walker, leg, facts)
        yield from walker.problems
        walker.problems.clear()
    if walker.at_node != last.to_node:
        yield "path", f"it really ends at {walker.at_node}, on {walker.on_segment}"


def _stand(walker: _Walker, leg: Leg, facts: Facts) -> None:
    """A turn, a break or a wait happens where the machine is."""
    if walker.at_node is not None:
        if leg.from_node != walker.at_node or leg.to_node != walker.at_node:
            walker.problems.append(
                ("path", f"a {leg.kind} at {leg.from_node}; the machine is at {walker.at_node}")
            )
    elif leg.segment_id != walker.on_segment or not _near(leg.from_m, walker.at_m):
        walker.problems.append(("path", f"a {leg.kind} away from where the machine stands"))
    if leg.kind == "turn":
        walker.turned_min += leg.end_min - leg.start_min


def _move(walker: _Walker, leg: Leg, segment: Segment, facts: Facts, km_h: float) -> None:
    """Follow one moving leg, from where the machine is to where the leg ends."""
    say = walker.problems.append
    begin, end = leg.from_m, leg.to_m
    if begin is None or end is None:
        begin, end = (0.0, segment.length_m) if leg.is_forward else (segment.length_m, 0.0)
    if not (min(begin, end) >= -_SLACK_M and max(begin, end) <= segment.length_m + _SLACK_M):
        say(("path", f"{begin:.0f} to {end:.0f} m is not on {segment.id}"))
    if (end >= begin) != leg.is_forward:
        say(("path", f"the direction on {segment.id} does not agree with its metres"))
    if abs(abs(end - begin) - leg.length_m) > _SLACK_M:
        say(("path", f"{leg.length_m:.0f} m said, {abs(end - begin):.0f} m driven on {segment.id}"))
    if segment.is_oneway and not leg.is_forward:
        say(("one-way", f"{segment.id} is driven against its direction"))
    nodes = (segment.from_node, segment.to_node)
    if (leg.from_node, leg.to_node) != (nodes if leg.is_forward else nodes[::-1]):
        say(("path", f"{leg.from_node} to {leg.to_node} are not the ends of {segment.id}"))
    if walker.at_node is not None:
        at_start = _near(begin, 0.0) and walker.at_node == segment.from_node
        at_end = _near(begin, segment.length_m) and walker.at_node == segment.to_node
        if not (at_start or at_end):
            say(("path", f"a leg on {segment.id} does not begin at {walker.at_node}"))
    elif walker.on_segment != segment.id or not _near(begin, walker.at_m):
        say(("path", f"a leg begins on {segment.id} where the machine is not"))
    _turned(walker, leg, segment, facts)
    minutes = leg.end_min - leg.start_min
    if minutes < abs(end - begin) * 0.06 / km_h - _SLACK_MIN and leg.kind == "travel":
        say(("speed", f"{segment.id} is driven faster than {km_h:g} km/h"))
    walker.came = (segment.id, leg.is_forward)
    walker.turned_min = 0.0
    walker.at_node, walker.on_segment, walker.at_m = None, segment.id, end
    if leg.is_forward and _near(end, segment.length_m):
        walker.at_node = segment.to_node
    elif not leg.is_forward and _near(end, 0.0):
        walker.at_node = segment.from_node


def _turned(walker: _Walker, leg: Leg, segment: Segment, facts: Facts) -> None:
    """Going back the way it came takes a turn of the minutes the place asks for."""
    if walker.came != (segment.id, not leg.is_forward):
        return
    asked = (
        facts.policy.turn_on_road_min if walker.at_node is None else facts.turn_min(walker.at_node)
    )
    if walker.turned_min < asked - _SLACK_MIN:
        walker.problems.append(
            ("turn", f"{walker.turned_min:.1f} min to turn on {segment.id}; it takes {asked:.1f}")
        )


def _passes(itinerary: Itinerary, facts: Facts, known: Known, since: Since | None) -> Found:
    """Each pass covers its stage at no more than its speed; both sides get their share."""
    sides: dict[str, list[bool]] = {}
    for leg in itinerary.legs:
        if leg.kind != "work":
            continue
        if leg.stage_id not in known:
            yield "passes", f"work on {leg.segment_id} belongs to no stage"
            continue
        stage = known[str(leg.stage_id)][1]
        if leg.segment_id != stage.segment_id:
            yield "passes", f"{stage.id} is worked on {leg.segment_id}"
        ends = sorted((leg.from_m or 0.0, leg.to_m or 0.0))
        if not (_near(ends[0], stage.from_m) and _near(ends[1], stage.to_m)):
            yield "passes", f"{stage.id} is worked from {ends[0]:.0f} to {ends[1]:.0f} m"
        number = leg.pass_number or 0
        if not 1 <= number <= stage.n_passes:
            yield "passes", f"{stage.id} has no pass {leg.pass_number}"
        elif leg.end_min - leg.start_min < stage.pass_minutes[number - 1] - _SLACK_MIN:
            yield "passes", f"pass {number} of {stage.id} is shorter than it takes"
        half = since.half(stage.id) if since else None
        made = [True] * half.n_forward + [False] * (half.n_done - half.n_forward) if half else []
        sides.setdefault(stage.id, made).append(leg.is_forward)
    for stage_id, forward in sides.items():
        segment = facts.segments.get(known[stage_id][1].segment_id)
        if segment is not None and not segment.is_oneway:
            n_forward = sum(forward)
            if abs(2 * n_forward - len(forward)) > 1:
                yield "direction", f"{stage_id}: {n_forward} of {len(forward)} passes go forward"


def _open(itinerary: Itinerary, facts: Facts, known: Known) -> Found:
    """Between the first and the last pass of a stage, what lies open is never too long.

    Neither in metres nor in minutes: from the end of a pass until the next one of the same stage.
    """
    yield from _open_minutes(itinerary, facts)
    is_open: dict[str, float] = {}
    for i, leg in enumerate(itinerary.legs):
        if leg.kind != "work" or leg.stage_id not in known:
            continue
        stage = known[str(leg.stage_id)][1]
        following = itinerary.legs[i + 1 :]
        goes_on = any(later.kind == "work" and later.stage_id == stage.id for later in following)
        if goes_on:
            is_open[stage.id] = stage.to_m - stage.from_m
        else:
            is_open.pop(stage.id, None)
        apart = _next_stage(following) != stage.id
        total = sum(is_open.values())
        if apart and total > facts.policy.open_windrow_m + _SLACK_M:
            yield "windrow", f"{total:.0f} m lie open after pass {leg.pass_number} of {stage.id}"


def _open_minutes(itinerary: Itinerary, facts: Facts) -> Found:
    most = facts.policy.windrow_open_max_min
    left_at: dict[str, float] = {}
    for leg in itinerary.legs:
        if leg.kind != "work" or leg.stage_id is None:
            continue
        lay = leg.start_min - left_at.get(leg.stage_id, leg.start_min)
        if lay > most + _SLACK_MIN:
            number = leg.pass_number
            yield "windrow", f"it lies {lay:.0f} min before pass {number} of {leg.stage_id}"
        left_at[leg.stage_id] = leg.end_min


def _signs(itinerary: Itinerary, known: Known, since: Since | None) -> Found:
    """Before the first pass of a stage stand the minutes for its signs, on the spot."""
    waited: dict[str, float] = {}
    begun: set[str] = set()
    for leg in itinerary.legs:
        if leg.kind in ("travel", "work") and leg.stage_id not in begun:
            stage_id = str(leg.stage_id)
            is_half = since is not None and since.half(stage_id) is not None
            if leg.kind == "work" and stage_id in known and not is_half:
                asked = known[stage_id][1].wait_min
                if waited.get(stage_id, 0.0) < asked - _SLACK_MIN:
                    yield "signs", f"{waited.get(stage_id, 0.0):.1f} of {asked:.1f} min: {stage_id}"
            begun |= {stage_id} if leg.kind == "work" else set()
        if leg.kind in ("travel", "work"):
            waited.clear()
        elif leg.kind == "wait" and leg.stage_id is not None:
            waited[leg.stage_id] = waited.get(leg.stage_id, 0.0) + leg.end_min - leg.start_min


def _next_stage(legs: tuple[Leg, ...]) -> str | None:
    return next((leg.stage_id for leg in legs if leg.kind == "work"), None)


def _near(a: float | None, b: float) -> bool:
    return a is not None and abs(a - b) <= _SLACK_M
