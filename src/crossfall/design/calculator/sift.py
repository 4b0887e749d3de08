"""Screening a road in place: a scarifying blade loosens the top and lets the fines through.

What the teeth hold back is carried off; what falls through stays as the road. The sum is that of a
screen with the gap between the teeth as its opening, the grader's hours as its price, and no price
for the feed.
"""

from __future__ import annotations

from dataclasses import dataclass

from crossfall.formulas.given import at_least, count, positive, within
from crossfall.formulas.gradation import Grading, scalped
from crossfall.formulas.grader import pass_minutes
from crossfall.formulas.gravel import compacted_volume, loose_volume, mass

OVERSIZE_GOES = "oversize goes only where it is approved, never into a ridge along the shoulder"


@dataclass(frozen=True, slots=True)
class Sift:
    """What in-place screening leaves, what it takes off, and what that costs."""

    worked_m3: float
    """Compacted gravel that was loosened [m³]."""
    worked_t: float
    """Dry mass of it [t]."""
    kept_t: float
    """Dry mass that falls through and stays [t]."""
    oversize_t: float
    oversize_m3: float
    """Loose, to be carried off [m³]."""
    passing_pct: dict[float, float]
    """Gradation of what stays [mm, %]."""
    hours: float
    """Grader, blade down [h]."""
    cost: float
    """Money for the grader and carrying off."""
    processed_t_price: float | None
    """Processed gravel on the road, money for a tonne; None compares with nothing."""

    @property
    def yield_share(self) -> float:
        """Share of the worked mass that stays."""
        return self.kept_t / self.worked_t

    @property
    def cost_per_t(self) -> float:
        """Money for a tonne that stays."""
        return self.cost / self.kept_t

    @property
    def saved_per_t(self) -> float | None:
        """Against processed gravel; below 0 is dearer."""
        return None if self.processed_t_price is None else self.processed_t_price - self.cost_per_t

    def summary(self) -> str:
        """One line to read out."""
        saved = self.saved_per_t
        against = ""
        if saved is not None:
            word = "cheaper" if saved >= 0 else "dearer"
            against = f", {abs(saved):.2f} a tonne {word} than processed gravel"
        return (
            f"{100 * self.yield_share:.0f} % stays ({self.kept_t:,.0f} t dry),"
            f" {self.oversize_m3:,.0f} m3 loose oversize comes off, {self.hours:.1f} h of the"
            f" grader, {self.cost_per_t:.2f} a tonne{against}; {OVERSIZE_GOES}"
        )


def sift(
    grading: Grading,
    *,
    length_m: float,
    width_m: float,
    depth_mm: float,
    gap_mm: float,
    gravel_mm: float,
    keep_mm: float,
    n_passes: int,
    speed_km_h: float,
    efficiency: float,
    through_share: float = 1.0,
    dry_t_m3: float,
    bulking: float,
    hour_price: float = 0.0,
    haul_off_m3_price: float = 0.0,
    processed_t_price: float | None = None,
) -> Sift:
    """Screen the top of a road in place.

    Parameters
    ----------
    depth_mm : float
        Depth of the teeth, never nearer than ``keep_mm`` to the bottom of the gravel. [mm]
    gap_mm : float
        Gap between the teeth: what is larger is carried off. [mm]
    through_share : float, above 0 to 1
        Share of what could fall through that does; the rest goes off with the oversize.
    n_passes, speed_km_h, efficiency
        How the grader works; each pass goes the whole length.
    hour_price : float
        Grader and operator, money an hour.
    haul_off_m3_price : float
        To carry off a loose m³ of oversize, money.

    Raises
    ------
    InputError
        If a figure is not possible, or the teeth would go through the gravel.

    Examples
    --------
    >>> made = sift({75.0: 100, 25.0: 80, 4.75: 40}, length_m=1000, width_m=7, depth_mm=50,
    ...             gap_mm=25, gravel_mm=120, keep_mm=20, n_passes=12, speed_km_h=5,
    ...             efficiency=0.83, dry_t_m3=2.1, bulking=1.25, hour_price=140)
    >>> round(made.kept_t), round(made.oversize_t), made.passing_pct[4.75]
    (588, 147, 50.0)
    """
    within("gap_mm", gap_mm, 5.0, 150.0, hint="millimetres between the teeth")
    positive("depth_mm", depth_mm)
    at_least("keep_mm", keep_mm, 0.0)
    within(
        "depth_mm", depth_mm, 1.0, max(gravel_mm - keep_mm, 1.0),
        hint=f"{keep_mm:g} mm of the {gravel_mm:g} mm that are there stay uncut",
    )  # fmt: skip
    for name, value in (("hour_price", hour_price), ("haul_off_m3_price", haul_off_m3_price)):
        at_least(name, value, 0.0)
    if processed_t_price is not None:
        at_least("processed_t_price", processed_t_price, 0.0)
    finer, share = scalped(grading, gap_mm, through_share)
    worked = compacted_volume(length_m, width_m, depth_mm)
    worked_t = mass(worked, dry_t_m3)
    off_m3 = loose_volume(worked * (1 - share), bulking)
    hours = count("n_passes", n_passes) * pass_minutes(length_m, speed_km_h, efficiency) / 60
    return Sift(
        worked_m3=worked,
        worked_t=worked_t,
        kept_t=worked_t * share,
        oversize_t=worked_t * (1 - share),
        oversize_m3=off_m3,
        passing_pct=finer,
        hours=hours,
        cost=hours * hour_price + off_m3 * haul_off_m3_price,
        processed_t_price=processed_t_price,
    )
