"""What is left: gravel in each pile, and life in each machine's cutting edge."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

from crossfall.errors import InputError
from crossfall.formulas.given import positive
from crossfall.model import FittedEdge, Fleet, GravelPit, MachineDay, PileEntry, WorkRecord


@dataclass(frozen=True, slots=True)
class PileBalance:
    """One pile's stock after all entries, and when it first ran out."""

    pit_id: str
    loose_m3: float
    short_on: date | None
    """First day on which more was taken than was there; None when it never was."""


def pile_balances(
    pits: Sequence[GravelPit], entries: Iterable[PileEntry]
) -> tuple[PileBalance, ...]:
    """Stock of each pile after the entries, in order of their days; a count begins it anew.

    Raises
    ------
    InputError
        If an entry names an unknown pit.

    Examples
    --------
    >>> from crossfall.model import Place, Rate
    >>> price = Rate("gravel", 1500, "m3", "USD", 2026, "invented")
    >>> pit = GravelPit(Place("p", "Pit", "pit", 0.0, 0.0), "19 mm minus", price, 100.0)
    >>> taken = PileEntry("p", date(2026, 6, 2), -130.0, "card 12")
    >>> pile_balances([pit], [taken])
    (PileBalance(pit_id='p', loose_m3=-30.0, short_on=datetime.date(2026, 6, 2)),)
    """
    stock = {pit.place.id: pit.stock_m3 for pit in pits}
    short: dict[str, date] = {}
    for entry in sorted(standing(entries), key=lambda each: each.day):
        if entry.pit_id not in stock:
            raise InputError(
                f"entry {entry.reason!r} is for unknown pit {entry.pit_id!r}; expected one of"
                f" {', '.join(stock)}"
            )
        stock[entry.pit_id] = entry.loose_m3 + (0.0 if entry.is_count else stock[entry.pit_id])
        if stock[entry.pit_id] < 0:
            short.setdefault(entry.pit_id, entry.day)
    return tuple(PileBalance(key, left, short.get(key)) for key, left in stock.items())


def standing(entries: Iterable[PileEntry]) -> tuple[PileEntry, ...]:
    """Entries that nobody took back.

    Examples
    --------
    >>> wrong = PileEntry("p", date(2026, 6, 2), -1300.0, "card 12", "e1")
    >>> standing([wrong, PileEntry("p", date(2026, 6, 3), 0.0, "a nought too many", "e2", False,
    ...                            "e1")])
    ()
    """
    known = tuple(entries)
    taken_back = {each.supersedes for each in known} - {None}
    return tuple(
        each
        for each in known
        if each.id not in taken_back and not (each.supersedes and each.loose_m3 == 0)
    )


def stocked(fleet: Fleet, entries: Iterable[PileEntry]) -> Fleet:
    """The fleet with each pit's stock as its ledger has it, never below 0."""
    left = {each.pit_id: max(each.loose_m3, 0.0) for each in pile_balances(fleet.pits, entries)}
    return replace(
        fleet, pits=tuple(replace(pit, stock_m3=left[pit.place.id]) for pit in fleet.pits)
    )


@dataclass(frozen=True, slots=True)
class EdgeForecast:
    """How worn an edge is and when it wants changing."""

    machine_id: str
    worn_km: float
    life_km: float
    change_on: date | None
    """None where nothing has been bladed with it yet."""

    @property
    def worn_share(self) -> float:
        """Share of its life that is gone, above 1 when it is overdue."""
        return self.worn_km / self.life_km

    def summary(self) -> str:
        """One line to read out."""
        when = f"; change about {self.change_on:%d %b %Y}" if self.change_on else ""
        return f"{self.machine_id}: {100 * self.worn_share:.0f} % worn{when}"


def edge_forecast(
    edge: FittedEdge,
    records: Iterable[WorkRecord],
    *,
    length_km: Mapping[str, float],
    machine_of: Mapping[str, str],
    today: date,
    until: date | None = None,
    machine_by: Mapping[str, str] | None = None,
    machine_days: Iterable[MachineDay] = (),
) -> EdgeForecast:
    """Wear since an edge was fitted, and the day it is used up at that pace.

    Parameters
    ----------
    length_km : mapping of segment id to length
        For records that do not say from where to where. [km]
    machine_of : mapping of card id to machine id
        Who did the work of a card; records of other machines are passed over.
    machine_by : mapping of a person's name to machine id
        For records without a card: whose machine did the work.
    until : date, optional
        The day it came off, whose work the next edge did; None while it is on the machine.
    machine_days : iterable of MachineDay, optional
        Days whose kilometres with the blade down were measured by a track: they stand in place of
        what is reckoned from the records of that machine and day.

    Examples
    --------
    >>> from crossfall.model import Treatment
    >>> edge = FittedEdge("g1", "plain", date(2026, 6, 1), 480.0)
    >>> work = WorkRecord("r", "s", date(2026, 6, 5), Treatment.BLADING, 4, 1.1, "Ash", "c1",
    ...                   0.0, 6000.0)
    >>> edge_forecast(edge, [work], length_km={}, machine_of={"c1": "g1"},
    ...               today=date(2026, 6, 11)).summary()
    'g1: 5 % worn; change about 18 Dec 2026'
    """
    positive("life_km", edge.life_km)
    known = tuple(records)
    superseded = {record.supersedes for record in known}
    measured: dict[date, float] = {}
    for each in machine_days:
        is_on_it = each.day >= edge.fitted_on and (until is None or each.day < until)
        if each.machine_id == edge.machine_id and is_on_it and each.work_km > 0:
            measured[each.day] = measured.get(each.day, 0.0) + each.work_km
    worn = sum(measured.values())
    for record in known:
        if record.card_id is None:
            is_ours = (machine_by or {}).get(record.by) == edge.machine_id
        else:
            is_ours = machine_of.get(record.card_id) == edge.machine_id
        if not is_ours or record.done_on < edge.fitted_on or record.id in superseded:
            continue
        if until is not None and record.done_on >= until:
            continue
        if record.done_on in measured:
            continue
        if record.from_m is not None and record.to_m is not None:
            worn += record.n_passes * abs(record.to_m - record.from_m) / 1000
        elif record.segment_id in length_km:
            worn += record.n_passes * length_km[record.segment_id]
        else:
            raise InputError(f"record {record.id} is on unknown segment {record.segment_id!r}")
    days = (today - edge.fitted_on).days
    change_on = None
    if worn > 0 and days > 0 and until is None:
        left_days = max(edge.life_km - worn, 0.0) / (worn / days)
        change_on = today + timedelta(days=round(left_days))
    return EdgeForecast(edge.machine_id, worn, edge.life_km, change_on)
