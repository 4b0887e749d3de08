"""Draw docs/pictures/week.svg: a week of the invented district, as crossfall plans it.

Run ``python tools/pictures.py`` after a change that shows in the picture.
"""

from __future__ import annotations

from datetime import UTC, date, datetime
from pathlib import Path

from crossfall.demo import osier_valley
from crossfall.report import week_picture
from crossfall.workflow import plan_week

PICTURE = Path(__file__).resolve().parents[1] / "docs" / "pictures" / "week.svg"
MONDAY = date(2026, 6, 8)


def main() -> None:
    """Plan the week and draw it."""
    district = osier_valley(seed=1, today=MONDAY)
    week = plan_week(
        district,
        first_day=MONDAY,
        n_days=5,
        made_at=datetime(2026, 6, 8, 6, tzinfo=UTC),
        seconds=20.0,
        seed=1,
    )
    picture = week_picture(
        week.plan,
        week.jobs,
        district.network,
        district.fleet,
        is_invented=True,
        title="Osier Valley District: one week",
    )
    PICTURE.parent.mkdir(exist_ok=True)
    PICTURE.write_text(picture, encoding="utf-8")


if __name__ == "__main__":
    main()
