"""The command line: plain verbs, one clear sentence when something is wrong."""

from __future__ import annotations

import os
import signal
import time

STARTED = time.perf_counter()
"""When this process began to be crossfall, for the seconds a command reports."""


def main() -> None:
    """Run one command and leave with its exit code."""
    # Until the commands are loaded nothing is begun that would have to be put in order
    signal.signal(signal.SIGINT, _leave_at_once)
    from crossfall_app.cli.entry import run

    signal.signal(signal.SIGINT, signal.default_int_handler)
    raise SystemExit(run())


def _leave_at_once(*_: object) -> None:
    os.write(2, b"crossfall: stopped before it began\n")
    os._exit(130)
