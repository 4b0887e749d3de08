"""Settings by their path: within their range, of their kind, and nothing else moves."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from crossfall.errors import InputError
from crossfall.model import Policy
from crossfall.model.policy.changed import Difference, differences, with_values
from crossfall.model.policy.setting import settings_of

ROWS = [
    row
    for row in settings_of(Policy())
    if isinstance(row.value, float) and row.low is not None and row.high is not None
]


@given(st.sampled_from(ROWS), st.floats(0, 1))
def test_any_setting_can_be_set_within_its_range_and_alone(row, share):
    value = row.low + share * (row.high - row.low)
    changed = with_values(Policy(), {row.path: value})
    found = differences(Policy(), changed)
    assert found == (() if value == row.value else (Difference(row.path, row.value, value),))


@given(st.sampled_from(ROWS))
def test_outside_its_range_it_is_refused(row):
    with pytest.raises(InputError, match="expected"):
        with_values(Policy(), {row.path: row.high + 1.0})


@pytest.mark.parametrize(
    ("path", "value"),
    [
        ("no.such", 1.0),
        ("dispatch.no_such", 1.0),
        ("dispatch.turn_min", "soon"),
        ("dispatch.turn_min", float("nan")),
        ("dispatch.turn_min", True),
        ("dispatch.work_weekdays", 3),
    ],
)
def test_what_is_no_setting_or_no_figure_is_refused(path, value):
    with pytest.raises(InputError):
        with_values(Policy(), {path: value})


def test_whole_numbers_stay_whole():
    row = next(row for row in settings_of(Policy()) if type(row.value) is int)
    path, value = row.path, row.value
    changed = with_values(Policy(), {path: float(value)})
    assert type(next(each.value for each in settings_of(changed) if each.path == path)) is int
    with pytest.raises(InputError, match="whole number"):
        with_values(Policy(), {path: value + 0.5})
