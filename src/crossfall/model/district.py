"""Everything one agency knows on one morning, as one bundle of nouns."""

from __future__ import annotations

from dataclasses import dataclass, field

from crossfall.model.calendar import CrewCalendar
from crossfall.model.clearance import Clearance
from crossfall.model.condition import Condition, Hazard, Observation, Request
from crossfall.model.contract import Contract
from crossfall.model.dust import DustApplication
from crossfall.model.fleet import Fleet
from crossfall.model.gravel import FittedEdge, MaterialTest, PileEntry
from crossfall.model.haul import HaulAgreement, LoadExemption
from crossfall.model.network import Network
from crossfall.model.policy import Policy
from crossfall.model.posting import LoadPosting
from crossfall.model.programme import AdoptedYears
from crossfall.model.record import WorkRecord
from crossfall.model.signature import DesignSignature
from crossfall.model.track import MachineDay
from crossfall.model.weather import Forecast, WeatherRecord


@dataclass(frozen=True)
class District:
    """What the engine needs to plan: the network, what is known of it, and what is available."""

    name: str
    network: Network
    fleet: Fleet
    policy: Policy = field(default_factory=Policy)
    conditions: tuple[Condition, ...] = ()
    weather: tuple[WeatherRecord, ...] = ()
    forecasts: tuple[Forecast, ...] = ()
    observations: tuple[Observation, ...] = ()
    """In order of entry: of two at one place on one day the later one counts."""
    hazards: tuple[Hazard, ...] = ()
    requests: tuple[Request, ...] = ()
    records: tuple[WorkRecord, ...] = ()
    is_invented: bool = False
    postings: tuple[LoadPosting, ...] = ()
    clearances: tuple[Clearance, ...] = ()
    material_tests: tuple[MaterialTest, ...] = ()
    pile_entries: tuple[PileEntry, ...] = ()
    """What was put on and taken from each pit's pile, beside the stock its fleet file gives."""
    edges: tuple[FittedEdge, ...] = ()
    dust: tuple[DustApplication, ...] = ()
    contracts: tuple[Contract, ...] = ()
    haul_agreements: tuple[HaulAgreement, ...] = ()
    load_exemptions: tuple[LoadExemption, ...] = ()
    ordered_ids: frozenset[str] = frozenset()
    """Segments that crews have cards for in the days to plan: no work is sought there."""
    signatures: tuple[DesignSignature, ...] = ()
    """Designs that an engineer has signed, in order of entry: the last word on a work counts."""
    machine_days: tuple[MachineDay, ...] = ()
    """Sums of machines' tracks and counters, by day."""
    years: AdoptedYears | None = None
    """The programme of years that the agency works by."""
    calendar: CrewCalendar = field(default_factory=CrewCalendar)
    """What the week is planned around: reserved hours, other work, hours barred on roads."""
