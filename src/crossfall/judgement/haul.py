"""Haul roads: the heavy traffic an agreement brings, its surveys, and what is booked to it.

A haul adds loaded and empty trucks to the traffic of its route from its first to its last day,
spread evenly, because an agreement says tonnes and dates and not hours. The ageing of those roads
counts them; nothing else of the network does.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Literal

import numpy as np
import numpy.typing as npt

from crossfall.errors import InputError
from crossfall.model import Condition, District, HaulAgreement, Money, Segment, WorkRecord
from crossfall.model.policy import HaulPolicy

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

Phase = Literal["agreed", "running", "ended"]


@dataclass(frozen=True, eq=False)
class HaulTraffic:
    """Trucks a day by segment and time, ready to be asked for many segments at once."""

    rows: tuple[Ints, ...]
    """For each agreement, the rows of its segments."""
    first: Floats
    """First day of each agreement, as its ordinal."""
    after: Floats
    """The day after its last."""
    trucks: Floats
    """Passes a day while it runs."""
    n_segments: int

    def between(self, rows: Ints, since: Floats, until: Floats) -> Floats:
        """Mean heavy passes a day on ``rows`` from ``since`` to ``until`` (ordinals, each (row,)).

        Examples
        --------
        >>> day = date(2026, 5, 1)
        >>> haul = HaulAgreement("h", "A company", ("s",), day, day + timedelta(days=9), 2000.0)
        >>> road = Segment("s", "Road", "a", "b", 0.0, 900.0, ((0.0, 0.0), (0.01, 0.0)))
        >>> traffic = haul_traffic([road], [haul], HaulPolicy())
        >>> at = float(day.toordinal())
        >>> traffic.between(np.array([0]), np.array([at - 10]), np.array([at + 10])).tolist()
        [10.0]
        """
        found = np.zeros(rows.shape[0])
        if not self.rows:
            return found
        days = np.maximum(until - since, 1e-9)
        for segment_rows, first, after, trucks in zip(
            self.rows, self.first, self.after, self.trucks, strict=True
        ):
            is_on_route = np.zeros(self.n_segments, dtype=bool)
            is_on_route[segment_rows] = True
            shared = np.minimum(until, after) - np.maximum(since, first)
            found += np.where(is_on_route[rows], trucks * np.maximum(shared, 0.0) / days, 0.0)
        return found


def haul_traffic(
    segments: Sequence[Segment], agreements: Iterable[HaulAgreement], policy: HaulPolicy
) -> HaulTraffic:
    """The traffic that agreements bring to ``segments``, in their order."""
    agreements = tuple(agreements)
    # Most districts have no haul; a country has many segments
    row_of = {segment.id: row for row, segment in enumerate(segments)} if agreements else {}
    known = [each for each in agreements if any(name in row_of for name in each.segment_ids)]
    return HaulTraffic(
        rows=tuple(
            np.array([row_of[name] for name in each.segment_ids if name in row_of], dtype=np.int64)
            for each in known
        ),
        first=np.array([float(each.first_day.toordinal()) for each in known]),
        after=np.array([float(each.last_day.toordinal() + 1) for each in known]),
        trucks=np.array([trucks_a_day(each, policy) for each in known]),
        n_segments=len(segments),
    )


def extra_heavy_adt(district: District, day: date) -> dict[str, float]:
    """Heavy vehicles a day, both directions, that agreements add on one day, by segment id."""
    found: dict[str, float] = {}
    for each in district.haul_agreements:
        if each.first_day <= day <= each.last_day:
            trucks = trucks_a_day(each, district.policy.haul)
            for segment_id in each.segment_ids:
                found[segment_id] = found.get(segment_id, 0.0) + trucks
    return found


def trucks_a_day(agreement: HaulAgreement, policy: HaulPolicy) -> float:
    """Passes of trucks a day while the haul runs, loaded and empty [1/day].

    Examples
    --------
    >>> day = date(2026, 5, 1)
    >>> haul = HaulAgreement("h", "A company", ("s",), day, day + timedelta(days=9), 2000.0)
    >>> trucks_a_day(haul, HaulPolicy())
    20.0
    """
    payload_t = agreement.payload_t or policy.payload_t
    return agreement.tonnes / payload_t * policy.passes_per_load / agreement.n_days


def ended_early(
    agreement: HaulAgreement, last_day: date, *, because: str, tonnes: float | None = None
) -> HaulAgreement:
    """The agreement as it ends before its time, with what was hauled until then.

    Without ``tonnes`` the share of its days is taken: the same trucks a day, for fewer days.

    Raises
    ------
    InputError
        If no reason is given, the day is not before its last and from its first on, or the tonnes
        are not above 0.

    Examples
    --------
    >>> day = date(2026, 5, 1)
    >>> haul = HaulAgreement("h", "A company", ("s",), day, day + timedelta(days=9), 2000.0)
    >>> ended_early(haul, day + timedelta(days=4), because="the mill closed").tonnes
    1000.0
    """
    if not because.strip():
        raise InputError(f"haul agreement {agreement.id}: because is empty; say why it ends")
    if not agreement.first_day <= last_day < agreement.last_day:
        raise InputError(
            f"haul agreement {agreement.id} runs from {agreement.first_day} to"
            f" {agreement.last_day}; expected an earlier last day within it, not {last_day}"
        )
    n_days = (last_day - agreement.first_day).days + 1
    hauled = agreement.tonnes * n_days / agreement.n_days if tonnes is None else tonnes
    told = f"Ended on {last_day} instead of {agreement.last_day}: {because.strip()}."
    return replace(
        agreement,
        last_day=last_day,
        tonnes=hauled,
        note=f"{agreement.note} {told}".strip(),
    )


@dataclass(frozen=True, slots=True)
class HaulSurvey:
    """The looks at one segment of a route before and after the haul; None where nobody looked."""

    segment_id: str
    before: Condition | None
    after: Condition | None


@dataclass(frozen=True, slots=True)
class HaulStatement:
    """What stands of one agreement on one day, for the company and for the board."""

    agreement: HaulAgreement
    phase: Phase
    trucks_a_day: float
    surveys: tuple[HaulSurvey, ...]
    records: tuple[WorkRecord, ...]
    """Work booked to it."""
    costs: tuple[Money, ...]
    """What that work cost, one sum for each currency and year."""
    n_uncosted: int
    """Records booked to it without a cost."""
    unbooked: tuple[WorkRecord, ...] = ()
    """Work on its route while it ran and until its last survey is due, booked to nobody."""

    @property
    def missing(self) -> tuple[str, ...]:
        """Surveys that are due and not there, in words."""
        n_before = sum(each.before is None for each in self.surveys)
        n_after = sum(each.after is None for each in self.surveys)
        told = []
        if n_before:
            told.append(f"no survey before the haul on {n_before} of {len(self.surveys)} segments")
        if n_after and self.phase == "ended":
            told.append(f"no survey after the haul on {n_after} of {len(self.surveys)} segments")
        return tuple(told)

    def summary(self) -> str:
        """One sentence."""
        each = self.agreement
        words = (
            f"{each.company}: {each.tonnes:,.0f} t over {len(each.segment_ids)} segments,"
            f" {each.first_day} to {each.last_day}, {self.phase},"
            f" about {self.trucks_a_day:.0f} trucks a day"
        )
        spent = ", ".join(f"{money.currency} {money.major:,.0f}" for money in self.costs)
        return f"{words}; {spent or 'nothing'} booked to it"


def haul_statement(agreement: HaulAgreement, district: District, *, today: date) -> HaulStatement:
    """Surveys, booked work and costs of one agreement as they stand."""
    superseded = {each.supersedes for each in district.records if each.supersedes}
    records = tuple(
        each
        for each in district.records
        if each.agreement_id == agreement.id and each.id not in superseded
    )
    sums: dict[tuple[str, int], Money] = {}
    for cost in (each.cost for each in records if each.cost is not None):
        key = (cost.currency, cost.year)
        sums[key] = sums[key] + cost if key in sums else cost
    return HaulStatement(
        agreement=agreement,
        phase=_phase(agreement, today),
        trucks_a_day=trucks_a_day(agreement, district.policy.haul),
        surveys=tuple(
            _survey(segment_id, agreement, district.conditions, district.policy.haul)
            for segment_id in agreement.segment_ids
        ),
        records=records,
        costs=tuple(sums.values()),
        n_uncosted=sum(each.cost is None for each in records),
        unbooked=tuple(
            each
            for each in district.records
            if each.agreement_id is None
            and each.id not in superseded
            and each.segment_id in agreement.segment_ids
            and agreement.first_day
            <= each.done_on
            <= agreement.last_day + timedelta(days=district.policy.haul.survey_days)
        ),
    )


def _phase(agreement: HaulAgreement, today: date) -> Phase:
    if today < agreement.first_day:
        return "agreed"
    return "running" if today <= agreement.last_day else "ended"


def _survey(
    segment_id: str, agreement: HaulAgreement, looks: Iterable[Condition], policy: HaulPolicy
) -> HaulSurvey:
    """The last look up to the first day, and the first from the last day on, within reach."""
    reach = timedelta(days=policy.survey_days)
    here = [look for look in looks if look.segment_id == segment_id and look.method != "default"]
    first, last = agreement.first_day, agreement.last_day
    before = [look for look in here if first - reach <= look.observed_on <= first]
    after = [look for look in here if last <= look.observed_on <= last + reach]
    return HaulSurvey(
        segment_id,
        max(before, key=lambda look: look.observed_on, default=None),
        min(after, key=lambda look: look.observed_on, default=None),
    )
