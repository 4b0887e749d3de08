"""Curves along a segment, found from its drawn line once for all jobs."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from crossfall.formulas.curves import curve_spans
from crossfall.model import Segment
from crossfall.model.policy.design import ShapePractice

Spans = tuple[tuple[float, float], ...]
"""From and to, metres from the segment's start [m]."""


@dataclass
class CurveFinder:
    """Remembers the curves of each segment."""

    shape: ShapePractice
    _found: dict[str, Spans] = field(default_factory=dict)

    def of(self, segment: Segment) -> Spans:
        """Stretches that turn within the policy's radius.

        Whether a curve is banked is not known from a map; the card asks the operator to look.
        """
        if segment.id not in self._found:
            self._found[segment.id] = self._look(segment)
        return self._found[segment.id]

    def _look(self, segment: Segment) -> Spans:
        if len(segment.line) < 3:
            return ()
        points = np.asarray(segment.line, dtype=np.float64)
        narrow = np.cos(np.radians(points[:, 1].mean()))
        x, y = (points[:, 0] - points[0, 0]) * narrow, points[:, 1] - points[0, 1]
        drawn = float(np.hypot(np.diff(x), np.diff(y)).sum())
        if not drawn > 0:
            return ()
        # Scaled to the measured length, so that chainages agree with those of the features
        metres = segment.length_m / drawn
        spans = curve_spans(
            x * metres,
            y * metres,
            step_m=self.shape.curve_step_m,
            radius_m=self.shape.curve_radius_m,
            least_turn_deg=self.shape.curve_turn_deg,
        )
        return tuple((from_m, to_m) for from_m, to_m, _ in spans)
