"""The road network as something to travel on: graph, linear referencing, segmentation."""

from __future__ import annotations

from crossfall.network.events import EVENT_NAMES, apply_events, check_event
from crossfall.network.features import attach_features
from crossfall.network.graph import RoadGraph, build_graph
from crossfall.network.lineage import (
    Lineage,
    follow_events,
    follow_features,
    merge_segments,
    split_segment,
    trace_lineage,
)
from crossfall.network.linear import LinearReference, LineEvent, Position
from crossfall.network.noding import Edges, Gap, cut_at_junctions, snap_ends
from crossfall.network.projection import LocalPlane
from crossfall.network.resnap import Resnapped, resnap
from crossfall.network.roads import FoundLine, FoundPoint, RoadFacts, RoadLines
from crossfall.network.segmentation import make_segments

__all__ = [
    "EVENT_NAMES",
    "Edges",
    "FoundLine",
    "FoundPoint",
    "Gap",
    "LineEvent",
    "Lineage",
    "LinearReference",
    "LocalPlane",
    "Position",
    "Resnapped",
    "RoadFacts",
    "RoadGraph",
    "RoadLines",
    "apply_events",
    "attach_features",
    "build_graph",
    "check_event",
    "cut_at_junctions",
    "follow_events",
    "follow_features",
    "make_segments",
    "merge_segments",
    "resnap",
    "snap_ends",
    "split_segment",
    "trace_lineage",
]
