"""The error tree is what it says, and a batch of problems becomes one sentence."""

from __future__ import annotations

import pytest

from crossfall import errors
from crossfall.errors import InputError, Problem, refuse


def test_bad_input_can_be_caught_as_the_builtin_a_caller_would_guess():
    with pytest.raises(ValueError, match="no grader"):
        raise InputError("no grader")


@pytest.mark.parametrize(
    "kind", ["InputError", "UnitsError", "InfeasibleError", "WorkspaceError", "Cancelled"]
)
def test_everything_hangs_on_one_root(kind):
    assert issubclass(getattr(errors, kind), errors.CrossfallError)


def test_many_problems_are_quoted_shortly():
    problems = [Problem(f"roads.csv row {row}", "no name") for row in range(5)]
    with pytest.raises(InputError) as caught:
        refuse(problems, most=2)
    assert str(caught.value) == (
        "roads.csv row 0: no name; roads.csv row 1: no name; and 3 more like it"
    )
