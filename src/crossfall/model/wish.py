"""What a person wants of the plan whatever the search thinks: keep it there, or keep it out."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Literal

WishKind = Literal["pin", "forbid"]


@dataclass(frozen=True, slots=True)
class PlanWish:
    """One wish about one job, or one stage of it.

    A *pin* asks for the work on the named machine, the named day, or both. A *forbid* keeps it off
    them; with neither named it keeps the work out of the plan altogether. Skill, reach and the
    moisture of the surface stay as they are: a wish never opens what they close.

    Examples
    --------
    >>> wish = PlanWish("job-7", "forbid", machine_id="g2")
    >>> wish.covers("g2", date(2026, 6, 8)), wish.covers("g1", date(2026, 6, 8))
    (True, False)
    """

    job_id: str
    kind: WishKind
    machine_id: str | None = None
    day: date | None = None
    stage_id: str | None = None
    """Only this stage; all stages of the job when None."""

    def covers(self, machine_id: str, day: date) -> bool:
        """Whether a machine on a day is what the wish names."""
        return self.machine_id in {None, machine_id} and self.day in {None, day}
