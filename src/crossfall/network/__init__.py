"""The road network as something to travel on: graph, linear referencing, segmentation."""

from __future__ import annotations

from crossfall.network.graph import RoadGraph, build_graph
from crossfall.network.projection import LocalPlane

__all__ = ["LocalPlane", "RoadGraph", "build_graph"]
