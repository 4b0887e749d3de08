"""What can go wrong, in one small tree.

::

    CrossfallError
    ├── InputError (also ValueError)     a value, row or file is not usable
    │   └── UnitsError                   the figure looks like another unit
    ├── InfeasibleError                  nothing satisfies the limits; says which
    ├── WorkspaceError                   the workspace is missing, newer, or in use
    └── Cancelled                        the person asked to stop

    CrossfallWarning (UserWarning)       usable, but somebody should look

Every message is one sentence that names the argument, the value, what was
expected and, where there is one, the likely mistake.
"""

from __future__ import annotations

from dataclasses import dataclass


class CrossfallError(Exception):
    """Root of every error that crossfall raises on purpose."""


class InputError(CrossfallError, ValueError):
    """A value, a row or a file cannot be used; nothing has been changed."""


class UnitsError(InputError):
    """The figure is plausible only in another unit."""


class InfeasibleError(CrossfallError):
    """No plan or programme satisfies the limits; the message names the binding one."""


class WorkspaceError(CrossfallError):
    """The workspace is missing, damaged, newer than this program, or in use."""


class Cancelled(CrossfallError):  # noqa: N818 - a request that was obeyed, not a failure
    """The person asked to stop; whatever was finished before is kept."""


class CrossfallWarning(UserWarning):
    """The result stands, but rests on something a person should look at."""


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing wrong in a file or a batch, found without stopping at the first.

    Importers collect these and raise one :class:`InputError` that quotes the
    first few; screens list them all.
    """

    where: str
    """File, row and field, as a person would look for them: ``roads.csv row 12, width_m``."""
    message: str
    """One sentence: the value, what was expected, the likely mistake."""

    def __str__(self) -> str:
        return f"{self.where}: {self.message}"


def refuse(problems: list[Problem] | tuple[Problem, ...], *, most: int = 3) -> None:
    """Raise one :class:`InputError` for all ``problems``; do nothing when there is none.

    Examples
    --------
    >>> refuse([])
    >>> refuse([Problem("roads.csv row 2, width_m", "-4 is not a width; expected 2 to 20")])
    Traceback (most recent call last):
    ...
    crossfall.errors.InputError: roads.csv row 2, width_m: -4 is not a width; expected 2 to 20
    """
    if not problems:
        return
    shown = "; ".join(str(problem) for problem in problems[:most])
    rest = len(problems) - most
    raise InputError(shown + (f"; and {rest} more like it" if rest > 0 else ""))
