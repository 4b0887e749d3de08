"""HiGHS without its greeting, which would spoil what a command prints as JSON."""

from __future__ import annotations

from typing import Any

import highspy


class SilentHighs(highspy.Highs):
    """A solver on one thread that prints nothing, not even when it is made."""

    def __init__(self) -> None:
        super().__init__()  # type: ignore[no-untyped-call]
        self.setOptionValue("output_flag", False)
        self.setOptionValue("threads", 1)

    def enableCallbacks(self) -> Any:  # noqa: N802 - the library's name
        self.setOptionValue("output_flag", False)
        return super().enableCallbacks()  # type: ignore[no-untyped-call]
