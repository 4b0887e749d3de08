"""Paper: a template of this room and the figures of one document become one PDF.

The same figures give the same bytes: only the fonts that are shipped are used, and the time on the
paper is the one that is passed in.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import datetime
from functools import cache
from importlib.resources import files
from typing import Any, cast

import typst

from crossfall.errors import InputError

PAPERS = {"a4": "a4", "letter": "us-letter"}
"""What people call a paper, and what the typesetter does."""


def paper_name(paper: str) -> str:
    """The typesetter's name of a paper.

    Raises
    ------
    InputError
        If the paper is unknown.

    Examples
    --------
    >>> paper_name("letter")
    'us-letter'
    """
    if paper not in PAPERS:
        raise InputError(f"paper is {paper!r}; expected one of {', '.join(PAPERS)}")
    return PAPERS[paper]


def typeset(template: str, book: Mapping[str, Any], *, made_at: datetime) -> bytes:
    """One PDF of ``book``, laid out by a template that lies beside this module."""
    pdf = typst.Compiler(ignore_system_fonts=True).compile(
        input=_template(template),
        format="pdf",
        sys_inputs={"book": json.dumps(book, ensure_ascii=False)},
        timestamp=int(made_at.timestamp()),
    )
    return bytes(cast("bytes", pdf))


@cache
def _template(name: str) -> bytes:
    return files("crossfall.report").joinpath(name).read_bytes()
