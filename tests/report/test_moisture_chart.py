"""The moisture chart: well formed, to scale, with gaps where nothing is known."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import date, timedelta
from xml.etree import ElementTree as ET

import pytest

from crossfall.errors import InputError
from crossfall.judgement import MoistureClass, RoadDays
from crossfall.judgement.observe import Look
from crossfall.judgement.road_days import DayAhead, PartOfDay, PastDay
from crossfall.report import moisture_chart

TODAY = date(2026, 6, 8)
SVG = "{http://www.w3.org/2000/svg}"


def road(past=None, looks=(), rain=(0.0, 0.0, 2.0, 4.0, 8.0)) -> RoadDays:
    """Ten recorded days falling from 9 to 4.5 %, and three days ahead."""
    moisture = past or [9.0 - 0.5 * n for n in range(10)]
    days = tuple(
        PastDay(TODAY - timedelta(days=len(moisture) - n), value, 12.0 if n == 0 else 0.0)
        for n, value in enumerate(moisture)
    )
    ahead = tuple(
        DayAhead(
            TODAY + timedelta(days=n), MoistureClass.DRYING, (0.0, 0.0, 0.2, 0.8, 0.0, 0.0),
            (3.0, 3.5, 4.0, 4.5, 5.0), rain,
            (PartOfDay("early", MoistureClass.DRYING, 0.2),), False, "Drying out.",
        )
        for n in range(3)
    )  # fmt: skip
    return RoadDays("s1", 7.0, 3.5, 5.0, 8.5, 10.3, days, ahead, looks, "Gauge")


def shapes(svg: str, name: str) -> list[ET.Element]:
    return [each for each in ET.fromstring(svg).iter() if each.get("class") == name]


def titles(svg: str) -> list[str]:
    return [each.text for each in ET.fromstring(svg).iter(f"{SVG}title")]


def test_bands_lie_between_their_limits_to_scale():
    svg = moisture_chart(road())
    (workable,), (drying,), (dry,) = (shapes(svg, f"mc-{n}") for n in ("workable", "drying", "dry"))
    height = {each: float(band.get("height")) for each, band in
              (("workable", workable), ("drying", drying), ("dry", dry))}  # fmt: skip
    # 8.5 - 5, 5 - 3.5 and 3.5 - 0 per cent of moisture
    assert height["workable"] / height["drying"] == pytest.approx(3.5 / 1.5, rel=0.01)
    assert height["dry"] == pytest.approx(height["workable"], abs=0.11)


def test_rain_bars_stand_to_scale_and_the_fan_is_there():
    svg = moisture_chart(road())
    solid, hollow = shapes(svg, "mc-rain"), shapes(svg, "mc-maybe")
    assert len(solid) == 1 + 3, "one recorded day, and the middle of three days ahead"
    assert len(hollow) == 3
    tall = float(solid[0].get("height"))
    assert float(solid[1].get("height")) == pytest.approx(tall * 2 / 12, abs=0.2)
    assert float(hollow[0].get("height")) == pytest.approx(tall * 8 / 12, abs=0.2)
    assert len(shapes(svg, "mc-fan")) == 2


def test_a_day_that_nobody_knows_leaves_a_gap():
    whole = moisture_chart(road())
    broken = moisture_chart(road(past=[9.0, 8.0, math.nan, 6.0, 5.0]))
    assert len(shapes(broken, "mc-line")) == len(shapes(whole, "mc-line")) + 1
    assert "nan" not in broken


def test_nothing_known_at_all_still_draws():
    days = road(past=[math.nan] * 5, rain=(math.nan,) * 5)
    assert "nan" not in moisture_chart(days)
    assert any("rain not known" in each for each in titles(moisture_chart(days)))


def test_what_people_saw_is_named_and_escaped():
    look = Look(TODAY - timedelta(days=1), "too_wet", 1.0, "A <b> & C")
    old = Look(TODAY - timedelta(days=90), "dust", 1.0, "Bo")
    found = titles(moisture_chart(road(looks=(look, old))))
    assert "Seen too wet by A <b> & C, Sun 7 Jun" in found
    assert not any("Bo" in each for each in found)


def test_each_day_says_its_figures_in_the_agencys_units():
    assert "Fri 29 May: 9.0 %, 12 mm of rain" in titles(moisture_chart(road()))
    us = titles(moisture_chart(road(), units="us"))
    # 12 mm is 0.4724 in, nearest eighth 1/2
    assert "Fri 29 May: 9.0 %, ½ in of rain" in us
    assert "Mon 8 Jun: drying, 4.0 % (3.0 to 5.0), ⅛ in of rain" in us
    assert "rain, in" in moisture_chart(road(), units="us")


def test_fewer_days_make_wider_columns():
    narrow = moisture_chart(road(), n_past=3)
    assert len(titles(narrow)) == 3 + 3
    assert len(titles(moisture_chart(road()))) == 10 + 3


@pytest.mark.parametrize(
    "odd", [{"width": 100}, {"height": 50}, {"n_past": 0}, {"units": "furlong"}]
)
def test_no_room_or_an_odd_unit_is_refused(odd):
    with pytest.raises(InputError):
        moisture_chart(road(), **odd)


def test_a_day_nobody_can_name_is_said_to_be_unsure():
    days = road()
    first = replace(days.ahead[0], is_unsure=True)
    drawn = moisture_chart(replace(days, ahead=(first, *days.ahead[1:])))
    assert drawn.count(": not sure") == 1
    assert ": not sure" not in moisture_chart(days)
