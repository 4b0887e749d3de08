"""Who goes where on which day: the week's plan, its bound, and a separate checker."""

from __future__ import annotations

from crossfall.dispatch.week import dispatch_week

__all__ = ["dispatch_week"]
