"""From a need to a job that a crew can build: passes, lifts, loads, water, hours, cost."""

from __future__ import annotations

from crossfall.design.jobs import design_job, design_jobs

__all__ = ["design_job", "design_jobs"]
