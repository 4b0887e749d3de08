"""The command line: plain verbs, one clear sentence when something is wrong."""

from __future__ import annotations

import time

STARTED = time.perf_counter()
"""When this process began to be crossfall, for the seconds a command reports."""


def main() -> None:
    """Run one command and leave with its exit code."""
    from crossfall_app.cli.entry import run

    raise SystemExit(run())
