"""The week, the map and the gradation as SVG: well formed, complete, readable without colour."""

from __future__ import annotations

from datetime import UTC, datetime
from xml.etree import ElementTree as ET

import pytest

from crossfall.design import design_jobs
from crossfall.errors import InputError
from crossfall.model import Itinerary, Leg, Plan, Policy, Treatment, Unserved
from crossfall.model.policy.specifications import default_specifications
from crossfall.network import build_graph
from crossfall.report import gradation_svg, plan_map, week_picture
from crossfall.report.colours import fill, word
from crossroads import TODAY, condition, need, small_fleet, small_network, wetness


@pytest.fixture(scope="module")
def week():
    """Reshape one road, blade another on the way, and leave a third out."""
    network, fleet = small_network(), small_fleet()
    jobs = design_jobs(
        [need(Treatment.RESHAPING), need(Treatment.BLADING, "s2"), need(Treatment.BLADING, "s3")],
        [condition()], network, build_graph(network), fleet, wetness(network, 6.0), Policy(),
    )  # fmt: skip
    reshape, blade, left_out = jobs
    first, second = reshape.stages[0].id, blade.stages[0].id
    legs = (
        Leg("travel", 400, 420, "n0", "n0"),
        Leg("work", 420, 440, "n0", "n1", "s1", first, 1, True, 1609.3),
        Leg("turn", 440, 443, "n1", "n1"),
        Leg("work", 443, 463, "n1", "n0", "s1", first, 2, False, 1609.3),
        Leg("work", 480, 500, "n0", "n2", "s2", second, 1, False, 1609.3),
        Leg("break", 720, 750, "n2", "n2"),
        Leg("work", 750, 770, "n0", "n1", "s1", first, 3, True, 1609.3),
    )
    plan = Plan(
        "P", datetime(2026, 6, 15, 6, tzinfo=UTC), TODAY, 2,
        (Itinerary("g1", "o0", TODAY, legs),), (), (reshape.id, blade.id),
        (Unserved(left_out.id, "s3", "higher_priorities", "others first"),), 5.0, 6.0, 1,
    )  # fmt: skip
    return plan, jobs, network, fleet


def texts(svg: str) -> list[str]:
    return [each.text or "" for each in ET.fromstring(svg).iter() if each.tag.endswith("text")]


def test_the_week_names_machines_days_roads_and_operators(week):
    plan, jobs, network, fleet = week
    said = texts(week_picture(plan, jobs, network, fleet, is_invented=True, title="Week & all"))
    assert {"Grader 1", "Grader 2", "Mon 15 Jun", "Tue 16 Jun", "INVENTED DATA"} <= set(said)
    assert "Week & all" in said
    assert "1 Osier Creek Road, 2 Willow Lane" in said
    assert "Ash · 6.4 km of passes" in said
    assert said.count("stays in the yard") == 3
    assert "Reshape" in said
    assert "2 jobs planned, 1 left out with a reason; could be better by at most 16.7 %" in said


def test_a_stage_is_drawn_for_each_stretch_it_is_worked(week):
    plan, jobs, network, fleet = week
    svg = week_picture(plan, jobs, network, fleet)
    bars = svg.count(f'fill="{fill(Treatment.RESHAPING)}"')
    # Two stretches, parted by the other road and the break, and the key
    assert bars == 3


def test_the_week_in_miles(week):
    plan, jobs, network, fleet = week
    assert "Ash · 4 mi of passes" in texts(week_picture(plan, jobs, network, fleet, units="us"))


def test_the_map_shows_work_and_what_is_left_out(week):
    plan, jobs, network, fleet = week
    svg = plan_map(network, plan, jobs, fleet, is_invented=True)
    said = texts(svg)
    assert {word(Treatment.RESHAPING), word(Treatment.BLADING)} <= set(said)
    assert "left out, with a reason" in said
    assert {"North yard", "Osier pit", "N", "INVENTED DATA"} <= set(said)
    assert svg.count("stroke-dasharray") == 2
    assert "mi" in " ".join(texts(plan_map(network, plan, jobs, fleet, units="us")))


def test_every_treatment_has_its_own_colour_and_word():
    worked = [t for t in Treatment if t is not Treatment.NONE]
    assert len({fill(t) for t in worked}) == len(worked)
    assert len({word(t) for t in worked}) == len(worked)


def test_unknown_units_are_refused(week):
    plan, jobs, network, fleet = week
    with pytest.raises(InputError, match="units is 'feet'"):
        week_picture(plan, jobs, network, fleet, units="feet")


PILE = {25.0: 100, 19.0: 98, 12.5: 80, 4.75: 52, 2.36: 30, 0.075: 10}


def test_a_gradation_stands_in_its_envelope():
    spec = default_specifications()[0]
    svg = gradation_svg({"North pit": PILE, "after <screening>": {**PILE, 4.75: 48}}, spec)
    said = texts(svg)
    assert {"Iowa 11", "North pit", "after <screening>", "envelope", "% passing"} <= set(said)
    assert {"0.075", "4.75", "19"} <= set(said)
    assert "limits not verified" not in said


def test_unverified_limits_are_said_on_the_drawing():
    spec = next(each for each in default_specifications() if not each.is_verified)
    assert "limits not verified" in texts(gradation_svg({"pile": PILE}, spec))


def test_too_many_curves_are_refused():
    with pytest.raises(InputError, match="6 curves"):
        gradation_svg({str(n): PILE for n in range(6)})
