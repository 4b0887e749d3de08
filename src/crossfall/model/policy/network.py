"""How lines on a map become a road network: distances, lengths, speeds and default widths."""

from __future__ import annotations

from dataclasses import dataclass

from crossfall.model.network import RoadClass
from crossfall.model.policy.setting import setting


@dataclass(frozen=True, slots=True)
class NetworkPolicy:
    """Import distances, the length of a maintenance segment, and what each road class stands for.

    Speeds, widths and traffic here stand in for facts that nobody gave; a segment that
    rests on one says ``default`` beside it.

    Examples
    --------
    >>> NetworkPolicy().travel_km_h("minimum")
    20.0
    """

    snap_m: float = setting(
        0.5,
        unit="m",
        doc="Line ends closer together than this are one place.",
        low=0.0,
        high=20.0,
    )
    gap_m: float = setting(
        5.0,
        unit="m",
        doc="Ends that miss each other by less than this, but are not joined, are listed"
        " for a person to confirm.",
        low=0.0,
        high=100.0,
    )
    segment_target_m: float = setting(
        1609.344,
        unit="m",
        doc="A maintenance segment is split to about this length (one mile).",
        evidence="common practice",
        low=100.0,
        high=10_000.0,
    )
    segment_longest_share: float = setting(
        1.25,
        unit="-",
        doc="A segment up to this many times the target length stays whole.",
        low=1.0,
        high=2.0,
    )
    sliver_m: float = setting(
        5.0, unit="m", doc="Lines shorter than this are listed as slivers.", low=0.0, high=50.0
    )
    bridge_absorb_m: float = setting(
        120.0,
        unit="m",
        doc="A bridge up to this long, with the same road on both sides, belongs to that road's"
        " segment and is kept as a point on it.",
        low=0.0,
        high=1000.0,
    )
    feature_snap_m: float = setting(
        25.0,
        unit="m",
        doc="A point feature further than this from every road is not put on one.",
        low=1.0,
        high=200.0,
    )
    on_road_m: float = setting(
        1.0,
        unit="m",
        doc="A feature this close to the line is on the road, not beside it.",
        low=0.0,
        high=10.0,
    )
    same_crossing_m: float = setting(
        20.0,
        unit="m",
        doc="Water at a bridge, culvert or ford closer than this is not listed a second time"
        " as a stream.",
        low=0.0,
        high=100.0,
    )
    official_ratio: float = setting(
        1.25,
        unit="-",
        doc="An agency's length that differs from the drawn one by more than this factor is"
        " listed.",
        low=1.01,
        high=3.0,
    )
    lineage_m: float = setting(
        15.0,
        unit="m",
        doc="A new segment this close to an old one runs along the same road.",
        low=1.0,
        high=100.0,
    )
    same_road_share: float = setting(
        0.95,
        unit="-",
        doc="A new segment that shares this much of its length with a vanished one, and of the"
        " vanished one's, is that segment under another id.",
        low=0.5,
        high=1.0,
    )
    successor_share: float = setting(
        0.5,
        unit="-",
        doc="Facts of a vanished segment follow to a new one that has this share of its length"
        " in common with it, or makes up this share of the vanished one.",
        low=0.05,
        high=1.0,
    )
    yard_far_km: float = setting(
        50.0,
        unit="km",
        doc="A yard further than this from every road is refused.",
        low=1.0,
        high=1000.0,
    )
    longest_step_km: float = setting(
        50.0,
        unit="km",
        doc="A road line with two neighbouring vertices further apart than this is a mistake.",
        low=5.0,
        high=500.0,
    )
    widest_km: float = setting(
        250.0,
        unit="km",
        doc="Lengths of a network that reaches further than this east or west of its middle"
        " are listed as doubtful.",
        low=50.0,
        high=1000.0,
    )
    far_km: float = setting(
        300.0,
        unit="km",
        doc="New lines further than this from the place they should be at are refused.",
        low=1.0,
        high=5000.0,
    )
    travel_arterial_km_h: float = setting(
        45.0, unit="km/h", doc="Machine travel speed, arterial, blade up.", low=5, high=90
    )
    travel_collector_km_h: float = setting(
        40.0, unit="km/h", doc="Machine travel speed, collector, blade up.", low=5, high=90
    )
    travel_local_km_h: float = setting(
        35.0, unit="km/h", doc="Machine travel speed, local road, blade up.", low=5, high=90
    )
    travel_minimum_km_h: float = setting(
        20.0, unit="km/h", doc="Machine travel speed, minimum road, blade up.", low=2, high=90
    )
    width_arterial_m: float = setting(
        9.0, unit="m", doc="Road width where nobody gave one, arterial.", low=2, high=30
    )
    width_collector_m: float = setting(
        8.0, unit="m", doc="Road width where nobody gave one, collector.", low=2, high=30
    )
    width_local_m: float = setting(
        7.0, unit="m", doc="Road width where nobody gave one, local.", low=2, high=30
    )
    width_minimum_m: float = setting(
        4.5, unit="m", doc="Road width where nobody gave one, minimum.", low=2, high=30
    )
    width_narrowest_m: float = setting(
        1.5, unit="m", doc="A narrower road width in a file is a mistake.", low=0.5, high=5
    )
    width_widest_m: float = setting(
        40.0, unit="m", doc="A wider road width in a file is a mistake.", low=10, high=100
    )
    width_feet_above_m: float = setting(
        15.0,
        unit="m",
        doc="A width without a unit above this is taken for feet, and refused until named.",
        low=8,
        high=40,
    )
    adt_arterial: float = setting(
        400.0, unit="veh/day", doc="Traffic where nobody counted, arterial.", low=0, high=50_000
    )
    adt_collector: float = setting(
        150.0, unit="veh/day", doc="Traffic where nobody counted, collector.", low=0, high=50_000
    )
    adt_local: float = setting(
        50.0, unit="veh/day", doc="Traffic where nobody counted, local.", low=0, high=50_000
    )
    adt_minimum: float = setting(
        10.0, unit="veh/day", doc="Traffic where nobody counted, minimum.", low=0, high=50_000
    )

    def travel_km_h(self, road_class: RoadClass) -> float:
        """Speed at which a machine travels on a road of this class, blade up [km/h]."""
        return {
            "arterial": self.travel_arterial_km_h,
            "collector": self.travel_collector_km_h,
            "local": self.travel_local_km_h,
            "minimum": self.travel_minimum_km_h,
        }[road_class]

    def width_m(self, road_class: RoadClass) -> float:
        """Road width to start from where nobody gave one [m]."""
        return {
            "arterial": self.width_arterial_m,
            "collector": self.width_collector_m,
            "local": self.width_local_m,
            "minimum": self.width_minimum_m,
        }[road_class]

    def adt(self, road_class: RoadClass) -> float:
        """Traffic to start from where nobody counted [veh/day]."""
        return {
            "arterial": self.adt_arterial,
            "collector": self.adt_collector,
            "local": self.adt_local,
            "minimum": self.adt_minimum,
        }[road_class]
