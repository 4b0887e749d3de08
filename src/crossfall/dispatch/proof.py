"""The week written out minute by minute, and looked at once more before anyone gets it.

The search reckons in sums; here every day is driven leg by leg and its clock is read: is everyone
home in time, does no windrow lie too long, does work follow what it waits for, and is every machine
that helps where it is promised? Whatever does not hold comes out of the plan with its reason, for a
slightly smaller plan that holds is worth more than a larger one that does not.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from crossfall.dispatch.decode import bookings_of, itineraries_of
from crossfall.dispatch.problem import Problem
from crossfall.dispatch.solve import Solution, solution_of
from crossfall.dispatch.tables import routes_from, tables_of
from crossfall.model import Itinerary, Leg, SupportBooking
from crossfall.model.plan import Binding

_SLACK_MIN = 0.008
"""Less than the checker allows, more than rounding."""

Trouble = tuple[Binding, str]


@dataclass(frozen=True)
class WrittenOut:
    """A plan whose clock holds."""

    solution: Solution
    itineraries: tuple[Itinerary, ...]
    bookings: tuple[SupportBooking, ...]
    taken_out: dict[int, Trouble] = field(default_factory=dict)
    """Stages that the search had in the plan and the clock did not allow, with what was wrong."""

    def over_h(self, problem: Problem) -> float:
        """Hours of overtime [h]."""
        end_of = {(shift.machine.id, shift.day): shift.regular_min for shift in problem.shifts}
        return sum(
            max(0.0, each.legs[-1].end_min - end_of[each.machine_id, each.day]) / 60
            for each in self.itineraries
        )

    @property
    def out_h(self) -> float:
        """Hours that are paid for: walk-round and meal come with the shift, signs do not [h]."""
        return sum(
            (leg.end_min - leg.start_min) / 60
            for each in self.itineraries
            for leg in each.legs
            if leg.kind in ("travel", "turn", "work") or (leg.kind == "wait" and leg.stage_id)
        )


def write_out(problem: Problem, solution: Solution) -> WrittenOut:
    """Drive the plan leg by leg; take out what does not hold, until all of it does."""
    taken_out: dict[int, Trouble] = {}
    tables = None
    while True:
        itineraries = itineraries_of(problem, solution)
        bookings = bookings_of(problem, solution, itineraries)
        trouble = next(_troubles(problem, itineraries, bookings), None)
        if trouble is None:
            return WrittenOut(solution, itineraries, bookings, taken_out)
        stage_id, binding, reason = trouble
        s = next(s for s, stage in enumerate(problem.stages) if stage.id == stage_id)
        taken_out[s] = (binding, reason)
        gone = _with_followers(problem, s)
        tables = tables_of(problem) if tables is None else tables
        left = [
            tuple(b for b in blocks if int(problem.blocks.stage[b]) not in gone)
            for blocks in solution.blocks
        ]
        solution = solution_of(tables, routes_from(tables, left), solution.n_rounds)


def _with_followers(problem: Problem, s: int) -> set[int]:
    gone = {s}
    is_more = True
    while is_more:
        more = {b for b, before in enumerate(problem.after) if gone & set(before)} - gone
        gone |= more
        is_more = bool(more)
    return gone


def _troubles(
    problem: Problem, itineraries: Sequence[Itinerary], bookings: Sequence[SupportBooking]
) -> Iterator[tuple[str, Binding, str]]:
    """Stages that cannot stay, with the reason; the last of the day where any could go."""
    yield from _late(problem, itineraries)
    yield from _lying(problem, itineraries)
    yield from _barred(problem, itineraries)
    yield from _too_early(problem, itineraries)
    yield from _not_there(problem, itineraries, bookings)


def _late(problem: Problem, itineraries: Sequence[Itinerary]) -> Iterator[tuple[str, Binding, str]]:
    end_of = {(shift.machine.id, shift.day): shift.end_min for shift in problem.shifts}
    for each in itineraries:
        over = each.legs[-1].end_min - end_of[each.machine_id, each.day]
        if over > _SLACK_MIN and each.stage_ids:
            yield (
                each.stage_ids[-1],
                "too_long_for_shift",
                f"Driven minute by minute the day would end {over:.1f} min after the shift.",
            )


def _lying(
    problem: Problem, itineraries: Sequence[Itinerary]
) -> Iterator[tuple[str, Binding, str]]:
    most = problem.policy.windrow_open_max_min
    for each in itineraries:
        left_at: dict[str, float] = {}
        for leg in _passes(each):
            stage_id = str(leg.stage_id)
            lay = leg.start_min - left_at.get(stage_id, leg.start_min)
            if lay > most + _SLACK_MIN:
                yield (
                    stage_id,
                    "too_long_for_shift",
                    f"Its windrow would lie open for {lay:.0f} min; {most:.0f} min are allowed.",
                )
            left_at[stage_id] = leg.end_min


def _barred(
    problem: Problem, itineraries: Sequence[Itinerary]
) -> Iterator[tuple[str, Binding, str]]:
    if not any(problem.bans):
        return
    bans = {stage.id: own for stage, own in zip(problem.stages, problem.bans, strict=True)}
    for each in itineraries:
        day = (each.day - problem.first_day).days
        for leg in _passes(each):
            for ban in bans[str(leg.stage_id)]:
                is_in = leg.end_min > ban.start_min + _SLACK_MIN
                if ban.day_index == day and is_in and leg.start_min < ban.end_min - _SLACK_MIN:
                    yield (
                        str(leg.stage_id),
                        "barred_hours",
                        f"It would fall into hours without work on this road ({ban.reason}).",
                    )


def _too_early(
    problem: Problem, itineraries: Sequence[Itinerary]
) -> Iterator[tuple[str, Binding, str]]:
    begins: dict[str, tuple[int, float]] = {}
    ends: dict[str, tuple[int, float]] = {}
    for each in itineraries:
        day = each.day.toordinal()
        for leg in _passes(each):
            begins.setdefault(str(leg.stage_id), (day, leg.start_min))
            ends[str(leg.stage_id)] = (day, leg.end_min)
    for s, before in enumerate(problem.after):
        stage_id = problem.stages[s].id
        for a in before if stage_id in begins else ():
            end = ends.get(problem.stages[a].id)
            begin = begins[stage_id]
            if end is None or end[0] > begin[0] or _is_after(end, begin):
                name = problem.stages[a].name
                yield (
                    stage_id,
                    "waits_for_other_work",
                    f"It would begin before other work is finished: {name}.",
                )


def _is_after(end: tuple[int, float], begin: tuple[int, float]) -> bool:
    return end[0] == begin[0] and end[1] > begin[1] + _SLACK_MIN


def _not_there(
    problem: Problem, itineraries: Sequence[Itinerary], bookings: Sequence[SupportBooking]
) -> Iterator[tuple[str, Binding, str]]:
    """Each machine that helps, booking by booking: from its yard, on, and home in time."""
    ways = problem.support_ways
    port = {segment.id: i for i, segment in enumerate(problem.network.segments)}
    port_of = {int(i): k for k, i in enumerate(problem.ports)}
    places: dict[str, tuple[int, int]] = {}
    for each in itineraries:
        for leg in _passes(each):
            k = 2 * port_of[port[str(leg.segment_id)]] + (0 if leg.is_forward else 1)
            first, _ = places.get(str(leg.stage_id), (int(ways.place_of[k, 0]), 0))
            places[str(leg.stage_id)] = (first, int(ways.place_of[k, 1]))
    index = {stage.id: s for s, stage in enumerate(problem.stages)}
    number = {machine_id: m for m, machine_id in enumerate(problem.support.machine_ids)}
    days: dict[tuple[int, int], list[SupportBooking]] = {}
    for booking in bookings:
        day = (booking.day - problem.first_day).days
        days.setdefault((number[booking.machine_id], day), []).append(booking)
    for (m, day), own in days.items():
        c, home = int(ways.class_of[m]), int(ways.home_of[m])
        leaves, home_by, counts_out = (float(x) for x in ways.window[m, day])
        ready, at, rest = leaves, home if counts_out > 0 else -1, 0.0
        for booking in sorted(own, key=lambda each: (each.start_min, each.end_min)):
            s = index[booking.stage_id]
            comes, goes = places[booking.stage_id]
            own_rest = float(ways.rest[c, s])
            if at >= 0:
                ready += float(ways.between[c, at, comes]) + rest + own_rest
            back = float(ways.between[c, goes, home]) + own_rest if home >= 0 else 0.0
            is_late = ready > booking.start_min + _SLACK_MIN
            if is_late or booking.end_min + back > home_by + _SLACK_MIN:
                what = "be there in time" if is_late else "be home in time after it"
                yield (
                    booking.stage_id,
                    "no_support",
                    f"Driven minute by minute, {booking.machine_id} could not {what}.",
                )
            ready, at, rest = booking.end_min, goes, own_rest


def _passes(itinerary: Itinerary) -> Iterator[Leg]:
    return (leg for leg in itinerary.legs if leg.kind == "work" and leg.stage_id is not None)
