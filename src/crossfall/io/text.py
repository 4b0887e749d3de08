"""Opening a text file so that what is wrong with it is said in one sentence."""

from __future__ import annotations

import gzip
import io
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TextIO

from crossfall.errors import InputError


@contextmanager
def open_text(path: Path) -> Iterator[TextIO]:
    """Open a text file or its ``.gz``, UTF-8 with or without a mark.

    Raises
    ------
    InputError
        If the file is absent, is a folder, is cut off, or is not text.
    """
    try:
        with (
            gzip.open(path, "rb") if path.suffix == ".gz" else path.open("rb") as raw,
            io.TextIOWrapper(raw, encoding="utf-8-sig", newline="") as text,
        ):
            yield text
    except FileNotFoundError:
        raise InputError(f"{path.name} does not exist") from None
    except IsADirectoryError:
        raise InputError(f"{path.name} is a folder; expected a file") from None
    except UnicodeDecodeError as error:
        raise InputError(
            f"{path.name} is not UTF-8 text (byte {error.start}); save it as CSV UTF-8"
        ) from None
    except (EOFError, gzip.BadGzipFile) as error:
        raise InputError(f"{path.name} is cut off or not gzip ({error})") from None


def first_line(path: Path) -> str:
    """The first line that says something; empty when there is none."""
    with open_text(path) as lines:
        return next((line for line in lines if line.strip()), "")


_FORMULA = ("=", "+", "-", "@", "\t", "\r", "'")


def guarded(text: str) -> str:
    """Text for a CSV cell that no spreadsheet runs: an apostrophe stands before what looks so.

    Examples
    --------
    >>> guarded("=1+1"), guarded("Mill Road")
    ("'=1+1", 'Mill Road')
    """
    return f"'{text}" if text.startswith(_FORMULA) else text


def unguarded(text: str) -> str:
    """The text that :func:`guarded` wrote.

    Examples
    --------
    >>> unguarded("'=1+1")
    '=1+1'
    """
    return text[1:] if text.startswith("'") else text


def is_formula(text: str) -> bool:
    """Whether a spreadsheet would run a cell; a signed figure is none.

    Examples
    --------
    >>> is_formula("=HYPERLINK()"), is_formula("-107.5"), is_formula("+1 lane")
    (True, False, True)
    """
    if not text.startswith(("=", "+", "-", "@", "\t", "\r")):
        return False
    try:
        float(text)
    except ValueError:
        return True
    return False


def count(n: int, one: str, many: str = "") -> str:
    """A number with its noun.

    Examples
    --------
    >>> count(1, "segment"), count(2, "segment"), count(2, "near miss", "near misses")
    ('1 segment', '2 segments', '2 near misses')
    """
    return f"{n} {one if n == 1 else many or one + 's'}"
