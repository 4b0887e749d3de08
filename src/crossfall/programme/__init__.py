"""Years ahead: one strategy for each segment within yearly money, gravel and grader hours."""

from __future__ import annotations

from crossfall.programme.certify import Certificate, certify
from crossfall.programme.years import Programme, plan_years

__all__ = ["Certificate", "Programme", "certify", "plan_years"]
