"""Saying things: results on the output, everything else on the error stream."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from crossfall.model.common import Progress, quiet


def say(text: str = "") -> None:
    """A line of the result."""
    sys.stdout.write(text + "\n")
    sys.stdout.flush()


def say_json(result: dict[str, Any]) -> None:
    """The whole result as one JSON object."""
    sys.stdout.write(json.dumps(result, ensure_ascii=False, default=str) + "\n")


def remark(text: str) -> None:
    """Something beside the result: what is being done, what to do next."""
    sys.stderr.write(text + "\n")


def complain(text: str) -> None:
    """The one sentence that says what is wrong and what to do."""
    sys.stderr.write(f"crossfall: {' '.join(text.split())}\n")


def count(n: int, what: str) -> str:
    """A number with its noun: ``1 grader``, ``2 graders``."""
    return f"{n:,} {what}" if n == 1 else f"{n:,} {what}s"


def in_units(text: str, units: str) -> str:
    """Running text with its measures in the workspace's units; paths and the like are no text."""
    if units != "us":
        return text
    from crossfall.report.figures import reword

    return reword(text, "us").replace("\N{NO-BREAK SPACE}", " ")


def say_table(table: Any) -> None:
    """A rich table; plain and a little wider where nobody watches."""
    from rich.console import Console

    console = Console(highlight=False, soft_wrap=False)
    if not console.is_terminal:
        console = Console(highlight=False, width=max(console.width, 110), no_color=True)
    console.print(table)


def new_table(*columns: str, title: str = "", right: tuple[str, ...] = ()) -> Any:
    """A table with quiet rules; the columns in ``right`` hold figures."""
    from rich import box
    from rich.table import Table

    table = Table(title=title or None, box=box.SIMPLE_HEAD, title_justify="left", pad_edge=False)
    for name in columns:
        table.add_column(name, justify="right" if name in right else "left", overflow="fold")
    return table


@contextmanager
def shown_progress(title: str) -> Iterator[Progress]:
    """A bar on the error stream where somebody watches; silence elsewhere."""
    if not sys.stderr.isatty():
        yield quiet
        return
    from rich.console import Console
    from rich.progress import BarColumn, TaskProgressColumn, TextColumn, TimeElapsedColumn
    from rich.progress import Progress as Bar

    columns = (
        TextColumn("{task.description}"),
        BarColumn(bar_width=28),
        TaskProgressColumn(),
        TimeElapsedColumn(),
    )
    with Bar(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task(title, total=1.0)
        yield lambda fraction, message: bar.update(task, completed=fraction, description=message)
