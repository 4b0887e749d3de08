"""Inspections in and out: equal after the round trip, slips named by row and field."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crossfall.demo import osier_valley, section_grid
from crossfall.errors import InputError, UnitsError
from crossfall.io.conditions import (
    read_bad_roads,
    read_conditions,
    read_survey,
    write_bad_rows,
    write_conditions,
)
from crossfall.model import Condition

HEAD = "segment_id,observed_on,crown,drainage,gravel,deformation,defects"
ROW = "OV0001,2026-05-12,4,4.5,3,2,4"


@pytest.fixture
def survey(tmp_path):
    def write(*rows: str, head: str = HEAD):
        path = tmp_path / "survey.csv"
        path.write_text("\n".join((head, *rows)) + "\n")
        return path

    return write


def _maybe(strategy):
    return st.none() | strategy


SCORE = st.integers(2, 10).map(lambda n: n / 2)
DEPTH = st.just(0.0) | st.floats(4, 90)
STRETCH = st.tuples(st.integers(0, 400), st.integers(1, 400)).map(lambda each: (each[0], sum(each)))
CONDITION = st.builds(
    Condition,
    segment_id=st.text("abcXYZ0123 -_äß", min_size=1).map(str.strip).filter(bool),
    observed_on=st.dates(date(2020, 1, 1), date(2030, 1, 1)),
    crown=SCORE,
    drainage=SCORE,
    gravel=SCORE,
    deformation=SCORE,
    defects=SCORE,
    method=st.sampled_from(["measured", "computed", "estimated", "default"]),
    observer=st.text("Aa, \"'", max_size=5).map(str.strip),
    crossfall_pct=_maybe(st.floats(0.5, 9)),
    gravel_mm=_maybe(st.floats(20, 200)),
    corrugation_mm=_maybe(DEPTH),
    corrugation_spacing_m=_maybe(st.floats(0.3, 2)),
    pothole_mm=_maybe(DEPTH),
    pothole_count_per_km=_maybe(st.floats(0, 90)),
    rut_mm=_maybe(DEPTH),
    loose_mm=_maybe(st.floats(0, 90)),
    has_secondary_ditch=st.booleans(),
    has_high_shoulder=st.booleans(),
    is_ditch_blocked=st.booleans(),
    is_culvert_blocked=st.booleans(),
    windrow_side=st.sampled_from([None, "left", "right", "both"]),
    note=st.text("line\n, ;", max_size=8).map(str.strip),
    photos=st.lists(st.sampled_from(["a" * 64 + ".jpg", "b" * 64 + ".png"]), max_size=2).map(tuple),
    dust=st.sampled_from([None, "none", "high"]),
    pothole_width_mm=_maybe(st.floats(0, 900)),
    ditch=st.sampled_from([None, "clear", "shallow", "blocked", "none"]),
    shoulder=st.sampled_from([None, "even", "high", "low", "eroded"]),
)


@settings(max_examples=60, deadline=None)
@given(
    st.lists(CONDITION, min_size=1, max_size=6, unique_by=lambda c: (c.segment_id, c.observed_on)),
    st.integers(0, 90),
    st.none() | STRETCH,
    st.sampled_from(["left", "right", "both"]),
)
def test_what_is_written_is_read_back_equal(tmp_path_factory, conditions, days, stretch, side):
    path = tmp_path_factory.mktemp("c") / "survey.csv"
    from_m, to_m = stretch or (None, None)
    given_ = tuple(
        replace(
            each,
            last_bladed_on=each.observed_on - timedelta(days=days) if days else None,
            from_m=from_m,
            to_m=to_m,
            side=side,
            windrow_side=None if side != "both" else each.windrow_side,
        )
        for each in conditions
    )
    assert read_conditions(write_conditions(given_, path)) == given_


def test_the_invented_survey_comes_back_equal(tmp_path):
    district = osier_valley(today=date(2026, 6, 10))
    path = write_conditions(district.conditions, tmp_path / "survey.csv")
    assert read_conditions(path, network=district.network) == district.conditions


def test_method_follows_from_what_was_written_down(survey):
    head = HEAD + ",crossfall_pct,method"
    rows = ("A,2026-05-12,4,4,4,4,4,,", "B,2026-05-12,4,4,4,4,4,3.5,",
            "C,2026-05-12,4,4,4,4,4,3.5,estimated")  # fmt: skip
    found = read_conditions(survey(*rows, head=head))
    assert [condition.method for condition in found] == ["estimated", "measured", "estimated"]


@pytest.mark.parametrize(
    ("head", "message"),
    [
        (HEAD + ",gravel_thickness", "column 'gravel_thickness' is unknown"),
        (HEAD + ",gravel_m", "column 'gravel_m' is unknown; did you mean gravel_mm"),
        (HEAD + ",crown", "column 'crown' is there twice"),
        (HEAD.replace(",defects", ""), "column 'defects' is missing"),
    ],
)
def test_wrong_headers_are_refused(survey, head, message):
    with pytest.raises(InputError, match=message):
        read_conditions(survey(ROW, head=head))


@pytest.mark.parametrize(
    ("row", "message"),
    [
        ("A,2026-05-12,4,4,4,4", "row 2: has 6 cells; expected 7"),
        ("A,2026-05-12,4,4,4,4,", "row 2, defects: is missing"),
        ("A,12.05.2026,4,4,4,4,4", "row 2, observed_on: is '12.05.2026'; expected a day"),
        ("A,2026-05-12,4,4,4,6,4", r"row 2, deformation: is 6; expected 1 to 5 \(failed to"),
        ("A,2026-05-12,4,4,4,good,4", "row 2, deformation: is 'good'; expected a figure"),
        ('A,2026-05-12,4,4,4,"3,5",4', "decimal point, not a comma"),
        ("OV0001,2026-05-12,1,1,1,1,1", "row 3: looks at OV0001 on 2026-05-12 again, as row 2 did"),
    ],
)
def test_bad_rows_are_named(survey, row, message):
    rows = (ROW, row) if "row 3" in message else (row,)
    with pytest.raises(InputError, match=message):
        read_conditions(survey(*rows))


@pytest.mark.parametrize(
    ("column", "cell", "message"),
    [
        ("gravel_mm", "4000", "gravel_mm: is 4000 mm; expected 0 to 600 mm"),
        ("rut_mm", "-3", "rut_mm: is -3 mm; expected 0 to 400 mm"),
        ("crossfall_pct", "40", "crossfall_pct: is 40 %; expected -15 to 15 %"),
        ("last_bladed_on", "2026-05-13", "after it was looked at on 2026-05-12"),
        ("windrow_side", "middle", "windrow_side: is 'middle'; expected left, right, both"),
        ("has_high_shoulder", "perhaps", "expected yes or no"),
        ("method", "guessed", "method: is 'guessed'"),
    ],
)
def test_figures_that_cannot_be_are_named(survey, column, cell, message):
    with pytest.raises(InputError, match=message):
        read_conditions(survey(f"{ROW},{cell}", head=f"{HEAD},{column}"))


def test_slopes_as_fractions_and_thickness_in_inches_are_refused(survey):
    with pytest.raises(UnitsError, match=r"is 0\.04 %; if it was meant as a fraction write 4"):
        read_conditions(survey(f"{ROW},0.04", head=f"{HEAD},crossfall_pct"))
    rows = [ROW.replace("0001", f"000{n}") + f",{n}" for n in (2, 3, 4)]
    with pytest.raises(UnitsError, match=r"gravel_mm is 3 mm at the median; if it is in inches"):
        read_conditions(survey(*rows, head=f"{HEAD},gravel_mm"))


def test_segments_must_be_of_the_network(survey):
    network = section_grid(200, seed=1)
    paved = next(s for s in network.segments if not s.is_maintained)
    maintained = network.maintained[0]
    good = ROW.replace("OV0001", maintained.id)
    assert len(read_conditions(survey(good), network=network)) == 1
    for id_, message in (("NOWHERE", "is no segment of the network"), (paved.id, "not maintained")):
        with pytest.raises(InputError, match=message):
            read_conditions(survey(ROW.replace("OV0001", id_)), network=network)


def test_files_with_nothing_in_them(survey, tmp_path):
    with pytest.raises(InputError, match="has a header and no row"):
        read_conditions(survey("", ""))
    empty = tmp_path / "empty.csv"
    empty.write_text("")
    with pytest.raises(InputError, match="is empty; expected the columns segment_id"):
        read_conditions(empty)


def test_bad_roads_for_a_first_week(tmp_path):
    path = tmp_path / "bad.csv"
    path.write_text(
        "road,is_bad,last_bladed_on\nAvocet Avenue,,2026-05-01\nOV0042,yes,\n"
        "Curlew Avenue,no,2026-05-20\n"
    )
    told = read_bad_roads(path)
    assert told.bad == ("Avocet Avenue", "OV0042")
    assert told.last_bladed == {
        "Avocet Avenue": date(2026, 5, 1),
        "Curlew Avenue": date(2026, 5, 20),
    }


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("road\nA,yes\n", "has 2 cells; expected 1"),
        ("road,is_bad\n,yes\n", "row 2, road: is missing"),
        ("road,is_bad\nA,often\n", "is_bad: is 'often'; expected yes or no"),
        ("name\nA\n", "column 'name' is unknown"),
        ("road,last_bladed_on\nA,2026-05-01\nA,2026-05-02\n", "row 3: A was last bladed on"),
    ],
)
def test_bad_roads_slips(tmp_path, text, message):
    path = tmp_path / "bad.csv"
    path.write_text(text)
    with pytest.raises(InputError, match=message):
        read_bad_roads(path)


STRETCHES = HEAD + ",from_m,to_m,side,windrow_side"
ONE_SEGMENT = section_grid(200, seed=1).maintained[0]


@pytest.mark.parametrize(
    ("rows", "message"),
    [
        (("600,200,,",), "row 2, from_m: begins at 600 m and ends at 200 m; exchange them"),
        (("600,200,left,",), "driven the other way, so exchange them, and side left may be right"),
        (("-5,200,,",), "row 2, from_m: is -5 m; expected 0 or more"),
        (("0,9000,,",), r"row 2, to_m: is 9000 m, but .* is \d+ m long; is it in feet"),
        (("0,400,,", "300,500,,"), "row 3: overlaps row 2 on .*, 300 to 400 m"),
        (("0,400,left,", "300,500,left,"), "on the left, 300 to 400 m; was one of them the right"),
        (("0,400,left,right",), "row 2, windrow_side: is right in a look at the left side"),
        (("0,400,port,",), "row 2, side: is 'port'; expected left, right, both"),
        (("0,400,,", ",,,"), "row 3: overlaps row 2"),
    ],
)
def test_stretches_and_sides(survey, rows, message):
    head = ROW.replace("OV0001", ONE_SEGMENT.id)
    path = survey(*(f"{head},{row}" for row in rows), head=STRETCHES)
    with pytest.raises(InputError, match=message):
        read_conditions(path, network=section_grid(200, seed=1))


def test_stretches_that_only_touch_are_taken(survey):
    path = survey(f"{ROW},0,400,left,", f"{ROW},0,400,right,", f"{ROW},400,,both,", head=STRETCHES)
    assert [(look.from_m, look.to_m, look.side) for look in read_conditions(path)] == [
        (0.0, 400.0, "left"), (0.0, 400.0, "right"), (400.0, None, "both"),
    ]  # fmt: skip


def test_a_look_into_the_future_is_refused(survey):
    path = survey(ROW)
    assert len(read_conditions(path, today=date(2026, 5, 12))) == 1
    with pytest.raises(InputError, match=r"observed_on: is 2026-05-12, after today \(2026-05-11\)"):
        read_conditions(path, today=date(2026, 5, 11))


def test_depths_in_inches_are_named_row_by_row(survey):
    cells = ("0.5", "1.5", "0", "2", "30")
    rows = [f"A{n},2026-05-12,4,4,4,2,4,{cell}" for n, cell in enumerate(cells)]
    found = read_survey(survey(*rows, head=f"{HEAD},rut_mm"))
    assert [bad.row for bad in found.bad] == [2, 3, 5]
    assert "rut_mm is 1.75 mm at the median; if it is in inches" in str(found.problems[0])
    assert [look.rut_mm for look in found.looks] == [0.0, 30.0]


def test_one_depth_in_inches_is_told_by_its_score(survey):
    row = "A,2026-05-12,4,4,4,2,4,"
    found = read_survey(survey(f"{row}2,", head=f"{HEAD},rut_mm,pothole_mm"))
    assert [str(each) for each in found.problems] == [
        "survey.csv row 2, rut_mm: is 2 mm beside a deformation score of 2; if it is in inches"
        " write 51"
    ]
    # Shallow ruts beside deep holes are shallow ruts
    assert read_survey(survey(f"{row}2,75", head=f"{HEAD},rut_mm,pothole_mm")).problems == ()


def test_one_thickness_in_inches_among_good_ones(survey):
    rows = [f"A{n},2026-05-12,4,4,4,4,4,{cell}" for n, cell in enumerate(("90", "100", "4", "80"))]
    found = read_survey(survey(*rows, head=f"{HEAD},gravel_mm"))
    assert [str(each) for each in found.problems] == [
        "survey.csv row 4, gravel_mm: is 4 mm beside a gravel score of 4;"
        " if it is in inches write 102"
    ]


def test_good_rows_are_kept_and_bad_ones_come_back(survey, tmp_path):
    head = HEAD + ",crossfall_pct,note"
    path = survey(
        "A,2026-05-12,4,4,4,4,4,4,", "B,2026-05-12,4,4,4,4,9,0.04,\"a, b\"",
        "C,2026-05-12,4,4", "D,2026-05-12,4,4,4,4,4,3,", head=head,
    )  # fmt: skip
    found = read_survey(path)
    assert [look.segment_id for look in found.looks] == ["A", "D"]
    assert [(bad.row, len(bad.problems)) for bad in found.bad] == [(3, 2), (4, 1)]
    assert found.summary() == "survey.csv: 2 looks, 2 rows that cannot be used"
    with pytest.raises(InputError, match="row 3, defects: is 9"):
        read_conditions(path)
    back = write_bad_rows(found, tmp_path / "bad.csv").read_text().splitlines()
    assert back[0] == head + ",problem"
    assert back[1].startswith('B,2026-05-12,4,4,4,4,9,0.04,"a, b",')
    assert "is 9; expected 1 to 5" in back[1]
    assert "write 4" in back[1]
    assert back[2].startswith("C,2026-05-12,4,4,,,,,,")
    again = tmp_path / "again.csv"
    again.write_text("\n".join(back).replace(",9,0.04,", ",3,4,") + "\n")
    mended = read_survey(again)
    assert [(look.segment_id, look.note) for look in mended.looks] == [("B", "a, b")]
    assert len(mended.bad) == 1
    assert (
        write_bad_rows(mended, tmp_path / "c.csv").read_text().splitlines()[0] == head + ",problem"
    )
