"""A look does not forget the gravel measured before; a roughness given moves the ride."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from crossfall.judgement import find_needs
from crossfall.judgement.forecast import believe
from crossfall.model import Condition, Treatment
from small_district import small_district, small_record

MEASURED_ON, SEEN_ON = date(2025, 5, 4), date(2026, 5, 4)


def _gravel(*records: object, is_measured: bool = True) -> tuple[float, float]:
    """Gravel believed on the day of the later look, and its yearly loss [mm]."""
    measured = Condition("s0", MEASURED_ON, 4, 4, 4, 4, 4, "measured", gravel_mm=93.0)
    seen = Condition("s0", SEEN_ON, 4, 4, 4, 4, 4, "estimated")
    looks = (measured, seen) if is_measured else (seen,)
    district = replace(small_district(), conditions=looks, records=records)
    belief = believe(district, SEEN_ON)
    row = [segment.id for segment in belief.segments].index("s0")
    return float(belief.measures["gravel_mm"][row]), float(belief.gravel_loss_mm[row])


def test_the_measured_gravel_stays_less_what_was_lost_since() -> None:
    left, loss = _gravel()
    assert loss > 0
    assert left == pytest.approx(93.0 - loss)  # 365 days between the looks


def test_gravel_placed_in_between_ends_it() -> None:
    left, loss = _gravel(
        replace(
            small_record(),
            segment_id="s0",
            treatment=Treatment.REGRAVELLING,
            done_on=date(2025, 9, 1),
            supersedes=None,
        )
    )
    never, _ = _gravel(is_measured=False)
    assert left == pytest.approx(never, nan_ok=True)
    assert left != pytest.approx(93.0 - loss)


def test_a_roughness_given_with_a_look_sets_the_ride() -> None:
    look = Condition("s0", SEEN_ON, 4, 4, 4, 5, 4, "measured", iri_m_km=13.0)
    belief = believe(replace(small_district(), conditions=(look,), records=()), SEEN_ON)
    row = [segment.id for segment in belief.segments].index("s0")
    assert belief.scores[3, row] == pytest.approx(2.0)  # the knot at 13 m/km


def test_a_need_says_that_its_gravel_is_computed_from_what_was_measured() -> None:
    measured = Condition("s0", MEASURED_ON, 4, 4, 4, 4, 4, "measured", gravel_mm=93.0)
    seen = Condition("s0", SEEN_ON, 4, 4, 4, 1.5, 4, "estimated")
    district = replace(small_district(), conditions=(measured, seen), records=())
    (need,) = [each for each in find_needs(district, today=SEEN_ON)[0] if each.segment_id == "s0"]
    assert "Gravel thickness: computed from the one measured on 2025-05-04." in need.assumed
