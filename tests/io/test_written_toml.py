"""TOML written here is TOML to the standard library, and says the same."""

from __future__ import annotations

import tomllib
from datetime import date, datetime, timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st

from crossfall.errors import InputError
from crossfall.io.toml import toml_text

KEY = st.text(max_size=8)
SIMPLE = (
    st.booleans()
    | st.integers(-(2**63), 2**63 - 1)
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(st.characters(exclude_categories=("Cs",)), max_size=20)
    | st.dates()
    | st.datetimes(timezones=st.just(timezone(timedelta(hours=-5))))
)
VALUE = SIMPLE | st.lists(SIMPLE, max_size=4) | st.lists(st.lists(SIMPLE, max_size=3), max_size=3)
TABLE = st.recursive(
    st.dictionaries(
        st.text(st.characters(exclude_categories=("Cs",)), max_size=8), VALUE, max_size=4
    ),
    lambda inner: st.dictionaries(
        st.text(st.characters(exclude_categories=("Cs",)), min_size=1, max_size=8),
        inner | st.lists(inner, min_size=1, max_size=3) | VALUE,
        max_size=4,
    ),
    max_leaves=12,
)


@given(TABLE)
def test_the_standard_reader_says_the_same(content):
    assert tomllib.loads(toml_text(content)) == content


def test_comments_stand_above_their_keys():
    text = toml_text({"a": {"b": 1.5}}, lambda key: f"about {key}\nmore")
    assert text == "[a]\n# about a.b\n# more\nb = 1.5\n"


@pytest.mark.parametrize("value", [float("nan"), float("inf"), object(), None])
def test_what_toml_cannot_hold_is_refused(value):
    with pytest.raises(InputError, match="cannot be written"):
        toml_text({"a": value})


def test_days_and_moments():
    moment = datetime(2026, 5, 12, 7, 30, tzinfo=timezone(timedelta(hours=-5)))
    text = toml_text({"day": date(2026, 5, 12), "at": moment})
    assert text == "day = 2026-05-12\nat = 2026-05-12T07:30:00-05:00\n"
