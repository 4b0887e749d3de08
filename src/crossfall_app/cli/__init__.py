"""The command line: plain verbs, one clear sentence when something is wrong."""

from __future__ import annotations


def main() -> None:
    """Run one command."""
    from crossfall_app.cli.entry import run

    run()
