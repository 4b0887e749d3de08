"""Policy: every threshold, unit cost and specification, versioned, with what it rests on.

No figure that a person could argue about stands in code outside this package.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from crossfall.model.policy.cab import CabPolicy
from crossfall.model.policy.costs import CostsPolicy
from crossfall.model.policy.design import DesignPolicy
from crossfall.model.policy.dispatch import DispatchPolicy
from crossfall.model.policy.entry import EntryPolicy
from crossfall.model.policy.gate import GatePolicy
from crossfall.model.policy.moisture import MoisturePolicy
from crossfall.model.policy.needs import NeedsPolicy
from crossfall.model.policy.network import NetworkPolicy
from crossfall.model.policy.programme import ProgrammePolicy
from crossfall.model.policy.records import LearningPolicy, RecordsPolicy
from crossfall.model.policy.residents import HaulPolicy, RequestsPolicy
from crossfall.model.policy.retention import RetentionPolicy
from crossfall.model.policy.tracks import TracksPolicy
from crossfall.model.policy.weather import WeatherPolicy

__all__ = [
    "CabPolicy",
    "CostsPolicy",
    "DesignPolicy",
    "DispatchPolicy",
    "EntryPolicy",
    "GatePolicy",
    "HaulPolicy",
    "LearningPolicy",
    "MoisturePolicy",
    "NeedsPolicy",
    "NetworkPolicy",
    "Policy",
    "ProgrammePolicy",
    "RecordsPolicy",
    "RequestsPolicy",
    "RetentionPolicy",
    "TracksPolicy",
    "WeatherPolicy",
]


@dataclass(frozen=True)
class Policy:
    """All settings of one agency. A changed policy is a new version; results name theirs."""

    version: str = "1"
    moisture: MoisturePolicy = field(default_factory=MoisturePolicy)
    gate: GatePolicy = field(default_factory=GatePolicy)
    needs: NeedsPolicy = field(default_factory=NeedsPolicy)
    design: DesignPolicy = field(default_factory=DesignPolicy)
    dispatch: DispatchPolicy = field(default_factory=DispatchPolicy)
    costs: CostsPolicy = field(default_factory=CostsPolicy)
    programme: ProgrammePolicy = field(default_factory=ProgrammePolicy)
    network: NetworkPolicy = field(default_factory=NetworkPolicy)
    weather: WeatherPolicy = field(default_factory=WeatherPolicy)
    records: RecordsPolicy = field(default_factory=RecordsPolicy)
    learning: LearningPolicy = field(default_factory=LearningPolicy)
    entry: EntryPolicy = field(default_factory=EntryPolicy)
    requests: RequestsPolicy = field(default_factory=RequestsPolicy)
    haul: HaulPolicy = field(default_factory=HaulPolicy)
    tracks: TracksPolicy = field(default_factory=TracksPolicy)
    cab: CabPolicy = field(default_factory=CabPolicy)
    retention: RetentionPolicy = field(default_factory=RetentionPolicy)
